//! What a run came to: counts, the middle of the errors, and the causes of refusal.

use super::wording::{CAUTION, cause_in_words, mean_cost_in_words, mean_in_words};
use crate::optics::mean_size::MeanSize;
use crate::record::{Outcome, Record, RefusalCode};
use crate::statistics::descriptive::quantile_of_sorted;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Limits that people quote, degrees: within the first is good, beyond the second worth thinking about turning the
/// lens back. Common practice, without a source.
pub const PRACTICE_LIMITS_DEG: [f64; 2] = [5.0, 10.0];
/// Columns of a terminal that the text keeps within.
const TERMINAL_COLUMNS: usize = 80;

/// Counts over the records of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Stills with an alignment error.
    pub measured: usize,
    /// Stills that were read but not measured.
    pub refused: usize,
    /// Files that could not be read.
    pub unreadable: usize,
    /// Stills not measured by the first cause of each, the most frequent first.
    pub causes: Vec<(RefusalCode, usize)>,
    /// Median of the error's absolute value over the measured stills, degrees; `None` without one.
    pub median_abs_error_deg: Option<f64>,
    /// Mean of the error's absolute value and of its cost, with and without reading noise; `None` without a measured still.
    pub mean: Option<MeanSize>,
    /// Measured stills whose error is beyond each of [`PRACTICE_LIMITS_DEG`].
    pub beyond: [usize; 2],
}

impl Summary {
    /// Count `records`. Stills are counted, not eyes or patients.
    pub fn of(records: &[Record]) -> Self {
        let with = |outcome| records.iter().filter(|record| record.outcome == outcome).count();
        let mut causes: BTreeMap<RefusalCode, usize> = BTreeMap::new();
        for refusal in records.iter().filter_map(|record| record.refusals.first()) {
            *causes.entry(refusal.code).or_default() += 1;
        }
        let mut causes: Vec<_> = causes.into_iter().collect();
        causes.sort_by_key(|(code, count)| (std::cmp::Reverse(*count), *code));
        let measured = records.iter().filter(|record| record.outcome == Outcome::Measured);
        let readings: Vec<(f64, f64)> = measured
            .filter_map(|record| record.alignment.as_ref())
            .map(|alignment| (alignment.error_deg, alignment.sd_deg))
            .collect();
        let mut errors: Vec<f64> = readings.iter().map(|(error, _)| error.abs()).collect();
        errors.sort_by(f64::total_cmp);
        Self {
            measured: with(Outcome::Measured),
            refused: with(Outcome::Refused),
            unreadable: with(Outcome::Unreadable),
            causes,
            median_abs_error_deg: quantile_of_sorted(&errors, 0.5),
            mean: MeanSize::of(&readings),
            beyond: PRACTICE_LIMITS_DEG.map(|limit| errors.iter().filter(|error| **error > limit).count()),
        }
    }

    /// All stills.
    pub fn total(&self) -> usize {
        self.measured + self.refused + self.unreadable
    }

    /// `14 stills: 11 measured, 2 refused, 1 unreadable`.
    pub fn headline(&self) -> String {
        let stills = if self.total() == 1 { "still" } else { "stills" };
        let mut line = format!("{} {stills}: {} measured, {} refused", self.total(), self.measured, self.refused);
        if self.unreadable > 0 {
            let _ = write!(line, ", {} unreadable", self.unreadable);
        }
        line
    }
}

/// The end of a run for a terminal: lines of at most 80 columns, the last one ended.
pub fn text(records: &[Record]) -> String {
    let summary = Summary::of(records);
    let mut lines = vec![summary.headline()];
    if let Some(median) = summary.median_abs_error_deg {
        lines.push(String::new());
        lines.push(format!("Alignment error of the {} measured, whichever way it is turned", summary.measured));
        lines.push(format!("  median        {median:.1}°"));
        if let Some(mean) = summary.mean {
            lines.push(format!("  mean          {}", mean_in_words(&mean)));
            lines.push(format!("  mean residual {}", mean_cost_in_words(&mean)));
        }
        for (limit, count) in PRACTICE_LIMITS_DEG.iter().zip(summary.beyond) {
            let percent = 100.0 * count as f64 / summary.measured as f64;
            lines.push(format!("  beyond {:<7}{count} ({percent:.0} %)", format!("{limit}°")));
        }
        lines.push("  (limits of common practice; stills are counted, not eyes)".to_owned());
    }
    if !summary.causes.is_empty() {
        lines.push(String::new());
        lines.push("Not measured".to_owned());
        let width = summary.causes.iter().map(|(_, count)| count.to_string().len()).max().unwrap_or(1);
        let causes = summary.causes.iter();
        lines.extend(causes.map(|(code, count)| format!("  {count:>width$}  {}", cause_in_words(*code))));
    }
    if summary.measured > 0 {
        lines.push(String::new());
        lines.extend(wrapped(CAUTION, TERMINAL_COLUMNS));
    }
    lines.push(String::new());
    lines.join("\n")
}

/// Words put into lines of at most `columns` characters; a longer word stands alone.
fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
