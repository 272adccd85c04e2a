//! Which of the candidates are the reference marks, and which of them is which.

use super::{MarkFinding, likeness};
use crate::geometry::{Ellipse, Meridian};

/// How far from its place in the pattern a mark may stand, sd in degrees: 3 as put by hand, 3 as seen from a centre
/// that is itself some 5 % of the radius off.
const PLACED_SD_DEG: f64 = 4.2;
/// Farthest from its place that a mark is looked for, degrees.
const REACH_DEG: f64 = 15.0;
/// Penalty at which a candidate is as likely something else as a mark.
const EVEN_PENALTY: f64 = 4.0;
/// Least evidence (natural logarithm of a likelihood ratio) of a set that is accepted.
const LEAST_EVIDENCE: f64 = 0.3;
/// What it costs a mark to stand alone, with nothing in the right place to speak for it.
const LONE: f64 = 1.2;
/// Least lead in evidence over the next distinct reading: a likelihood ratio of about 4.5.
const LEAST_LEAD: f64 = 1.5;
/// What it speaks for two candidates that they are twins: marks of one eye are made with one tool.
const TWINS: f64 = 1.0;
/// Spread of the differences between marks of one eye, sd: logarithm of width, length, contrast; colour direction,
/// which depends on the ground.
const TWIN_SD: [f64; 4] = [0.5, 0.6, 0.8, 1.0];
/// Axes nearer than this are the same reading, degrees.
const SAME_AXIS_DEG: f64 = 20.0;
/// A rough direction of the eye's zero may be this far off, degrees.
const HINT_REACH_DEG: f64 = 45.0;
/// Candidates considered.
const MOST: usize = 12;

/// A mark and its place in the pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Index into the findings.
    pub finding: usize,
    /// Index into the pattern.
    pub pattern: usize,
}

/// One way to read the marks.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The marks, in the order of the pattern.
    pub placed: Vec<Placed>,
    /// Where the pattern's 0 lies: degrees counter-clockwise in the picture made round by the limbus.
    pub zero_deg: f64,
    /// Root mean square of the marks' deviations from the pattern, degrees; 0 for a single mark.
    pub misfit_deg: f64,
    /// Natural logarithm of how much better these are explained as marks than as anything else.
    pub evidence: f64,
}

/// Why no marks can be chosen.
#[derive(Clone, Debug, thiserror::Error)]
pub enum ChoiceRefusal {
    /// Nothing is enough like the marks expected.
    #[error("no reference marks: the best candidates have evidence {got:.1}, need {need:.1}")]
    Missing {
        /// Evidence of the best reading.
        got: f64,
        /// Least evidence accepted.
        need: f64,
        /// The best reading, if there was any candidate.
        best: Option<Box<Reading>>,
    },
    /// Two readings fit nearly alike.
    #[error(
        "two readings of the reference marks fit nearly alike: zero at {:.0} or at {:.0} degrees",
        readings[0].zero_deg, readings[1].zero_deg
    )]
    Ambiguous {
        /// The readings, the better first.
        readings: [Box<Reading>; 2],
    },
}

/// Choose the marks among `findings`.
///
/// - `limbus`: the ellipse they were found about, px
/// - `pattern`: meridians, relative to one another, where marks are expected, degrees counter-clockwise; `[0, 180]`
///   for two opposite marks on one axis. Some may be hidden: even a single one is accepted if it is clear and
///   leaves one axis only
/// - `zero_direction`: rough direction of the pattern's 0 in the picture, degrees counter-clockwise, if known
///
/// Turning by 180 degrees leaves an axis as it is: for `[0, 180]` without `zero_direction` either mark may be
/// called the first.
///
/// # Errors
/// [`ChoiceRefusal`] where nothing is like marks or two distinct readings are.
pub fn choose(
    findings: &[MarkFinding],
    limbus: &Ellipse,
    pattern: &[f64],
    zero_direction: Option<f64>,
) -> Result<Reading, ChoiceRefusal> {
    let mut readings = readings(findings, limbus, pattern);
    if let Some(hint) = zero_direction {
        readings.retain(|r| apart_deg(r.zero_deg, hint) <= HINT_REACH_DEG);
    }
    readings.sort_by(|a, b| b.evidence.total_cmp(&a.evidence).then(a.zero_deg.total_cmp(&b.zero_deg)));
    let mut ranked = readings.into_iter();
    let missing = |best: Option<Reading>| ChoiceRefusal::Missing {
        got: best.as_ref().map_or(0.0, |r| r.evidence),
        need: LEAST_EVIDENCE,
        best: best.map(Box::new),
    };
    let Some(best) = ranked.next() else { return Err(missing(None)) };
    if best.evidence < LEAST_EVIDENCE {
        return Err(missing(Some(best)));
    }
    match ranked.find(|r| rivals(r, &best)) {
        Some(next) if best.evidence - next.evidence < LEAST_LEAD => {
            Err(ChoiceRefusal::Ambiguous { readings: [Box::new(best), Box::new(next)] })
        }
        _ => Ok(best),
    }
}

/// Whether `other` says something else than `best`: another axis, or another mark for the same.
fn rivals(other: &Reading, best: &Reading) -> bool {
    let axis_apart = apart_deg(2.0 * other.zero_deg, 2.0 * best.zero_deg) / 2.0;
    let foreign = |p: &Placed| best.placed.iter().all(|b| b.finding != p.finding);
    axis_apart > SAME_AXIS_DEG || other.placed.iter().any(foreign)
}

/// Every set of candidates that stands like the pattern or a part of it.
fn readings(findings: &[MarkFinding], limbus: &Ellipse, pattern: &[f64]) -> Vec<Reading> {
    let meridians: Vec<Meridian> =
        findings.iter().take(MOST).map_while(|f| Meridian::of(&limbus.unit(&f.centroid))).collect();
    let mut readings = Vec::new();
    for (first, meridian) in meridians.iter().enumerate() {
        for (slot, relative) in pattern.iter().enumerate() {
            let Some(zero) = Meridian::from_degrees(meridian.degrees() - relative) else { continue };
            // Each set is reached once, from the candidate that comes first among the findings.
            let mut sets = vec![vec![Placed { finding: first, pattern: slot }]];
            for (other, expected) in pattern.iter().enumerate().filter(|(other, _)| *other != slot) {
                let mut larger = Vec::new();
                for (finding, mark) in meridians.iter().enumerate().skip(first + 1) {
                    if deviation(*mark, zero, *expected).abs() <= REACH_DEG {
                        let free = sets.iter().filter(|set| set.iter().all(|p| p.finding != finding));
                        larger.extend(free.map(|set| [&set[..], &[Placed { finding, pattern: other }]].concat()));
                    }
                }
                sets.extend(larger);
            }
            readings.extend(sets.into_iter().map(|set| weigh(findings, &meridians, pattern, zero, set)));
        }
    }
    readings
}

fn weigh(
    findings: &[MarkFinding],
    meridians: &[Meridian],
    pattern: &[f64],
    zero: Meridian,
    mut placed: Vec<Placed>,
) -> Reading {
    let count = placed.len() as f64;
    let deviations = placed.iter().map(|p| deviation(meridians[p.finding], zero, pattern[p.pattern]));
    let shift = deviations.clone().sum::<f64>() / count;
    let squares: f64 = deviations.map(|d| (d - shift).powi(2)).sum();
    let likeness: f64 =
        placed.iter().map(|p| (EVEN_PENALTY - likeness::penalty_of(findings[p.finding].score)) / 2.0).sum();
    let first = &findings[placed[0].finding];
    let twins: f64 = placed[1..].iter().map(|p| TWINS - difference(first, &findings[p.finding]) / 2.0).sum();
    let lone = if placed.len() == 1 { LONE } else { 0.0 };
    placed.sort_by_key(|p| p.pattern);
    Reading {
        placed,
        zero_deg: (zero.degrees() + shift).rem_euclid(360.0),
        misfit_deg: (squares / count).sqrt(),
        evidence: likeness + twins - lone - squares / PLACED_SD_DEG.powi(2) / 2.0,
    }
}

/// Signed deviation of a mark from its place in the pattern, degrees.
fn deviation(mark: Meridian, zero: Meridian, expected: f64) -> f64 {
    let turn = mark.degrees() - zero.degrees() - expected;
    (turn + 180.0).rem_euclid(360.0) - 180.0
}

/// Squared difference of two marks in make, in units of the spread between marks of one eye.
fn difference(a: &MarkFinding, b: &MarkFinding) -> f64 {
    let colour = |f: &MarkFinding| nalgebra::Vector3::from(f.absorbance).normalize();
    let differences = [
        (a.width_px / b.width_px).ln(),
        (a.length_px / b.length_px).ln(),
        (a.contrast / b.contrast).ln(),
        (colour(a) - colour(b)).norm(),
    ];
    differences.iter().zip(TWIN_SD).map(|(d, sd)| (d / sd).powi(2)).sum()
}

fn apart_deg(a: f64, b: f64) -> f64 {
    ((a - b + 180.0).rem_euclid(360.0) - 180.0).abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Matrix, PixelPoint};

    fn limbus() -> Ellipse {
        Ellipse::circle(PixelPoint::new(200.0, 200.0), 100.0).unwrap()
    }

    fn mark(degrees: f64, score: f64) -> MarkFinding {
        MarkFinding {
            centroid: limbus().at_polar(1.0, degrees.to_radians()),
            covariance: Matrix::identity() * 0.01,
            direction: None,
            length_px: 30.0,
            width_px: 4.0,
            contrast: 0.4,
            absorbance: [0.5, 0.4, 0.1],
            extent: [0.9, 1.1],
            score,
        }
    }

    fn chosen(marks: &[(f64, f64)], pattern: &[f64], hint: Option<f64>) -> Result<Reading, ChoiceRefusal> {
        let findings: Vec<MarkFinding> = marks.iter().map(|(d, s)| mark(*d, *s)).collect();
        choose(&findings, &limbus(), pattern, hint)
    }

    fn places(reading: &Reading) -> Vec<(usize, usize)> {
        reading.placed.iter().map(|p| (p.finding, p.pattern)).collect()
    }

    const PAIR: [f64; 2] = [0.0, 180.0];
    const CROSS: [f64; 4] = [0.0, 90.0, 180.0, 270.0];
    const THREE: [f64; 3] = [0.0, 180.0, 270.0];

    #[test]
    fn two_opposite_marks() {
        let reading = chosen(&[(30.0, 0.9), (212.0, 0.9), (100.0, 0.3)], &PAIR, None).unwrap();
        assert_eq!(reading.placed.len(), 2);
        assert!((reading.zero_deg.rem_euclid(180.0) - 31.0).abs() < 1e-9);
        assert!((reading.misfit_deg - 1.0).abs() < 1e-9);
        let other = chosen(&[(30.0, 0.9), (212.0, 0.9)], &PAIR, Some(200.0)).unwrap();
        assert!((other.zero_deg - 211.0).abs() < 1e-9);
        assert_eq!(places(&other), [(1, 0), (0, 1)]);
    }

    /// One hidden mark of a pair leaves the axis; two clear marks that are no pair leave two.
    #[test]
    fn single_marks_of_a_pair() {
        assert_eq!(chosen(&[(30.0, 0.9), (140.0, 0.2)], &PAIR, None).unwrap().placed.len(), 1);
        let two = chosen(&[(30.0, 0.9), (120.0, 0.9)], &PAIR, None);
        assert!(matches!(two, Err(ChoiceRefusal::Ambiguous { .. })), "{two:?}");
    }

    /// {0, 90} with both found is unique; a single one of them is not (DOMAIN: which mark is which).
    #[test]
    fn right_angles() {
        let reading = chosen(&[(100.0, 0.9), (11.0, 0.9)], &[0.0, 90.0], None).unwrap();
        assert_eq!(places(&reading), [(1, 0), (0, 1)]);
        let one = chosen(&[(100.0, 0.9)], &[0.0, 90.0], None);
        let Err(ChoiceRefusal::Ambiguous { readings }) = one else { panic!("{one:?}") };
        let apart = readings[0].zero_deg - readings[1].zero_deg;
        assert!((apart.abs() - 90.0).abs() < 1e-9, "{apart}");
        assert!((chosen(&[(100.0, 0.9)], &[0.0, 90.0], Some(25.0)).unwrap().zero_deg - 10.0).abs() < 1e-9);
    }

    #[test]
    fn three_marks_with_an_end_hidden() {
        let all = chosen(&[(10.0, 0.9), (190.0, 0.9), (280.0, 0.9)], &THREE, None).unwrap();
        assert_eq!(places(&all), [(0, 0), (1, 1), (2, 2)]);
        let axis = chosen(&[(10.0, 0.9), (190.0, 0.9)], &THREE, None).unwrap();
        assert!((axis.zero_deg.rem_euclid(180.0) - 10.0).abs() < 1e-9);
        let hidden = [(10.0, 0.9), (280.0, 0.9)];
        assert!(matches!(chosen(&hidden, &THREE, None), Err(ChoiceRefusal::Ambiguous { .. })));
        assert!((chosen(&hidden, &THREE, Some(350.0)).unwrap().zero_deg - 10.0).abs() < 1e-9);
    }

    #[test]
    fn a_full_cross_needs_a_hint() {
        let marks = [(5.0, 0.9), (95.0, 0.9), (185.0, 0.9), (275.0, 0.9)];
        assert!(matches!(chosen(&marks, &CROSS, None), Err(ChoiceRefusal::Ambiguous { .. })));
        let reading = chosen(&marks, &CROSS, Some(100.0)).unwrap();
        assert_eq!(places(&reading), [(1, 0), (2, 1), (3, 2), (0, 3)]);
    }

    /// Faint twins are believed together where each alone is not; unlike ones are not.
    #[test]
    fn twins_speak_for_each_other() {
        assert!(chosen(&[(40.0, 0.45)], &PAIR, None).is_err());
        assert_eq!(chosen(&[(40.0, 0.45), (221.0, 0.45)], &PAIR, None).unwrap().placed.len(), 2);
        let mut findings = [mark(40.0, 0.45), mark(221.0, 0.45)];
        findings[1].width_px = 20.0;
        findings[1].length_px = 12.0;
        assert!(choose(&findings, &limbus(), &PAIR, None).is_err());
    }

    #[test]
    fn nothing_found_is_missing() {
        assert!(matches!(chosen(&[], &PAIR, None), Err(ChoiceRefusal::Missing { best: None, .. })));
        let weak = chosen(&[(10.0, 0.1), (190.0, 0.1)], &PAIR, None);
        assert!(matches!(weak, Err(ChoiceRefusal::Missing { best: Some(_), .. })));
    }
}
