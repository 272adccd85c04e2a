//! The folder that a run writes to. Each file appears whole or not at all.

use super::inputs::Job;
use crate::commands::files::{temporary, write_whole};
use crate::commands::messages::Failure;
use crate::measurement::Measured;
use crate::record::{CaseRecord, Outcome, Record};
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
    /// Overlays that the run before left in it, by its records.
    earlier: Vec<String>,
}

impl Output {
    /// Make the folder where it is missing, and see that all files of a run can be written before any work is done.
    ///
    /// - `read`: the files that the run is made from, none of which it may write over
    /// - `with_cases`: whether there may be cases to write
    pub(super) fn prepare(folder: &Path, read: &[&Path], with_cases: bool) -> Result<Self, Failure> {
        let overlays = folder.join(OVERLAYS);
        for folder in [folder, &overlays] {
            make_usable(folder)?;
        }
        let read: HashSet<PathBuf> = read.iter().filter_map(|path| path.canonicalize().ok()).collect();
        let of_cases: &[&str] = if with_cases { &[CASES, CASES_TABLE] } else { &[] };
        for name in [RECORDS, TABLE, PAGE].iter().chain(of_cases) {
            let file = folder.join(name);
            if file.is_dir() {
                return Err(Failure::at(&file, "a folder stands where this file is to be written"));
            }
            if file.canonicalize().is_ok_and(|file| read.contains(&file)) {
                return Err(Failure::at(&file, "would be written over, and is read by this run: choose another --out"));
            }
            if of_cases.contains(name) && file.exists() && !holds_cases(&file) {
                return Err(Failure::at(
                    &file,
                    "would be written over, and no earlier run wrote it: choose another --out",
                ));
            }
        }
        Ok(Self { folder: folder.to_owned(), earlier: earlier_overlays(&folder.join(RECORDS)) })
    }

    /// The report.
    pub(super) fn page(&self) -> PathBuf {
        self.folder.join(PAGE)
    }

    /// Write records, tables and page, and the cases where there are any, and remove what the run before left of other
    /// stills; gives what could not be done.
    pub(super) fn write(
        &self,
        records: &[Record],
        of_cases: &[CaseRecord],
        mut pictures: Vec<StillPicture>,
    ) -> Vec<Failure> {
        let mut failures = Vec::new();
        // In lower case: some file systems take names for the same that differ in case only.
        let drawn: HashSet<String> =
            pictures.iter().filter_map(|picture| picture.overlay.as_deref()).map(str::to_lowercase).collect();
        let stale = self.earlier.iter().map(|name| format!("{OVERLAYS}/{name}"));
        let mut stale: Vec<String> = stale.filter(|name| !drawn.contains(&name.to_lowercase())).collect();
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
            // Case sheets have the name of the table as a rule, and may lie in the same folder.
            let earlier = [CASES, CASES_TABLE].into_iter().filter(|name| holds_cases(&self.folder.join(name)));
            stale.extend(earlier.map(str::to_owned));
        }
        if !failures.is_empty() {
            // Records that could not be replaced keep what belongs to them.
            return failures;
        }
        for path in stale.iter().map(|name| self.folder.join(name)) {
            match std::fs::remove_file(&path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => failures.push(Failure::at(&path, error)),
                _ => {}
            }
        }
        failures
    }

    /// Where the drawings of `jobs` go.
    pub(super) fn drawings(&self, jobs: &[Job]) -> Drawings {
        let paths: Vec<&Path> = jobs.iter().map(|job| job.path.as_path()).collect();
        Drawings { folder: self.folder.clone(), names: overlay_names(&paths) }
    }
}

/// Whether a file is one of cases that a run wrote.
fn holds_cases(file: &Path) -> bool {
    std::fs::read(file).is_ok_and(|bytes| cases::are_cases(&bytes))
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

/// The overlays that a run wrote beside its `records`; none where these cannot be read. Other files in the folder are not
/// known to be ours.
fn earlier_overlays(records: &Path) -> Vec<String> {
    let records = std::fs::read(records).ok().and_then(|bytes| ndjson::read(&bytes).ok()).unwrap_or_default();
    let paths: Vec<&Path> = records.iter().map(|record| Path::new(&record.still.path)).collect();
    let names = overlay_names(&paths).into_iter().zip(&records);
    names.filter(|(_, record)| record.outcome != Outcome::Unreadable).map(|(name, _)| name).collect()
}

/// A file name for the overlay of each still: the still's own, ended by `.jpg`; where two would be alike (in either case,
/// as some file systems see them), the folders come before it, and a number after it if that is not enough.
fn overlay_names(stills: &[&Path]) -> Vec<String> {
    let stem =
        |still: &Path| still.file_stem().map_or_else(|| "still".into(), |stem| stem.to_string_lossy().into_owned());
    let mut uses: HashMap<String, usize> = HashMap::new();
    for still in stills {
        *uses.entry(stem(still).to_lowercase()).or_default() += 1;
    }
    let mut taken: HashSet<String> = HashSet::new();
    let mut names = vec![String::new(); stills.len()];
    // Names that are unique keep theirs, whatever comes before them.
    for alone in [true, false] {
        for (still, name) in
            stills.iter().zip(&mut names).filter(|(still, _)| (uses[&stem(still).to_lowercase()] == 1) == alone)
        {
            let base = if alone { stem(still) } else { whole_name(still) };
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
