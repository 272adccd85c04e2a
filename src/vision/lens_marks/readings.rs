//! All readings of a patch: any two opposite groups, and any one by itself.

use super::group_fit::Group;
use super::groups::{Start, Tries, drop_dots_on_lines, extend, is_misread, stands_alone};
use super::marks::Kind;
use super::network_weights::NETWORK;
use super::patch::Patch;
use super::terms::{self, OTHER_SPOTS, TERMS};
use super::twin::twin;
use crate::geometry::{Vector, ccw_degrees};

/// One way to read the marks.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The two groups, or the one that is seen.
    pub groups: Vec<Group>,
    /// What speaks for and against it.
    pub terms: [f64; TERMS],
    /// Direction of the axis in the patch, degrees counter-clockwise, modulo 180.
    pub axis_deg: f64,
    /// Natural logarithm of the odds of this reading against that there are no marks.
    pub evidence: f64,
    /// Two lone dots of which one may be the tip of a hook: a speck opposite a tip would be read as marks.
    pub may_be_tip: bool,
}

/// Least share explained for a group's twin to be looked for, or for it to be read by itself.
const LEAST_ANCHOR: f64 = 0.70;
/// Evidence of a pair from which its groups' twins need not be looked for.
const PAIRED: f64 = 4.0;

/// Share of the stretch beyond a lone dot in which a line as dark as it leads away (see [`terms::dark_tail`]), from which it may be the
/// tip of a hook.
const TIP: f64 = 0.9;

/// How much other clear spots beside two lone dots count against them, for each e-fold of their number. Set by hand: drawn
/// stills have too few to weigh what everyone would refuse.
const SPOTS_AGAINST: f64 = 4.0;

impl Reading {
    fn new(groups: Vec<Group>, terms: [f64; TERMS]) -> Self {
        let axis_deg = match groups[..] {
            [a, b, ..] => ccw_degrees(&(b.shape.place - a.shape.place)).unwrap_or(0.0),
            _ => -groups[0].shape.angle.to_degrees(),
        };
        let evidence = NETWORK.log_odds(&terms.map(|t| t as f32)) - SPOTS_AGAINST * terms[OTHER_SPOTS];
        Self { groups, terms, axis_deg, evidence, may_be_tip: false }
    }
}

/// Readings of the most promising places alone, as pairs.
pub fn at_a_glance(patch: &Patch, tries: &Tries) -> (Vec<Group>, Vec<Reading>) {
    let mut groups = Vec::new();
    extend(&mut groups, patch, &tries.promising);
    groups.retain(|g| !is_misread(patch, g));
    drop_dots_on_lines(&mut groups, patch);
    let readings = pairs(patch, &groups);
    (groups, readings)
}

/// All readings, given the groups of [`at_a_glance`].
pub fn thorough(patch: &Patch, tries: &Tries, groups: &mut Vec<Group>) -> Vec<Reading> {
    add(groups, patch, &tries.others);
    all_of(patch, tries, groups)
}

/// All readings where faint spots count, too, given the groups of [`thorough`]; of lone dots, those with nothing beside them.
pub fn down_to_faint_spots(patch: &Patch, tries: &Tries, groups: &mut Vec<Group>) -> Vec<Reading> {
    add(groups, patch, &tries.faint_spots);
    groups.retain(|g| g.kind != Kind::Dots(1) || stands_alone(patch, g));
    all_of(patch, tries, groups)
}

/// Add to `groups` those found at `starts`.
fn add(groups: &mut Vec<Group>, patch: &Patch, starts: &[Start]) {
    let before = groups.len();
    extend(groups, patch, starts);
    let later = groups.split_off(before);
    groups.extend(later.into_iter().filter(|g| !is_misread(patch, g)));
    drop_dots_on_lines(groups, patch);
}

/// All readings of some groups, each with its twin or by itself, too.
fn all_of(patch: &Patch, tries: &Tries, groups: &[Group]) -> Vec<Reading> {
    let mut out = pairs(patch, groups);
    let spots = terms::clear_spots(groups);
    for group in groups.iter().filter(|g| g.kind != Kind::Dots(1) && g.explained > LEAST_ANCHOR) {
        let paired = |r: &Reading| r.evidence > PAIRED && r.groups.iter().any(|g| g.shape.place == group.shape.place);
        if out.iter().any(paired) {
            continue;
        }
        let twin = twin(patch, &tries.marks, group);
        let tail = terms::tail(patch, group);
        let pair = twin.group.filter(|t| !is_misread(patch, t)).and_then(|t| {
            let tails = [tail, terms::tail(patch, &t)];
            Some(Reading::new(vec![*group, t], terms::of_pair(patch, [group, &t], tails, &spots)?))
        });
        out.extend(pair);
        let lone = terms::of_lone(patch, group, tail, &spots, twin.likeness);
        out.extend(lone.map(|terms| Reading::new(vec![*group], terms)));
    }
    out
}

fn pairs(patch: &Patch, groups: &[Group]) -> Vec<Reading> {
    let spots: Vec<Vector> = terms::clear_spots(groups);
    let tails: Vec<f64> = groups.iter().map(|g| terms::tail(patch, g)).collect();
    let mut out = Vec::new();
    for (i, a) in groups.iter().enumerate() {
        for (k, b) in groups.iter().enumerate().skip(i + 1) {
            let terms = terms::of_pair(patch, [a, b], [tails[i], tails[k]], &spots);
            out.extend(terms.map(|terms| pair(patch, [a, b], terms)));
        }
    }
    out
}

fn pair(patch: &Patch, [a, b]: [&Group; 2], terms: [f64; TERMS]) -> Reading {
    let reading = Reading::new(vec![*a, *b], terms);
    // Where nothing speaks for them it does not matter.
    let lone_dots = a.kind == Kind::Dots(1) && reading.evidence > 0.0;
    let may_be_tip = lone_dots && [a, b].iter().any(|dot| terms::dark_tail(patch, dot) > TIP);
    Reading { may_be_tip, ..reading }
}
