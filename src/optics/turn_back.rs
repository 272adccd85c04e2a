//! Which way and how far to turn a lens to its intended axis.

use crate::geometry::axis_difference;

/// A sense of turning, as seen in the picture, which is also how the surgeon sees it through the microscope.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// As the hands of a clock go.
    Clockwise,
    /// Against them.
    CounterClockwise,
}

/// The shorter turn that brings a lens to its intended axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnBack {
    /// Which way.
    pub sense: Sense,
    /// How far, degrees within [0, 90].
    pub by_deg: f64,
}

impl TurnBack {
    /// The turn that undoes a misalignment (degrees, counter-clockwise positive, any wrap).
    pub fn of_misalignment(misalignment_deg: f64) -> Self {
        let error = axis_difference(0.0, misalignment_deg);
        let sense = if error > 0.0 { Sense::Clockwise } else { Sense::CounterClockwise };
        Self { sense, by_deg: error.abs() }
    }
}

/// A direction (degrees counter-clockwise as seen, 0 to the right) as a clock shows it to who looks at the picture:
/// hour 1 to 12 and minute, 12:00 at the top.
///
/// An hour is 30 degrees, a minute half a degree. It is the surgeon's clock as long as the picture is upright as the surgeon sat.
pub fn clock(direction_deg: f64) -> (u8, u8) {
    let minutes = ((90.0 - direction_deg) * 2.0).round().rem_euclid(720.0) as u16;
    let hour = match minutes / 60 {
        0 => 12,
        hour => hour as u8,
    };
    (hour, (minutes % 60) as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the hours stand on the face of a clock.
    #[test]
    fn clock_face() {
        for (direction, hour, minute) in [
            (90.0, 12, 0),
            (0.0, 3, 0),
            (-90.0, 6, 0),
            (180.0, 9, 0),
            (60.0, 1, 0),
            (45.0, 1, 30),
            (90.2, 12, 0),
            (91.0, 11, 58),
            (720.0 + 75.0, 12, 30),
        ] {
            assert_eq!(clock(direction), (hour, minute), "{direction}");
        }
    }

    /// A lens that stands counter-clockwise of its axis is turned clockwise, and by no more than a quarter.
    #[test]
    fn back_the_way_it_came() {
        for (error, sense, by) in [
            (5.0, Sense::Clockwise, 5.0),
            (-5.0, Sense::CounterClockwise, 5.0),
            (100.0, Sense::CounterClockwise, 80.0),
            (-170.0, Sense::Clockwise, 10.0),
        ] {
            assert_eq!(TurnBack::of_misalignment(error), TurnBack { sense, by_deg: by });
        }
    }
}
