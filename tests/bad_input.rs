//! Bad input, each with its message and exit code: the other stills are done, and nothing is written by half.

mod support;

use image::ImageFormat;
use std::fs;
use std::path::Path;
use support::{encoded, files, plain_picture, records, stillaxis};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for temporary files")
}

fn write(path: impl AsRef<Path>, bytes: impl AsRef<[u8]>) {
    fs::write(path, bytes).expect("written");
}

/// A PNG that says it has `width` x `height` pixels, and has none. ISO/IEC 15948: signature, IHDR, IEND, CRC-32.
fn png_of_size(width: u32, height: u32) -> Vec<u8> {
    let crc = |bytes: &[u8]| {
        !bytes.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { 0xEDB8_8320 ^ (c >> 1) } else { c >> 1 })
        })
    };
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let header = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    for (name, data) in [(b"IHDR", header), (b"IDAT", vec![0x78, 0x9C, 0x03, 0x00, 0, 0, 0, 1]), (b"IEND", Vec::new())]
    {
        png.extend(u32::try_from(data.len()).expect("short").to_be_bytes());
        let chunk = [&name[..], &data].concat();
        png.extend(&chunk);
        png.extend(crc(&chunk).to_be_bytes());
    }
    png
}

/// A sound TIFF whose samples are not whole numbers.
fn tiff_of_floats() -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let floats = image::DynamicImage::ImageRgb8(plain_picture()).into_rgb32f();
    image::DynamicImage::ImageRgb32F(floats).write_to(&mut bytes, ImageFormat::Tiff).expect("written");
    bytes.into_inner()
}

/// Name, bytes, outcome, refusal code, and what the message says.
type BadFile = (&'static str, Option<Vec<u8>>, &'static str, &'static str, &'static str);

fn bad_files() -> Vec<BadFile> {
    let plain = plain_picture();
    let cut = |format, part: f64| {
        let bytes = encoded(&plain, format);
        Some(bytes[..(bytes.len() as f64 * part) as usize].to_vec())
    };
    let one = image::RgbImage::new(1, 1);
    let strip = image::RgbImage::new(2000, 1);
    vec![
        ("missing.jpg", None, "unreadable", "unreadable", "cannot be read: No such file"),
        ("empty.jpg", Some(Vec::new()), "unreadable", "unreadable", "the file is empty"),
        ("text.jpg", Some(b"Dear colleague,\n".to_vec()), "unreadable", "unreadable", "not a picture"),
        ("other.jpg", Some(b"GIF89a\x01\0\x01\0\0\0\0;".to_vec()), "unreadable", "unreadable", "the content is Gif"),
        ("cut_late.jpg", cut(ImageFormat::Jpeg, 0.9), "unreadable", "unreadable", "cut short"),
        ("cut_early.jpg", cut(ImageFormat::Jpeg, 0.02), "unreadable", "unreadable", "cut short"),
        ("cut.png", cut(ImageFormat::Png, 0.6), "unreadable", "unreadable", "cut short"),
        ("cut.tif", cut(ImageFormat::Tiff, 0.6), "unreadable", "unreadable", "cut short"),
        ("cut.bmp", cut(ImageFormat::Bmp, 0.6), "unreadable", "unreadable", "cut short"),
        ("cut.webp", cut(ImageFormat::WebP, 0.6), "unreadable", "unreadable", "cut short"),
        ("one.png", Some(encoded(&one, ImageFormat::Png)), "refused", "picture_too_small", "1 x 1 px"),
        ("strip.png", Some(encoded(&strip, ImageFormat::Png)), "refused", "picture_too_small", "2000 x 1 px"),
        ("huge.png", Some(png_of_size(10_000, 10_000)), "unreadable", "unreadable", "10000 x 10000 px, expected fewer"),
        ("endless.png", Some(png_of_size(0x7FFF_FFFF, 0x7FFF_FFFF)), "unreadable", "unreadable", "too much memory"),
        (
            "float.tif",
            Some(tiff_of_floats()),
            "unreadable",
            "unreadable",
            "samples of type Rgb32F, expected whole numbers",
        ),
        ("zero.png", Some(png_of_size(0, 10)), "unreadable", "unreadable", "damaged"),
    ]
}

/// Neither is ever read: the one may not end, the other would fill the memory.
#[test]
fn what_is_no_file_and_what_is_too_large_are_not_read() {
    let folder = folder();
    let large = std::fs::File::create(folder.path().join("large.png")).expect("made");
    // A hole, which takes no room on the disk.
    large.set_len(1 << 33).expect("made");
    let run = stillaxis(folder.path(), ["measure", "/dev/null", "large.png", "--out", "out"], "");
    assert_eq!(run.code, Some(1), "{run:?}");
    let records = records(&folder.path().join("out"));
    for (record, says) in records.iter().zip(["not a regular file", "the file has 8589934592 bytes, at most"]) {
        assert_eq!(record["outcome"], "unreadable", "{record}");
        let message = record["refusals"][0]["message"].as_str().unwrap_or_default();
        assert!(message.contains(says), "{message}");
    }
    assert_eq!(records.len(), 2);
}

#[test]
fn a_bad_file_is_named_and_the_others_are_done() {
    let folder = folder();
    let bad = bad_files();
    write(folder.path().join("sound.png"), encoded(&plain_picture(), ImageFormat::Png));
    for (name, bytes, ..) in &bad {
        if let Some(bytes) = bytes {
            write(folder.path().join(name), bytes);
        }
    }
    let mut args = vec!["measure", "sound.png"];
    args.extend(bad.iter().map(|(name, ..)| *name));
    args.extend(["--out", "out"]);
    let run = stillaxis(folder.path(), &args, "");
    assert_eq!(run.code, Some(1), "{run:?}");
    assert_eq!(run.stdout, "", "{run:?}");
    assert!(!run.stderr.contains("panicked"), "{run:?}");

    let records = records(&folder.path().join("out"));
    assert_eq!(records.len(), bad.len() + 1);
    assert_eq!(records[0]["outcome"], "refused", "{}", records[0]);
    assert_eq!(records[0]["refusals"][0]["code"], "limbus_not_found", "{}", records[0]);
    for ((name, bytes, outcome, code, says), record) in bad.iter().zip(&records[1..]) {
        assert_eq!(record["still"]["path"], *name);
        assert_eq!(record["outcome"], *outcome, "{record}");
        assert_eq!(record["refusals"][0]["code"], *code, "{record}");
        let message = record["refusals"][0]["message"].as_str().unwrap_or_default();
        assert!(message.contains(says), "{name}: {message}");
        assert!(run.stderr.lines().any(|line| line == format!("{name}: {message}")), "{name}: {run:?}");
        assert_ne!(record["refusals"][0]["hint"], "", "{record}");
        let has_hash = record["still"]["sha256"].as_str().is_some_and(|hash| hash.len() == 64);
        assert_eq!(has_hash, bytes.as_ref().is_some_and(|bytes| !bytes.is_empty()), "{record}");
    }
    let expected = [
        "measurements.csv",
        "measurements.ndjson",
        "overlays/one.jpg",
        "overlays/sound.jpg",
        "overlays/strip.jpg",
        "report.html",
    ];
    assert_eq!(files(&folder.path().join("out")), expected);
}

/// Sheet, and what each line of the message says after the file's name.
const BAD_SHEETS: [(&str, &[&str]); 19] = [
    ("", &["line 1: \"\", expected a line of headings"]),
    (
        "name,axis\nsound.png,31\n",
        &["column axis: \"axis\", expected `axis_deg`", "line 1: \"name,axis\", expected a column `still` or `case`"],
    ),
    ("still;intended_axis_deg\nsound.png;31\n", &["headings with commas between"]),
    ("still,still\nsound.png,sound.png\n", &["line 1, column still: \"still\", expected each column once"]),
    (
        "still,marks_denote\nsound.png,0;180\n",
        &["line 1, column marks_denote: \"marks_denote\", expected `marks_denote_deg`"],
    ),
    ("still,intented_axis_deg\nsound.png,31\n", &["expected `intended_axis_deg`"]),
    (
        "still,intended_axis_deg\nsound.png,190\n",
        &["line 2, column intended_axis_deg: \"190\", expected a number from 0 to 180 degrees"],
    ),
    ("still,eye\r\n\r\nsound.png,left\r\n", &["line 3, column eye: \"left\", expected OD or OS"]),
    ("still,mirrored\nsound.png,yes\n", &["column mirrored: \"yes\", expected true or false"]),
    ("still,date\nsound.png,2023-02-29\n", &["column date: \"2023-02-29\", expected a day"]),
    ("still,marks_denote_deg\nsound.png,0;360\n", &["column marks_denote_deg: \"0;360\", expected 1 to 4 different"]),
    (
        "still,white_to_white_mm\nsound.png,NaN\n",
        &["column white_to_white_mm: \"NaN\", expected a number from 8 to 16 mm"],
    ),
    (
        "still,k_flat_d,k_steep_d\nsound.png,44,43\n",
        &["column k_flat_d: \"44\", expected no more than k_steep_d, which is 43"],
    ),
    (
        "still,date,refracted_on\nsound.png,2026-09-14,2026-09-13\nb.png,2026-09-14,2026-09-14\n",
        &["line 2, column refracted_on: \"2026-09-13\", expected a day not before date, which is 2026-09-14"],
    ),
    ("still,eye\nsound.png,OD,more\n", &["line 2: \"more\", expected nothing in column 3"]),
    ("still,patient\nsound.png,a\n,b\n", &["line 3: \"b\", expected a still or a case"]),
    (
        "still\nsound.png\n./sound.png\n",
        &["line 3, column still: \"./sound.png\", expected each still once; it stands in line 2"],
    ),
    ("still,note\nsound.png,\"left\nb.png,\nc.png,\n", &["line 2: \"\\\"\", expected a second quotation mark"]),
    (
        "still,intended_axis_deg,eye,pixel_aspect\nsound.png,inf,,0\nb.png,x,OX,1\n",
        &[
            "line 2, column intended_axis_deg: \"inf\"",
            "line 2, column pixel_aspect: \"0\"",
            "line 3, column eye: \"OX\"",
            "line 3, column intended_axis_deg: \"x\"",
        ],
    ),
];

#[test]
fn every_fault_of_a_sheet_is_named_and_nothing_is_written() {
    let folder = folder();
    write(folder.path().join("sound.png"), encoded(&plain_picture(), ImageFormat::Png));
    for (sheet, faults) in BAD_SHEETS {
        write(folder.path().join("cases.csv"), sheet);
        let run = stillaxis(folder.path(), ["measure", "sound.png", "--sheet", "cases.csv", "--out", "out"], "");
        assert_eq!(run.code, Some(2), "{sheet:?}\n{run:?}");
        let lines: Vec<&str> = run.stderr.lines().collect();
        assert_eq!(lines.len(), faults.len(), "{sheet:?}\n{run:?}");
        for fault in faults {
            let told = lines.iter().any(|line| line.starts_with("cases.csv: ") && line.contains(fault));
            assert!(told, "{sheet:?} should say {fault:?}\n{run:?}");
        }
        assert!(!folder.path().join("out").exists(), "{sheet:?}\n{run:?}");
    }
}

#[test]
fn a_still_that_fits_several_rows_or_a_row_that_fits_several_stills_is_not_guessed() {
    let folder = folder();
    for side in ["a", "b"] {
        fs::create_dir(folder.path().join(side)).expect("made");
        write(folder.path().join(side).join("x.png"), encoded(&plain_picture(), ImageFormat::Png));
    }
    let measure = |sheet: &str| {
        write(folder.path().join("cases.csv"), sheet);
        stillaxis(folder.path(), ["measure", "a", "b", "--sheet", "cases.csv", "--out", "out"], "")
    };
    let run = measure("still,intended_axis_deg\nx.png,31\n");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.contains("as much of the path as tells a/x.png from b/x.png"), "{run:?}");
    let run = measure("still,intended_axis_deg\nx.png,31\na/x.png,32\n");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.contains("one row for a/x.png, which line 2 names as well"), "{run:?}");
    let run = measure("still,intended_axis_deg\nb/x.png,31\na\\x.png,32\n");
    assert_eq!(run.code, Some(1), "{run:?}");
    let axes: Vec<_> =
        records(&folder.path().join("out")).iter().map(|r| r["case"]["intended_axis_deg"].clone()).collect();
    assert_eq!(axes, ["32", "31"]);
}

#[test]
fn a_still_given_twice_is_said_and_measured_once() {
    let folder = folder();
    write(folder.path().join("x.png"), encoded(&plain_picture(), ImageFormat::Png));
    let run = stillaxis(folder.path(), ["measure", "x.png", ".", "x.png", "--out", "out"], "");
    assert_eq!(run.code, Some(1), "{run:?}");
    assert_eq!(records(&folder.path().join("out")).len(), 1, "{run:?}");
    assert!(run.stderr.contains("./x.png: the same file as x.png; measured once\n"), "{run:?}");
    assert!(run.stderr.contains("\nx.png: given before; measured once\n"), "{run:?}");
}

/// Something in the way rather than a missing permission: that stops every user.
#[test]
fn output_that_cannot_be_written_is_said_before_any_work() {
    for blocked in ["out", "out/overlays", "out/report.html", "out/measurements.csv"] {
        let folder = folder();
        write(folder.path().join("x.png"), encoded(&plain_picture(), ImageFormat::Png));
        fs::create_dir_all(folder.path().join(blocked).parent().expect("relative")).expect("made");
        if blocked.contains('.') {
            fs::create_dir(folder.path().join(blocked)).expect("made");
        } else {
            write(folder.path().join(blocked), "in the way");
        }
        let run = stillaxis(folder.path(), ["measure", "x.png", "--out", "out"], "");
        assert_eq!(run.code, Some(2), "{run:?}");
        assert_eq!(run.stderr.lines().count(), 1, "{run:?}");
        assert!(run.stderr.starts_with(&format!("{blocked}: ")), "{run:?}");
        let left: Vec<String> = files(folder.path()).into_iter().filter(|name| name != blocked).collect();
        assert_eq!(left, ["x.png"], "{run:?}");
    }
}

/// The stages of `--debug-dir` are output like any other: 2, with the file named, and the records are written all the same.
#[test]
fn stages_that_cannot_be_written_are_said() {
    let folder = folder();
    write(folder.path().join("x.png"), encoded(&plain_picture(), ImageFormat::Png));
    let blocked = "stages/0001-x-1-limbus-candidates.jpg";
    fs::create_dir_all(folder.path().join(blocked)).expect("made");
    let run = stillaxis(folder.path(), ["measure", "x.png", "--out", "out", "--debug-dir", "stages"], "");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.lines().any(|line| line.starts_with(&format!("{blocked}: "))), "{run:?}");
    assert!(run.stderr.ends_with("stages: 1 file could not be written\n"), "{run:?}");
    assert_eq!(records(&folder.path().join("out")).len(), 1, "{run:?}");

    write(folder.path().join("file"), "in the way");
    let run = stillaxis(folder.path(), ["measure", "x.png", "--out", "other", "--debug-dir", "file"], "");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.starts_with("file: "), "{run:?}");
}

#[test]
fn folders_without_pictures_and_missing_sheets_are_named() {
    let folder = folder();
    fs::create_dir(folder.path().join("empty")).expect("made");
    write(folder.path().join("x.png"), encoded(&plain_picture(), ImageFormat::Png));
    let run = stillaxis(folder.path(), ["measure", "empty", "--out", "out"], "");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.contains("empty: no pictures"), "{run:?}");
    assert!(!folder.path().join("out").exists());
    let run = stillaxis(folder.path(), ["measure", "empty", "x.png", "--out", "out"], "");
    assert_eq!(run.code, Some(1), "{run:?}");
    let run = stillaxis(folder.path(), ["measure", "x.png", "--sheet", "none.csv", "--out", "out"], "");
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.starts_with("none.csv: cannot be read: No such file"), "{run:?}");
}

/// No stills are no collection and no study: refused before a folder is made.
#[test]
fn none_cannot_be_drawn() {
    let folder = folder();
    for study in [&[][..], &["--study"]] {
        let args = ["simulate", "--count", "0", "--out", "out"];
        let run = stillaxis(folder.path(), args.iter().chain(study), "");
        assert_eq!(run.code, Some(2), "{run:?}");
        assert!(run.stderr.contains("'--count <N>'") && run.stderr.contains("0 is not in 1.."), "{run:?}");
        assert!(files(folder.path()).is_empty() && !folder.path().join("out").exists());
    }
}
