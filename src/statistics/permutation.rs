//! Tests by exchanging labels. What is exchanged is whole patients, so that both eyes of one stay together.
//!
//! A patient with all eyes in one group gives its group in exchange with that of another such patient; a patient with
//! eyes in several groups exchanges them among its own eyes. Under the hypothesis that the groups do not differ, all such
//! arrangements are equally likely.
//!
//! Sources: Fisher (1935), The Design of Experiments; Phipson & Smyth (2010), Stat Appl Genet Mol Biol 9:39, for the count
//! of the observed arrangement among the drawn ones (from memory).

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Up to so many arrangements all of them are taken, else some are drawn.
const MOST_ENUMERATED: f64 = 50_000.0;
/// Arrangements whose statistic falls short of the observed one by no more than this, relative, count as equal to it.
const TIE: f64 = 1e-9;

/// Groups of eyes, and who they belong to.
#[derive(Clone, Debug)]
pub struct LabelExchange {
    labels: Vec<usize>,
    /// Eyes of the patients that have all of theirs in one group.
    whole: Vec<Vec<usize>>,
    /// Eyes of the others.
    mixed: Vec<Vec<usize>>,
}

/// What came of a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Permuted {
    /// The statistic as observed.
    pub statistic: f64,
    /// Share of arrangements with a statistic at least as large.
    pub p: f64,
    /// Arrangements looked at.
    pub arrangements: u64,
    /// Whether they were all there are.
    pub exact: bool,
}

impl LabelExchange {
    /// - `labels`: group of each eye, numbers from 0
    /// - `patients`: patient of each eye, numbers from 0
    pub fn new(labels: &[usize], patients: &[usize]) -> Self {
        let mut eyes: Vec<Vec<usize>> = vec![Vec::new(); patients.iter().max().map_or(0, |most| most + 1)];
        for (eye, patient) in patients.iter().enumerate() {
            eyes[*patient].push(eye);
        }
        eyes.retain(|eyes| !eyes.is_empty());
        let (whole, mixed) = eyes.into_iter().partition(|eyes| eyes.iter().all(|eye| labels[*eye] == labels[eyes[0]]));
        Self { labels: labels.to_vec(), whole, mixed }
    }

    /// P-value of a statistic that is large where the hypothesis is wrong, over all arrangements where they are few, else
    /// over `draws` drawn with `seed`.
    ///
    /// - `statistic`: from the groups of all eyes
    pub fn test(&self, statistic: impl Fn(&[usize]) -> f64 + Sync, draws: u32, seed: u64) -> Permuted {
        let observed = statistic(&self.labels);
        let least = observed - TIE * observed.abs().max(1e-300);
        if let Some(count) = self.enumerable() {
            let mut extreme = 0_u64;
            self.each_arrangement(|labels| extreme += u64::from(statistic(labels) >= least));
            return Permuted {
                statistic: observed,
                p: extreme as f64 / count,
                arrangements: count as u64,
                exact: true,
            };
        }
        let extreme: u64 = (0..draws)
            .into_par_iter()
            .map_init(
                || self.labels.clone(),
                |labels, draw| {
                    let mut rng = ChaCha8Rng::seed_from_u64(seed);
                    rng.set_stream(u64::from(draw));
                    self.draw(labels, &mut rng);
                    u64::from(statistic(labels) >= least)
                },
            )
            .sum();
        let p = (extreme + 1) as f64 / f64::from(draws + 1);
        Permuted { statistic: observed, p, arrangements: u64::from(draws) + 1, exact: false }
    }

    fn draw(&self, labels: &mut [usize], rng: &mut ChaCha8Rng) {
        let mut groups: Vec<usize> = self.whole.iter().map(|eyes| self.labels[eyes[0]]).collect();
        groups.shuffle(rng);
        for (eyes, group) in self.whole.iter().zip(groups) {
            eyes.iter().for_each(|eye| labels[*eye] = group);
        }
        for eyes in &self.mixed {
            for (k, eye) in eyes.iter().enumerate() {
                labels[*eye] = self.labels[*eye];
                let other = eyes[rng.random_range(0..=k)];
                labels.swap(*eye, other);
            }
        }
    }

    /// Number of arrangements, where all can be gone through: two groups, and no patient of both with more than two eyes.
    fn enumerable(&self) -> Option<f64> {
        let two = self.labels.iter().all(|label| *label < 2);
        let pairs = self.mixed.iter().all(|eyes| eyes.len() == 2);
        let firsts = self.whole.iter().filter(|eyes| self.labels[eyes[0]] == 0).count();
        let mut count = 2.0_f64.powi(i32::try_from(self.mixed.len()).unwrap_or(i32::MAX));
        for k in 0..firsts {
            count *= (self.whole.len() - k) as f64 / (k + 1) as f64;
        }
        (two && pairs && count.round() <= MOST_ENUMERATED).then(|| count.round())
    }

    fn each_arrangement(&self, mut visit: impl FnMut(&[usize])) {
        let mut labels = self.labels.clone();
        let firsts = self.whole.iter().filter(|eyes| self.labels[eyes[0]] == 0).count();
        let mut chosen: Vec<usize> = (0..firsts).collect();
        loop {
            for eyes in &self.whole {
                eyes.iter().for_each(|eye| labels[*eye] = 1);
            }
            for k in &chosen {
                self.whole[*k].iter().for_each(|eye| labels[*eye] = 0);
            }
            for exchanged in 0..1_u64 << self.mixed.len() {
                for (k, eyes) in self.mixed.iter().enumerate() {
                    let exchange = usize::from(exchanged >> k & 1 == 1);
                    labels[eyes[0]] = self.labels[eyes[exchange]];
                    labels[eyes[1]] = self.labels[eyes[1 - exchange]];
                }
                visit(&labels);
            }
            if !next_choice(&mut chosen, self.whole.len()) {
                return;
            }
        }
    }
}

/// The next choice of as many out of `of`, in lexical order; false after the last.
fn next_choice(chosen: &mut [usize], of: usize) -> bool {
    let count = chosen.len();
    let Some(at) = (0..count).rev().find(|k| chosen[*k] < of - (count - *k)) else { return false };
    chosen[at] += 1;
    for k in at + 1..count {
        chosen[k] = chosen[k - 1] + 1;
    }
    true
}

/// |mean of group 0 - mean of group 1|: the statistic of a two-sided test of means.
pub fn mean_distance<'a>(values: &'a [f64]) -> impl Fn(&[usize]) -> f64 + Sync + 'a {
    move |labels| {
        let (mut sums, mut counts) = ([0.0; 2], [0.0; 2]);
        for (value, label) in values.iter().zip(labels) {
            sums[*label] += value;
            counts[*label] += 1.0;
        }
        (sums[0] / counts[0] - sums[1] / counts[1]).abs()
    }
}
