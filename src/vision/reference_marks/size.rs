//! Width, length and direction of a mark to a fraction of a pixel, with their uncertainties.
//!
//! What chooses the marks works on a coarse ring and on outlines. Here a mark that was chosen is looked at once more, in
//! the picture itself and in its own frame: its axis by least squares through the middles of its lines, its width and
//! length as those of a bar with soft edges (`bar_fit`). The angles that are reported do not rest on any of this.

use super::MarkFinding;
use super::bar_fit::{self, Expected};
use super::strip::{Frame, STEP_PX, Samples, Strip, Tone, median};
use crate::geometry::{Ellipse, Vector};
use crate::vision::Picture;

/// Part of an elongated mark's length over which its width is averaged, about its middle; the ends may be round.
const WIDTH_OVER: f64 = 0.8;
/// Part of a dot's length over which its width is averaged, and of the width over which any mark's length is.
const CORE: f64 = 0.25;
/// sd of the blur of an edge that is expected, px, and sd of its natural logarithm: microscope cameras in focus blur by 0.5 to
/// 1.5 px (common practice), compression and sampling add some.
const SOFTNESS: (f64, f64) = (1.1, 0.5);
/// The same of an end: hands lift a pen as they please.
const END_SOFTNESS: (f64, f64) = (1.6, 0.9);
/// sd of the change of a mark's depth from end to end, share of it: the ground and the ink change.
const FADING_SD: f64 = 0.7;
/// What counts as more of a mark beyond an end: within so much of its length, clear of the end by so many times its softness,
/// darker than so much of its depth, and over so much of its length (and its width at least).
const MORE_WITHIN: f64 = 0.8;
const CLEAR_OF_AN_END: f64 = 2.5;
const LIKE_IT: f64 = 0.5;
const LEAST_MORE: f64 = 0.15;
/// Part of the length over which its axis is laid.
const AXIS_OVER: f64 = 0.9;
/// Passes of axis and size, each in the frame of the one before.
const PASSES: usize = 3;
/// Side of the blocks of a compressed still, px (JPEG).
const BLOCK_PX: f64 = 8.0;
/// The channel that marks are measured in. Red, which ink takes everywhere: on a dark iris blue ink is brighter than its
/// ground in the other two.
const RED: usize = 0;

/// A value with its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// What a mark measures in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkSize {
    /// Its own direction (unit, y down, outwards); the radial one for a dot.
    pub along: Vector,
    /// Standard deviation of that direction, degrees; `None` for a dot.
    pub along_sd_deg: Option<f64>,
    /// Length along it between the places of half depth, px. `None` where it has no two ends, or more of it lies beyond
    /// one.
    pub length_px: Option<Measured>,
    /// Width across it between the places of half depth, px: the mean over its middle part. `None` where it is no single bar.
    pub width_px: Option<Measured>,
    /// 1 - mark / ground of the channel that shows it best, over its core: half its width, the middle part of its length.
    pub contrast: Option<Measured>,
}

/// Measure a mark that was found about `limbus`.
pub fn measure_size(picture: &Picture, limbus: &Ellipse, mark: &MarkFinding) -> MarkSize {
    let radial = (mark.centroid - limbus.center()).try_normalize(0.0).unwrap_or_else(Vector::x);
    let along = mark.direction.map_or(radial, |(own, _)| own);
    let mut frame = Frame { middle: mark.centroid, along, size: [mark.length_px.max(2.0), mark.width_px.max(1.5)] };
    let mut along_sd_deg = None;
    if mark.direction.is_some() {
        for _ in 0..PASSES {
            let strip = Samples::take(picture, &frame, RED).strip(Tone::Linear);
            let Some(axis) = straightened(&strip, &frame) else { break };
            frame.middle += frame.across() * axis.offset_px;
            frame.along = (frame.along + frame.across() * axis.slope).normalize();
            along_sd_deg = Some(axis.slope_sd.atan().to_degrees());
        }
    }
    let red = Samples::take(picture, &frame, RED);
    let strips = [Tone::Linear, Tone::AsStored].map(|tone| red.strip(tone));
    let both = |of: &dyn Fn(&Strip) -> Option<bar_fit::Bar>| -> Option<Measured> {
        let (linear, stored) = (of(&strips[0])?, of(&strips[1])?);
        // The recorder's tone curve is not known: what it could do to the place of an edge belongs in the sd.
        let tone = (linear.width - stored.width) / 2.0;
        Some(Measured { value: linear.width, sd: linear.width_sd.hypot(tone) })
    };
    let round = mark.direction.is_none();
    let bar = both(&|strip| width(strip, &frame, round));
    let simple = mark.crossed.is_none() && mark.beside_deg == 0.0 && (round || is_single_bar(&strips[0], &frame));
    MarkSize {
        along: mark.crossed.map_or(frame.along, |lines| between(&lines[0], &lines[1], &radial)),
        along_sd_deg: along_sd_deg.filter(|_| simple),
        length_px: both(&|strip| length(strip, &frame).filter(|bar| !goes_on(picture, &frame, bar))).filter(|_| simple),
        width_px: bar.filter(|_| simple),
        contrast: contrast(picture, &frame, mark),
    }
}

fn width(strip: &Strip, frame: &Frame, round: bool) -> Option<bar_fit::Bar> {
    let over = if round { CORE } else { WIDTH_OVER } * frame.size[0] / 2.0;
    width_between(strip, frame, [-over, over])
}

/// The direction halfway between two lines that is nearer to `radial`, outwards.
fn between(a: &Vector, b: &Vector, radial: &Vector) -> Vector {
    let halfway = [a + b, a - b].map(|sum| sum.normalize());
    let nearer = if halfway[0].dot(radial).abs() > halfway[1].dot(radial).abs() { halfway[0] } else { halfway[1] };
    nearer * nearer.dot(radial).signum()
}

/// Whether a mark is one bar all along: crossed lines part towards their ends, and one beside another leaves a gap.
fn is_single_bar(strip: &Strip, frame: &Frame) -> bool {
    let over = WIDTH_OVER * frame.size[0] / 2.0;
    let thirds = [-1.0, -1.0 / 3.0, 1.0 / 3.0].map(|from| [from * over, (from + 2.0 / 3.0) * over]);
    let [inner, middle, outer] = thirds.map(|third| width_between(strip, frame, third));
    let (Some(inner), Some(middle), Some(outer)) = (inner, middle, outer) else { return false };
    // Half as wide again, and what noise and softness make of it.
    let parts = |end: bar_fit::Bar| end.width - 1.5 * middle.width > 2.0 * end.width_sd.hypot(1.5 * middle.width_sd);
    !(parts(inner) && parts(outer))
}

fn width_between(strip: &Strip, frame: &Frame, [from, to]: [f64; 2]) -> Option<bar_fit::Bar> {
    let width = frame.size[1];
    let (positions, depths) = strip.across(|place| (from..=to).contains(&place));
    let lines = strip.places.iter().filter(|p| (from..=to).contains(*p)).count();
    let expected = Expected {
        edges: [-width / 2.0, width / 2.0],
        height: typical_depth(&positions, &depths, width / 4.0)?,
        softness: SOFTNESS,
        slope_sd: 0.0,
    };
    bar_fit::fit(&positions, &depths, strip.noise / independent(lines), &expected)
}

fn length(strip: &Strip, frame: &Frame) -> Option<bar_fit::Bar> {
    let [length, width] = frame.size;
    let over = (CORE * width).max(2.0 * STEP_PX);
    let (positions, depths) = strip.along(|offset| offset.abs() <= over);
    let columns = strip.offsets.iter().filter(|n| n.abs() <= over).count();
    let expected = Expected {
        edges: [-length / 2.0, length / 2.0],
        height: typical_depth(&positions, &depths, length / 4.0)?,
        softness: END_SOFTNESS,
        slope_sd: FADING_SD,
    };
    bar_fit::fit(&positions, &depths, strip.noise / independent(columns), &expected)
}

/// Whether more of a mark lies beyond one of its ends: a line that is broken is one line, and how far it reaches is not known.
///
/// - `bar`: the mark along its axis
fn goes_on(picture: &Picture, frame: &Frame, bar: &bar_fit::Bar) -> bool {
    let [length, width] = frame.size;
    let longer = Frame { size: [length * (1.0 + 2.0 * MORE_WITHIN), width], ..*frame };
    let strip = Samples::take(picture, &longer, RED).strip(Tone::Linear);
    let (positions, depths) = strip.along(|offset| offset.abs() <= (CORE * width).max(2.0 * STEP_PX));
    let clear_of = CLEAR_OF_AN_END * bar.softness;
    let [first, second] = [bar.edges[0] - clear_of, bar.edges[1] + clear_of];
    let like_it = |depth: &f64| *depth > LIKE_IT * bar.height;
    let longest_run = |side: &dyn Fn(f64) -> bool| {
        let side: Vec<bool> =
            positions.iter().zip(&depths).filter(|(x, _)| side(**x)).map(|(_, depth)| like_it(depth)).collect();
        side.split(|like| !like).map(<[bool]>::len).max().unwrap_or(0)
    };
    let longest = longest_run(&|x| x < first).max(longest_run(&|x| x > second));
    longest as f64 * STEP_PX >= width.max(LEAST_MORE * length)
}

/// Root of the number of samples in a row of `count` that do not share their pixels.
fn independent(count: usize) -> f64 {
    (count as f64 * STEP_PX).max(1.0).sqrt()
}

fn typical_depth(positions: &[f64], depths: &[f64], within: f64) -> Option<f64> {
    let inside = positions.iter().zip(depths).filter(|(x, _)| x.abs() <= within.max(STEP_PX)).map(|(_, d)| *d);
    median(inside.collect()).filter(|depth| *depth > 0.0)
}

/// A mark's axis in the frame it was looked at in.
struct Axis {
    offset_px: f64,
    slope: f64,
    slope_sd: f64,
}

/// The line through the middles of the lines across a mark, each weighted by how much ink it has.
fn straightened(strip: &Strip, frame: &Frame) -> Option<Axis> {
    let [length, width] = frame.size;
    let reach = 0.75 * width + 1.5;
    let mut rows: Vec<[f64; 3]> = Vec::new();
    for (line, place) in strip.places.iter().enumerate().filter(|(_, p)| p.abs() <= AXIS_OVER * length / 2.0) {
        let (mut ink, mut moment) = (0.0, 0.0);
        for (k, offset) in strip.offsets.iter().enumerate().filter(|(_, n)| n.abs() <= reach) {
            let depth = strip.at(line, k);
            if depth.is_finite() {
                ink += depth;
                moment += depth * offset;
            }
        }
        rows.push([*place, ink, moment]);
    }
    let typical = median(rows.iter().map(|r| r[1]).collect()).filter(|ink| *ink > 0.0)?;
    rows.retain(|r| r[1] > 0.3 * typical);
    let weight: f64 = rows.iter().map(|r| r[1]).sum();
    let mean_place = rows.iter().map(|r| r[1] * r[0]).sum::<f64>() / weight;
    let mean_offset = rows.iter().map(|r| r[2]).sum::<f64>() / weight;
    let spread: f64 = rows.iter().map(|r| r[1] * (r[0] - mean_place).powi(2)).sum();
    if rows.len() < 6 || spread <= 0.0 {
        return None;
    }
    let slope = rows.iter().map(|r| (r[0] - mean_place) * r[2]).sum::<f64>() / spread;
    let rest: Vec<f64> = rows.iter().map(|r| r[2] / r[1] - mean_offset - slope * (r[0] - mean_place)).collect();
    let variance = rest.iter().map(|r| r * r).sum::<f64>() / (rows.len() as f64 - 2.0);
    let places: f64 = rows.iter().map(|r| (r[0] - mean_place).powi(2)).sum();
    Some(Axis {
        offset_px: mean_offset - slope * mean_place,
        slope,
        slope_sd: (variance * bar_fit::shared_noise(&rest) / places).sqrt(),
    })
}

/// The ground under a mark is taken from both its sides: how much these differ, from line to line, says how far off it may
/// be. A side alone has twice the variance of half the difference, the ground under the mark that of a side, and the mean
/// of two sides half of it: three times that of half the difference in all.
fn contrast(picture: &Picture, frame: &Frame, mark: &MarkFinding) -> Option<Measured> {
    let strongest = (0..3).max_by(|a, b| mark.absorbance[*a].total_cmp(&mark.absorbance[*b]))?;
    let strip = Samples::take(picture, frame, strongest).strip(Tone::AsStored);
    let over = if mark.direction.is_some() { WIDTH_OVER } else { CORE } * frame.size[0] / 2.0;
    let (offsets, depths) = strip.across(|place| place.abs() <= over);
    let within = |reach: f64| -> Option<f64> {
        let core: Vec<f64> =
            offsets.iter().zip(&depths).filter(|(n, _)| n.abs() <= reach).map(|(_, depth)| *depth).collect();
        (!core.is_empty()).then(|| core.iter().sum::<f64>() / core.len() as f64)
    };
    let half = CORE * frame.size[1];
    let depth = within(half)?;
    // In a thin mark there is no core that blur has left alone: what half a pixel more or less would show.
    let blurred = within(half + 0.5)? - depth;
    let inside = strip.places.iter().zip(&strip.uneven).filter(|(p, _)| p.abs() <= over.max(2.0));
    let halves: Vec<f64> = inside.filter_map(|(_, u)| *u).collect();
    if halves.len() < 3 {
        return None;
    }
    let squares = halves.iter().map(|h| h * h).sum::<f64>() / halves.len() as f64;
    // Compressed stills share their error over blocks, however little the lines seem to have in common.
    let blocks = (halves.len() as f64 * STEP_PX / BLOCK_PX).max(1.0);
    let shared = (bar_fit::shared_noise(&halves) / halves.len() as f64).clamp(1.0 / blocks, 1.0);
    let ground = (1.0 - depth) * (3.0 * squares * shared).sqrt();
    let noise = strip.noise / blocks.sqrt();
    Some(Measured { value: depth, sd: noise.hypot(ground).hypot(blurred) })
}
