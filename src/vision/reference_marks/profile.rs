//! What a candidate looks like along and across its axis, for the network.

use super::blob::Blob;
use super::patch::Frame;
use super::ring::Ring;

/// Places along the candidate, and steps looked at beyond each of its ends.
const INSIDE: usize = 10;
const BEYOND: usize = 7;
/// Length of such a step, limbus radii.
const STEP: f64 = 0.02;
/// Places across on each side of the axis, and their distance: share of the width, but a column at least.
const ASIDE: usize = 8;
const ASIDE_STEP: f64 = 0.25;
/// Contrast, in terms of that of the candidate, that nothing counts beyond: a bubble at its end spoils one number.
const LIMIT: f64 = 2.0;
/// Least norm of the absorbance of anything definite.
const LEAST_ABSORBANCE: f64 = 0.03;

const ALONG: usize = INSIDE + 2 * BEYOND;
const ACROSS: usize = 1 + 2 * ASIDE;
/// Channels looked at along, and across: blue is the noisiest, and mostly says what green does.
const ALONG_CHANNELS: usize = 3;
const ACROSS_CHANNELS: usize = 2;
/// Numbers of a profile.
pub const COUNT: usize = ALONG_CHANNELS * ALONG + ACROSS_CHANNELS * ACROSS;

/// Contrast against the ground on both sides (natural logarithm, darker is positive) over the norm of the candidate's
/// absorbance; 0 where nothing is known.
///
/// First along the axis, in red, green and blue, from 0.14 limbus radii within the inner end to as much beyond the outer one.
/// Then across it, in red and green, over all its rows: on the axis; the mean of both sides going outwards; their
/// difference without its sign, so that a mirror image has the same profile.
pub type Profile = [f32; COUNT];

/// The profile of a region.
pub(super) fn of(ring: &Ring, blob: &Blob) -> Profile {
    let mut profile = [0.0; COUNT];
    let norm = blob.absorbance.iter().map(|a| a * a).sum::<f64>().sqrt().max(LEAST_ABSORBANCE);
    let shown = |sum: f64, count: f64| if count > 0.0 { (sum / count / norm).clamp(-LIMIT, LIMIT) as f32 } else { 0.0 };
    let frame = Frame::along(blob);
    let [first, last] = blob.rows;
    let margin = (BEYOND as f64 * STEP / ring.rho_step).ceil() as usize;
    let window = [first.saturating_sub(margin), (last + margin).min(ring.rows - 1)];
    // Place along of a row, if any.
    let place = |row: usize| {
        let beyond = |rows: usize| ((rows as f64 - 0.5) * ring.rho_step / STEP) as usize;
        match row {
            r if r < first => BEYOND.checked_sub(1 + beyond(first - r)),
            r if r > last => Some(BEYOND + INSIDE + beyond(r - last)).filter(|k| *k < ALONG),
            r => Some(BEYOND + (r - first) * INSIDE / (last - first + 1)),
        }
    };
    let half = (blob.width / 4.0).max(0.5);
    let aside = (ASIDE_STEP * blob.width).max(1.0);
    for channel in 0..ALONG_CHANNELS {
        let grounds = frame.grounds(ring, channel, window);
        let contrast = |row: usize, from: f64, to: f64| {
            let (level, tilt) = grounds[row - window[0]]?;
            let middle = frame.column(row);
            let (mut sum, mut count) = (0.0, 0.0);
            for column in (middle + from).round() as isize..=(middle + to).round() as isize {
                let at = ring.at(row, column);
                if ring.lit[at] {
                    sum += f64::from(level + tilt * (column as f64 - middle) as f32 - ring.log[channel][at]);
                    count += 1.0;
                }
            }
            (count > 0.0).then(|| sum / count)
        };
        let mut along = [(0.0, 0.0); ALONG];
        for row in window[0]..=window[1] {
            if let (Some(k), Some(value)) = (place(row), contrast(row, -half, half)) {
                along[k].0 += value;
                along[k].1 += 1.0;
            }
        }
        fill_short(&mut along);
        for (to, (sum, count)) in profile[channel * ALONG..].iter_mut().zip(along) {
            *to = shown(sum, count);
        }
        if channel >= ACROSS_CHANNELS {
            continue;
        }
        let across = |offset: f64| {
            let values = (first..=last).filter_map(|row| contrast(row, offset, offset));
            let (sum, count) = values.fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
            shown(sum, count)
        };
        let to = &mut profile[ALONG_CHANNELS * ALONG + channel * ACROSS..][..ACROSS];
        to[0] = across(0.0);
        for k in 0..ASIDE {
            let offset = (k + 1) as f64 * aside;
            let (left, right) = (across(-offset), across(offset));
            to[1 + k] = (left + right) / 2.0;
            to[1 + ASIDE + k] = (left - right).abs();
        }
    }
    profile
}

/// Give the places inside that a short candidate has no row for what the place before has.
fn fill_short(along: &mut [(f64, f64); ALONG]) {
    for k in BEYOND + 1..BEYOND + INSIDE {
        if along[k].1 == 0.0 {
            along[k] = along[k - 1];
        }
    }
}
