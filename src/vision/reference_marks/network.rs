//! How much a candidate is like a mark: a small network of one hidden layer on its traits and its profile.

use super::likeness::{self, Traits};
use super::network_weights::{HIDDEN_BIAS, HIDDEN_WEIGHT, MEAN, OUT_BIAS, OUT_WEIGHT, SPREAD, STRAIGHT_WEIGHT};
use super::profile::{self, Profile};

/// Numbers that the network reads: traits, then profile.
pub const INPUTS: usize = likeness::COUNT + profile::COUNT;
/// No number further from its mean than this many spreads counts: what was never seen must not decide.
const UNUSUAL: f32 = 4.0;

/// Natural logarithm of the odds that a candidate is a mark rather than something else, up to a constant that
/// [`super::choose`] knows; `tests/reference/mark_weights/fit.py` made the weights and says on what.
pub(super) fn odds(traits: &Traits, profile: &Profile) -> f64 {
    let mut inputs = [0.0; INPUTS];
    let numbers = traits.iter().map(|t| *t as f32).chain(profile.iter().copied());
    for (((to, number), mean), spread) in inputs.iter_mut().zip(numbers).zip(&MEAN).zip(&SPREAD) {
        *to = ((number - mean) / spread).clamp(-UNUSUAL, UNUSUAL);
    }
    let hidden = HIDDEN_WEIGHT.iter().zip(&HIDDEN_BIAS).map(|(weights, bias)| (bias + dot(weights, &inputs)).max(0.0));
    let bent: f32 = hidden.zip(&OUT_WEIGHT).map(|(unit, weight)| unit * weight).sum();
    f64::from(OUT_BIAS + dot(&STRAIGHT_WEIGHT, &inputs) + bent)
}

fn dot(a: &[f32; INPUTS], b: &[f32; INPUTS]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
