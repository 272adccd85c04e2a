//! How many decimals a record's numbers are written with: the one place that says so, for every file.
//!
//! Decimals go by the unit at the end of a field's name, so that a new field is rounded like its neighbours. They
//! are finer than any still can be read, and coarse enough that the last bits of a sum do not change the bytes.

use serde::Serialize;
use serde_json::{Map, Number, Value};

/// Decimals by the ending of the field's name, the first that fits; the fields of `variance_parts_deg2` take its own.
const DECIMALS: [(&str, i32); 8] =
    [("mm_per_px", 7), ("_px", 3), ("_mm", 4), ("_deg", 4), ("_deg2", 6), ("_percent", 3), ("_d", 4), ("_d2", 8)];
/// Decimals of a number without a unit: shares, contrasts, the pixel aspect.
const DECIMALS_WITHOUT_UNIT: i32 = 6;
/// Digits of a probability of chance (`..._p`), which may be far less than one millionth but never nothing.
const DIGITS_OF_P: i32 = 3;
/// Place of a probability's first digit beyond which it is written as 0: ten to that power is still a number.
const MOST_DECIMALS: i32 = 300;

/// The record as a JSON object with its fields in the record's order, all numbers rounded.
///
/// # Errors
/// None are known: a record holds nothing that JSON cannot; kept because serde returns one.
pub fn rounded(record: &impl Serialize) -> serde_json::Result<Value> {
    let mut value = serde_json::to_value(record)?;
    if let Value::Object(fields) = &mut value {
        round_fields(fields, DECIMALS_WITHOUT_UNIT);
    }
    Ok(value)
}

fn round_fields(fields: &mut Map<String, Value>, inherited: i32) {
    for (name, value) in fields.iter_mut() {
        let decimals = DECIMALS.iter().find(|(ending, _)| name.ends_with(ending)).map_or(inherited, |(_, d)| *d);
        round_value(value, name, decimals);
    }
}

fn round_value(value: &mut Value, name: &str, decimals: i32) {
    match value {
        Value::Object(fields) => round_fields(fields, decimals),
        Value::Array(items) => items.iter_mut().for_each(|item| round_value(item, name, decimals)),
        Value::Number(number) if number.is_f64() => {
            let decimals = |v: f64| if name.ends_with("_p") { decimals_of_p(v) } else { decimals };
            let rounded = number.as_f64().map(|v| within_range(name, round(v, decimals(v)), decimals(v)));
            if let Some(kept) = rounded.and_then(Number::from_f64) {
                *number = kept;
            }
        }
        _ => {}
    }
}

/// Decimals that show [`DIGITS_OF_P`] digits of a probability.
fn decimals_of_p(value: f64) -> i32 {
    let first = if value > 0.0 { -value.log10().floor() as i32 } else { 0 };
    first.clamp(0, MOST_DECIMALS) + DIGITS_OF_P - 1
}

/// To `decimals`, without a negative zero.
fn round(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale + 0.0
}

/// Rounding may reach the end that a half-open range leaves out: back to where the record's contract wants it.
fn within_range(name: &str, value: f64, decimals: i32) -> f64 {
    match name {
        "angle_deg" | "reference_deg" | "intended_deg" | "lens_deg" if value >= 180.0 => 0.0,
        "meridian_deg" if value >= 360.0 => 0.0,
        "lens_axis_in_eye_deg" if value <= 0.0 => 180.0,
        axis if axis.ends_with("axis_deg") && value <= 0.0 => 180.0,
        // Not -90: the interval is unwrapped about the error and would no longer hold it.
        "error_deg" if value >= 90.0 => round(90.0 - 10_f64.powi(-decimals), decimals),
        _ => value,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// A probability keeps its digits however small it is; other numbers keep their decimals.
    #[test]
    fn a_small_probability_is_not_nothing() {
        let given = json!({"agreement_p": 1.7345e-49, "nested": {"agreement_p": 0.043_219, "share": 0.043_219_4}});
        let expected = json!({"agreement_p": 1.73e-49, "nested": {"agreement_p": 0.0432, "share": 0.043_219}});
        assert_eq!(rounded(&given).unwrap(), expected);
        for (p, kept) in [(1.0, 1.0), (0.5, 0.5), (0.999_96, 1.0), (0.0, 0.0), (1e-305, 0.0)] {
            assert_eq!(rounded(&json!({"agreement_p": p})).unwrap(), json!({"agreement_p": kept}), "{p}");
        }
    }
}
