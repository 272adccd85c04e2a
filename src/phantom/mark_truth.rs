//! What a perfect reader would measure of a drawn reference mark's form.

use super::marks::Ink;
use super::scene::{ReferenceMark, ReferenceMarkKind};
use super::view::View;
use crate::geometry::{Vector, direction_difference};
use serde::{Deserialize, Serialize};

/// Lines across a mark, and samples of each.
const LINES: i32 = 161;
const SAMPLES: i32 = 401;
/// Part of an elongated mark's length over which its width is averaged, and of a round one's.
const WIDTH_OVER: f64 = 0.8;
const ROUND_OVER: f64 = 0.25;

/// Form of one reference mark, in the eye.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MarkTruth {
    /// Meridian of its ink's centroid, degrees in the eye's notation, [0, 360).
    pub meridian_deg: f64,
    /// Centroid of its ink, px.
    pub center_px: [f64; 2],
    /// Length from end to end, mm.
    pub length_mm: f64,
    /// Width between the places of half opacity, mm: mean over the middle part.
    pub width_mm: f64,
    /// Lean of its ink's middle line from the radial direction, degrees counter-clockwise; `None` for what is round.
    pub lean_deg: Option<f64>,
}

/// The form of a mark; `None` where it has no ink.
pub(super) fn form(mark: &ReferenceMark, view: &View) -> Option<MarkTruth> {
    let ink = Ink::new(mark);
    let centroid = ink.centroid();
    let degrees = |v: &Vector| v.y.atan2(v.x).to_degrees();
    let round = matches!(mark.kind, ReferenceMarkKind::Dot | ReferenceMarkKind::Blot);
    let meridian = degrees(&centroid);
    let drawn = mark.meridian_deg + mark.lean_deg;
    // The hand is not straight: the middle line is that of the ink, laid by least squares.
    let slope = if round { 0.0 } else { middle_line(&ink, drawn)? };
    let own = if round { meridian } else { drawn + slope.atan().to_degrees() };
    let length_r = if round { span(&ink, &centroid, meridian)? } else { mark.outer_r - mark.inner_r };
    let over = if round { ROUND_OVER } else { WIDTH_OVER } * length_r / 2.0;
    let middle = if round { centroid } else { ink.middle() };
    let direction = unit(own);
    let spans: Vec<f64> = (0..LINES)
        .filter_map(|k| {
            let s = over * (2.0 * f64::from(k) / f64::from(LINES - 1) - 1.0);
            span(&ink, &(middle + direction * s), own + 90.0)
        })
        .collect();
    let width_r = spans.iter().sum::<f64>() / spans.len() as f64;
    let center = view.picture_of(&centroid);
    width_r.is_finite().then(|| MarkTruth {
        meridian_deg: meridian.rem_euclid(360.0),
        center_px: [center.x, center.y],
        length_mm: length_r * view.mm_per_radius(),
        width_mm: width_r * view.mm_per_radius(),
        lean_deg: (!round).then(|| direction_difference(meridian, own)),
    })
}

fn unit(degrees: f64) -> Vector {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Vector::new(cos, sin)
}

/// Opacities on a line through `at` along `degrees`, each with its place.
fn line<'a>(ink: &'a Ink, at: &'a Vector, degrees: f64) -> impl Iterator<Item = (f64, f64)> + 'a {
    let (direction, reach) = (unit(degrees), ink.reach() * 1.2);
    (0..SAMPLES).map(move |k| {
        let n = reach * (2.0 * f64::from(k) / f64::from(SAMPLES - 1) - 1.0);
        (n, ink.opacity(&(at + direction * n)))
    })
}

/// From the first to the last place of half the greatest opacity on a line; `None` where there is hardly any ink.
fn span(ink: &Ink, at: &Vector, degrees: f64) -> Option<f64> {
    let samples: Vec<(f64, f64)> = line(ink, at, degrees).collect();
    let half = samples.iter().map(|s| s.1).fold(0.0, f64::max) / 2.0;
    if half < 0.02 {
        return None;
    }
    let between = |a: (f64, f64), b: (f64, f64)| a.0 + (b.0 - a.0) * (half - a.1) / (b.1 - a.1);
    let first = samples.windows(2).find(|w| w[0].1 < half && w[1].1 >= half)?;
    let last = samples.windows(2).rev().find(|w| w[0].1 >= half && w[1].1 < half)?;
    Some(between(last[0], last[1]) - between(first[0], first[1]))
}

/// Slope against `degrees` of the line through the middles of the ink, by least squares weighted by ink.
fn middle_line(ink: &Ink, degrees: f64) -> Option<f64> {
    let (direction, reach) = (unit(degrees), ink.reach());
    let mut sums = [0.0; 5];
    for k in 0..LINES {
        let s = reach * (2.0 * f64::from(k) / f64::from(LINES - 1) - 1.0);
        let at = ink.middle() + direction * s;
        for (n, opacity) in line(ink, &at, degrees + 90.0) {
            for (sum, value) in sums.iter_mut().zip([1.0, s, n, s * s, s * n]) {
                *sum += opacity * value;
            }
        }
    }
    let [total, s, n, ss, sn] = sums;
    let spread = ss - s * s / total;
    (total > 0.0 && spread > 0.0).then(|| (sn - s * n / total) / spread)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::{Scene, Wanted};

    fn plain(kind: ReferenceMarkKind, lean_deg: f64) -> ReferenceMark {
        let scene = (0..).map(|k| Scene::random(1, k, &Wanted::default())).find(|s| !s.reference_marks.is_empty());
        ReferenceMark {
            meridian_deg: 30.0,
            kind,
            inner_r: 0.9,
            outer_r: 1.1,
            width_r: [0.06, 0.06],
            lean_deg,
            softness_r: 0.004,
            opacity: 0.8,
            fading: 0.0,
            broken: 0.0,
            ..scene.unwrap().reference_marks[0].clone()
        }
    }

    /// By the parameters: a dot is as wide as it was drawn; a stroke's width and lean stray by what the hand adds, an eighth
    /// of the width and a few degrees at most.
    #[test]
    fn form_follows_the_parameters() {
        let mut scene = Scene::random(1, 0, &Wanted::default());
        scene.view.white_to_white_mm = 12.0;
        let view = View::new(&scene.view).unwrap();
        let dot = form(&plain(ReferenceMarkKind::Dot, 0.0), &view).unwrap();
        assert!((dot.length_mm - 0.36).abs() < 0.003 && (dot.width_mm - 0.36).abs() < 0.006, "{dot:?}");
        assert!((dot.meridian_deg - 30.0).abs() < 0.02 && dot.lean_deg.is_none());
        let stroke = form(&plain(ReferenceMarkKind::Stroke, 9.0), &view).unwrap();
        assert!((stroke.length_mm - 1.2).abs() < 1e-9);
        assert!((stroke.width_mm / 0.36 - 1.0).abs() < 0.13, "{stroke:?}");
        assert!((stroke.lean_deg.unwrap() - 9.0).abs() < 3.0, "{stroke:?}");
    }
}
