//! The risk curve: how much a stricter or laxer limit refuses, and what it keeps.

use super::score::{Judged, Reading, WRONG_DEG, percentile};

/// A limit: its name, what it goes by (smaller is surer), and where it is tried.
struct Limit {
    name: &'static str,
    by: fn(&Judged) -> Option<f64>,
    steps: &'static [f64],
    /// What is shown of a step.
    shown: fn(f64) -> f64,
    /// The alignments that the program gives, and those that this limit alone refuses, where it can be laxer than it is.
    of: fn(&Judged) -> Option<Reading>,
}

const LIMITS: [Limit; 4] = [
    Limit {
        name: "half interval at most, degrees",
        by: |j| j.found.map(|r| r.half_deg),
        steps: &[0.2, 0.3, 0.4, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0],
        shown: |v| v,
        of: |j| j.given.or(j.found.filter(|_| j.refusal.as_deref() == Some("IntervalTooWide"))),
    },
    Limit {
        name: "probability of the reference marks at least",
        by: |j| j.confidence[1].map(|p| 1.0 - p),
        steps: &[0.001, 0.003, 0.01, 0.03, 0.1, 0.2, 0.35],
        shown: |v| 1.0 - v,
        of: |j| j.given,
    },
    Limit {
        name: "score of the lens marks at least",
        by: |j| j.confidence[2].map(|s| 1.0 - s),
        steps: &[0.05, 0.1, 0.2, 0.3, 0.4, 0.5],
        shown: |v| 1.0 - v,
        of: |j| j.given,
    },
    Limit {
        name: "score of the limbus at least",
        by: |j| j.confidence[0].map(|s| -s),
        steps: &[-3.0, -2.0, -1.0, -0.5, 0.0],
        shown: |v| 0.0 - v,
        of: |j| j.given,
    },
];

/// Print it: refused of all stills with an angle to be read; the limits of the program stay in force but for the one that varies.
pub fn print(set: &[Judged]) {
    let marked: Vec<&Judged> = set.iter().filter(|j| j.marked()).collect();
    println!("\nRisk curve over {} stills with an angle to be read", marked.len());
    for limit in &LIMITS {
        println!(
            "\n{:<46}{:>9}{:>9}{:>9}{:>9}{:>9}{:>9}",
            limit.name, "refused", "median", "p95", "worst", "wrong", "covered"
        );
        for step in limit.steps {
            let kept = |j: &&&Judged| (limit.by)(j).is_some_and(|v| v <= *step);
            let readings: Vec<Reading> = marked.iter().filter(kept).filter_map(|j| (limit.of)(j)).collect();
            let off: Vec<f64> = readings.iter().filter_map(|r| r.off_deg).map(f64::abs).collect();
            println!(
                "{:<46}{:>9.3}{:>9.3}{:>9.3}{:>9.3}{:>9}{:>9.3}",
                format!("  {}", (limit.shown)(*step)),
                1.0 - readings.len() as f64 / marked.len().max(1) as f64,
                percentile(&off, 0.5),
                percentile(&off, 0.95),
                percentile(&off, 1.0),
                off.iter().filter(|d| **d > WRONG_DEG).count(),
                readings.iter().filter(|r| r.covered).count() as f64 / readings.len().max(1) as f64,
            );
        }
    }
}
