//! Running the binary, and pictures for it.

// Each test file takes what it needs of this.
#![allow(dead_code)]

use image::{ImageFormat, Rgb, RgbImage};
use std::ffi::OsStr;
use std::fmt;
use std::io::Cursor;
use std::path::Path;
use std::process::Output;

/// A finished run, shown whole when a test fails.
pub struct Run {
    pub command: String,
    pub code: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

impl fmt::Debug for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}\nexit code: {:?}", self.command, self.code)?;
        writeln!(f, "--- stdout\n{}\n--- stderr\n{}", self.stdout, self.stderr)
    }
}

/// Run `stillaxis` in `folder`, with `stdin` as its standard input.
pub fn stillaxis(folder: &Path, args: impl IntoIterator<Item = impl AsRef<OsStr>>, stdin: &str) -> Run {
    let mut command = assert_cmd::Command::new(assert_cmd::cargo::cargo_bin!("stillaxis"));
    command.current_dir(folder).args(args).write_stdin(stdin);
    let shown = format!("{command:?} in {}", folder.display());
    let Output { status, stdout, stderr } = command.output().expect("the binary is built");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    Run { command: shown, code: status.code(), stdout: text(stdout), stderr: text(stderr) }
}

/// Records of a run, in order.
pub fn records(out: &Path) -> Vec<serde_json::Value> {
    let text = std::fs::read_to_string(out.join("measurements.ndjson")).expect("a run writes its records");
    text.lines().map(|line| serde_json::from_str(line).expect("a line is a record")).collect()
}

/// Large enough to be looked at, with no eye in it.
pub fn plain_picture() -> RgbImage {
    RgbImage::from_fn(160, 130, |x, y| Rgb([x as u8, y as u8, 90]))
}

pub fn encoded(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).expect("encoders write any picture");
    bytes.into_inner()
}

/// Names of all files in a folder and its folders.
pub fn files(folder: &Path) -> Vec<String> {
    let entries = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(|entry| entry.expect("readable"));
    let files = entries.filter(|entry| entry.file_type().is_file());
    files.map(|entry| entry.path().strip_prefix(folder).expect("in it").to_string_lossy().into_owned()).collect()
}
