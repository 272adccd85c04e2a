//! Turning a picture upright.

use crate::vision::Picture;

/// An EXIF orientation, 1 to 8: where the stored first row and column lie in the upright picture (Exif 2.32, tag 0x0112).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Orientation(u8);

impl Orientation {
    /// Stored upright.
    pub const UPRIGHT: Self = Self(1);

    /// `None` unless 1 to 8.
    pub fn new(number: u32) -> Option<Self> {
        u8::try_from(number).ok().filter(|n| (1..=8).contains(n)).map(Self)
    }

    /// 1 to 8.
    pub fn number(self) -> u8 {
        self.0
    }
}

/// The picture with `orientation` undone and then, if `mirrored`, its left and right exchanged.
pub fn upright(stored: Picture, orientation: Orientation, mirrored: bool) -> Picture {
    if orientation == Orientation::UPRIGHT && !mirrored {
        return stored;
    }
    let (columns, rows) = (stored.width() as usize, stored.height() as usize);
    // Index of the stored pixel, as first + x * step_x + y * step_y: every orientation is of this form.
    let (last_column, last_row) = (columns.saturating_sub(1), (rows.saturating_sub(1)) * columns);
    let (right, down) = (1_isize, columns as isize);
    let (mut first, mut step_x, step_y) = match orientation.0 {
        2 => (last_column, -right, down),
        3 => (last_row + last_column, -right, -down),
        4 => (last_row, right, -down),
        5 => (0, down, right),
        6 => (last_row, -down, right),
        7 => (last_row + last_column, -down, -right),
        8 => (last_column, down, -right),
        _ => (0, right, down),
    };
    let (width, height) = if orientation.0 >= 5 { (rows, columns) } else { (columns, rows) };
    if mirrored {
        first = first.wrapping_add_signed(step_x * (width as isize - 1));
        step_x = -step_x;
    }
    let stored = stored.into_raw();
    let mut turned = vec![0_u16; stored.len()];
    for (y, row) in turned.chunks_exact_mut(3 * width.max(1)).enumerate() {
        let mut at = first.wrapping_add_signed(step_y * y as isize);
        for pixel in row.chunks_exact_mut(3) {
            pixel.copy_from_slice(&stored[3 * at..3 * at + 3]);
            at = at.wrapping_add_signed(step_x);
        }
    }
    Picture::from_raw(width as u32, height as u32, turned).unwrap_or_default()
}
