//! Pictures small enough to be put into the page.

use crate::geometry::EyeMap;
use crate::record::Record;
use crate::report::overlay::draw_thumbnail;
use crate::vision::Picture;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use image::{ExtendedColorType, ImageEncoder, RgbImage};

/// Up to so many stills, the page holds pictures that can be read; beyond, thumbnails that link to the overlays.
pub const MOST_EMBEDDED: usize = 200;
/// What the page is kept under, bytes.
const PAGE_BYTES: usize = 20_000_000;
/// Set aside for a row's words, bytes a still.
const ROW_BYTES: usize = 1_800;
/// Set aside for what is said of a still's cost, its curve included, bytes a still; on pages that have it.
const COST_BYTES: usize = 12_000;
/// Set aside for what is not rows, bytes.
const FRAME_BYTES: usize = 200_000;

/// Width and JPEG quality of pictures that can be read, tried from the first until one fits.
const READABLE: [(u32, u8); 6] = [(900, 80), (900, 70), (800, 65), (720, 60), (640, 55), (480, 45)];
/// Longer side and JPEG quality of thumbnails.
const THUMBNAILS: [(u32, u8); 7] = [(160, 70), (128, 60), (112, 50), (96, 45), (80, 40), (64, 35), (48, 30)];
/// A thumbnail need not be larger than this, bytes.
const THUMBNAIL_BYTES: usize = 6_000;

/// The JPEG that a page of `stills` stills holds of this one; `None` where there is no room for one.
///
/// - `overlay`: drawn by [`overlay::draw`](crate::report::overlay::draw) of the other three
pub fn embedded_picture(
    stills: usize,
    picture: &Picture,
    record: &Record,
    map: Option<&EyeMap>,
    overlay: &RgbImage,
) -> Option<Vec<u8>> {
    let costs = if stills <= MOST_EMBEDDED { COST_BYTES } else { 0 };
    let words = FRAME_BYTES + stills * (ROW_BYTES + costs);
    // Base 64 writes 4 letters for 3 bytes.
    let room = PAGE_BYTES.saturating_sub(words) * 3 / 4 / stills.max(1);
    if stills <= MOST_EMBEDDED {
        return READABLE.iter().find_map(|(width, quality)| jpeg(&reduced(overlay, *width), *quality, room));
    }
    let room = room.min(THUMBNAIL_BYTES);
    THUMBNAILS.iter().find_map(|(side, quality)| jpeg(&draw_thumbnail(picture, record, map, *side), *quality, room))
}

fn reduced(picture: &RgbImage, width: u32) -> std::borrow::Cow<'_, RgbImage> {
    if picture.width() <= width {
        return std::borrow::Cow::Borrowed(picture);
    }
    let height = (f64::from(picture.height()) * f64::from(width) / f64::from(picture.width())).round().max(1.0);
    std::borrow::Cow::Owned(resize(picture, width, height as u32, FilterType::Triangle))
}

/// The JPEG, where it takes no more than `room` bytes.
fn jpeg(picture: &RgbImage, quality: u8, room: usize) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    encoder.write_image(picture, picture.width(), picture.height(), ExtendedColorType::Rgb8).ok()?;
    (bytes.len() <= room).then_some(bytes)
}
