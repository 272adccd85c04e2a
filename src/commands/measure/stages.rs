//! One picture a stage of the measurement, for whoever wants to see where it went astray.

use crate::commands::files::write_whole;
use crate::commands::messages::Failure;
use crate::geometry::{Ellipse, PixelPoint};
use crate::stills::written::{STAGES, stage_name};
use crate::vision::Picture;
use crate::vision::lens_marks::{LensFinding, LensRefusal, find_lens_marks};
use crate::vision::limbus::{LimbusFinding, candidates};
use crate::vision::reference_marks::find_reference_marks;
use image::{ImageFormat, Rgb, RgbImage};
use imageproc::drawing::{draw_cross_mut, draw_hollow_circle_mut, draw_line_segment_mut};
use std::io::{self, Cursor};
use std::path::Path;

/// What was taken.
const TAKEN: Rgb<u8> = Rgb([255, 255, 255]);
/// What was looked at besides.
const LOOKED_AT: Rgb<u8> = Rgb([150, 150, 150]);
/// Candidates of the limbus drawn.
const CANDIDATES: usize = 8;
/// Radius of a ring about a mark, px.
const RING_PX: i32 = 9;

/// Write the stages of one still, in which `limbus` was found, into `folder`; it is the `number`th of the run:
///
/// 1. candidates for the limbus, the best in white
/// 2. the limbus, its edge points as crosses
/// 3. candidates for reference marks, ringed, those more like a mark than not in white
/// 4. lens marks, ringed, and the axis through them; those of an ambiguous reading in grey
///
/// # Errors
/// The first file that could not be written; those after it are not tried.
pub(super) fn write(
    folder: &Path,
    number: usize,
    still: &Path,
    picture: &Picture,
    limbus: Option<&LimbusFinding>,
) -> Result<(), Failure> {
    let [of_candidates, of_limbus, of_reference_marks, of_lens_marks] = STAGES;
    let ground = dimmed(picture);
    let save = |stage: &str, drawn: &RgbImage| {
        let path = folder.join(stage_name(number, still, stage));
        let mut bytes = Cursor::new(Vec::new());
        let encoded = drawn.write_to(&mut bytes, ImageFormat::Jpeg).map_err(io::Error::other);
        encoded.and_then(|()| write_whole(&path, bytes.get_ref())).map_err(|error| Failure::at(&path, error))
    };

    let mut drawn = ground.clone();
    for (rank, candidate) in candidates(picture).iter().take(CANDIDATES).enumerate().rev() {
        outline(&mut drawn, &candidate.ellipse, if rank == 0 { TAKEN } else { LOOKED_AT });
    }
    save(of_candidates, &drawn)?;

    let Some(limbus) = limbus else { return Ok(()) };
    save(of_limbus, &with_limbus(&ground, limbus))?;

    let mut drawn = ground.clone();
    for mark in find_reference_marks(picture, &limbus.ellipse) {
        ring(&mut drawn, &mark.centroid, if mark.odds > 0.0 { TAKEN } else { LOOKED_AT });
    }
    save(of_reference_marks, &drawn)?;

    let mut drawn = ground.clone();
    match find_lens_marks(picture, &limbus.ellipse) {
        Ok(lens) => lens_axis(&mut drawn, &lens, TAKEN),
        Err(LensRefusal::Ambiguous { readings }) => {
            readings.iter().for_each(|reading| lens_axis(&mut drawn, reading, LOOKED_AT));
        }
        Err(LensRefusal::Missing { .. } | LensRefusal::Tip) => {}
    }
    save(of_lens_marks, &drawn)
}

/// The picture at 8 bit and two thirds of its brightness, so that white lines show on it.
fn dimmed(picture: &Picture) -> RgbImage {
    let dim = |v: u16| (u32::from(v) * 2 / 3 / 257) as u8;
    RgbImage::from_fn(picture.width(), picture.height(), |x, y| Rgb(picture.get_pixel(x, y).0.map(dim)))
}

fn with_limbus(ground: &RgbImage, limbus: &LimbusFinding) -> RgbImage {
    let mut drawn = ground.clone();
    outline(&mut drawn, &limbus.ellipse, LOOKED_AT);
    for point in &limbus.edge_points {
        draw_cross_mut(&mut drawn, TAKEN, point.x.round() as i32, point.y.round() as i32);
    }
    drawn
}

fn outline(drawn: &mut RgbImage, ellipse: &Ellipse, color: Rgb<u8>) {
    const CHORDS: u32 = 180;
    let place = |k: u32| {
        let p = ellipse.at_polar(1.0, f64::from(k) * std::f64::consts::TAU / f64::from(CHORDS));
        (p.x as f32, p.y as f32)
    };
    for k in 0..CHORDS {
        draw_line_segment_mut(drawn, place(k), place(k + 1), color);
    }
}

fn ring(drawn: &mut RgbImage, place: &PixelPoint, color: Rgb<u8>) {
    draw_hollow_circle_mut(drawn, (place.x.round() as i32, place.y.round() as i32), RING_PX, color);
}

fn lens_axis(drawn: &mut RgbImage, lens: &LensFinding, color: Rgb<u8>) {
    lens.marks.iter().for_each(|mark| ring(drawn, &mark.centroid, color));
    let [a, b] = lens.ends.map(|(place, _)| (place.x as f32, place.y as f32));
    draw_line_segment_mut(drawn, a, b, color);
}
