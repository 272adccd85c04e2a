//! A drawn series of operations: stills, case sheet, truth, and drawn readers' readings.

use super::super::Ending;
use super::super::files::write_into;
use super::super::messages::Failure;
use super::{Drawn, draw_scene};
use crate::phantom::{SeriesStill, Truth, series};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::io;
use std::path::Path;

/// Readers: invented name, bias and spread of a reading, degrees.
const READERS: [(&str, f64, f64); 2] = [("Wickarn", 0.2, 1.0), ("Thessop", -0.4, 1.5)];
/// Readings of each still by each reader.
const REPEATS: u32 = 2;
/// First day of the series: days of it are counted in months of 28 days, to need no calendar.
const FIRST: (u32, u32) = (2031, 1);
const MONTH_DAYS: u32 = 28;

/// Draw and write: stills, cases.csv, truth.json, readings.csv.
pub(super) fn run(out: &Path, seed: u64) -> Result<Ending, Failure> {
    let stills = series(seed);
    let drawn: Vec<Drawn> = stills
        .par_iter()
        .map(|still| {
            let name = format!("{}-{}-{}", still.patient, still.eye.to_lowercase(), still.number);
            draw_scene(out, &name, still.scene.clone())
        })
        .collect::<Result<_, Failure>>()?;
    let keep = |name: &str, bytes| write_into(out, name, bytes);
    let truths: Vec<&Truth> = drawn.iter().map(|d| &d.truth).collect();
    keep("truth.json", serde_json::to_vec_pretty(&truths).map_err(io::Error::from))?;
    keep("cases.csv", case_sheet(&stills, &drawn))?;
    keep("readings.csv", readings(&drawn, seed))?;
    Ok(Ending::Done)
}

fn date(day: u32) -> String {
    let (year, month) = FIRST;
    let month = month - 1 + day / MONTH_DAYS;
    format!("{}-{:02}-{:02}", year + month / 12, month % 12 + 1, day % MONTH_DAYS + 1)
}

fn case_sheet(stills: &[SeriesStill], drawn: &[Drawn]) -> io::Result<Vec<u8>> {
    let mut sheet = csv::Writer::from_writer(Vec::new());
    sheet.write_record([
        "still",
        "case",
        "patient",
        "eye",
        "operator",
        "technique",
        "date",
        "intended_axis_deg",
        "lens_cylinder_d",
        "cylinder_plane",
    ])?;
    for (still, drawn) in stills.iter().zip(drawn) {
        sheet.write_record([
            drawn.name.as_str(),
            &format!("{}-{}", still.patient, still.eye.to_lowercase()),
            still.patient,
            still.eye,
            still.operator,
            still.technique,
            &date(still.day),
            &still.scene.plan.intended_axis_deg.to_string(),
            &still.cylinder_d.to_string(),
            "cornea",
        ])?;
    }
    sheet.into_inner().map_err(csv::IntoInnerError::into_error)
}

/// Readings as people of known bias and spread would give them.
fn readings(drawn: &[Drawn], seed: u64) -> io::Result<Vec<u8>> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(u64::MAX - 1);
    let mut sheet = csv::Writer::from_writer(Vec::new());
    sheet.write_record(["still", "reader", "error_deg"])?;
    for truth in drawn.iter().map(|d| &d.truth).filter(|truth| truth.readable) {
        let Some(error) = truth.alignment_error_deg else { continue };
        for (reader, bias, sd) in READERS {
            for _ in 0..REPEATS {
                let noise: f64 = StandardNormal.sample(&mut rng);
                let read = crate::geometry::axis_difference(0.0, error + bias + sd * noise);
                sheet.write_record([truth.still.as_str(), reader, &format!("{read:.1}")])?;
            }
        }
    }
    sheet.into_inner().map_err(csv::IntoInnerError::into_error)
}
