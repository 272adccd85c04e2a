//! What a set-up can be expected to give: table for a terminal, JSON, CSV and chart.

use crate::phantom::SetUp;
use crate::study::set_up::{Expected, HARM_DEG, RATIO, SHIFT_DEG, Value};
use serde::Serialize;
use std::fmt::Write;

pub use super::study::set_up_chart as chart;

/// All of it.
#[derive(Clone, Debug, Serialize)]
pub struct SetUpReport {
    /// The camera.
    pub set_up: SetUp,
    /// Difficulty of the stills.
    pub difficulty: String,
    /// Spread between eyes that the numbers of eyes are for, degrees.
    pub spread_deg: f64,
    /// Seed; the same seed draws the same stills.
    pub seed: u64,
    /// What to expect, by form of marks.
    pub forms: Vec<Expected>,
    /// Program and version.
    pub program: String,
}

fn shown(value: &Value, decimals: usize) -> String {
    match (value.value, value.interval95) {
        (Some(v), Some((low, Some(high)))) => format!("{v:.decimals$} ({low:.decimals$}-{high:.decimals$})"),
        (Some(v), Some((low, None))) => format!("{v:.decimals$} (at least {low:.decimals$})"),
        (Some(v), None) => format!("{v:.decimals$}"),
        _ => "-".to_owned(),
    }
}

/// The table, in lines of at most 110 letters.
pub fn text(report: &SetUpReport) -> String {
    let s = &report.set_up;
    let mut text = format!(
        "Camera: {} x {} px, limbus radius {:.0} px, blur {:.2} px, noise {:.1} levels; {} stills, seed {}\n\n",
        s.width_px, s.height_px, s.limbus_radius_px, s.blur_px, s.noise_levels, report.difficulty, report.seed
    );
    let eyes = |eyes: Option<u32>| eyes.map_or("-".to_owned(), |eyes| eyes.to_string());
    let row = |cells: [&str; 8]| {
        let [a, b, c, d, e, f, g, h] = cells;
        format!("{a:8} {b:>6} {c:>16} {d:>18} {e:>22} {f:>18} {g:>6} {h:>6}\n")
    };
    text +=
        &row(["marks", "stills", "refused, %", "error rms, °", "error p95, °", "half-width, °", "eyes A", "eyes B"]);
    for form in &report.forms {
        text += &row([
            &form.form,
            &form.stills.to_string(),
            &shown(&form.refused_percent, 0),
            &shown(&form.rms_error_deg, 2),
            &shown(&form.p95_error_deg, 2),
            &shown(&form.half_width_deg, 2),
            &eyes(form.eyes_for_shift),
            &eyes(form.eyes_for_ratio),
        ]);
    }
    let wrong: usize = report.forms.iter().map(|f| f.wrong).sum();
    let measured: usize = report.forms.iter().map(|f| f.measured).sum();
    let _ = write!(
        text,
        "\nIn brackets: 95 % interval by the number of stills drawn; \"at least\": too few for an upper end.\n\
         {wrong} of {measured} figures were more than {HARM_DEG:.0}° off.\n\
         Eyes to photograph in each of two groups, for an eye-to-eye spread of {:.1}° (power 80 %, level 5 %):\n\
         A to tell means {SHIFT_DEG:.0}° apart, B to tell spreads by a ratio of {RATIO}.\n\
         Drawn stills are no eyes: a first series of your own should follow.\n",
        report.spread_deg
    );
    text
}

/// JSON, indented.
///
/// # Errors
/// None are known; kept because serde returns one.
pub fn json(report: &SetUpReport) -> std::io::Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(report).map_err(std::io::Error::from)?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// One row a form, units in the headings.
///
/// # Errors
/// Those of the writer; none is known for writing into memory.
pub fn csv(report: &SetUpReport) -> std::io::Result<Vec<u8>> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    let mut heading: Vec<String> = ["marks", "stills", "measured", "wrong"].map(str::to_owned).to_vec();
    for name in ["refused_percent", "rms_error_deg", "p95_error_deg", "half_width_deg", "held_percent"] {
        let (stem, unit) = name.rsplit_once('_').unwrap_or((name, ""));
        heading.extend([name.to_owned(), format!("{stem}_low95_{unit}"), format!("{stem}_high95_{unit}")]);
    }
    heading.extend(["eyes_for_shift", "eyes_for_ratio"].map(str::to_owned));
    writer.write_record(&heading)?;
    let number = |value: Option<f64>| value.map_or(String::new(), |v| format!("{v:.4}"));
    for form in &report.forms {
        let mut row = vec![form.form.clone()];
        row.extend([form.stills, form.measured, form.wrong].map(|n| n.to_string()));
        let values =
            [form.refused_percent, form.rms_error_deg, form.p95_error_deg, form.half_width_deg, form.held_percent];
        for value in values {
            row.push(number(value.value));
            row.extend([value.interval95.map(|i| i.0), value.interval95.and_then(|i| i.1)].map(number));
        }
        row.extend([form.eyes_for_shift, form.eyes_for_ratio].map(|n| n.map_or(String::new(), |n| n.to_string())));
        writer.write_record(&row)?;
    }
    writer.into_inner().map_err(|error| error.into_error())
}
