//! The paths given to the stills meant: files, folders, or a list.

use super::load::shown;
use super::written::{is_overlays, is_stage};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use walkdir::{DirEntry, WalkDir};

/// File names of pictures in a folder end in one of these, in either case.
pub const EXTENSIONS: [&str; 7] = ["jpg", "jpeg", "png", "tif", "tiff", "bmp", "webp"];

/// What the paths came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// Stills in the order given, those of a folder sorted by name; each once.
    pub stills: Vec<PathBuf>,
    /// Paths that need a word but lose nothing: the same file again, pictures that an earlier run wrote.
    pub notes: Vec<String>,
    /// Paths that gave nothing: an empty folder, one that cannot be read.
    pub faults: Vec<String>,
}

/// Find the stills of `paths`.
///
/// A file is taken whatever its name, and also when it is missing, so that its record can say so. A folder is searched
/// with all its folders for pictures by the end of their name; hidden files and folders in it (a dot in front) are left
/// out, and so are the folders `leave_out`, and what earlier runs wrote: overlays beside their records, pictures of stages. A
/// file that is itself among `paths` is taken all the same.
pub fn discover(paths: &[PathBuf], leave_out: &[PathBuf]) -> Found {
    let leave_out: Vec<PathBuf> = leave_out.iter().filter_map(|path| path.canonicalize().ok()).collect();
    let mut found = Found::default();
    let mut seen: HashMap<PathBuf, PathBuf> = HashMap::new();
    for path in paths {
        if path.is_dir() {
            let before = found.stills.len() + found.notes.len() + found.faults.len();
            let written = search(path, &leave_out, &mut seen, &mut found);
            if found.stills.len() + found.notes.len() + found.faults.len() == before {
                found.faults.push(format!("{}: no pictures in this folder ({})", shown(path), EXTENSIONS.join(", ")));
            }
            found.notes.extend(written);
        } else {
            add(path.clone(), &mut seen, &mut found);
        }
    }
    found
}

/// Adds the stills of `folder`; gives a line for each folder in which it passed over what an earlier run wrote.
fn search(
    folder: &Path,
    leave_out: &[PathBuf],
    seen: &mut HashMap<PathBuf, PathBuf>,
    found: &mut Found,
) -> Vec<String> {
    let mut written = Vec::new();
    let mut stages: BTreeMap<PathBuf, usize> = BTreeMap::new();
    let mut left_out = |entry: &DirEntry| {
        if !entry.file_type().is_dir() {
            return false;
        }
        if entry.path().canonicalize().is_ok_and(|path| leave_out.contains(&path)) {
            return true;
        }
        let overlays = is_overlays(entry.path());
        if overlays {
            written.push(format!("{}: overlays of an earlier run; left out", shown(entry.path())));
        }
        overlays
    };
    let hidden = |entry: &DirEntry| entry.depth() > 0 && entry.file_name().as_encoded_bytes().starts_with(b".");
    let entries = WalkDir::new(folder).follow_links(true).sort_by_file_name().into_iter();
    for entry in entries.filter_entry(|entry| !hidden(entry) && !left_out(entry)) {
        match entry {
            Ok(entry) if !entry.file_type().is_dir() && is_picture_name(entry.path()) => {
                if is_stage(entry.path()) {
                    *stages.entry(entry.path().parent().unwrap_or(folder).to_owned()).or_default() += 1;
                } else {
                    add(entry.into_path(), seen, found);
                }
            }
            Ok(_) => {}
            // A link back to a folder above: all in it is found by its own path.
            Err(error) if error.loop_ancestor().is_some() => {}
            Err(error) => {
                let path = error.path().unwrap_or(folder);
                let cause = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
                // A link to nowhere is of interest only if its name promises a picture.
                if error.io_error().is_none_or(|e| e.kind() != std::io::ErrorKind::NotFound) || is_picture_name(path) {
                    found.faults.push(format!("{}: {cause}", shown(path)));
                }
            }
        }
    }
    written.extend(stages.into_iter().map(|(folder, count)| {
        let pictures = if count == 1 { "1 picture".to_owned() } else { format!("{count} pictures") };
        format!("{}: {pictures} of stages of an earlier run; left out", shown(&folder))
    }));
    written
}

fn add(path: PathBuf, seen: &mut HashMap<PathBuf, PathBuf>, found: &mut Found) {
    let key = path.canonicalize().unwrap_or_else(|_| path.clone());
    match seen.get(&key) {
        Some(first) => {
            let first =
                if *first == path { "given before".into() } else { format!("the same file as {}", shown(first)) };
            found.notes.push(format!("{}: {first}; measured once", shown(&path)));
        }
        None => {
            seen.insert(key, path.clone());
            found.stills.push(path);
        }
    }
}

fn is_picture_name(path: &Path) -> bool {
    path.extension()
        .and_then(|extension| extension.to_str())
        .is_some_and(|extension| EXTENSIONS.iter().any(|known| known.eq_ignore_ascii_case(extension)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn tree(files: &[&str]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().expect("a folder for temporary files");
        for file in files {
            let path = folder.path().join(file);
            fs::create_dir_all(path.parent().expect("in the folder")).expect("made");
            fs::write(path, "").expect("written");
        }
        folder
    }

    fn names(found: &Found, folder: &Path) -> Vec<String> {
        found.stills.iter().map(|path| shown(path.strip_prefix(folder).unwrap_or(path))).collect()
    }

    #[test]
    fn a_folder_is_searched_in_order_for_pictures_that_are_not_hidden() {
        let folder = tree(&[
            "b.JPG",
            "a/z.tiff",
            "a/y.WebP",
            "c.jpeg",
            "d.png",
            "e.bmp",
            "f.tif",
            "notes.txt",
            "cases.csv",
            "jpg",
            ".g.jpg",
            ".hidden/h.jpg",
            "out/overlays/b.jpg",
            "other/overlays/i.jpg",
        ]);
        let found = discover(&[folder.path().to_owned()], &[folder.path().join("out/overlays")]);
        let expected = ["a/y.WebP", "a/z.tiff", "b.JPG", "c.jpeg", "d.png", "e.bmp", "f.tif", "other/overlays/i.jpg"];
        assert_eq!(names(&found, folder.path()), expected);
        assert_eq!((found.notes, found.faults), (Vec::new(), Vec::new()));
    }

    #[test]
    fn files_are_taken_whatever_their_name_and_in_the_order_given() {
        let folder = tree(&["b.txt", ".a.jpg"]);
        let paths = ["b.txt", ".a.jpg", "missing.jpg"].map(|name| folder.path().join(name));
        let found = discover(&paths, &[]);
        assert_eq!(found, Found { stills: paths.to_vec(), ..Found::default() });
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_without_going_in_circles() {
        use std::os::unix::fs::symlink;
        let folder = tree(&["a/x.jpg", "far/y.jpg"]);
        let root = folder.path().join("a");
        symlink("..", root.join("up")).expect("linked");
        symlink(&root, root.join("itself")).expect("linked");
        symlink(folder.path().join("far"), root.join("far")).expect("linked");
        symlink("gone", root.join("nowhere")).expect("linked");
        symlink("gone", root.join("lost.jpg")).expect("linked");
        let found = discover(std::slice::from_ref(&root), &[]);
        let mut got = names(&found, &root);
        got.sort();
        assert_eq!(got, ["far/y.jpg", "x.jpg"]);
        assert_eq!(found.faults.len(), 1, "{found:?}");
        assert!(found.faults[0].starts_with(&shown(&root.join("lost.jpg"))), "{found:?}");
    }
}
