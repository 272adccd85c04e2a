//! The panel below the picture: the still's name, the result in words or why there is none, and the key to the lines.

use super::eye::Notation;
use super::font::{Text, widths};
use super::ink::{ALTERNATIVE, ANGLE, INTENDED, Ink, LENS, LENS_MARK, LIMBUS, Place, REFERENCE, Style};
use crate::record::{Outcome, Record};
use crate::report::wording::{
    cause_in_words, error_in_words, file_name, interval_in_words, mirrored_back, residual_dioptres_in_words,
    residual_in_words,
};
use std::fmt::Write;

/// Ground of the panel.
pub const GROUND: [u8; 3] = [0xf2, 0xf2, 0xee];
const LETTERS: &str = "#161616";
/// Longest name shown, in lines of the panel; more is left out in the middle.
const NAME_LINES: f64 = 2.0;

/// A laid-out panel.
pub struct Panel {
    /// Its height, px.
    pub height: f64,
    elements: String,
    key: Ink,
}

impl Panel {
    /// Lay out the panel of `record` for a drawing `width` px wide, its top at `top`.
    pub fn new(record: &Record, notation: Notation, drawn: &[Key], width: f64, top: f64, unit: f64) -> Self {
        let pad = 12.0 * unit;
        let room = width - 2.0 * pad;
        let mut panel = Self { height: pad, elements: String::new(), key: Ink::new(unit) };
        let mut lines = Vec::new();
        for paragraph in paragraphs(record, room, unit) {
            lines.extend(wrapped(&paragraph, room));
        }
        let small = 12.0 * unit;
        for line in lines {
            panel.height += 1.3 * line.size;
            let (x, y) = (pad, top + panel.height - 0.35 * line.size);
            panel.elements.push_str(&line.element(x, y, &format!(r#"fill="{LETTERS}""#)));
        }
        panel.height += 0.5 * small;
        panel.lay_out_key(drawn, [pad, room, top]);
        for line in wrapped(&Text::regular(foot(record, notation, drawn), small), room) {
            panel.height += 1.3 * small;
            let (x, y) = (pad, top + panel.height - 0.35 * small);
            panel.elements.push_str(&line.element(x, y, &format!(r#"fill="{LETTERS}""#)));
        }
        panel.height = (panel.height + pad).ceil();
        panel
    }

    /// Samples of the lines and frames with their names, in as many rows as needed.
    fn lay_out_key(&mut self, drawn: &[Key], [left, room, top]: [f64; 3]) {
        let unit = self.key.unit;
        let names: Vec<Text> = drawn.iter().map(|key| Text::regular(key.name(), 13.0 * unit)).collect();
        let (sample, gap) = (34.0 * unit, 18.0 * unit);
        let mut x = left;
        for (row_start, (key, (name, width))) in drawn.iter().zip(names.iter().zip(widths(&names))).enumerate() {
            let taken = sample + 6.0 * unit + width;
            if row_start == 0 || x + taken > left + room {
                x = left;
                self.height += 20.0 * unit;
            }
            let middle = top + self.height - 8.0 * unit;
            key.draw(&mut self.key, Place::new(x, middle), sample);
            let element = name.element(x + sample + 6.0 * unit, middle + 4.7 * unit, &format!(r#"fill="{LETTERS}""#));
            self.elements.push_str(&element);
            x += taken + gap;
        }
        if !drawn.is_empty() {
            self.height += 4.0 * unit;
        }
    }

    /// The SVG elements, ground first.
    pub fn into_elements(self, width: f64, top: f64) -> String {
        let [r, g, b] = GROUND;
        let mut out = String::new();
        let height = self.height;
        let _ = write!(
            out,
            r##"<rect x="0" y="{top:.2}" width="{width:.2}" height="{height:.2}" fill="#{r:02x}{g:02x}{b:02x}"/>"##
        );
        out + &self.key.into_elements() + &self.elements
    }
}

/// What the key names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Key {
    /// The fitted limbus.
    Limbus,
    /// Reference marks.
    ReferenceMarks,
    /// Lens marks.
    LensMarks,
    /// What would be marks by one of two readings.
    Alternatives,
    /// The intended axis.
    Intended,
    /// The lens axis.
    Lens,
    /// The bar of the interval.
    Interval,
}

impl Key {
    fn name(self) -> &'static str {
        match self {
            Self::Limbus => "fitted limbus",
            Self::ReferenceMarks => "reference mark, centroid",
            Self::LensMarks => "lens mark, centroid",
            Self::Alternatives => "mark by reading A or B, the likelier A",
            Self::Intended => "intended axis",
            Self::Lens => "lens axis",
            Self::Interval => "95 % interval",
        }
    }

    fn draw(self, ink: &mut Ink, left: Place, width: f64) {
        let unit = ink.unit;
        let right = left + crate::geometry::Vector::new(width, 0.0);
        let middle = nalgebra::center(&left, &right);
        let mut line = |style: &Style| ink.line(left, right, style, &[]);
        match self {
            Self::Limbus => line(&LIMBUS),
            Self::Intended => line(&INTENDED),
            Self::Lens => line(&LENS),
            Self::Interval => {
                line(&ANGLE);
                for end in [left, right] {
                    let out = crate::geometry::Vector::new(0.0, 4.5 * unit);
                    ink.line(end - out, end + out, &ANGLE, &[]);
                }
            }
            Self::ReferenceMarks => {
                let corner = |dx: f64, dy: f64| middle + crate::geometry::Vector::new(dx, dy) * unit;
                ink.outline(
                    &[corner(-12.0, -5.0), corner(12.0, -5.0), corner(12.0, 5.0), corner(-12.0, 5.0)],
                    &REFERENCE,
                );
                ink.point(middle, &REFERENCE);
            }
            Self::Alternatives => ink.ring(middle, 8.0 * unit, &ALTERNATIVE),
            Self::LensMarks => {
                ink.ring(middle, 6.0 * unit, &LENS_MARK);
                ink.point(middle, &LENS_MARK);
            }
        }
    }
}

fn paragraphs(record: &Record, room: f64, unit: f64) -> Vec<Text> {
    let name = Text::bold(file_name(&record.still.path), 17.0 * unit);
    let mut out = vec![shortened(name, NAME_LINES * room)];
    let body = 15.0 * unit;
    if let (Outcome::Measured, Some(alignment)) = (record.outcome, &record.alignment) {
        let (error, interval) = (error_in_words(alignment.error_deg), interval_in_words(alignment));
        out.push(Text::bold(format!("{error}; 95 % interval {interval}"), 19.0 * unit));
        if let Some(cylinder) = &record.cylinder {
            let dioptres = residual_dioptres_in_words(cylinder).map(|text| format!("; {text}")).unwrap_or_default();
            out.push(Text::regular(format!("Residual {}{dioptres}", residual_in_words(cylinder)), body));
        }
    } else {
        for refusal in &record.refusals {
            out.push(Text::bold(format!("Not measured: {}", cause_in_words(refusal.code)), 19.0 * unit));
            out.push(Text::regular(format!("Why: {}", refusal.message), body));
            out.push(Text::regular(format!("What to do: {}", refusal.hint), body));
        }
        out.push(Text::regular(format!("Found: {}", found(record)), body));
    }
    let notes = mirrored_back(record).into_iter().chain(record.warnings.iter().map(String::as_str));
    out.extend(notes.map(|note| Text::regular(format!("Note: {note}"), body)));
    out
}

fn found(record: &Record) -> String {
    let limbus = match &record.limbus {
        Some(l) => format!("limbus (radius {:.0} px, {:.0}° of it visible)", l.radius_px, l.visible_arc_deg),
        None => "no limbus".to_owned(),
    };
    let marks = |count: usize, kind: &str| match count {
        0 => format!("no {kind} marks"),
        1 => format!("1 {kind} mark"),
        n => format!("{n} {kind} marks"),
    };
    format!(
        "{limbus}, {}, {}",
        marks(record.reference_marks.len(), "reference"),
        marks(record.lens_marks.len(), "lens")
    )
}

fn foot(record: &Record, notation: Notation, drawn: &[Key]) -> String {
    let scale = match notation {
        _ if !drawn.contains(&Key::Limbus) => "",
        Notation::Seen => "Scale: directions in the plane of the limbus, counter-clockwise from the right. ",
        Notation::Eye(_) => "Scale: axes of the eye in the plane of the limbus, counter-clockwise. ",
    };
    let caution = match record.outcome {
        Outcome::Measured => "A figure from one still is not a reason to operate. Not a medical device.",
        _ => "Not a medical device.",
    };
    format!("{scale}{caution}")
}

/// `text` with its middle left out where it is longer than `room`.
fn shortened(text: Text, room: f64) -> Text {
    let width = widths(std::slice::from_ref(&text))[0];
    if width <= room {
        return text;
    }
    let letters: Vec<char> = text.text.chars().collect();
    // A tenth is kept back for letters wider than the mean and for the ends of lines.
    let keep = (letters.len() as f64 * room / width * 0.9) as usize;
    let (head, tail) = (keep.div_ceil(2), keep / 2);
    let head: String = letters[..head].iter().collect();
    let tail: String = letters[letters.len() - tail..].iter().collect();
    Text { text: format!("{head}…{tail}"), ..text }
}

/// Lines no wider than `room`, broken between words, and inside those that are wider than a line.
fn wrapped(text: &Text, room: f64) -> Vec<Text> {
    let piece = |part: &str| Text { text: part.to_owned(), ..text.clone() };
    let words: Vec<Text> = text.text.split_whitespace().map(piece).collect();
    // What a word is broken into joins without a space.
    let mut pieces: Vec<(Text, bool)> = Vec::new();
    for (word, width) in words.iter().zip(widths(&words)) {
        let letters: Vec<char> = word.text.chars().collect();
        let a_line = if width > room { (letters.len() as f64 * room / width * 0.9) as usize } else { letters.len() };
        for (index, chunk) in letters.chunks(a_line.max(1)).enumerate() {
            pieces.push((piece(&chunk.iter().collect::<String>()), index > 0));
        }
    }
    let with_space = widths(&[piece("n n"), piece("nn")]);
    let space = with_space[0] - with_space[1];
    let piece_widths = widths(&pieces.iter().map(|(piece, _)| piece.clone()).collect::<Vec<_>>());
    let mut lines: Vec<Text> = Vec::new();
    let mut used = 0.0;
    for ((piece, joins), width) in pieces.into_iter().zip(piece_widths) {
        let gap = if joins { 0.0 } else { space };
        match lines.last_mut() {
            Some(line) if used + gap + width <= room => {
                if !joins {
                    line.text.push(' ');
                }
                line.text.push_str(&piece.text);
                used += gap + width;
            }
            _ => {
                lines.push(piece);
                used = width;
            }
        }
    }
    lines
}
