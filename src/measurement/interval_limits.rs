//! How wide an interval may be with which a figure is still given.
//!
//! A wide interval says by itself that little is known, but its width is believed only as far as errors follow it. Those of the
//! reading of marks do. What the limbus is off by has longer tails: where little of its edge was trusted, another edge may have
//! been followed. So its share has limits of its own, narrower than that of the whole.
//!
//! All by the risk curve over 2556 drawn stills with an angle (`simulate`, twelve sets of hard, mixed and easy ones), every other limit
//! in force: of 2472 with a whole interval of at most 2.6 degrees either way 23 are refused by the narrower limits; among
//! them are all four that are off by more than 2.6 (2.7, 3.1, 4.9 and 5.2).

use crate::alignment::half95_deg;
use crate::record::VarianceParts;

/// Widest half of a 95 % interval, degrees: a figure 3 degrees off costs up to 10 % of the cylinder by itself.
const WIDEST_HALF_INTERVAL_DEG: f64 = 2.6;
/// The same of what the centre and shape of the limbus alone leave open.
const WIDEST_BY_LIMBUS_DEG: f64 = 1.3;
/// The same where a single mark hangs on the centre, which two opposite ones do not. (At 1.3, one of another 1940 was 3.3 degrees
/// off, about a limbus 8 % too small.)
const WIDEST_BY_LIMBUS_OF_ONE_MARK_DEG: f64 = 1.0;
/// The same with what is not known of its own oval: no mark on the picture checks either.
const WIDEST_BY_SHAPE_DEG: f64 = 2.0;

/// A part of the interval that is wider than it may be.
#[derive(Clone, Debug, PartialEq)]
pub struct TooWide {
    /// What the part is of, in words that follow an interval; nothing for the whole.
    pub source: &'static str,
    /// Half of the 95 % interval that it leaves by itself, degrees.
    pub half_deg: f64,
    /// What it may be.
    pub widest_deg: f64,
    /// Advice to the user, where what is wide tells it.
    pub hint: Option<&'static str>,
}

/// The first part of the interval that is too wide; `None` where all are narrow enough.
///
/// - `marks`: number of the reference marks it comes from
pub fn too_wide(parts: &VarianceParts, marks: usize) -> Option<TooWide> {
    let part =
        |source, variance, widest_deg, hint| TooWide { source, half_deg: half95_deg(variance), widest_deg, hint };
    [
        part("", parts.sum(), WIDEST_HALF_INTERVAL_DEG, None),
        part(
            " from the place of the limbus alone",
            parts.limbus,
            if marks == 1 { WIDEST_BY_LIMBUS_OF_ONE_MARK_DEG } else { WIDEST_BY_LIMBUS_DEG },
            Some("use a still that shows more of the limbus, and its edge more clearly, or both opposite marks"),
        ),
        part(
            " from the place and the oval of the limbus alone",
            parts.limbus + parts.oval,
            WIDEST_BY_SHAPE_DEG,
            Some("use a still with the limbus seen squarely, or give its width and height in the case sheet"),
        ),
    ]
    .into_iter()
    .find(|part| part.half_deg > part.widest_deg)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Variance that leaves so much either way.
    fn variance(half_deg: f64) -> f64 {
        (half_deg / 1.96).powi(2)
    }

    #[test]
    fn what_the_limbus_leaves_open_has_narrower_limits() {
        let marks = |half| VarianceParts { reference_marks: variance(half), ..VarianceParts::default() };
        let limbus =
            |half, oval| VarianceParts { limbus: variance(half), oval: variance(oval), ..VarianceParts::default() };
        for (parts, marks, widest) in [
            (marks(2.5), 2, None),
            (marks(2.5), 1, None),
            (marks(2.7), 2, Some(2.6)),
            (limbus(1.2, 0.0), 2, None),
            (limbus(1.4, 0.0), 2, Some(1.3)),
            (limbus(0.9, 0.0), 1, None),
            (limbus(1.2, 0.0), 1, Some(1.0)),
            (limbus(1.2, 1.5), 2, None),
            (limbus(1.2, 1.7), 2, Some(2.0)),
            (limbus(0.0, 1.9), 2, None),
        ] {
            let found = too_wide(&parts, marks);
            assert_eq!(found.as_ref().map(|part| part.widest_deg), widest, "{parts:?}");
            assert!(found.is_none_or(|part| part.half_deg > part.widest_deg), "{parts:?}");
        }
    }
}
