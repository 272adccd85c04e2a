//! Where the ink of a mark without a direction of its own has its centroid, to a fraction of a cell of the ring.
//!
//! A blot's outline is uneven: a window that falls off about its middle (as in `axis_fit`) has another centroid than the ink, by
//! more than the noise of a clear picture. Instead the outline is taken as it is found: inside of it a cell counts in full
//! (how dark the ink is there is no matter of where it lies), about it by its contrast, which keeps the fractions of cells.

use super::axis_fit::Axis;
use super::blob::Blob;
use super::patch::Frame;
use super::ring::Ring;
use crate::geometry::Vector;
use std::collections::BTreeSet;

/// How far outside of the outline ink is looked for, cells: its soft edge. Farther out there is more noise than ink.
const EDGE: usize = 2;

/// Least ink about a region, of what its inside would hold: with less the ground it was outlined on was another one.
const LEAST_INK: f64 = 0.5;

/// Centroid of the ink of `blob` on the plane of the limbus; the middle of its outline where there is too little ink.
pub(super) fn of(ring: &Ring, blob: &Blob) -> Axis {
    let frame = Frame::along(blob);
    let rows = [blob.rows[0].saturating_sub(EDGE), (blob.rows[1] + EDGE).min(ring.rows - 1)];
    // From the middle of the limbus, in its radii: outwards through the blob, and counter-clockwise across.
    let (mut ink, mut moment) = (0.0, Vector::zeros());
    for ((row, columns), ground) in about(blob, rows).zip(frame.plain_grounds(ring, rows)) {
        let Some((level, tilt)) = ground else { continue };
        let rho = ring.rho(row as f64);
        for column in columns.into_iter().filter(|c| ring.lit[ring.at(row, *c)]) {
            let offset = column as f64 - frame.column(row);
            let contrast = f64::from(level - ring.log[0][ring.at(row, column)]) + f64::from(tilt) * offset;
            // Held below too, so that noise about the ground adds nothing. Cells farther out are larger.
            let weight = (contrast / blob.contrast).clamp(-1.0, 1.0) * rho;
            let (sin, cos) = ring.phi(column as f64 - blob.axis).sin_cos();
            ink += weight;
            moment += Vector::new(cos, sin) * (weight * rho);
        }
    }
    let inside: f64 = blob.cells.iter().map(|(row, ..)| ring.rho(*row as f64)).sum();
    if ink <= LEAST_INK * inside {
        return Axis { column: blob.axis, slope: 0.0, row: blob.middle_row() };
    }
    let middle = moment / ink;
    let columns = middle.y.atan2(middle.x).to_degrees();
    Axis { column: blob.axis + ring.columns_of(columns), slope: 0.0, row: ring.row(middle.norm()) }
}

/// The unwrapped columns of each row from `rows[0]` to `rows[1]` that are inside of a region or within [`EDGE`] of it.
fn about(blob: &Blob, rows: [usize; 2]) -> impl Iterator<Item = (usize, BTreeSet<isize>)> {
    let edge = EDGE as isize;
    let mut near: Vec<BTreeSet<isize>> = vec![BTreeSet::new(); rows[1] - rows[0] + 1];
    for (row, column, _) in &blob.cells {
        let lines = row.saturating_sub(EDGE).max(rows[0])..=(row + EDGE).min(rows[1]);
        for line in lines {
            near[line - rows[0]].extend(column - edge..=column + edge);
        }
    }
    (rows[0]..).zip(near)
}

#[cfg(test)]
mod tests {
    use crate::geometry::{Ellipse, PixelPoint, Vector};
    use crate::vision::Picture;
    use crate::vision::reference_marks::find_reference_marks;

    const RADIUS: f64 = 300.0;

    /// A disc with a quarter as large a one grown out of its side, without noise: found where the ink has its centroid.
    ///
    /// The window of `axis_fit` puts it 0.2 px off.
    #[test]
    fn an_uneven_blot_is_found_at_the_centroid_of_its_ink() {
        let limbus = Ellipse::circle(PixelPoint::new(-150.3, 120.4), RADIUS).unwrap();
        let large = PixelPoint::new(limbus.center().x + 1.02 * RADIUS, 116.2);
        let small = large + Vector::new(2.0, 15.0);
        let disc = |place: PixelPoint, middle: PixelPoint, radius: f64| {
            (radius - (place - middle).norm() + 0.5).clamp(0.0, 1.0)
        };
        let ink = |x: f64, y: f64| {
            let place = PixelPoint::new(x, y);
            disc(place, large, 14.0).max(disc(place, small, 7.0))
        };
        let picture = Picture::from_fn(260, 240, |x, y| {
            let light = 150.0 - 90.0 * ink(f64::from(x), f64::from(y));
            image::Rgb([(light * 257.0) as u16; 3])
        });
        let (mut sum, mut all) = (Vector::zeros(), 0.0);
        for (x, y, _) in picture.enumerate_pixels() {
            let (x, y) = (f64::from(x), f64::from(y));
            sum += ink(x, y) * Vector::new(x, y);
            all += ink(x, y);
        }
        let truth = PixelPoint::from(sum / all);
        let findings = find_reference_marks(&picture, &limbus);
        let off = findings.iter().map(|f| f.centroid - truth).min_by(|a, b| a.norm().total_cmp(&b.norm()));
        let off = off.expect("the blot is found");
        assert!(off.norm() < 0.08, "{off} px");
    }
}
