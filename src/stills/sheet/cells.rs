//! Cells of one row to values, faults collected.

use super::super::date::Date;
use crate::optics::limits::Limit;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Most reference marks that are looked for.
const MOST_MARKS: usize = 4;

/// The cells of a row. Each method gives `None` for an empty or missing cell, and tells of a wrong one.
pub(super) struct Cells<'a, F> {
    columns: &'a BTreeMap<String, String>,
    fault: F,
}

impl<'a, F: FnMut(&str, &str, String)> Cells<'a, F> {
    pub(super) fn new(columns: &'a BTreeMap<String, String>, fault: F) -> Self {
        Self { columns, fault }
    }

    /// Say that the cell should have been `expected`.
    pub(super) fn fault(&mut self, column: &str, expected: String) {
        let value = self.cell(column).unwrap_or_default();
        (self.fault)(column, value, expected);
    }

    fn cell(&self, column: &str) -> Option<&'a str> {
        self.columns.get(column).map(String::as_str).filter(|value| !value.is_empty())
    }

    pub(super) fn text(&mut self, column: &str) -> Option<String> {
        self.cell(column).map(str::to_owned)
    }

    pub(super) fn number(&mut self, column: &str, range: RangeInclusive<f64>, unit: &str) -> Option<f64> {
        let number = number_within(self.cell(column)?, &range);
        if number.is_none() {
            let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
            let (low, high) = range.into_inner();
            self.fault(column, format!("a number from {low} to {high}{unit}"));
        }
        number
    }

    /// A quantity within its plausible range.
    pub(super) fn quantity(&mut self, column: &str, limit: Limit) -> Option<f64> {
        self.limited(column, limit, false)
    }

    /// A cylinder whose size is within its plausible range: in plus form, or as negative in minus form.
    pub(super) fn cylinder(&mut self, column: &str, limit: Limit) -> Option<f64> {
        self.limited(column, limit, true)
    }

    fn limited(&mut self, column: &str, limit: Limit, either_form: bool) -> Option<f64> {
        let size = |value: f64| if either_form { value.abs() } else { value };
        let value: Option<f64> = self.cell(column)?.parse().ok();
        let within = value.filter(|value| limit.check(size(*value)).is_ok());
        if within.is_none() {
            let Limit { quantity, min, max, unit, reason } = limit;
            let form = if either_form { ", or the same with a minus" } else { "" };
            let article = if quantity.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
            self.fault(column, format!("{article} {quantity} from {min} to {max} {unit}{form} ({reason})"));
        }
        within
    }

    pub(super) fn axis(&mut self, column: &str) -> Option<f64> {
        self.number(column, 0.0..=180.0, "degrees")
    }

    pub(super) fn meridians(&mut self, column: &str) -> Vec<f64> {
        let Some(cell) = self.cell(column) else { return Vec::new() };
        let read: Option<Vec<f64>> = cell.split(';').map(|part| number_within(part.trim(), &(0.0..=360.0))).collect();
        let different = |list: &Vec<f64>| {
            let mut sorted: Vec<f64> = list.iter().map(|meridian| meridian.rem_euclid(360.0)).collect();
            sorted.sort_by(f64::total_cmp);
            sorted.windows(2).all(|pair| pair[0] < pair[1])
        };
        read.filter(|list| list.len() <= MOST_MARKS && different(list)).unwrap_or_else(|| {
            self.fault(
                column,
                format!("1 to {MOST_MARKS} different meridians from 0 to 360 degrees with `;` between, such as 0;180"),
            );
            Vec::new()
        })
    }

    pub(super) fn one_of<T: Copy>(&mut self, column: &str, words: &[(&str, T)]) -> Option<T> {
        let cell = self.cell(column)?;
        let found = words.iter().find(|(word, _)| word.eq_ignore_ascii_case(cell)).map(|(_, value)| *value);
        if found.is_none() {
            let words: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            self.fault(column, words.join(" or "));
        }
        found
    }

    pub(super) fn truth(&mut self, column: &str) -> Option<bool> {
        self.one_of(column, &[("true", true), ("false", false)])
    }

    pub(super) fn date(&mut self, column: &str) -> Option<Date> {
        let date = Date::parse(self.cell(column)?);
        if date.is_none() {
            self.fault(column, "a day of the calendar as YYYY-MM-DD".to_owned());
        }
        date
    }
}

fn number_within(text: &str, range: &RangeInclusive<f64>) -> Option<f64> {
    // NaN and the infinities, which parse, are in no range.
    text.parse().ok().filter(|number| range.contains(number))
}
