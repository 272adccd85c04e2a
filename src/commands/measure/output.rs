//! The folder that a run writes to. Each file appears whole or not at all.

use super::inputs::Job;
use crate::commands::files::{temporary, write_whole};
use crate::commands::messages::Failure;
use crate::measurement::Measured;
use crate::record::{CaseRecord, Record};
use crate::report::page::{StillPicture, embedded_picture};
use crate::report::{cases, ndjson, overlay, page, table};
use crate::stills::written::{OVERLAYS, RECORDS};
use crate::vision::Picture;
use image::codecs::jpeg::JpegEncoder;
use std::collections::{HashMap, HashSet};
use std::io;
use std::path::{Path, PathBuf};

const TABLE: &str = "measurements.csv";
const CASES: &str = "cases.ndjson";
const CASES_TABLE: &str = "cases.csv";
const PAGE: &str = "report.html";
/// Thin lines and small letters keep their edges; about a fifth of the bytes of a PNG of the same photograph.
const OVERLAY_QUALITY: u8 = 90;

/// A folder that can be written to.
pub(super) struct Output {
    folder: PathBuf,
}

impl Output {
    /// Make the folder where it is missing, and see that all files of a run can be written before any work is done.
    pub(super) fn prepare(folder: &Path) -> Result<Self, Failure> {
        let overlays = folder.join(OVERLAYS);
        for folder in [folder, &overlays] {
            make_usable(folder)?;
        }
        for file in [RECORDS, TABLE, CASES, CASES_TABLE, PAGE].map(|name| folder.join(name)) {
            if file.is_dir() {
                return Err(Failure::at(&file, "a folder stands where this file is to be written"));
            }
        }
        Ok(Self { folder: folder.to_owned() })
    }

    /// The report.
    pub(super) fn page(&self) -> PathBuf {
        self.folder.join(PAGE)
    }

    /// Write records, tables and page, and the cases where there are any; gives what could not be written.
    pub(super) fn write(
        &self,
        records: &[Record],
        of_cases: &[CaseRecord],
        mut pictures: Vec<StillPicture>,
    ) -> Vec<Failure> {
        let mut failures = Vec::new();
        let mut keep = |name: &str, bytes: io::Result<Vec<u8>>| {
            let path = self.folder.join(name);
            if let Err(error) = bytes.and_then(|bytes| write_whole(&path, &bytes)) {
                failures.push(Failure::at(&path, error));
            }
        };
        keep(RECORDS, Ok(ndjson::write(records)));
        keep(TABLE, table::write(records).map_err(io::Error::from));
        if !of_cases.is_empty() {
            keep(CASES, Ok(cases::ndjson(of_cases)));
            keep(CASES_TABLE, cases::csv(of_cases).map_err(io::Error::from));
        }
        let mut html = Vec::new();
        let take = |at: usize, _: &Record| pictures.get_mut(at).map(std::mem::take).unwrap_or_default();
        let written = page::write(&mut html, records, of_cases, take);
        keep(PAGE, written.map(|()| html));
        if of_cases.is_empty() {
            // Those of an earlier run belong to other stills.
            for path in [CASES, CASES_TABLE].map(|name| self.folder.join(name)) {
                match std::fs::remove_file(&path) {
                    Err(error) if error.kind() != io::ErrorKind::NotFound => failures.push(Failure::at(&path, error)),
                    _ => {}
                }
            }
        }
        failures
    }

    /// Where the drawings of `jobs` go.
    pub(super) fn drawings(&self, jobs: &[Job]) -> Drawings {
        Drawings { folder: self.folder.clone(), names: overlay_names(jobs) }
    }
}

/// Make a folder where it is missing, and see that it can be written to.
pub(super) fn make_usable(folder: &Path) -> Result<(), Failure> {
    let usable = std::fs::create_dir_all(folder).and_then(|()| temporary(folder).map(drop));
    usable.map_err(|error| Failure::at(folder, format!("no folder that can be written to: {error}")))
}

/// Draws and writes overlays; shared by the threads of a run.
pub(super) struct Drawings {
    folder: PathBuf,
    names: Vec<String>,
}

impl Drawings {
    /// Draw the overlay of the job at `at` and write it; gives what the page shows of it.
    pub(super) fn write(&self, at: usize, measured: &Measured, picture: &Picture) -> Result<StillPicture, Failure> {
        let Measured { record, map, .. } = measured;
        let drawn = overlay::draw(picture, record, map.as_ref());
        let relative = format!("{OVERLAYS}/{}", self.names[at]);
        let path = self.folder.join(OVERLAYS).join(&self.names[at]);
        let mut jpeg = Vec::new();
        let encoded = JpegEncoder::new_with_quality(&mut jpeg, OVERLAY_QUALITY).encode_image(&drawn);
        encoded.map_err(|error| Failure::at(&path, error))?;
        write_whole(&path, &jpeg).map_err(|error| Failure::at(&path, error))?;
        let jpeg = embedded_picture(self.names.len(), picture, record, map.as_ref(), &drawn);
        Ok(StillPicture { overlay: Some(relative), jpeg })
    }
}

/// A file name for the overlay of each job: the still's own, ended by `.jpg`; where two would be alike (in either case,
/// as some file systems see them), the folders come before it, and a number after it if that is not enough.
fn overlay_names(jobs: &[Job]) -> Vec<String> {
    let stem =
        |job: &Job| job.path.file_stem().map_or_else(|| "still".into(), |stem| stem.to_string_lossy().into_owned());
    let mut uses: HashMap<String, usize> = HashMap::new();
    for job in jobs {
        *uses.entry(stem(job).to_lowercase()).or_default() += 1;
    }
    let mut taken: HashSet<String> = HashSet::new();
    let mut names = vec![String::new(); jobs.len()];
    // Names that are unique keep theirs, whatever comes before them.
    for alone in [true, false] {
        for (job, name) in
            jobs.iter().zip(&mut names).filter(|(job, _)| (uses[&stem(job).to_lowercase()] == 1) == alone)
        {
            let base = if alone { stem(job) } else { whole_name(&job.path) };
            let numbered = |n: usize| if n == 1 { base.clone() } else { format!("{base}_{n}") };
            let free = (1..).map(numbered).find(|name| taken.insert(name.to_lowercase()));
            *name = format!("{}.jpg", free.unwrap_or(base));
        }
    }
    names
}

/// Folders and name, with `_` between.
fn whole_name(path: &Path) -> String {
    use std::path::Component;
    let parts = path.components().filter_map(|part| match part {
        Component::Normal(part) => Some(part.to_string_lossy().replace('.', "_")),
        _ => None,
    });
    parts.collect::<Vec<_>>().join("_")
}
