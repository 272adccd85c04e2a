//! Whether a second line crosses a mark: one read along one arm of a cross looks like a single bar.

use super::strip::{Frame, median};
use crate::geometry::{PixelPoint, Vector};
use crate::vision::{Picture, polar};

/// Directions of a second arm that are tried, degrees from the mark's own: flatter ones run into it.
const TURNS_DEG: (u32, u32, u32) = (24, 156, 3);
/// Where along the mark it may cross, about the middle, share of the length, and how far apart places are tried, share of the
/// width and px at least: halfway between two of them an arm as thin must still be met.
const CROSSES_WITHIN: f64 = 0.3;
const PLACES_APART: (f64, f64) = (0.5, 1.0);
/// How far from the crossing an arm is looked for, share of the mark's length: from where the mark's own ink ends.
const ARM: f64 = 0.35;
/// Share of the mark's depth by which an arm is darker than both its sides, and of its length over which it is. Vessels have
/// little depth in red.
const DEPTH: f64 = 0.4;
const SHARE: f64 = 0.75;
/// Where the arms of a cross that was taken for a dot are looked for, over the radius of its outline; in how many directions; how
/// far beside an arm it is light again, in steps of these; and arms that make a cross.
const ARMS_AT: f64 = 1.3;
const DIRECTIONS: usize = 72;
const BESIDE: usize = 5;
const LEAST_ARMS: usize = 3;
/// Distance of its samples, px.
const STEP_PX: f64 = 0.75;
/// Fewest samples that tell an arm.
const FEWEST: usize = 5;

/// The direction of the line that crosses a mark, where one does.
///
/// - `width_px`: width of the mark where it is one bar
/// - `channel`: the one to look in, 0 to 2: red, green, blue
pub(super) fn crossing(picture: &Picture, frame: &Frame, width_px: f64, channel: usize) -> Option<Vector> {
    let aside = (width_px + 1.0).max(2.5);
    let light = |place: PixelPoint| polar::sample(picture, &place).map(|value| f64::from(value[channel]));
    // Darker than both sides by this share of them; unknown outside of the picture.
    let depth = |place: PixelPoint, across: &Vector| -> Option<f64> {
        let [left, right] = [light(place - across * aside)?, light(place + across * aside)?];
        Some(1.0 - light(place)? / left.min(right).max(1e-3))
    };
    let [length, _] = frame.size;
    let along_mark = (-10..=10).map(|k| frame.middle + frame.along * (f64::from(k) / 20.0 * 0.8 * length));
    let own = median(along_mark.filter_map(|place| depth(place, &frame.across())).collect())?;
    if own <= 0.0 {
        return None;
    }
    let (first, last, step) = TURNS_DEG;
    let apart = (PLACES_APART.0 * width_px).max(PLACES_APART.1);
    let places = (CROSSES_WITHIN * length / apart).ceil() as i32;
    let arm_at = |turn: u32| -> Option<(f64, Vector)> {
        let (sin, cos) = f64::from(turn).to_radians().sin_cos();
        let arm = frame.along * cos + frame.across() * sin;
        let across = Vector::new(-arm.y, arm.x);
        let near = aside / sin;
        let count = ((ARM * length - near) / STEP_PX).floor();
        if count < FEWEST as f64 {
            return None;
        }
        // How dark a half of the arm is, where it is dark for long enough.
        let half = |from: &PixelPoint, sign: f64| -> Option<f64> {
            let places = (0..=count as u32).map(|k| from + arm * (sign * (near + f64::from(k) * STEP_PX)));
            let depths: Vec<f64> = places.map(|place| depth(place, &across).unwrap_or(0.0)).collect();
            let dark = depths.iter().filter(|depth| **depth > DEPTH * own).count() as f64;
            (dark >= SHARE * depths.len() as f64).then(|| depths.iter().sum::<f64>() / depths.len() as f64)
        };
        let darkest = (-places..=places)
            .map(|k| frame.middle + frame.along * (f64::from(k) * apart))
            .filter_map(|at| Some(half(&at, 1.0)? + half(&at, -1.0)?))
            .max_by(f64::total_cmp);
        darkest.map(|darkest| (darkest, arm))
    };
    let arms = (first..=last).step_by(step as usize).filter_map(arm_at);
    arms.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, arm)| arm)
}

/// Whether what looks like a dot has arms: a small cross.
///
/// - `frame`: of its outline
/// - `channel`: as for [`crossing`]
pub(super) fn has_arms(picture: &Picture, frame: &Frame, channel: usize) -> bool {
    let light = |place: PixelPoint| polar::sample(picture, &place).map(|value| f64::from(value[channel]));
    let radius = ARMS_AT * (frame.size[0] + frame.size[1]) / 4.0;
    let around: Option<Vec<f64>> = (0..DIRECTIONS)
        .map(|k| {
            let (sin, cos) = (k as f64 / DIRECTIONS as f64 * std::f64::consts::TAU).sin_cos();
            light(frame.middle + Vector::new(cos, sin) * radius)
        })
        .collect();
    let (Some(around), Some(middle)) = (around, light(frame.middle)) else { return false };
    let Some(ground) = median(around.clone()).filter(|ground| *ground > 0.0) else { return false };
    let own = 1.0 - middle / ground;
    let dark = |k: usize| {
        let [left, right] = [BESIDE, DIRECTIONS - BESIDE].map(|step| around[(k + step) % DIRECTIONS]);
        1.0 - around[k % DIRECTIONS] / left.min(right).max(1e-3) > DEPTH * own
    };
    own > 0.0 && (0..DIRECTIONS).filter(|k| dark(*k) && !dark(k + 1)).count() >= LEAST_ARMS
}
