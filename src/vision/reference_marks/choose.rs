//! Which of the candidates are the reference marks, and which of them is which.

use super::{MarkFinding, likeness, network_weights};
use crate::geometry::{Ellipse, Meridian, are_opposite, axis_difference, direction_difference, wrap};
use crate::vision::posterior::Posterior;
use likeness::departure;
use nalgebra::Vector3;
use std::f64::consts::SQRT_2;

/// How far from its place in the pattern a mark may stand, sd in degrees: 3 as put by hand, 3 as seen from a centre
/// that is itself some 5 % of the radius off.
const PLACED_SD_DEG: f64 = 4.2;
/// Farthest from its place that a mark is looked for, degrees.
const REACH_DEG: f64 = 15.0;
/// Least probability of a reading, among all others and that none is right, that is accepted. Of 750 drawn stills without reference
/// marks, 300 of them hard, 0.85 let two pass (dye smudges, at 0.90), this none; of 2500 angles it costs 17. Marks drawn into
/// real frames reach 0.99 and more, and what was likeliest in real frames without them 0.73.
const LEAST_PROBABILITY: f64 = 0.92;
/// Width from which a mark is broad, limbus radii: 0.5 mm.
const BROAD: f64 = 0.085;
/// Readings nearer to each other than this say the same, degrees.
const SAME_AXIS_DEG: f64 = 3.0;
/// A rough direction of the eye's zero may be this far off, degrees: it is asked for to within 30, and the eye of who lies down
/// turns by up to 15 besides (from memory).
const HINT_REACH_DEG: f64 = 45.0;
/// Candidates considered.
const MOST: usize = 14;
/// Scale at which the distances of one eye's marks from the limbus differ, limbus radii.
const TWIN_SCALE: f64 = 0.06;
/// What counts as alike to a mark when those like it are counted, sd: natural logarithms of contrast, width and length;
/// direction of the colour.
const ALIKE_SD: [f64; 4] = [0.5, 0.4, 0.4, 0.25];
/// Contrast over the strongest other candidate's beyond which it tells no more.
const CLEAR_LEAD: f64 = 4.0;
/// Absorbance below which nothing stands out.
const LEAST_RED: f64 = 0.03;

/// How far a single mark stands from the axis that both would show, sd in degrees: half of what two are from opposite, which
/// was 1.2 rms in 38 stills of real operations that show both, and is 1.1 in the drawn ones.
const FELLOW_MISSING_SD_DEG: f64 = 1.2;

/// Share of eyes whose marks are crosses, as drawn; of a cross's marks whose lines are seen to cross (205 of 229); and of other
/// candidates (12 of 14457 that are no marks). The network knows nothing of it: it sees of a cross what was outlined, often an arm.
const CROSSES_SHARE: f64 = 0.065;
const CROSSING_SEEN: f64 = 0.9;
const CROSSING_BY_CHANCE: f64 = 0.001;

/// Number of [`Reading::terms`].
pub const TERMS: usize = network_weights::SET.len();

/// A mark and its place in the pattern.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Index into the findings.
    pub finding: usize,
    /// Index into the pattern.
    pub pattern: usize,
    /// What is uncertain about where it stands besides its place as read, sd in degrees: it may be a part of what its fellows
    /// are (less than half as wide: a line of two, what a lid leaves of a stroke), or one of two lines side by side.
    pub doubt_sd_deg: f64,
}

impl Placed {
    /// A candidate in a place, before it is held against its fellows.
    fn new(finding: usize, pattern: usize) -> Self {
        Self { finding, pattern, doubt_sd_deg: 0.0 }
    }
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
    /// What speaks for and against it besides the marks' own odds: what they are together, see `network_weights::SET`.
    pub terms: [f64; TERMS],
    /// What it adds to the evidence that its marks' lines cross, natural logarithm; 0 where none does.
    pub crossing: f64,
    /// Natural logarithm of the odds of this reading against that there are no marks.
    pub evidence: f64,
    /// What is uncertain about the axis besides the places of the marks, sd in degrees: the marks' own doubts; the fellow of a
    /// single mark may stand elsewhere than opposite; and from the choice on, other readings of nearly the same axis: of two
    /// lines side by side either may be meant, or both.
    pub spread_deg: f64,
    /// Probability of its axis among all readings and that there are no marks, from the choice on; 0 before.
    pub probability: f64,
}

/// Why no marks can be chosen.
#[derive(Clone, Debug, thiserror::Error)]
pub enum ChoiceRefusal {
    /// Nothing is enough like the marks expected.
    #[error("no reference marks: the best candidates are marks with a probability of {got:.2}, need {need:.2}")]
    Missing {
        /// Probability of the best reading.
        got: f64,
        /// Least probability accepted.
        need: f64,
        /// The best reading, if there was any candidate.
        best: Option<Box<Reading>>,
    },
    /// There are marks, but what they are counted from lies elsewhere than it should.
    #[error(
        "reference marks are there, but what they are counted from lies at {:.0}°, farther than {HINT_REACH_DEG}° from where the \
         sheet has it ({:.0}°, counter-clockwise as seen)",
        reading.zero_deg, expected_deg.rem_euclid(360.0)
    )]
    Elsewhere {
        /// The reading that the direction of the zero rules out.
        reading: Box<Reading>,
        /// Where that was said to lie, degrees.
        expected_deg: f64,
    },
    /// Two readings fit nearly alike.
    #[error("two readings of the reference marks fit nearly alike")]
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
/// [`ChoiceRefusal`] where nothing is like marks, two distinct readings are, or what is lies elsewhere than `zero_direction` says.
pub fn choose(
    findings: &[MarkFinding],
    limbus: &Ellipse,
    pattern: &[f64],
    zero_direction: Option<f64>,
) -> Result<Reading, ChoiceRefusal> {
    let chosen = choose_among(readings(findings, limbus, pattern, zero_direction));
    match (zero_direction, &chosen) {
        (Some(expected_deg), Err(ChoiceRefusal::Missing { .. })) => {
            // The direction may be wrong, not the marks missing: that is for another to mend.
            choose_among(readings(findings, limbus, pattern, None))
                .map_or(chosen, |reading| Err(ChoiceRefusal::Elsewhere { reading: Box::new(reading), expected_deg }))
        }
        _ => chosen,
    }
}

fn choose_among(mut readings: Vec<Reading>) -> Result<Reading, ChoiceRefusal> {
    readings.sort_by(|a, b| b.evidence.total_cmp(&a.evidence).then(a.zero_deg.total_cmp(&b.zero_deg)));
    let missing =
        |got, best: Option<Reading>| ChoiceRefusal::Missing { got, need: LEAST_PROBABILITY, best: best.map(Box::new) };
    let Some(best) = readings.first().cloned() else { return Err(missing(0.0, None)) };
    let posterior = Posterior::new(&readings, |r| r.evidence);
    let agrees = |r: &Reading| !rivals(r, &best);
    let probability = posterior.probability(agrees);
    match readings.iter().find(|r| rivals(r, &best)) {
        _ if probability >= LEAST_PROBABILITY => {
            let spread_deg = posterior.spread(agrees, |r| axis_difference(best.zero_deg, r.zero_deg));
            Ok(Reading { spread_deg: spread_deg.hypot(best.spread_deg), probability, ..best })
        }
        // Marks there are, but which?
        Some(rival) if posterior.probability(|_| true) >= LEAST_PROBABILITY => {
            let with_it = posterior.probability(|r| rivals(r, &best) && !rivals(r, rival));
            let rival = Reading { probability: with_it, ..rival.clone() };
            let best = Reading { probability, ..best };
            Err(ChoiceRefusal::Ambiguous { readings: [Box::new(best), Box::new(rival)] })
        }
        _ => Err(missing(probability, Some(best))),
    }
}

/// Whether a mark may as well be a stain of dye: broad and without a direction of its own.
fn is_blot(mark: &MarkFinding, limbus: &Ellipse) -> bool {
    mark.direction.is_none() && mark.width_px > BROAD * limbus.radius_px()
}

/// Whether `other` gives another axis than `best`.
fn rivals(other: &Reading, best: &Reading) -> bool {
    apart_deg(2.0 * other.zero_deg, 2.0 * best.zero_deg) / 2.0 > SAME_AXIS_DEG
}

/// Every set of candidates that stands like the pattern or a part of it, weighed; parameters as in [`choose`].
pub fn readings(
    findings: &[MarkFinding],
    limbus: &Ellipse,
    pattern: &[f64],
    zero_direction: Option<f64>,
) -> Vec<Reading> {
    let meridians: Vec<Meridian> =
        findings.iter().take(MOST).map_while(|f| Meridian::of(&limbus.unit(&f.centroid))).collect();
    let mut readings = Vec::new();
    for (first, meridian) in meridians.iter().enumerate() {
        for (slot, relative) in pattern.iter().enumerate() {
            let Some(zero) = Meridian::from_degrees(meridian.degrees() - relative) else { continue };
            // Each set is reached once, from the candidate that comes first among the findings.
            let mut sets = vec![vec![Placed::new(first, slot)]];
            for (other, expected) in pattern.iter().enumerate().filter(|(other, _)| *other != slot) {
                let mut larger = Vec::new();
                for (finding, mark) in meridians.iter().enumerate().skip(first + 1) {
                    if deviation(*mark, zero, *expected).abs() <= REACH_DEG {
                        let free = sets.iter().filter(|set| set.iter().all(|p| p.finding != finding));
                        larger.extend(free.map(|set| [&set[..], &[Placed::new(finding, other)]].concat()));
                    }
                }
                sets.extend(larger);
            }
            readings.extend(sets.into_iter().map(|set| weigh(findings, limbus, &meridians, pattern, zero, set)));
        }
    }
    match zero_direction {
        Some(hint) => readings.retain(|r| apart_deg(r.zero_deg, hint) <= HINT_REACH_DEG),
        // Turned by 180 degrees such a pattern is itself: each set would be there twice.
        None if is_its_own_opposite(pattern) => readings.retain(|r| r.zero_deg < 180.0),
        None => {}
    }
    readings
}

fn is_its_own_opposite(pattern: &[f64]) -> bool {
    pattern.iter().all(|a| pattern.iter().any(|b| are_opposite(*a, *b)))
}

fn weigh(
    findings: &[MarkFinding],
    limbus: &Ellipse,
    meridians: &[Meridian],
    pattern: &[f64],
    zero: Meridian,
    mut placed: Vec<Placed>,
) -> Reading {
    let count = placed.len() as f64;
    let deviations = placed.iter().map(|p| deviation(meridians[p.finding], zero, pattern[p.pattern]));
    let shift = deviations.clone().sum::<f64>() / count;
    let squares: f64 = deviations.map(|d| (d - shift).powi(2)).sum();
    let marks: Vec<&MarkFinding> = placed.iter().map(|p| &findings[p.finding]).collect();
    let others: Vec<&MarkFinding> =
        (0..findings.len()).filter(|k| placed.iter().all(|p| p.finding != *k)).map(|k| &findings[k]).collect();
    let single = placed.len() == 1;
    let terms: [f64; TERMS] = [
        count - 1.0,
        marks[1..].iter().map(|m| unlike(marks[0], m)).sum(),
        squares / PLACED_SD_DEG.powi(2),
        flag(single),
        lead(&marks, &others),
        crowd(&marks, &others),
        flag(matches!(marks[..], [mark] if is_blot(mark, limbus))),
    ];
    let own: f64 = marks.iter().map(|m| m.odds).sum();
    let crossing = crossing(&marks);
    let widest_px = marks.iter().map(|m| m.width_px).fold(0.0, f64::max);
    let doubts: Vec<f64> = marks.iter().map(|mark| doubt_sd_deg(mark, widest_px)).collect();
    for (placed, doubt) in placed.iter_mut().zip(&doubts) {
        placed.doubt_sd_deg = *doubt;
    }
    placed.sort_by_key(|p| p.pattern);
    Reading {
        placed,
        zero_deg: wrap(zero.degrees() + shift, 360.0),
        misfit_deg: (squares / count).sqrt(),
        terms,
        crossing,
        evidence: own + crossing + network_weights::SET.iter().zip(terms).map(|(w, t)| w * t).sum::<f64>(),
        spread_deg: (doubts.iter().map(|sd| sd * sd).sum::<f64>().sqrt() / count)
            .hypot(FELLOW_MISSING_SD_DEG * flag(single && pattern.len() > 1)),
        probability: 0.0,
    }
}

/// Natural logarithm of how much likelier marks are than other candidates to have as many crosses among them as these, less
/// the same of none: the marks of an eye are all of one form, so that most cross or none.
fn crossing(marks: &[&MarkFinding]) -> f64 {
    let odds = |crossed: i32| {
        let bars = marks.len() as i32 - crossed;
        let likelihood = |share: f64| share.powi(crossed) * (1.0 - share).powi(bars);
        let by_chance = likelihood(CROSSING_BY_CHANCE);
        (CROSSES_SHARE * likelihood(CROSSING_SEEN) + (1.0 - CROSSES_SHARE) * by_chance) / by_chance
    };
    let crossed = marks.iter().filter(|m| m.crossed.is_some()).count() as i32;
    (odds(crossed) / odds(0)).ln()
}

fn flag(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

/// Signed deviation of a mark from its place in the pattern, degrees.
fn deviation(mark: Meridian, zero: Meridian, expected: f64) -> f64 {
    direction_difference(zero.degrees() + expected, mark.degrees())
}

/// sd of where a mark stands among its fellows besides the sd of its place, degrees: it may be a part of what they are, or one
/// line of two. Whether it is one of two is not known, and if so, their middle lies half way to the other. (Where the fellow is a
/// bar by itself, too, eleven of eighteen drawn marks with a line beside them were one of two.) A cross is read where its lines
/// meet, however much of it was outlined.
fn doubt_sd_deg(mark: &MarkFinding, widest_px: f64) -> f64 {
    if mark.crossed.is_some() {
        return 0.0;
    }
    let missing_px = (widest_px - 2.0 * mark.width_px).max(0.0) / 2.0;
    // A length that is known in both units: the mark's own.
    let px_per_radius = mark.length_px / (mark.extent[1] - mark.extent[0]).max(f64::EPSILON);
    (missing_px / px_per_radius).to_degrees().hypot(mark.beside_deg / 2.0 / SQRT_2)
}

/// How two marks differ in their distance from the limbus.
fn unlike(a: &MarkFinding, b: &MarkFinding) -> f64 {
    let middle = |f: &MarkFinding| (f.extent[0] + f.extent[1]) / 2.0;
    departure((middle(a) - middle(b)) / TWIN_SCALE)
}

/// Natural logarithm of the faintest mark's contrast over the strongest other candidate's.
fn lead(marks: &[&MarkFinding], others: &[&MarkFinding]) -> f64 {
    let faintest = marks.iter().map(|m| m.absorbance[0]).fold(f64::INFINITY, f64::min);
    let strongest = others.iter().map(|m| m.absorbance[0]).fold(LEAST_RED, f64::max);
    if others.is_empty() { CLEAR_LEAD.ln() } else { (faintest / strongest).min(CLEAR_LEAD).ln() }
}

/// How many others are like these: marks are few, and vessels, lashes and hooks come in numbers.
fn crowd(marks: &[&MarkFinding], others: &[&MarkFinding]) -> f64 {
    let mean = |value: &dyn Fn(&MarkFinding) -> f64| marks.iter().map(|m| value(m)).sum::<f64>() / marks.len() as f64;
    let length = |f: &MarkFinding| f.extent[1] - f.extent[0];
    let colour = |f: &MarkFinding| Vector3::from(f.absorbance).normalize();
    let (red, width, long) = (mean(&|m| m.absorbance[0]), mean(&|m| m.width_px), mean(&length));
    let hue = marks.iter().map(|m| colour(m)).sum::<Vector3<f64>>() / marks.len() as f64;
    let alike = others.iter().map(|other| {
        let differences = [
            (other.absorbance[0] / red).ln(),
            (other.width_px / width).ln(),
            (length(other) / long).ln(),
            (colour(other) - hue).norm(),
        ];
        (-differences.iter().zip(ALIKE_SD).map(|(d, sd)| (d / sd).powi(2)).sum::<f64>() / 2.0).exp()
    });
    alike.sum::<f64>().ln_1p()
}

fn apart_deg(a: f64, b: f64) -> f64 {
    direction_difference(b, a).abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Matrix, PixelPoint, Vector};

    /// Odds of a mark as marks are.
    const MARK: f64 = 3.0;

    fn limbus() -> Ellipse {
        Ellipse::circle(PixelPoint::new(200.0, 200.0), 100.0).unwrap()
    }

    /// A mark as marks are where `off` is 0; the more, the less it is like one.
    fn mark(degrees: f64, off: f64) -> MarkFinding {
        MarkFinding {
            centroid: limbus().at_polar(1.0, degrees.to_radians()),
            covariance: Matrix::identity() * 0.01,
            direction: None,
            length_px: 30.0,
            width_px: 4.0,
            contrast: 0.4,
            absorbance: [0.5, 0.4, 0.1],
            extent: [0.9, 1.1],
            traits: [0.0; likeness::COUNT],
            crossed: None,
            beside_deg: 0.0,
            profile: [0.0; super::super::profile::COUNT],
            first_odds: 0.0,
            odds: MARK - off,
        }
    }

    fn chosen(marks: &[(f64, f64)], pattern: &[f64], hint: Option<f64>) -> Result<Reading, ChoiceRefusal> {
        let findings: Vec<MarkFinding> = marks.iter().map(|(d, off)| mark(*d, *off)).collect();
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
        let reading = chosen(&[(30.0, 0.0), (212.0, 0.0), (100.0, 4.0)], &PAIR, None).unwrap();
        assert_eq!(reading.placed.len(), 2);
        assert!((reading.zero_deg.rem_euclid(180.0) - 31.0).abs() < 1e-9);
        assert!((reading.misfit_deg - 1.0).abs() < 1e-9);
        let other = chosen(&[(30.0, 0.0), (212.0, 0.0)], &PAIR, Some(200.0)).unwrap();
        assert!((other.zero_deg - 211.0).abs() < 1e-9);
        assert_eq!(places(&other), [(1, 0), (0, 1)]);
    }

    /// One hidden mark of a pair leaves the axis; two clear marks that are no pair leave two.
    #[test]
    fn single_marks_of_a_pair() {
        let mut faint = mark(140.0, 4.0);
        faint.absorbance = [0.1, 0.08, 0.02];
        assert_eq!(choose(&[mark(30.0, 0.0), faint], &limbus(), &PAIR, None).unwrap().placed.len(), 1);
        let two = chosen(&[(30.0, 0.0), (120.0, 0.0)], &PAIR, None);
        assert!(two.is_err(), "{two:?}");
    }

    /// {0, 90} with both found is unique; a single one of them is not: it may be either.
    #[test]
    fn right_angles() {
        let reading = chosen(&[(100.0, 0.0), (11.0, 0.0)], &[0.0, 90.0], None).unwrap();
        assert_eq!(places(&reading), [(1, 0), (0, 1)]);
        let one = chosen(&[(100.0, 0.0)], &[0.0, 90.0], None);
        let Err(ChoiceRefusal::Ambiguous { readings }) = one else { panic!("{one:?}") };
        let apart = readings[0].zero_deg - readings[1].zero_deg;
        assert!((apart.abs() - 90.0).abs() < 1e-9, "{apart}");
        assert!((chosen(&[(100.0, 0.0)], &[0.0, 90.0], Some(25.0)).unwrap().zero_deg - 10.0).abs() < 1e-9);
    }

    #[test]
    fn three_marks_with_an_end_hidden() {
        let all = chosen(&[(10.0, 0.0), (190.0, 0.0), (280.0, 0.0)], &THREE, None).unwrap();
        assert_eq!(places(&all), [(0, 0), (1, 1), (2, 2)]);
        let axis = chosen(&[(10.0, 0.0), (190.0, 0.0)], &THREE, None).unwrap();
        assert!((axis.zero_deg.rem_euclid(180.0) - 10.0).abs() < 1e-9);
        let hidden = [(10.0, 0.0), (280.0, 0.0)];
        assert!(matches!(chosen(&hidden, &THREE, None), Err(ChoiceRefusal::Ambiguous { .. })));
        assert!((chosen(&hidden, &THREE, Some(350.0)).unwrap().zero_deg - 10.0).abs() < 1e-9);
    }

    #[test]
    fn a_full_cross_needs_a_hint() {
        let marks = [(5.0, 0.0), (95.0, 0.0), (185.0, 0.0), (275.0, 0.0)];
        assert!(matches!(chosen(&marks, &CROSS, None), Err(ChoiceRefusal::Ambiguous { .. })));
        let reading = chosen(&marks, &CROSS, Some(100.0)).unwrap();
        assert_eq!(places(&reading), [(1, 0), (2, 1), (3, 2), (0, 3)]);
    }

    /// What is too little by itself is believed with its like on the other side, but not where it is one of many.
    #[test]
    fn marks_speak_for_each_other_and_a_crowd_against_them() {
        let off = 2.5;
        assert!(chosen(&[(40.0, off)], &PAIR, None).is_err());
        assert_eq!(chosen(&[(40.0, off), (221.0, off)], &PAIR, None).unwrap().placed.len(), 2);
        let vessels = [70.0, 95.0, 130.0, 160.0, 265.0, 290.0, 325.0].map(|d| (d, off));
        let crowded = [&[(40.0, off), (221.0, off)][..], &vessels].concat();
        assert!(chosen(&crowded, &PAIR, None).is_err());
    }

    /// A broad spot by itself may be a stain of dye; a small one, or one with its like opposite, is a mark.
    #[test]
    fn a_lone_blot_is_no_mark() {
        let broad = |degrees: f64| MarkFinding { width_px: 12.0, ..mark(degrees, 0.0) };
        let one = choose(&[broad(40.0)], &limbus(), &PAIR, None);
        assert!(matches!(one, Err(ChoiceRefusal::Missing { .. })), "{one:?}");
        assert_eq!(chosen(&[(40.0, 0.0)], &PAIR, None).unwrap().placed.len(), 1);
        assert_eq!(choose(&[broad(40.0), broad(220.0)], &limbus(), &PAIR, None).unwrap().placed.len(), 2);
    }

    #[test]
    fn nothing_found_is_missing() {
        assert!(matches!(chosen(&[], &PAIR, None), Err(ChoiceRefusal::Missing { best: None, .. })));
        let weak = chosen(&[(10.0, 9.0), (190.0, 9.0)], &PAIR, None);
        assert!(matches!(weak, Err(ChoiceRefusal::Missing { best: Some(_), .. })));
    }

    /// Each mark may be either of two lines 3 degrees apart: a pair is taken, but it is not sure of more than 1 to 3 degrees.
    #[test]
    fn either_of_two_lines_leaves_a_spread() {
        let reading = chosen(&[(30.0, 0.0), (210.0, 0.0), (33.0, 0.1), (213.0, 0.1)], &PAIR, None).unwrap();
        assert!((1.0..3.0).contains(&reading.spread_deg), "{}", reading.spread_deg);
        let alone = chosen(&[(30.0, 0.0), (210.0, 0.0)], &PAIR, None).unwrap();
        assert!(alone.spread_deg < 0.01, "{}", alone.spread_deg);
    }

    /// 20 px wide against 4, at 150 px to a radius: half of what is beyond twice the width is (20 - 8) / 2 px, 2.29 degrees, of
    /// which the axis through both takes half.
    #[test]
    fn a_mark_much_narrower_than_its_fellow_may_be_a_part() {
        let mut findings = [mark(40.0, 0.0), mark(220.0, 0.0)];
        findings[1].width_px = 20.0;
        let reading = choose(&findings, &limbus(), &PAIR, None).unwrap();
        let missing_deg = (6.0_f64 / 150.0).to_degrees();
        assert!((reading.spread_deg - missing_deg / 2.0).abs() < 1e-3, "{}", reading.spread_deg);
        let mut doubts: Vec<f64> = reading.placed.iter().map(|placed| placed.doubt_sd_deg).collect();
        doubts.sort_by(f64::total_cmp);
        assert!(doubts[0] < 1e-9 && (doubts[1] - missing_deg).abs() < 1e-3, "{doubts:?}");
    }

    /// Of two lines 4 degrees apart the middle may lie 2 degrees aside, or not: 2 over the root of 2.
    #[test]
    fn one_line_of_two_may_not_be_the_mark() {
        let mut findings = [mark(40.0, 0.0), mark(220.0, 0.0)];
        findings[0].beside_deg = 4.0;
        let reading = choose(&findings, &limbus(), &PAIR, None).unwrap();
        let doubt = |finding: usize| reading.placed.iter().find(|p| p.finding == finding).unwrap().doubt_sd_deg;
        assert!((doubt(0) - SQRT_2).abs() < 1e-9 && doubt(1) < 1e-9, "{reading:?}");
        assert!((reading.spread_deg - SQRT_2 / 2.0).abs() < 1e-3, "{}", reading.spread_deg);
    }

    /// One cross was outlined whole, one along an arm: both are read where their lines meet.
    #[test]
    fn a_cross_is_doubted_for_no_part() {
        let mut findings = [mark(40.0, 0.0), mark(220.0, 0.0)];
        findings[1].width_px = 20.0;
        let spread = |findings: &[MarkFinding]| choose(findings, &limbus(), &PAIR, None).unwrap().spread_deg;
        assert!(spread(&findings) > 1.0);
        findings.iter_mut().for_each(|f| f.crossed = Some([Vector::x(), Vector::y()]));
        assert!(spread(&findings) < 0.01, "{}", spread(&findings));
    }

    /// The fellow that is not seen would have moved the axis by half of what it is from opposite.
    #[test]
    fn a_single_mark_leaves_the_doubt_of_its_fellow() {
        let single = chosen(&[(30.0, 0.0)], &PAIR, None).unwrap();
        assert!((single.spread_deg - FELLOW_MISSING_SD_DEG).abs() < 1e-9, "{}", single.spread_deg);
        assert!(chosen(&[(30.0, 0.0), (211.0, 0.0)], &PAIR, None).unwrap().spread_deg < 0.05);
    }

    /// By hand, a = 0.065 and b = 0.001: of two marks (0.9^2 a + b^2 (1 - a)) / b^2 = 52651 where both cross,
    /// (0.9 0.1 a + b (1 - b) (1 - a)) / (b (1 - b)) = 6.79086 where one does, (0.1^2 a + (1 - b)^2 (1 - a)) / (1 - b)^2 = 0.935651
    /// where none does; of a single one 0.9 a / b + 1 - a = 59.435 and 0.1 a / (1 - b) + 1 - a = 0.941507.
    #[test]
    fn marks_that_cross_speak_for_each_other() {
        let cross = MarkFinding { crossed: Some([nalgebra::Vector2::x(), nalgebra::Vector2::y()]), ..mark(30.0, 0.0) };
        let bar = mark(210.0, 0.0);
        let expected = [
            (vec![&cross, &cross], 52_651.0 / 0.935_651),
            (vec![&cross, &bar], 6.790_86 / 0.935_651),
            (vec![&bar, &bar], 1.0),
            (vec![&cross], 59.435 / 0.941_507),
        ];
        for (marks, odds) in expected {
            let found = crossing(&marks).exp();
            assert!((found / odds - 1.0).abs() < 1e-5, "{found}, by hand {odds}");
        }
    }

    /// The probabilities of a conditional logit by hand: one reading of evidence e against none is 1 / (1 + exp(-e)).
    #[test]
    fn the_refusal_states_the_probability() {
        let Err(ChoiceRefusal::Missing { got, best: Some(best), .. }) = chosen(&[(10.0, 5.0)], &PAIR, None) else {
            panic!("a mark this doubtful was taken");
        };
        let terms: f64 = MARK - 5.0 + network_weights::SET[3] + network_weights::SET[4] * 4.0_f64.ln();
        assert!((best.evidence - terms).abs() < 1e-12, "{} {terms}", best.evidence);
        assert!((got - 1.0 / (1.0 + (-terms).exp())).abs() < 1e-12, "{got}");
    }
}
