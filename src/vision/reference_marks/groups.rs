//! Regions that make up one mark: blots of a stroke that come apart, the lines of a double one.

use super::blob::Blob;
use super::ring::Ring;
use super::{likeness, network, profile};

/// Largest gap along the ray, limbus radii.
const GAP: f64 = 0.09;
/// Largest distance between the lines of a double mark, in widths, and in limbus radii: farther aside stands an iris hook.
const LINES_APART: (f64, f64) = (5.5, 0.10);
/// Least share of the shorter of two lines that lies beside the other.
const BESIDE: f64 = 0.7;
/// Largest ratio of the contrasts of parts: the ground differs on both sides of the limbus.
const CONTRASTS: f64 = 2.2;
/// Largest ratio of the lengths of two lines.
const LENGTHS: f64 = 1.6;
/// Largest distance between the colours, as directions of absorbance: ink and blood are about 0.7 apart, one ink on
/// iris and on sclera up to 0.5.
const COLOUR: f64 = 0.6;
/// Most parts of one mark.
const MOST_PARTS: usize = 6;
/// What a whole may be worth less than its worse part: two alike and side by side are no two marks.
const WHOLE: f64 = 0.5;
/// The same of two that begin and end together, are equally dark and could each be a mark: one stroke of a double mark is drawn as
/// the other is, and chance seldom puts two such side by side.
const TWINS: f64 = 1.5;
/// Farthest that the ends of twins lie apart, share of their length; largest ratio of their contrasts; least worth of each.
const TWIN_ENDS: f64 = 0.15;
const TWIN_CONTRASTS: f64 = 1.4;
const TWIN_WORTH: f64 = 0.0;
/// What it may be worth less than its better part: what is a mark by itself is not spoilt by what stands near it.
const SPOILT: f64 = 2.0;
/// The same of two in a row at a second look, which tells a dot with a shade of the iris before it from a bar. (Of double lines it
/// knows one better than both.)
const SPOILT_AT_SECOND_LOOK: f64 = 3.0;
/// Share of the smaller of two regions above which they are one and the same.
const SHARED: f64 = 0.3;
/// Worth below which a region is no part of a mark. Low, as the parts stand in one another's ground.
const HOPELESS: f64 = -8.0;

/// Put together what is better explained as one mark than as several.
pub(super) fn united(ring: &Ring, blobs: Vec<Blob>) -> Vec<Blob> {
    let valued = |b: Blob| {
        let worth = likeness::worth(&likeness::traits(ring, &b)?);
        (worth > HOPELESS).then_some((b, worth))
    };
    let blobs = distinct(ring, blobs.into_iter().filter_map(valued).collect());
    distinct(ring, joined(ring, blobs)).into_iter().map(|b| b.0).collect()
}

/// The better of each two that share their place.
fn distinct(ring: &Ring, mut blobs: Vec<(Blob, f64)>) -> Vec<(Blob, f64)> {
    blobs.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut kept: Vec<(Blob, f64)> = Vec::new();
    for blob in blobs {
        if kept.iter().all(|k| shared(ring, &k.0, &blob.0) < SHARED) {
            kept.push(blob);
        }
    }
    kept
}

/// Share of the smaller region's box that lies in the other's.
fn shared(ring: &Ring, a: &Blob, b: &Blob) -> f64 {
    let rows = a.rows[1].min(b.rows[1]) as f64 - a.rows[0].max(b.rows[0]) as f64 + 1.0;
    let columns = (a.width + b.width) / 2.0 - ring.columns_apart(a.axis, b.axis);
    let area = |b: &Blob| b.length() * b.width;
    rows.max(0.0) * columns.clamp(0.0, a.width.min(b.width)) / area(a).min(area(b))
}

fn joined(ring: &Ring, mut blobs: Vec<(Blob, f64)>) -> Vec<(Blob, f64)> {
    let mut i = 0;
    while i < blobs.len() {
        let chain = linked(ring, &blobs, i);
        let pairs = chain[1..].iter().map(|j| vec![i, *j]);
        let whole = std::iter::once(chain.clone()).chain(pairs).filter(|set| set.len() > 1).find_map(|set| {
            let parts: Vec<&Blob> = set.iter().map(|k| &blobs[*k].0).collect();
            let worths = set.iter().map(|k| blobs[*k].1);
            let (worst, best) = (worths.clone().fold(f64::INFINITY, f64::min), worths.fold(f64::MIN, f64::max));
            let whole = Blob::united(ring, &parts)?;
            let worth = likeness::worth(&likeness::traits(ring, &whole)?);
            let twins = worst > TWIN_WORTH && matches!(parts[..], [a, b] if are_twins(ring, a, b));
            let less = if twins { TWINS } else { WHOLE };
            let spoilt = matches!(parts[..], [a, b] if in_a_row(ring, a, b) && is_spoilt(ring, &whole, [a, b]));
            (worth > (worst - less).max(best - SPOILT) && !spoilt).then_some((set, whole, worth))
        });
        match whole {
            Some((set, whole, worth)) => {
                let mut k = 0;
                blobs.retain(|_| {
                    k += 1;
                    !set.contains(&(k - 1))
                });
                blobs.push((whole, worth));
                // What was passed over may belong to the whole.
                i = 0;
            }
            None => i += 1,
        }
    }
    blobs
}

/// Whether a whole is worth far less at a second look than its better part.
fn is_spoilt(ring: &Ring, whole: &Blob, parts: [&Blob; 2]) -> bool {
    let odds = |b: &Blob| {
        likeness::traits(ring, b).map_or(f64::MIN, |traits| network::log_odds(&traits, &profile::of(ring, b)))
    };
    odds(whole) <= parts.map(odds).into_iter().fold(f64::MIN, f64::max) - SPOILT_AT_SECOND_LOOK
}

/// `start` and what hangs together with it, by index.
fn linked(ring: &Ring, blobs: &[(Blob, f64)], start: usize) -> Vec<usize> {
    let mut chain = vec![start];
    let mut next = 0;
    while next < chain.len() && chain.len() < MOST_PARTS {
        let here = &blobs[chain[next]].0;
        let further = (0..blobs.len()).filter(|k| !chain.contains(k));
        let further: Vec<usize> =
            further.filter(|k| in_a_row(ring, here, &blobs[*k].0) || side_by_side(ring, here, &blobs[*k].0)).collect();
        chain.extend(further);
        next += 1;
    }
    chain.truncate(MOST_PARTS);
    chain
}

fn alike(a: &Blob, b: &Blob) -> bool {
    let colour = |b: &Blob| nalgebra::Vector3::from(b.absorbance).normalize();
    let ratio = (a.contrast / b.contrast).max(b.contrast / a.contrast);
    ratio < CONTRASTS && (colour(a) - colour(b)).norm() < COLOUR
}

/// One beyond the other on the ray.
fn in_a_row(ring: &Ring, a: &Blob, b: &Blob) -> bool {
    let (inner, outer) = if a.rows[0] <= b.rows[0] { (a, b) } else { (b, a) };
    let gap = (outer.rows[0] as f64 - inner.rows[1] as f64) * ring.rho_step;
    let aside = ring.columns_apart(outer.axis, inner.axis);
    (-GAP / 2.0..GAP).contains(&gap) && aside < a.width.max(b.width) * 0.75 + 1.0 && alike(a, b)
}

/// One beside the other.
fn side_by_side(ring: &Ring, a: &Blob, b: &Blob) -> bool {
    let shared = a.rows[1].min(b.rows[1]) as f64 - a.rows[0].max(b.rows[0]) as f64 + 1.0;
    let shorter = a.length().min(b.length());
    let aside = ring.columns_apart(a.axis, b.axis);
    let width = a.width.max(b.width);
    shared > BESIDE * shorter
        && a.length().max(b.length()) < LENGTHS * shorter
        && aside < LINES_APART.0 * width
        && aside * ring.rho_step < LINES_APART.1
        && alike(a, b)
}

/// Whether two lines side by side are as like as the lines of a double mark.
fn are_twins(ring: &Ring, a: &Blob, b: &Blob) -> bool {
    let ends = TWIN_ENDS * a.length().max(b.length());
    let together = |end: usize| a.rows[end].abs_diff(b.rows[end]) as f64 <= ends;
    let contrasts = (a.contrast / b.contrast).max(b.contrast / a.contrast);
    side_by_side(ring, a, b) && together(0) && together(1) && contrasts < TWIN_CONTRASTS
}
