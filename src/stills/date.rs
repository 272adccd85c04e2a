//! Calendar dates, checked.

use std::fmt;

/// A day of the Gregorian calendar, ISO 8601: `2024-02-29`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// `None` unless the day exists; years 1 to 9999.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        ((1..=9999).contains(&year) && (1..=days).contains(&day)).then_some(Self { year, month, day })
    }

    /// `None` unless `text` is `YYYY-MM-DD` and the day exists.
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = text.as_bytes();
        let form = bytes.len() == 10
            && bytes.iter().enumerate().all(|(at, byte)| match at {
                4 | 7 => *byte == b'-',
                _ => byte.is_ascii_digit(),
            });
        if !form {
            return None;
        }
        Self::new(text[..4].parse().ok()?, text[5..7].parse().ok()?, text[8..].parse().ok()?)
    }

    /// Year, 1 to 9999.
    pub fn year(self) -> u16 {
        self.year
    }

    /// Month, 1 to 12.
    pub fn month(self) -> u8 {
        self.month
    }

    /// Day of the month, from 1.
    pub fn day(self) -> u8 {
        self.day
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Leap years by the Gregorian rule: 1900 is none, 2000 is one.
    #[test]
    fn only_days_that_exist() {
        for good in ["2024-02-29", "2000-02-29", "2023-12-31", "0001-01-01"] {
            assert_eq!(Date::parse(good).map(|d| d.to_string()).as_deref(), Some(good));
        }
        for bad in ["2023-02-29", "1900-02-29", "2024-04-31", "2024-13-01", "2024-00-10", "2024-01-00", "0000-01-01"] {
            assert_eq!(Date::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn only_the_iso_form() {
        for bad in ["", "2024-1-02", "2024/01/02", "02-01-2024", "20240102", "2024-01-02 ", "+024-01-02", "２０２4-01"]
        {
            assert_eq!(Date::parse(bad), None, "{bad}");
        }
        assert!(Date::parse("2024-01-31") < Date::parse("2024-02-01"));
    }
}
