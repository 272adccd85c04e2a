//! What was refused, by group: eyes without a figure, lenses far from their plan, and stills.

use super::audit::{Group, every};
use super::estimates::{Estimate, Sample};
use super::eye::Eye;
use super::figures::{Behind, Section};
use super::patients::Patients;
use super::reading::in_words;
use std::collections::BTreeSet;

/// Eyes of which nothing is known, by the reason of their first refusal.
pub(super) fn without_figure(all: &Group, by: &[(String, Vec<Group>)]) -> Section {
    let mut section = Section::new("Eyes without a figure");
    section.text.push(
        "An eye has no figure where every still of it was refused or could not be read. By the reason of its first refusal."
            .to_owned(),
    );
    let first_reason = |eye: &Eye| eye.refusals.first().map_or("unknown".to_owned(), Clone::clone);
    let without = all.1.iter().filter(|eye| eye.measure.is_none());
    let reasons: BTreeSet<String> = without.map(|eye| first_reason(eye)).collect();
    for (name, eyes) in every(all, by) {
        let behind = people_of(eyes);
        share_without_figure(&mut section, &name, eyes);
        for reason in &reasons {
            let count = eyes.iter().filter(|eye| eye.measure.is_none() && first_reason(eye) == *reason).count();
            section.add(&name, in_words(reason), "eyes", Some(count as f64), None, behind);
        }
    }
    section
}

/// Eyes of which a still was refused because of the size of its error.
pub(super) fn far_from_plan(all: &Group, by: &[(String, Vec<Group>)]) -> Section {
    let mut section = Section::new("Lenses far from their plan");
    section.text.push(
        "A still is refused for standing too far from its plan always beyond 45°, and from about 13° on where its marks are less \
         than sure: there a misread mark is likelier. Eyes of which no other still was measured are in no mean, median or spread of the \
         error, and these are too small then; \"at least\" counts such eyes as beyond the limit. Records made before this \
         refusal had a code of its own have it among the ambiguous marks, and it is not counted here."
            .to_owned(),
    );
    for (name, eyes) in every(all, by) {
        count_far_from_plan(&mut section, &name, eyes);
    }
    section
}

/// The number of such eyes in a group, and of those among them without a figure.
pub(super) fn count_far_from_plan(section: &mut Section, name: &str, eyes: &[&Eye]) {
    let behind = people_of(eyes);
    let far = eyes.iter().filter(|eye| eye.far_from_plan);
    let without = far.clone().filter(|eye| eye.measure.is_none()).count();
    section.add(name, "eyes with a still refused as far from plan", "eyes", Some(far.count() as f64), None, behind);
    section.add(name, "of these without a figure", "eyes", Some(without as f64), None, behind);
}

/// What this does to figures, for quoting.
pub(super) fn methods() -> String {
    "A still whose lens stands far from its plan is refused beyond 45°, and from about 13° on where its marks are less than sure, so \
     that refusal depends on the size of the error. Means, medians and spreads of the error, what is compared of them and sequences leave such \
     eyes out, unless another still of them was measured, and are too small then; the shares \"at least\" and \"without a figure\" count \
     them. Their number is given."
        .to_owned()
}

/// Stills refused or unreadable, by reason: also those of eyes of which other stills gave a figure.
pub(super) fn stills(all: &Group, by: &[(String, Vec<Group>)]) -> Section {
    let mut section = Section::new("Refused stills");
    section.text.push(
        "Stills that were refused or could not be read, also those of eyes that have a figure from other stills; the number of \
         stills is divided by the design effect of stills within patients for the interval."
            .to_owned(),
    );
    let reasons: BTreeSet<&str> = all.1.iter().flat_map(|eye| &eye.refusals).map(String::as_str).collect();
    for (name, eyes) in every(all, by) {
        let behind = people_of(eyes);
        let sample = by_still(eyes);
        section.add(&name, "stills", "stills", Some(sample.values.len() as f64), None, behind);
        let refused = sample.share(|v| v > 0.5).percent();
        section.add(&name, "refused", "%", refused.value, refused.interval, behind);
        for reason in &reasons {
            let count = eyes.iter().flat_map(|eye| &eye.refusals).filter(|code| code == reason).count();
            section.add(&name, in_words(reason), "stills", Some(count as f64), None, behind);
        }
    }
    section
}

/// The share of the eyes of a group without a figure.
pub(super) fn share_without_figure(section: &mut Section, name: &str, eyes: &[&Eye]) {
    let everyone = Sample::of(eyes.iter().copied(), |eye| Some(f64::from(u8::from(eye.measure.is_none()))));
    let share = everyone.share(|v| v > 0.5).percent();
    section.add(name, "without a figure", "%", share.value, share.interval, everyone.behind());
}

/// Share of the stills of `eyes` that were refused, percent.
pub(super) fn refused_percent(eyes: &[&Eye]) -> Estimate {
    by_still(eyes).share(|v| v > 0.5).percent()
}

pub(super) fn people_of(eyes: &[&Eye]) -> Behind {
    Sample::of(eyes.iter().copied(), |_| Some(0.0)).behind()
}

/// One value a still, 1 where it was refused.
fn by_still(eyes: &[&Eye]) -> Sample {
    let (mut values, mut named) = (Vec::new(), Vec::new());
    for (at, eye) in eyes.iter().enumerate() {
        let outcomes = eye.refusals.iter().map(|_| 1.0).chain(eye.still_errors_deg.iter().map(|_| 0.0));
        for outcome in outcomes {
            values.push(outcome);
            named.push((at, eye.patient.as_deref()));
        }
    }
    Sample { values, patients: Patients::of(named) }
}
