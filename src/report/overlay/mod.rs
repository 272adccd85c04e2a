//! The picture with what was found drawn over it, to be checked at a glance.
//!
//! The picture stays visible: lines are thin, leave the marks free, and all sentences stand in a panel below. Lines are
//! told apart by dash, shape and lettering, not by colour alone.

mod axes;
mod eye;
mod font;
mod ink;
mod marks;
mod panel;
mod room;

use crate::geometry::EyeMap;
use crate::record::Record;
use crate::vision::Picture;
use eye::{Eye, Notation};
use image::imageops::{FilterType, resize};
use image::{Rgb, RgbImage};
use ink::{Ink, LIMBUS};
use marks::{Candidates, Marks};
use panel::{Key, Panel};
use resvg::{tiny_skia, usvg};
use room::Room;

/// Pictures with a shorter long side than this are enlarged for lines and letters to be readable, px.
const SMALL_PX: u32 = 600;
/// The long side that small pictures are brought to at least, px, by no more than `MOST_ENLARGED` times.
const ENLARGED_PX: u32 = 900;
const MOST_ENLARGED: u32 = 4;
/// Pictures with a longer long side than this are reduced to it, px: more helps no eye and slows a page down.
const LARGEST_PX: u32 = 2560;
/// Least width of a drawing, px: the panel needs room for its words beside a small picture.
const LEAST_WIDTH_PX: u32 = 480;

/// `picture` with the findings of `record` drawn over it, and a panel of words below.
///
/// - `picture`: the upright picture that was measured
/// - `map`: between picture and plane of the limbus, as measured; without it axes and scale are left out
///
/// Between 600 and 2560 px of long side the picture keeps its size, and where nothing is drawn its pixels; smaller
/// ones are enlarged, larger ones reduced. Nothing but pixels goes in: no metadata.
pub fn draw(picture: &Picture, record: &Record, map: Option<&EyeMap>) -> RgbImage {
    let (ground, factor) = ground(picture, drawing_factor(picture));
    let size = [f64::from(ground.width()), f64::from(ground.height())];
    let width = ground.width().max(LEAST_WIDTH_PX);
    let unit = ((size[0] * size[1]).sqrt() / 900.0).max(0.9);

    let mut ink = Ink::new(unit);
    let mut drawn = Vec::new();
    let mut notation = Notation::Seen;
    if let Some(eye) = record.limbus.as_ref().and_then(|limbus| Eye::new(limbus, map, factor)) {
        notation = Notation::of(record.alignment.as_ref());
        drawn = draw_findings(record, &eye, notation, &mut ink, size, factor);
    }
    let top = size[1];
    let panel = Panel::new(record, notation, &drawn, f64::from(width), top, unit);
    let height = ground.height() + panel.height as u32;
    let svg = svg(width, height, &(ink.into_elements() + &panel.into_elements(f64::from(width), top)));
    rendered(&ground, width, height, &svg)
}

/// A small drawing without lettering, `long_side_px` on its longer side: limbus and axes only.
pub fn draw_thumbnail(picture: &Picture, record: &Record, map: Option<&EyeMap>, long_side_px: u32) -> RgbImage {
    let long_side = picture.width().max(picture.height()).max(1);
    let (ground, factor) = ground(picture, f64::from(long_side_px.max(1)) / f64::from(long_side));
    let mut ink = Ink::new(0.8);
    if let Some(eye) = record.limbus.as_ref().and_then(|limbus| Eye::new(limbus, map, factor)) {
        ink.curve(&eye.limbus_curve(), &LIMBUS, &[]);
        if let Some(alignment) = record.alignment.as_ref().filter(|_| eye.has_plane()) {
            axes::draw_axes(record, alignment, &mut ink, &eye, &[]);
        }
    }
    let (width, height) = ground.dimensions();
    rendered(&ground, width, height, &svg(width, height, &ink.into_elements()))
}

/// Limbus, marks, axes, angle and scale; gives what the key has to name.
fn draw_findings(
    record: &Record,
    eye: &Eye,
    notation: Notation,
    ink: &mut Ink,
    size: [f64; 2],
    factor: f64,
) -> Vec<Key> {
    let marks = Marks::of(record, eye, ink.unit, factor);
    let candidates = Candidates::of(record, ink.unit, factor);
    let patches = [marks.all(), candidates.patches()].concat();
    marks::draw_limbus(ink, eye, &patches);
    marks.draw(record, ink);
    candidates.draw(ink);
    let mut drawn = vec![Key::Limbus];
    let found = [
        (record.reference_marks.is_empty(), Key::ReferenceMarks),
        (record.lens_marks.is_empty(), Key::LensMarks),
        (candidates.is_empty(), Key::Alternatives),
    ];
    drawn.extend(found.into_iter().filter(|(none, _)| !none).map(|(_, key)| key));
    let alignment = record.alignment.as_ref().filter(|_| eye.has_plane());
    let axes = alignment.map(|alignment| (alignment, axes::roomier_half(alignment, eye, size)));
    if let Some((alignment, half)) = axes {
        axes::draw_axes(record, alignment, ink, eye, &patches);
        drawn.extend([Key::Intended, Key::Lens]);
        if axes::draw_angle(record, alignment, half, &marks, ink, eye).is_some() {
            drawn.push(Key::Interval);
        }
    }
    // All lines lie where they must; lettering keeps off them, that of marks first.
    let mut room = Room::new(size, ink.unit, [marks.frames(record), candidates.patches()].concat());
    marks.number(record, ink, eye, &mut room);
    candidates.letter(ink, eye, &mut room);
    if let Some((alignment, half)) = axes {
        axes::letter_axes(alignment, half, notation, &marks, ink, eye, &mut room);
    }
    if eye.has_plane() {
        axes::draw_scale(notation, ink, eye, &patches, &room);
    }
    drawn
}

fn drawing_factor(picture: &Picture) -> f64 {
    let long_side = picture.width().max(picture.height()).max(1);
    match long_side {
        l if l < SMALL_PX => f64::from(ENLARGED_PX.div_ceil(l).min(MOST_ENLARGED)),
        l if l > LARGEST_PX => f64::from(LARGEST_PX) / f64::from(l),
        _ => 1.0,
    }
}

/// The picture in 8 bits, about `factor` times as large, and the factor that was reached along its longer side.
fn ground(picture: &Picture, factor: f64) -> (RgbImage, f64) {
    let (width, height) = picture.dimensions();
    // 8-bit values were multiplied by 257: this brings them back exactly, and rounds those in between.
    let eight_bit = |v: u16| ((u32::from(v) + 128) / 257) as u8;
    let picture = RgbImage::from_fn(width, height, |x, y| Rgb(picture.get_pixel(x, y).0.map(eight_bit)));
    let scaled = |side: u32| ((f64::from(side) * factor).round() as u32).max(1);
    if scaled(width) == width && scaled(height) == height {
        return (picture, 1.0);
    }
    let filter = if factor > 1.0 { FilterType::CatmullRom } else { FilterType::Triangle };
    let reached = f64::from(scaled(width.max(height))) / f64::from(width.max(height).max(1));
    (resize(&picture, scaled(width), scaled(height), filter), reached)
}

fn svg(width: u32, height: u32, elements: &str) -> String {
    format!(r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">{elements}</svg>"#)
}

/// `svg` over `ground`, which lies at the top left of a sheet of the panel's colour.
fn rendered(ground: &RgbImage, width: u32, height: u32, svg: &str) -> RgbImage {
    let mut sheet = RgbImage::from_pixel(width.max(1), height.max(1), Rgb(panel::GROUND));
    image::imageops::replace(&mut sheet, ground, 0, 0);
    let tree = usvg::Tree::from_str(svg, &font::options()).ok();
    let pixmap = tiny_skia::Pixmap::new(sheet.width(), sheet.height());
    if let (Some(tree), Some(mut pixmap)) = (tree, pixmap) {
        for (out, pixel) in pixmap.data_mut().chunks_exact_mut(4).zip(sheet.pixels()) {
            let [r, g, b] = pixel.0;
            out.copy_from_slice(&[r, g, b, 255]);
        }
        resvg::render(&tree, tiny_skia::Transform::identity(), &mut pixmap.as_mut());
        // The sheet is opaque, so that premultiplied values are the values.
        for (pixel, out) in sheet.pixels_mut().zip(pixmap.data().chunks_exact(4)) {
            pixel.0 = [out[0], out[1], out[2]];
        }
    }
    sheet
}
