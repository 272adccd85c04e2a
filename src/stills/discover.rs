//! The paths given to the stills meant: files, folders, or a list.

use super::load::shown;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use walkdir::{DirEntry, WalkDir};

/// File names of pictures in a folder end in one of these, in either case.
pub const EXTENSIONS: [&str; 7] = ["jpg", "jpeg", "png", "tif", "tiff", "bmp", "webp"];

/// What the paths came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// Stills in the order given, those of a folder sorted by name; each once.
    pub stills: Vec<PathBuf>,
    /// Paths that need a word but lose nothing: the same file again.
    pub notes: Vec<String>,
    /// Paths that gave nothing: an empty folder, one that cannot be read.
    pub faults: Vec<String>,
}

/// Find the stills of `paths`.
///
/// A file is taken whatever its name, and also when it is missing, so that its record can say so. A folder is searched
/// with all its folders for pictures by the end of their name; hidden files and folders in it (a dot in front) are left
/// out, and so are the folders `leave_out`, into which earlier runs may have written pictures.
pub fn discover(paths: &[PathBuf], leave_out: &[PathBuf]) -> Found {
    let leave_out: Vec<PathBuf> = leave_out.iter().filter_map(|path| path.canonicalize().ok()).collect();
    let mut found = Found::default();
    let mut seen: HashMap<PathBuf, PathBuf> = HashMap::new();
    for path in paths {
        if path.is_dir() {
            let before = found.stills.len() + found.notes.len() + found.faults.len();
            search(path, &leave_out, &mut seen, &mut found);
            if found.stills.len() + found.notes.len() + found.faults.len() == before {
                found.faults.push(format!("{}: no pictures in this folder ({})", shown(path), EXTENSIONS.join(", ")));
            }
        } else {
            add(path.clone(), &mut seen, &mut found);
        }
    }
    found
}

fn search(folder: &Path, leave_out: &[PathBuf], seen: &mut HashMap<PathBuf, PathBuf>, found: &mut Found) {
    let left_out = |entry: &DirEntry| {
        entry.file_type().is_dir() && entry.path().canonicalize().is_ok_and(|path| leave_out.contains(&path))
    };
    let hidden = |entry: &DirEntry| entry.depth() > 0 && entry.file_name().as_encoded_bytes().starts_with(b".");
    let entries = WalkDir::new(folder).follow_links(true).sort_by_file_name().into_iter();
    for entry in entries.filter_entry(|entry| !hidden(entry) && !left_out(entry)) {
        match entry {
            Ok(entry) if !entry.file_type().is_dir() && is_picture_name(entry.path()) => {
                add(entry.into_path(), seen, found);
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
