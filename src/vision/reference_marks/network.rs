//! How much a candidate is like a mark: a small network on its traits and its profile.

use super::likeness::{self, Traits};
use super::network_weights::NETWORK;
use super::profile::{self, Profile};

/// Numbers that the network reads: traits, then profile.
pub(super) const INPUTS: usize = likeness::COUNT + profile::COUNT;

/// Natural logarithm of the odds that a candidate is a mark rather than something else, up to a constant that
/// [`super::choose`] knows; `tests/reference/mark_weights/fit.py` made the weights and says on what.
pub(super) fn log_odds(traits: &Traits, profile: &Profile) -> f64 {
    let mut numbers = [0.0; INPUTS];
    let (own, rest) = numbers.split_at_mut(likeness::COUNT);
    own.iter_mut().zip(traits).for_each(|(to, trait_)| *to = *trait_ as f32);
    rest.copy_from_slice(profile);
    NETWORK.log_odds(&numbers)
}
