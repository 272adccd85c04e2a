//! How wide an interval may be with which a figure is still given.
//!
//! A wide interval says by itself that little is known, but its width is believed only as far as errors follow it. Those of the
//! reading of marks do. What the limbus is off by has longer tails: where little of its edge was trusted, another edge may have
//! been followed. So its share has limits of its own, narrower than that of the whole, where it should cancel and does not.
//! Where the axis is laid off from marks on other meridians it never cancels: of 2.6 degrees either way the shape of a limbus seen
//! well takes most, and errors follow it. There the limit of the whole is enough: by a risk curve over 1266 such drawn stills the
//! narrower ones would take 148 of 1028 and leave the one farthest off (3.7 degrees; three of the next four, 2.5 to 3.0, go),
//! while 95 % lie within 1.51 degrees instead of 1.55.
//!
//! The rest by the risk curve over 2556 drawn stills with an angle (`simulate`, twelve sets of hard, mixed and easy ones, the axis on
//! the marks), every other limit in force: of 2472 with a whole interval of at most 2.6 degrees either way 23 are refused by
//! the narrower limits; among them are all four that are off by more than 2.6 (2.7, 3.1, 4.9 and 5.2).

use crate::alignment::{MarkReading, Plan, VarianceParts, half95_deg};
use crate::geometry::axis_difference;

/// Widest half of a 95 % interval, degrees: a figure 3 degrees off costs up to 10 % of the cylinder by itself.
const WIDEST_HALF_INTERVAL_DEG: f64 = 2.6;
/// The same of what the centre and shape of the limbus alone leave open, where the axis lies on the marks.
const WIDEST_BY_LIMBUS_DEG: f64 = 1.3;
/// The same where a single mark hangs on the centre, which two opposite ones do not, wherever the axis lies. (At 1.3, one of
/// another 1940 was 3.3 degrees off, about a limbus 8 % too small.)
const WIDEST_BY_LIMBUS_OF_ONE_MARK_DEG: f64 = 1.0;
/// The same with what is not known of its own oval: no mark on the picture checks either.
const WIDEST_BY_SHAPE_DEG: f64 = 2.0;

/// Farthest that an axis lies from a mark to count as lying on it, degrees: there the shape of the limbus leaves a sixth of what it
/// leaves at the most, 45 degrees away.
const ON_THE_MARKS_DEG: f64 = 5.0;

const SHOW_THE_LIMBUS: &str =
    "use a still that shows more of the limbus, and its edge more clearly, or both opposite marks";
/// What the oval leaves open grows with the angle from the marks to the lens, whether the axis lies between or is wrong.
const MEASURE_THE_OVAL: &str = "check intended_axis_deg and marks_denote_deg, and give width and height of the limbus in the case sheet: the \
                                farther the lens stands from the marks, the more the oval of the limbus leaves open";

/// The reference marks an angle comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marks {
    /// How many.
    pub count: usize,
    /// How far the intended axis lies from the nearest meridian that one of them denotes, degrees, 0 to 90.
    pub from_axis_deg: f64,
}

impl Marks {
    /// Of the marks read. Those that denote no meridian stand on the intended axis.
    pub fn of(marks: &[MarkReading], plan: &Plan) -> Self {
        let laid_off_deg = plan.intended_axis_deg.filter(|_| plan.marks_denote_meridians);
        let nearest = |axis| marks.iter().map(|m| axis_difference(m.denotes_deg, axis).abs()).min_by(f64::total_cmp);
        Self { count: marks.len(), from_axis_deg: laid_off_deg.and_then(nearest).unwrap_or(0.0) }
    }
}

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
pub fn too_wide(parts: &VarianceParts, marks: Marks) -> Option<TooWide> {
    let part =
        |source, variance, widest_deg, hint| TooWide { source, half_deg: half95_deg(variance), widest_deg, hint };
    let most = |variance: f64| variance > parts.sum() / 2.0;
    let by_most = if most(parts.oval) { Some(MEASURE_THE_OVAL) } else { most(parts.limbus).then_some(SHOW_THE_LIMBUS) };
    let whole = part("", parts.sum(), WIDEST_HALF_INTERVAL_DEG, by_most);
    let limbus = |widest_deg| {
        part(" from the centre and shape of the limbus alone", parts.limbus, widest_deg, Some(SHOW_THE_LIMBUS))
    };
    let shape = part(
        " from the centre, shape and oval of the limbus alone",
        parts.limbus + parts.oval,
        WIDEST_BY_SHAPE_DEG,
        Some("use a still with the limbus seen squarely, or give its width and height in the case sheet"),
    );
    let on_the_marks = marks.from_axis_deg <= ON_THE_MARKS_DEG;
    let limited = match (marks.count, on_the_marks) {
        (1, true) => vec![whole, limbus(WIDEST_BY_LIMBUS_OF_ONE_MARK_DEG), shape],
        (1, false) => vec![whole, limbus(WIDEST_BY_LIMBUS_OF_ONE_MARK_DEG)],
        (_, true) => vec![whole, limbus(WIDEST_BY_LIMBUS_DEG), shape],
        (_, false) => vec![whole],
    };
    limited.into_iter().find(|part| part.half_deg > part.widest_deg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Matrix, PixelPoint};

    /// Variance that leaves so much either way.
    fn variance(half_deg: f64) -> f64 {
        (half_deg / 1.96).powi(2)
    }

    #[test]
    fn the_axis_is_laid_off_from_the_nearest_mark() {
        let mark =
            |denotes_deg| MarkReading { place: PixelPoint::origin(), covariance: Matrix::identity(), denotes_deg };
        let plan = |axis, meridians| Plan {
            intended_axis_deg: Some(axis),
            marks_denote_meridians: meridians,
            ..Plan::default()
        };
        for (denoted, plan, from_axis_deg) in [
            (&[0.0, 180.0][..], plan(30.0, true), 30.0),
            (&[0.0, 180.0], plan(175.0, true), 5.0),
            (&[0.0, 180.0, 270.0], plan(80.0, true), 10.0),
            (&[0.0, 180.0], plan(30.0, false), 0.0),
            (&[90.0], Plan { marks_denote_meridians: true, ..Plan::default() }, 0.0),
        ] {
            let marks: Vec<MarkReading> = denoted.iter().map(|d| mark(*d)).collect();
            assert_eq!(
                Marks::of(&marks, &plan),
                Marks { count: denoted.len(), from_axis_deg },
                "{denoted:?}, {plan:?}"
            );
        }
    }

    #[test]
    fn what_the_limbus_leaves_open_has_narrower_limits() {
        let marks = |half| VarianceParts { reference_marks: variance(half), ..VarianceParts::default() };
        let limbus =
            |half, oval| VarianceParts { limbus: variance(half), oval: variance(oval), ..VarianceParts::default() };
        let on = |count| Marks { count, from_axis_deg: 0.0 };
        let off = |count| Marks { count, from_axis_deg: 30.0 };
        for (parts, marks, widest) in [
            (marks(2.5), on(2), None),
            (marks(2.5), on(1), None),
            (marks(2.7), on(2), Some(2.6)),
            (marks(2.7), off(2), Some(2.6)),
            (limbus(1.2, 0.0), on(2), None),
            (limbus(1.4, 0.0), on(2), Some(1.3)),
            (limbus(1.4, 0.0), Marks { count: 2, from_axis_deg: 4.0 }, Some(1.3)),
            (limbus(2.5, 0.0), off(2), None),
            (limbus(2.7, 0.0), off(2), Some(2.6)),
            (limbus(0.9, 0.0), on(1), None),
            (limbus(1.2, 0.0), on(1), Some(1.0)),
            (limbus(1.2, 0.0), off(1), Some(1.0)),
            (limbus(0.9, 2.3), off(1), None),
            (limbus(1.2, 1.5), on(2), None),
            (limbus(1.2, 1.7), on(2), Some(2.0)),
            (limbus(0.0, 1.9), on(2), None),
            (limbus(0.0, 2.2), off(2), None),
        ] {
            let found = too_wide(&parts, marks);
            assert_eq!(found.as_ref().map(|part| part.widest_deg), widest, "{parts:?}, {marks:?}");
            assert!(found.is_none_or(|part| part.half_deg > part.widest_deg), "{parts:?}, {marks:?}");
        }
    }

    /// A sharper still would not narrow what the oval leaves open.
    #[test]
    fn what_takes_most_of_the_interval_tells_the_hint() {
        let hint = |reference_marks, limbus, oval| {
            let [reference_marks, limbus, oval] = [reference_marks, limbus, oval].map(variance);
            let parts = VarianceParts { reference_marks, limbus, oval, ..VarianceParts::default() };
            too_wide(&parts, Marks { count: 2, from_axis_deg: 30.0 }).expect("wider than 2.6").hint
        };
        assert_eq!(hint(1.0, 1.0, 2.7), Some(MEASURE_THE_OVAL));
        assert_eq!(hint(1.0, 2.7, 1.0), Some(SHOW_THE_LIMBUS));
        assert_eq!(hint(2.7, 1.0, 1.0), None);
        assert_eq!(hint(2.0, 2.0, 2.0), None);
    }
}
