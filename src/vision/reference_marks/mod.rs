//! Finding the reference marks on the limbus.
//!
//! The neighbourhood of the limbus is unrolled into a ring; places darker than both their sides in the red channel
//! (which ink takes and blood leaves) are grown into regions at half contrast; each region is held against an ideal
//! mark. [`choose`] then looks for the set of regions that stand as the marks are said to stand.

use crate::geometry::{Ellipse, Matrix, PixelPoint, Vector};
use crate::vision::Picture;

mod axis_fit;
mod bar_fit;
mod beside;
mod blob;
pub mod choose;
mod cross_fit;
mod finding;
mod groups;
mod ink_centroid;
pub mod likeness;
mod line_sums;
mod network;
// Fitted weights that happen to look like a constant are none.
#[allow(clippy::approx_constant)]
mod network_weights;
mod patch;
pub mod profile;
mod ring;
mod seeds;
pub mod size;
mod strip;
#[cfg(test)]
mod tests;

/// A candidate for a reference mark.
#[derive(Clone, Debug)]
pub struct MarkFinding {
    /// Centroid, px.
    pub centroid: PixelPoint,
    /// Covariance of the centroid, px^2.
    pub covariance: Matrix,
    /// Own direction of an elongated mark (unit, y down, pointing outwards) with its sd in degrees; `None` for a dot.
    pub direction: Option<(Vector, f64)>,
    /// Full length along the radial direction, px (at the fitted limbus's local scale).
    pub length_px: f64,
    /// Full width across, px.
    pub width_px: f64,
    /// How far it stands out from its ground: 1 - mark / ground of the channel that shows it best; negative where brighter.
    pub contrast: f64,
    /// Mean of ground - mark in natural logarithms of red, green and blue: its colour, whatever the light.
    pub absorbance: [f64; 3],
    /// Inner and outer end, in radii of the fitted limbus.
    pub extent: [f64; 2],
    /// Directions (unit, y down) of the two lines of a crossed mark; `None` where it is none.
    pub crossed: Option<[Vector; 2]>,
    /// How far beside its axis a line like it stands, which may be the other half of a double mark: degrees; 0 where none does.
    pub beside_deg: f64,
    /// How it departs from an ideal mark.
    pub traits: likeness::Traits,
    /// What it looks like along and across its axis.
    pub profile: profile::Profile,
    /// How much it is like a mark and unlike a vessel, bubble, instrument or lash, by itself, at first look: by its traits
    /// alone; log odds up to a constant.
    pub first_odds: f64,
    /// The same at a second look, by traits and profile: what [`choose::choose`] goes by.
    pub odds: f64,
}

/// Candidates for reference marks near `limbus`, the best first.
///
/// `limbus` may be off by some 10 % of its radius. What is clearly something else is left out, but most of what is
/// returned in a still without marks is not a mark: see [`choose::choose`].
pub fn find_reference_marks(picture: &Picture, limbus: &Ellipse) -> Vec<MarkFinding> {
    let ring = ring::Ring::sample(picture, limbus);
    let mut blobs: Vec<blob::Blob> = Vec::new();
    for seed in seeds::find(&ring) {
        // Where a region has run off with its ground, a mark may still grow from another place.
        if !blobs.iter().any(|b| !b.open && b.covers(ring.columns, seed.row, seed.column)) {
            blobs.extend(blob::Blob::grow(&ring, &seed));
        }
    }
    let blobs = groups::united(&ring, blobs);
    let mut findings: Vec<MarkFinding> = Vec::new();
    let mut candidates: Vec<_> = blobs.iter().filter_map(|b| finding::of(&ring, limbus, b)).collect();
    candidates.sort_by(|a, b| b.first_odds.total_cmp(&a.first_odds));
    for candidate in candidates {
        // Two seeds may have grown into the same region.
        let reach = candidate.width_px.max(candidate.length_px) / 2.0;
        if findings.iter().all(|f| (f.centroid - candidate.centroid).norm() > reach) {
            findings.push(candidate);
        }
    }
    findings
}
