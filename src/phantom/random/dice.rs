//! Chance, and a memory of the faults it dealt.

use super::Difficulty;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Chance with a difficulty.
pub struct Dice {
    rng: ChaCha8Rng,
    hardness: f64,
    tags: Vec<String>,
}

impl Dice {
    /// Dice for one still of a series.
    pub fn new(seed: u64, still: u64, difficulty: Difficulty) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(still);
        let hardness = match difficulty {
            Difficulty::Easy => 0.0,
            Difficulty::Mixed => 1.0,
            Difficulty::Hard => 2.2,
        };
        Self { rng, hardness, tags: Vec::new() }
    }

    /// A seed for something else.
    pub fn seed(&mut self) -> u64 {
        self.rng.random()
    }

    /// Evenly between two values.
    pub fn range(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.rng.random::<f64>()
    }

    /// A whole number from 0, below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        self.rng.random_range(0..count.max(1))
    }

    /// One of several.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }

    /// Normal, with the given standard deviation.
    pub fn normal(&mut self, sd: f64) -> f64 {
        let n: f64 = StandardNormal.sample(&mut self.rng);
        n * sd
    }

    /// True with this probability.
    pub fn chance(&mut self, p: f64) -> bool {
        self.rng.random::<f64>() < p
    }

    /// A fault: true with this probability in a mixed collection, never in an easy one, more often in a hard one.
    /// Noted under `tag` when it strikes.
    pub fn fault(&mut self, p: f64, tag: &str) -> bool {
        let strikes = self.chance((p * self.hardness).min(0.75));
        if strikes {
            self.note(tag);
        }
        strikes
    }

    /// Note a fault.
    pub fn note(&mut self, tag: &str) {
        self.tags.push(tag.to_owned());
    }

    /// Each channel of a colour varied by up to `spread` of its value, with all in common as much again.
    pub fn vary(&mut self, colour: [f64; 3], spread: f64) -> [f64; 3] {
        let common = 1.0 + self.range(-spread, spread);
        colour.map(|c| (c * common * (1.0 + self.range(-spread, spread) / 2.0)).clamp(0.0, 255.0))
    }

    /// A colour on the way from one to another.
    pub fn between(&mut self, from: [f64; 3], to: [f64; 3]) -> [f64; 3] {
        let way = self.range(0.0, 1.0);
        std::array::from_fn(|k| from[k] + (to[k] - from[k]) * way)
    }

    /// The faults dealt so far.
    pub fn tags(&self) -> Vec<String> {
        self.tags.clone()
    }
}
