//! Measured stills held against their truth, and the figures of a set of them.

use serde::Deserialize;
use stillaxis::geometry::{Ellipse, PixelPoint, axis_difference};
use stillaxis::record::{Alignment, Limbus, Outcome, Record};

/// A limbus farther off than this is wrong, percent of its radius.
const LIMBUS_WRONG_PERCENT: f64 = 12.0;
/// An angle farther off than this would mislead, degrees.
pub const WRONG_DEG: f64 = 3.0;

/// What is known of a still, as `truth.json` has it.
#[derive(Clone, Debug, Deserialize)]
pub struct Known {
    /// File name.
    pub still: String,
    /// Alignment error, degrees; `None` where marks are missing.
    pub alignment_error_deg: Option<f64>,
    /// Whether a careful person could read it; `None` where nobody says.
    pub readable: Option<bool>,
    /// The limbus.
    pub limbus: KnownLimbus,
    /// Form of the reference marks.
    pub reference_kind: Option<String>,
    /// Form of the lens marks.
    pub lens_kind: Option<String>,
    /// How hard the still was meant to be.
    pub difficulty: Option<String>,
    /// Its faults.
    #[serde(default)]
    pub difficulties: Vec<String>,
}

/// The limbus in the picture; see `phantom::LimbusTruth`.
#[derive(Clone, Debug, Deserialize)]
pub struct KnownLimbus {
    /// Centre, px.
    pub center_px: [f64; 2],
    /// Semi-axes, px, the longer first.
    pub semi_axes_px: [f64; 2],
    /// Direction of the first, degrees from x right towards y down.
    pub angle_deg: f64,
}

/// One still, judged.
#[derive(Clone, Debug)]
pub struct Judged {
    /// What is known of it.
    pub known: Known,
    /// Mean distance of the limbus found from the true one, percent of its radius; `None` where none was found.
    pub limbus_percent: Option<f64>,
    /// The alignment given.
    pub given: Option<Reading>,
    /// The alignment found, also where the limits on it led to a refusal.
    pub found: Option<Reading>,
    /// Code of the first refusal.
    pub refusal: Option<String>,
    /// What other limits go by: limbus score, probability of the reference marks, score of the lens marks.
    pub confidence: [Option<f64>; 3],
}

/// An alignment against its truth.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    /// Given less true, degrees; `None` where no truth is.
    pub off_deg: Option<f64>,
    /// Standard deviation given, degrees.
    pub sd_deg: f64,
    /// Half the 95 % interval, degrees.
    pub half_deg: f64,
    /// Whether the interval holds the truth.
    pub covered: bool,
}

impl Reading {
    fn of(alignment: &Alignment, truth: Option<f64>) -> Self {
        let [low, high] = alignment.interval95_deg;
        let half_deg = (high - low) / 2.0;
        let from_middle = truth.map(|t| axis_difference((low + high) / 2.0, t).abs());
        Self {
            off_deg: truth.map(|t| axis_difference(t, alignment.error_deg)),
            sd_deg: alignment.sd_deg,
            half_deg,
            covered: from_middle.is_some_and(|d| d <= half_deg),
        }
    }
}

impl Judged {
    /// Hold a record against what is known.
    ///
    /// - `found`: the alignment, also where it was refused
    pub fn of(known: Known, record: &Record, found: Option<&Alignment>, confidence: [Option<f64>; 3]) -> Self {
        let measured = record.alignment.as_ref().filter(|_| record.outcome == Outcome::Measured);
        let truth = known.alignment_error_deg;
        Self {
            limbus_percent: record.limbus.as_ref().and_then(|limbus| limbus_percent(limbus, &known.limbus)),
            given: measured.map(|a| Reading::of(a, truth)),
            found: found.map(|a| Reading::of(a, truth)),
            refusal: record.refusals.first().map(|r| format!("{:?}", r.code)),
            confidence,
            known,
        }
    }

    /// Geometric mean of the semi-axes of the true limbus, px.
    pub fn radius_px(&self) -> f64 {
        let [a, b] = self.known.limbus.semi_axes_px;
        (a * b).sqrt()
    }

    /// Whether there is an angle to be read.
    pub fn marked(&self) -> bool {
        self.known.alignment_error_deg.is_some()
    }

    /// Whether a careful person could read the angle, as far as is known.
    pub fn readable(&self) -> bool {
        self.marked() && self.known.readable != Some(false)
    }
}

/// Mean distance between two outlines along 120 rays from the centre of the true one, percent of its radius; a ray that misses
/// counts as a whole radius.
fn limbus_percent(got: &Limbus, truth: &KnownLimbus) -> Option<f64> {
    const RAYS: u32 = 120;
    let ellipse = |center: [f64; 2], semi: [f64; 2], angle: f64| {
        Ellipse::from_axes(PixelPoint::new(center[0], center[1]), semi, angle)
    };
    let got = ellipse(got.center_px, got.semi_axes_px, got.angle_deg)?;
    let own = ellipse(truth.center_px, truth.semi_axes_px, truth.angle_deg)?;
    let radius = (truth.semi_axes_px[0] * truth.semi_axes_px[1]).sqrt();
    let to = |e: &Ellipse, ray: u32| {
        let (sin, cos) = (f64::from(ray) / f64::from(RAYS) * std::f64::consts::TAU).sin_cos();
        along(e, own.center(), [cos, sin])
    };
    let sum: f64 = (0..RAYS).map(|ray| to(&got, ray).zip(to(&own, ray)).map_or(radius, |(a, b)| (a - b).abs())).sum();
    Some(100.0 * sum / f64::from(RAYS) / radius)
}

/// Distance from a place to an ellipse in a direction; the farther of two.
fn along(ellipse: &Ellipse, from: PixelPoint, direction: [f64; 2]) -> Option<f64> {
    let inverse = ellipse.matrix().try_inverse()?;
    let u = inverse * (from - ellipse.center());
    let v = inverse * nalgebra::Vector2::from(direction);
    let (a, b, c) = (v.norm_squared(), u.dot(&v), u.norm_squared() - 1.0);
    let root = b * b - a * c;
    (root >= 0.0).then(|| (-b + root.sqrt()) / a)
}

/// Figures of a set of stills.
#[derive(Clone, Copy, Debug)]
pub struct Figures {
    /// Stills.
    pub stills: usize,
    /// Share whose limbus was found.
    pub limbus_found: f64,
    /// How many of these are wrong.
    pub limbus_wrong: usize,
    /// Median and 95th percentile of the error of the limbus, percent.
    pub limbus_percent: [f64; 2],
    /// Stills with an angle to be read.
    pub marked: usize,
    /// Share of these measured.
    pub measured: f64,
    /// Share measured of those of which a careful person could read it.
    pub measured_of_readable: f64,
    /// Median, 95th percentile and largest size of the error of the angle, degrees.
    pub off_deg: [f64; 3],
    /// Angles more than 3 degrees off.
    pub wrong: usize,
    /// Share of 95 % intervals that hold the truth.
    pub coverage: f64,
    /// Root mean square of error over sd.
    pub z_rms: f64,
    /// Angles given where there is none.
    pub invented: usize,
}

impl Figures {
    /// Of a set.
    pub fn of<'a>(set: impl Iterator<Item = &'a Judged>) -> Self {
        let set: Vec<&Judged> = set.collect();
        let limbus: Vec<f64> = set.iter().filter_map(|j| j.limbus_percent).collect();
        let marked: Vec<&&Judged> = set.iter().filter(|j| j.marked()).collect();
        let readings: Vec<Reading> = marked.iter().filter_map(|j| j.given).collect();
        let off: Vec<f64> = readings.iter().filter_map(|r| r.off_deg).collect();
        let sizes: Vec<f64> = off.iter().map(|d| d.abs()).collect();
        let share = |part: usize, of: usize| if of > 0 { part as f64 / of as f64 } else { f64::NAN };
        let squares: Vec<f64> =
            readings.iter().filter(|r| r.sd_deg > 0.0).filter_map(|r| Some((r.off_deg? / r.sd_deg).powi(2))).collect();
        Self {
            stills: set.len(),
            limbus_found: share(limbus.len(), set.len()),
            limbus_wrong: limbus.iter().filter(|e| **e > LIMBUS_WRONG_PERCENT).count(),
            limbus_percent: [percentile(&limbus, 0.5), percentile(&limbus, 0.95)],
            marked: marked.len(),
            measured: share(readings.len(), marked.len()),
            measured_of_readable: share(
                set.iter().filter(|j| j.readable() && j.given.is_some()).count(),
                set.iter().filter(|j| j.readable()).count(),
            ),
            off_deg: [percentile(&sizes, 0.5), percentile(&sizes, 0.95), percentile(&sizes, 1.0)],
            wrong: sizes.iter().filter(|d| **d > WRONG_DEG).count(),
            coverage: share(readings.iter().filter(|r| r.covered).count(), readings.len()),
            z_rms: (squares.iter().sum::<f64>() / squares.len() as f64).sqrt(),
            invented: set.iter().filter(|j| !j.marked() && j.given.is_some()).count(),
        }
    }
}

/// Linear between order statistics; NaN of none.
pub fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let at = share * last as f64;
    let (low, high) = (sorted[at as usize], sorted[(at as usize + 1).min(last)]);
    low + (high - low) * at.fract()
}
