//! The row of the case sheet that a record carries: every column as it was written.

use std::collections::BTreeMap;

/// What a column says, without blanks about it; empty where there is no such column.
pub fn cell<'a>(columns: &'a BTreeMap<String, String>, name: &str) -> &'a str {
    columns.get(name).map_or("", String::as_str).trim()
}

/// Whether the sheet leaves the still out.
pub fn is_excluded(columns: &BTreeMap<String, String>) -> bool {
    cell(columns, "exclude").eq_ignore_ascii_case("true")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blanks_and_capitals_as_spreadsheets_write_them() {
        let columns = [("exclude", " TRUE "), ("note", " a b ")].map(|(k, v)| (k.to_owned(), v.to_owned())).into();
        assert!(is_excluded(&columns));
        assert_eq!((cell(&columns, "note"), cell(&columns, "stage")), ("a b", ""));
        assert!(!is_excluded(&BTreeMap::new()));
    }
}
