//! What a file's own metadata say of the picture: orientation and time.

use super::date::Date;
use super::turning::Orientation;
use exif::{DateTime, Exif, In, Reader, Tag, Value};
use std::io::Cursor;

/// What was read from EXIF.
#[derive(Clone, Debug, PartialEq)]
pub struct Metadata {
    /// How to turn the picture upright.
    pub orientation: Orientation,
    /// When it was taken, ISO 8601, with the offset from UTC where the file tells it.
    pub taken_at: Option<String>,
    /// What could not be used of it.
    pub warnings: Vec<String>,
}

/// EXIF from the bytes of a JPEG, PNG, TIFF or WebP file; upright without a time where there is none.
pub fn metadata(bytes: &[u8]) -> Metadata {
    let mut found = Metadata { orientation: Orientation::UPRIGHT, taken_at: None, warnings: Vec::new() };
    // A damaged entry must not hide the sound ones beside it.
    let exif = Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(bytes))
        .or_else(|error| error.distill_partial_result(|_| ()));
    let Ok(exif) = exif else { return found };
    if let Some(field) = exif.get_field(Tag::Orientation, In::PRIMARY) {
        match field.value.get_uint(0).and_then(Orientation::new) {
            Some(orientation) => found.orientation = orientation,
            None => found.warnings.push(format!(
                "EXIF orientation {}, expected 1 to 8: the picture was taken as upright",
                field.display_value()
            )),
        }
    }
    found.taken_at = taken_at(&exif);
    found
}

fn taken_at(exif: &Exif) -> Option<String> {
    let text = |tag| match exif.get_field(tag, In::PRIMARY).map(|field| &field.value) {
        Some(Value::Ascii(parts)) => parts.first(),
        _ => None,
    };
    let mut time = DateTime::from_ascii(text(Tag::DateTimeOriginal)?).ok()?;
    // A missing or unreadable offset leaves local time, which ISO 8601 writes without one.
    if let Some(offset) = text(Tag::OffsetTimeOriginal) {
        let _ = time.parse_offset(offset);
    }
    let date = Date::new(time.year, time.month, time.day)?;
    if time.hour > 23 || time.minute > 59 || time.second > 60 {
        return None;
    }
    let offset = time.offset.map(|minutes| {
        let sign = if minutes < 0 { '-' } else { '+' };
        format!("{sign}{:02}:{:02}", minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60)
    });
    Some(format!("{date}T{:02}:{:02}:{:02}{}", time.hour, time.minute, time.second, offset.unwrap_or_default()))
}
