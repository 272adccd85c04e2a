//! Tests by ranks, ties given their mean rank.

use super::distributions::{chi_squared_upper, normal_cdf};

/// Pairs up to which the signed-rank test counts out its distribution.
const MOST_EXACT: usize = 60;

/// A rank test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RankTest {
    /// The statistic: U of the first group, W of the positive differences, or H.
    pub statistic: f64,
    /// Two-sided for U and W.
    pub p: f64,
}

/// Rank of each value from 1, ties sharing their mean.
pub fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut ranks = vec![0.0; values.len()];
    let mut from = 0;
    while from < order.len() {
        let alike = order[from..].iter().take_while(|at| values[**at] == values[order[from]]).count();
        for at in &order[from..from + alike] {
            ranks[*at] = from as f64 + (alike as f64 + 1.0) / 2.0;
        }
        from += alike;
    }
    ranks
}

/// Sum of t^3 - t over groups of t tied values.
fn ties(values: &[f64]) -> f64 {
    let sorted = super::descriptive::sorted(values);
    sorted.chunk_by(|a, b| a == b).map(|alike| (alike.len() as f64).powi(3) - alike.len() as f64).sum()
}

/// Mann & Whitney's test (1947), normal approximation with correction for ties and continuity. `None` with an empty group or
/// where all values are the same.
pub fn mann_whitney(first: &[f64], second: &[f64]) -> Option<RankTest> {
    let (n, m) = (first.len() as f64, second.len() as f64);
    let all = [first, second].concat();
    let rank_sum: f64 = ranks(&all)[..first.len()].iter().sum();
    let statistic = rank_sum - n * (n + 1.0) / 2.0;
    let whole = n + m;
    let variance = n * m / 12.0 * (whole + 1.0 - ties(&all) / (whole * (whole - 1.0)));
    let z = ((statistic - n * m / 2.0).abs() - 0.5).max(0.0) / variance.sqrt();
    (variance > 0.0).then(|| RankTest { statistic, p: (2.0 * normal_cdf(-z)).min(1.0) })
}

/// Wilcoxon's signed-rank test (1945) of differences; zeros are left out. Up to 60 pairs the distribution is counted out,
/// ties included; beyond, normal with correction for ties. `None` where all differences are 0.
pub fn wilcoxon_signed_rank(differences: &[f64]) -> Option<RankTest> {
    let kept: Vec<f64> = differences.iter().copied().filter(|d| *d != 0.0).collect();
    let sizes: Vec<f64> = kept.iter().map(|d| d.abs()).collect();
    let ranks = ranks(&sizes);
    let statistic: f64 = ranks.iter().zip(&kept).filter(|(_, d)| **d > 0.0).map(|(rank, _)| rank).sum();
    let n = kept.len() as f64;
    let middle = n * (n + 1.0) / 4.0;
    if kept.is_empty() {
        return None;
    }
    let p = if kept.len() <= MOST_EXACT {
        signed_rank_exact(&ranks, (statistic - middle).abs())
    } else {
        let variance = n * (n + 1.0) * (2.0 * n + 1.0) / 24.0 - ties(&sizes) / 48.0;
        2.0 * normal_cdf(-(statistic - middle).abs() / variance.sqrt())
    };
    Some(RankTest { statistic, p: p.min(1.0) })
}

/// P(|W - its mean| >= distance) over all signs. Ranks are halves: twice them are whole.
fn signed_rank_exact(ranks: &[f64], distance: f64) -> f64 {
    let doubled: Vec<usize> = ranks.iter().map(|rank| (2.0 * rank).round() as usize).collect();
    let total: usize = doubled.iter().sum();
    let mut chance = vec![0.0; total + 1];
    chance[0] = 1.0;
    let mut reached = 0;
    for rank in doubled {
        for sum in (0..=reached).rev() {
            let half = chance[sum] / 2.0;
            chance[sum] = half;
            chance[sum + rank] += half;
        }
        reached += rank;
    }
    let middle = total as f64 / 2.0;
    let far = |sum: usize| (sum as f64 - middle).abs() >= 2.0 * distance - 1e-9;
    chance.iter().enumerate().filter(|(sum, _)| far(*sum)).map(|(_, p)| p).sum()
}

/// H of Kruskal & Wallis (1952), corrected for ties; NaN where all values are the same.
///
/// - `ranks`, `labels`: of each value; labels are numbers from 0
/// - `tied`: sum of t^3 - t over groups of t tied values
fn kruskal_h(ranks: &[f64], labels: &[usize], tied: f64) -> f64 {
    let groups = labels.iter().max().map_or(0, |most| most + 1);
    let (mut sums, mut counts) = (vec![0.0; groups], vec![0.0; groups]);
    for (rank, label) in ranks.iter().zip(labels) {
        sums[*label] += rank;
        counts[*label] += 1.0;
    }
    let n = ranks.len() as f64;
    let squares: f64 = sums.iter().zip(&counts).filter(|(_, c)| **c > 0.0).map(|(sum, count)| sum * sum / count).sum();
    (12.0 / (n * (n + 1.0)) * squares - 3.0 * (n + 1.0)) / (1.0 - tied / (n * n * n - n))
}

/// Kruskal & Wallis's test of independent values, by chi squared. `None` with fewer than two groups or without spread.
///
/// - `labels`: group of each value, numbers from 0
pub fn kruskal_wallis(values: &[f64], labels: &[usize]) -> Option<RankTest> {
    let groups = labels.iter().collect::<std::collections::HashSet<_>>().len() as f64;
    let statistic = kruskal_h(&ranks(values), labels, ties(values));
    (groups > 1.0 && statistic.is_finite())
        .then(|| RankTest { statistic, p: chi_squared_upper(statistic, groups - 1.0) })
}

/// Its statistic as a function of the labels, for a test by exchanging them.
pub fn kruskal_statistic(values: &[f64]) -> impl Fn(&[usize]) -> f64 + Sync + use<> {
    let (ranks, tied) = (ranks(values), ties(values));
    move |labels| kruskal_h(&ranks, labels, tied)
}

/// |U - its mean| as a function of the labels 0 and 1, for a test by exchanging them.
pub fn mann_whitney_distance(values: &[f64]) -> impl Fn(&[usize]) -> f64 + Sync + use<> {
    let ranks = ranks(values);
    move |labels| {
        let (mut sum, mut n) = (0.0, 0.0);
        for (rank, label) in ranks.iter().zip(labels) {
            if *label == 0 {
                sum += rank;
                n += 1.0;
            }
        }
        (sum - n * (ranks.len() as f64 + 1.0) / 2.0).abs()
    }
}
