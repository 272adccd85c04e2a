//! A cumulative sum of outcomes, each weighed by the risk it was expected to carry.
//!
//! Source: Steiner, Cook, Farewell & Treasure (2000), Biostatistics 1:441-452.

use super::descriptive::{quantile_of_sorted, sorted};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Steps drawn in all when a limit is sought.
const MOST_STEPS: usize = 20_000_000;

/// What one outcome adds: ln(R^y / (1 - p + R p)).
///
/// - `bad`: whether the outcome was bad
/// - `risk`: p, its probability as expected, 0 to 1
/// - `odds_ratio`: R, the change of the odds that is to be found
pub fn step(bad: bool, risk: f64, odds_ratio: f64) -> f64 {
    (if bad { odds_ratio.ln() } else { 0.0 }) - (1.0 - risk + odds_ratio * risk).ln()
}

/// The sum max(0, S + step) after each outcome.
///
/// - `outcomes`: bad or not, and the risk that was expected
pub fn sums(outcomes: &[(bool, f64)], odds_ratio: f64) -> Vec<f64> {
    let mut sum = 0.0_f64;
    let mut next = |(bad, risk): &(bool, f64)| {
        sum = (sum + step(*bad, *risk, odds_ratio)).max(0.0);
        sum
    };
    outcomes.iter().map(&mut next).collect()
}

/// The limit that a sequence of these risks, nothing having changed, passes with probability `false_alarm` before its end;
/// by `runs` drawn sequences, fewer where the sequence is long. `None` of an empty sequence.
pub fn limit(risks: &[f64], odds_ratio: f64, false_alarm: f64, runs: u32, seed: u64) -> Option<f64> {
    if risks.is_empty() {
        return None;
    }
    let runs = (runs as usize).min((MOST_STEPS / risks.len()).max(200)) as u64;
    let steps: Vec<[f64; 2]> =
        risks.iter().map(|risk| [step(false, *risk, odds_ratio), step(true, *risk, odds_ratio)]).collect();
    let highest: Vec<f64> = (0..runs)
        .into_par_iter()
        .map(|run| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            rng.set_stream(run);
            let (mut sum, mut highest) = (0.0_f64, 0.0_f64);
            for (risk, step) in risks.iter().zip(&steps) {
                sum = (sum + step[usize::from(rng.random::<f64>() < *risk)]).max(0.0);
                highest = highest.max(sum);
            }
            highest
        })
        .collect();
    quantile_of_sorted(&sorted(&highest), 1.0 - false_alarm)
}
