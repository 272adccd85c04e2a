//! Pictures that stillaxis itself writes, told from stills by where they stand and what they are called.

use std::path::Path;

/// Folder of the overlays in the folder of a run.
pub const OVERLAYS: &str = "overlays";
/// Records of a run, beside its overlays.
pub const RECORDS: &str = "measurements.ndjson";
/// The stages drawn on demand, as the names of their pictures end.
pub const STAGES: [&str; 4] = ["1-limbus-candidates", "2-limbus", "3-reference-marks", "4-lens-marks"];

/// Digits of a still's number in the name of a stage's picture, at least.
const DIGITS: usize = 4;

/// File name of a stage's picture. The `number` of the still comes first, since names in different folders may be alike.
pub fn stage_name(number: usize, still: &Path, stage: &str) -> String {
    let stem = still.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    format!("{number:0DIGITS$}-{stem}-{stage}.jpg")
}

/// Whether `path` has a name that [`stage_name`] gives.
pub fn is_stage(path: &Path) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
    let still = STAGES.iter().find_map(|stage| name.strip_suffix(".jpg")?.strip_suffix(stage)?.strip_suffix('-'));
    still
        .and_then(|still| still.split_once('-'))
        .is_some_and(|(number, _)| number.len() >= DIGITS && number.bytes().all(|byte| byte.is_ascii_digit()))
}

/// Whether `folder` holds the overlays of a run, whose records stand beside it.
pub fn is_overlays(folder: &Path) -> bool {
    // A folder given as `.` has its name only when written out.
    let Ok(folder) = folder.canonicalize() else { return false };
    folder.ends_with(OVERLAYS) && folder.parent().is_some_and(|results| results.join(RECORDS).is_file())
}
