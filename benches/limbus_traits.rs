//! What the limbus judge sees of every candidate in stills of known limbus, for `tests/reference/limbus/train.py`.
//!
//!     cargo bench --bench limbus_traits -- FOLDER... > traits.csv
//!
//! A folder holds stills and a truth.json, a list of `still` (file name), `limbus` (`center_px`, `semi_axes_px`,
//! `angle_deg` as in a measurement record) and, where known, the `eye`; or pictures alone, none of which holds a limbus.
//! A row: still, folder, eye, distance from the true limbus in percent of its radius (999 where there is none), and the
//! traits. Stills whose eye is not known count as one eye each.

use rayon::prelude::*;
use serde::Deserialize;
use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use stillaxis::geometry::{Ellipse, PixelPoint};
use stillaxis::stills::load::{Recording, load};
use stillaxis::vision::limbus::{candidates, distance_percent};

/// One entry of truth.json.
#[derive(Deserialize)]
struct Known {
    still: String,
    eye: Option<String>,
    limbus: Limbus,
}

#[derive(Deserialize)]
struct Limbus {
    center_px: [f64; 2],
    semi_axes_px: [f64; 2],
    angle_deg: f64,
}

struct Job {
    path: PathBuf,
    kind: String,
    eye: String,
    limbus: Option<Ellipse>,
}

const NO_LIMBUS: f64 = 999.0;

fn jobs(folder: &Path) -> Result<Vec<Job>, Box<dyn Error>> {
    let kind = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let truth = folder.join("truth.json");
    let own = |name: &str| format!("{kind}/{name}");
    let mut jobs = Vec::new();
    if truth.exists() {
        let known: Vec<Known> = serde_json::from_slice(&std::fs::read(&truth)?)?;
        for k in known {
            let [x, y] = k.limbus.center_px;
            let limbus = Ellipse::from_axes(PixelPoint::new(x, y), k.limbus.semi_axes_px, k.limbus.angle_deg)
                .ok_or_else(|| format!("{}: {}: not an ellipse", truth.display(), k.still))?;
            let eye = k.eye.map_or_else(|| own(&k.still), |e| format!("eye {e}"));
            jobs.push(Job { path: folder.join(&k.still), kind: kind.clone(), eye, limbus: Some(limbus) });
        }
    } else {
        for entry in std::fs::read_dir(folder)? {
            let path = entry?.path();
            let eye = own(&path.file_stem().unwrap_or_default().to_string_lossy());
            jobs.push(Job { path, kind: kind.clone(), eye, limbus: None });
        }
        jobs.sort_by(|a, b| a.path.cmp(&b.path));
    }
    Ok(jobs)
}

fn rows(job: &Job) -> String {
    let picture = match load(&job.path, Recording::default()) {
        Ok(loaded) => loaded.picture,
        Err(e) => {
            eprintln!("{}: {e}", job.path.display());
            return String::new();
        }
    };
    let mut text = String::new();
    for candidate in candidates(&picture) {
        let error = job.limbus.as_ref().map_or(NO_LIMBUS, |known| distance_percent(known, &candidate.ellipse));
        let _ = write!(text, "{},{},{},{error:.2}", job.path.display(), job.kind, job.eye);
        for number in candidate.traits.numbers() {
            let _ = write!(text, ",{number:.3}");
        }
        text.push('\n');
    }
    text
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = std::io::stdout().lock();
    // `cargo bench` hands its own flag on.
    for folder in std::env::args().skip(1).filter(|a| a != "--bench") {
        let rows: Vec<String> = jobs(Path::new(&folder))?.par_iter().map(rows).collect();
        for row in rows {
            out.write_all(row.as_bytes())?;
        }
    }
    Ok(())
}
