//! Stills found by the end of their path, as case sheets and files of readings name them.

use std::collections::HashMap;

/// Paths in parts, kept by the last of these, the name of the still.
pub struct PathEnds<'a>(HashMap<&'a str, Vec<(usize, Vec<&'a str>)>>);

impl<'a> PathEnds<'a> {
    /// Of paths in parts, folders first.
    pub fn of(paths: impl IntoIterator<Item = Vec<&'a str>>) -> Self {
        let mut by_name: HashMap<&str, Vec<(usize, Vec<&str>)>> = HashMap::new();
        for (at, parts) in paths.into_iter().enumerate() {
            if let Some(name) = parts.last() {
                by_name.entry(name).or_default().push((at, parts));
            }
        }
        Self(by_name)
    }

    /// Places, in the list of paths and in its order, of those that end as `still` is written: a name, or the last folders
    /// with it, in the same case.
    pub fn ending_in(&self, still: &str) -> Vec<usize> {
        let end = still_parts(still);
        let named = end.last().and_then(|name| self.0.get(name)).map(Vec::as_slice).unwrap_or_default();
        named.iter().filter(|(_, path)| path.ends_with(&end)).map(|(at, _)| *at).collect()
    }
}

/// The folders and the name of a still as a sheet gives it, either slash between; what leads out of a folder is left off.
pub fn still_parts(still: &str) -> Vec<&str> {
    let parts: Vec<&str> = still.split(['/', '\\']).filter(|part| !part.is_empty() && *part != ".").collect();
    let from = parts.iter().rposition(|part| *part == "..").map_or(0, |at| at + 1);
    parts[from..].to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_still_is_named_by_the_end_of_its_path() {
        let paths = ["a/one.jpg", "b/one.jpg", "c/b/one.jpg", "b/two.jpg", ""];
        let ends = PathEnds::of(paths.map(still_parts));
        for (still, expected) in [
            ("one.jpg", vec![0, 1, 2]),
            ("b/one.jpg", vec![1, 2]),
            ("c/b/one.jpg", vec![2]),
            // More folders than the path has.
            ("d/c/b/one.jpg", vec![]),
            // A folder between is missing, or part of its name.
            ("c/one.jpg", vec![]),
            ("ne.jpg", vec![]),
            ("One.jpg", vec![]),
            ("b", vec![]),
            ("", vec![]),
            // As other systems, and relative to another folder, write it.
            (r"b\two.jpg", vec![3]),
            ("./b//two.jpg", vec![3]),
            ("../../b/two.jpg", vec![3]),
        ] {
            assert_eq!(ends.ending_in(still), expected, "{still:?}");
        }
    }

    #[test]
    fn parts_of_a_still() {
        assert_eq!(still_parts(r"a\b/c.jpg"), ["a", "b", "c.jpg"]);
        assert_eq!(still_parts("a/../b/./c.jpg"), ["b", "c.jpg"]);
        assert!(still_parts("..").is_empty());
    }
}
