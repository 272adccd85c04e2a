//! `stillaxis simulate --study`: what a camera can be expected to give, by form of marks.

use super::super::Ending;
use super::super::files::write_into;
use super::super::messages::{Failure, say};
use super::super::standard_output::print;
use crate::geometry::axis_difference;
use crate::measurement::measure;
use crate::phantom::{self, Difficulty, MarkForm, SetUp, recorded_by};
use crate::report::set_up::{self, SetUpReport};
use crate::statistics::descriptive::median;
use crate::stills::discover::discover;
use crate::stills::load::{Recording, load, shown};
use crate::stills::sheet::Case;
use crate::study::set_up::{Expected, Trial, expected};
use crate::vision::limbus::find_limbus;
use crate::vision::sharpness::{Sharpness, sharpness};
use clap::Args;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Camera where nothing is said of it: an ordinary recorder.
const USUAL: SetUp = SetUp { width_px: 1024, height_px: 768, limbus_radius_px: 0.0, blur_px: 0.8, noise_levels: 1.5 };
/// Limbus radius over the shorter side of the picture where nothing is said of it.
const USUAL_RADIUS: f64 = 0.3;
/// Stills of a folder that are looked at: more would hardly change a median.
const MOST_STILLS: usize = 40;
/// Limits of what can be drawn and read.
const SIDE_PX: std::ops::RangeInclusive<i64> = 240..=4096;

/// Camera and size of the study.
#[derive(Clone, Debug, Default, Args)]
pub(super) struct StudyOptions {
    /// Draw no collection, but measure drawn stills of each form of marks as a given camera would record them, and print
    /// the expected error, interval and refusals; writes study.json, study.csv and study.svg
    #[arg(long, conflicts_with_all = ["series", "marks", "axis", "forms", "scenes"])]
    study: bool,
    /// With --study: folder of stills whose size, blur, noise and limbus radius are taken: medians of those of the commonest size; the options below go before them
    #[arg(long, value_name = "DIR", requires = "study")]
    like: Option<PathBuf>,
    /// With --study: width of the picture, px [default: 1024]
    #[arg(long, value_name = "PX", requires = "study", value_parser = clap::value_parser!(u32).range(SIDE_PX))]
    width: Option<u32>,
    /// With --study: height of the picture, px [default: 768]
    #[arg(long, value_name = "PX", requires = "study", value_parser = clap::value_parser!(u32).range(SIDE_PX))]
    height: Option<u32>,
    /// With --study: half the width of the limbus in the picture, px [default: 0.3 of the shorter side]
    #[arg(long, value_name = "PX", requires = "study", value_parser = |t: &str| number(t, 60.0, 2000.0, "px"))]
    limbus_radius: Option<f64>,
    /// With --study: standard deviation of the blur, px [default: 0.8]
    #[arg(long, value_name = "PX", requires = "study", value_parser = |t: &str| number(t, 0.0, 20.0, "px"))]
    blur: Option<f64>,
    /// With --study: standard deviation of the noise at middle grey, 8-bit levels [default: 1.5]
    #[arg(long, value_name = "LEVELS", requires = "study", value_parser = |t: &str| number(t, 0.0, 60.0, "levels"))]
    noise: Option<f64>,
    /// With --study: standard deviation of the lens's error from eye to eye that the numbers of eyes are for, degrees
    #[arg(long, value_name = "DEG", default_value_t = 3.0, requires = "study", value_parser = |t: &str| number(t, 0.1, 45.0, "degrees"))]
    spread: f64,
}

fn number(text: &str, least: f64, most: f64, unit: &str) -> Result<f64, String> {
    let value: f64 = text.trim().parse().map_err(|_| format!("expected a number of {unit}"))?;
    if (least..=most).contains(&value) { Ok(value) } else { Err(format!("expected {least} to {most} {unit}")) }
}

impl StudyOptions {
    /// Whether a study was asked for.
    pub(super) fn asked(&self) -> bool {
        self.study
    }
}

/// Draw, measure, and say what to expect.
///
/// - `count`: stills of each form of marks
pub(super) fn run(
    options: &StudyOptions,
    out: &Path,
    count: u32,
    seed: u64,
    difficulty: Difficulty,
) -> Result<Ending, Failure> {
    let set_up = set_up_of(options)?;
    let mut forms: Vec<Expected> = Vec::new();
    for form in MarkForm::ALL {
        let trials: Vec<Trial> = (0..u64::from(count))
            .into_par_iter()
            .map(|still| trial(&set_up, form, difficulty, seed, still))
            .collect::<Result<_, Failure>>()?;
        forms.push(expected(form.name(), &trials, options.spread, seed));
    }
    let report = SetUpReport {
        set_up,
        difficulty: format!("{difficulty:?}").to_lowercase(),
        spread_deg: options.spread,
        seed,
        forms,
        program: format!("stillaxis {}", env!("CARGO_PKG_VERSION")),
    };
    let keep = |name: &str, bytes| write_into(out, name, bytes);
    keep("study.json", set_up::json(&report))?;
    keep("study.csv", set_up::csv(&report))?;
    keep("study.svg", set_up::chart(&report.forms).map(String::into_bytes))?;
    print(&format!("{}\n{}\n", set_up::text(&report), shown(&out.join("study.svg"))))?;
    Ok(Ending::Done)
}

/// Draw a still and measure it, through a file as a user would.
fn trial(set_up: &SetUp, form: MarkForm, difficulty: Difficulty, seed: u64, still: u64) -> Result<Trial, Failure> {
    let fault = |why: String| Failure(format!("still {still} of {} marks: {why}", form.name()));
    let scene = recorded_by(set_up, form, difficulty, seed, still).ok_or_else(|| fault("no such scene".into()))?;
    let drawing = phantom::draw(&scene).ok_or_else(|| fault("the scene has no limbus".into()))?;
    let truth = phantom::truth(&scene, "", &drawing.visibility).and_then(|truth| truth.alignment_error_deg);
    let bytes = phantom::encode(&drawing.picture, &scene.camera).map_err(|e| fault(e.to_string()))?;
    let file = tempfile::NamedTempFile::new().map_err(|e| fault(e.to_string()))?;
    std::fs::write(file.path(), bytes).map_err(|e| Failure::at(file.path(), e))?;
    let loaded = load(file.path(), Recording::default()).map_err(|e| fault(e.to_string()))?;
    let case = Case { intended_axis_deg: Some(scene.plan.intended_axis_deg), ..Case::default() };
    let record = measure(&loaded.picture, loaded.still, &case).record;
    let figure = record.alignment.as_ref().map(|alignment| {
        // A figure for a still whose marks are hidden is wrong by as much as can be.
        let error = truth.map_or(90.0, |truth| axis_difference(truth, alignment.error_deg));
        (error, (alignment.interval95_deg[1] - alignment.interval95_deg[0]) / 2.0)
    });
    Ok(Trial { figure })
}

/// The camera: what the options say, else what the folder shows, else a usual one.
fn set_up_of(options: &StudyOptions) -> Result<SetUp, Failure> {
    let mut set_up = USUAL;
    if let Some(folder) = &options.like {
        set_up = seen_in(folder)?;
    }
    set_up.width_px = options.width.unwrap_or(set_up.width_px);
    set_up.height_px = options.height.unwrap_or(set_up.height_px);
    if [set_up.width_px, set_up.height_px].iter().any(|side| !SIDE_PX.contains(&i64::from(*side))) {
        let [w, h] = [set_up.width_px, set_up.height_px];
        return Err(Failure(format!(
            "pictures of {w} x {h} px: expected {} to {} px a side",
            SIDE_PX.start(),
            SIDE_PX.end()
        )));
    }
    let sized = options.width.is_some() || options.height.is_some();
    if let Some(radius) = options.limbus_radius {
        set_up.limbus_radius_px = radius;
    } else if set_up.limbus_radius_px <= 0.0 || sized {
        set_up.limbus_radius_px = USUAL_RADIUS * f64::from(set_up.height_px.min(set_up.width_px));
    }
    let short = f64::from(set_up.width_px.min(set_up.height_px));
    if !(60.0..=0.6 * short).contains(&set_up.limbus_radius_px) {
        let radius = set_up.limbus_radius_px;
        return Err(Failure(format!(
            "--limbus-radius {radius:.0}: expected 60 to {:.0} px in a picture whose shorter side is {short} px",
            0.6 * short
        )));
    }
    set_up.blur_px = options.blur.unwrap_or(set_up.blur_px);
    set_up.noise_levels = options.noise.unwrap_or(set_up.noise_levels);
    Ok(set_up)
}

/// The camera that recorded the stills of a folder: of those of the commonest size the medians, so that a few odd ones do not
/// count.
fn seen_in(folder: &Path) -> Result<SetUp, Failure> {
    let found = discover(&[folder.to_owned()], &[]);
    for message in found.notes.iter().chain(&found.faults) {
        say(message);
    }
    // Spread over the folder, so that not all are of one operation.
    let step = found.stills.len().div_ceil(MOST_STILLS).max(1);
    let seen: Vec<Seen> = found.stills.par_iter().step_by(step).filter_map(|path| Seen::of(path)).collect();
    let mut sizes: BTreeMap<(u32, u32), usize> = BTreeMap::new();
    for still in &seen {
        *sizes.entry(still.size_px).or_default() += 1;
    }
    let Some((&size, _)) = sizes.iter().max_by_key(|(_, count)| **count) else {
        return Err(Failure::at(folder, "no still that can be read: expected pictures as the recorder wrote them"));
    };
    let alike: Vec<&Seen> = seen.iter().filter(|still| still.size_px == size).collect();
    let of = |field: fn(&Seen) -> Option<f64>| {
        let known: Vec<f64> = alike.iter().filter_map(|still| field(still)).collect();
        (median(&known), known.len())
    };
    let (radius, limbi) = of(|still| still.limbus_radius_px);
    let (blur, told) = of(|still| still.sharp.blur_px);
    let (noise, _) = of(|still| Some(still.sharp.noise_levels));
    say(&format!(
        "{}: {} of {} stills looked at are of {} x {} px; limbus found in {limbi} of them, blur told by {told}",
        shown(folder),
        alike.len(),
        seen.len(),
        size.0,
        size.1
    ));
    Ok(SetUp {
        width_px: size.0,
        height_px: size.1,
        limbus_radius_px: radius.unwrap_or(0.0),
        blur_px: blur.unwrap_or(USUAL.blur_px),
        noise_levels: noise.unwrap_or(USUAL.noise_levels),
    })
}

/// What a still tells of the camera.
struct Seen {
    size_px: (u32, u32),
    limbus_radius_px: Option<f64>,
    sharp: Sharpness,
}

impl Seen {
    /// `None` where it cannot be read.
    fn of(path: &Path) -> Option<Self> {
        let picture = load(path, Recording::default()).ok()?.picture;
        let limbus_radius_px = find_limbus(&picture).ok().map(|limbus| limbus.ellipse.semi_axes_px()[0]);
        Some(Self { size_px: picture.dimensions(), limbus_radius_px, sharp: sharpness(&picture)? })
    }
}
