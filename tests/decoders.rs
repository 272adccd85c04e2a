//! Decoding and EXIF against Pillow and OpenCV: tests/reference/decoders/make.py made the pictures and the numbers.

use serde::Deserialize;
use std::path::{Path, PathBuf};
use stillaxis::stills::load::{Recording, load};

#[derive(Deserialize)]
struct Reference {
    pictures: Vec<Expected>,
}

#[derive(Deserialize)]
struct Expected {
    file: String,
    width: u32,
    height: u32,
    exif_orientation: u8,
    taken_at: Option<String>,
    /// 8-bit levels.
    tolerance: u16,
    /// The same of the outermost pixels.
    edge_tolerance: u16,
    values: Vec<u16>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/decoders")
}

fn reference() -> Vec<Expected> {
    let text = std::fs::read_to_string(folder().join("expected.json")).expect("the reference is part of the project");
    serde_json::from_str::<Reference>(&text).expect("make.py wrote it").pictures
}

#[test]
fn pixels_and_metadata_are_those_of_the_reference_libraries() {
    let pictures = reference();
    assert_eq!(pictures.len(), 58);
    let mut wrong = Vec::new();
    for expected in &pictures {
        let path = folder().join("pictures").join(&expected.file);
        let loaded = match load(&path, Recording::default()) {
            Ok(loaded) => loaded,
            Err(error) => {
                wrong.push(format!("{}: {error}", expected.file));
                continue;
            }
        };
        let still = &loaded.still;
        let got = (still.width_px, still.height_px, still.exif_orientation, still.taken_at.as_deref());
        let want = (expected.width, expected.height, expected.exif_orientation, expected.taken_at.as_deref());
        if got != want || loaded.picture.dimensions() != (expected.width, expected.height) {
            wrong.push(format!("{}: {got:?}, expected {want:?}", expected.file));
            continue;
        }
        if loaded.picture.as_raw().len() != expected.values.len() {
            wrong.push(format!("{}: {} values", expected.file, loaded.picture.as_raw().len()));
            continue;
        }
        let (width, height) = (expected.width as usize, expected.height as usize);
        let [mut inside, mut edge] = [0, 0];
        for (at, (got, want)) in loaded.picture.as_raw().iter().zip(&expected.values).enumerate() {
            let (x, y) = (at / 3 % width, at / 3 / width);
            let outermost = x == 0 || y == 0 || x == width - 1 || y == height - 1;
            let apart = if outermost { &mut edge } else { &mut inside };
            *apart = got.abs_diff(*want).max(*apart);
        }
        if inside > expected.tolerance * 257 || edge > expected.edge_tolerance * 257 {
            wrong.push(format!("{}: {inside} of 65535 apart inside, {edge} at the edge", expected.file));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_mirrored_recording_is_mirrored_back_after_exif_has_turned_it() {
    let all = reference();
    let turned = all.iter().filter(|expected| expected.file.starts_with("orientation_") && expected.tolerance == 0);
    assert_eq!(turned.clone().count(), 24, "eight ways to turn it, in three formats");
    for expected in turned {
        let path = folder().join("pictures").join(&expected.file);
        let loaded = load(&path, Recording { mirrored: true, ..Recording::default() }).expect("a sound picture");
        assert!(loaded.still.mirrored);
        let width = expected.width as usize;
        for (got, want) in loaded.picture.as_raw().chunks(3 * width).zip(expected.values.chunks(3 * width)) {
            let got: Vec<&[u16]> = got.chunks(3).collect();
            let want: Vec<&[u16]> = want.chunks(3).rev().collect();
            assert_eq!(got, want, "{}", expected.file);
        }
    }
}

/// FIPS 180-4 by another implementation: `sha256sum orientation_1.png`.
#[test]
fn the_hash_is_that_of_the_bytes() {
    let path = folder().join("pictures/orientation_1.png");
    let loaded = load(&path, Recording::default()).expect("a sound picture");
    assert_eq!(loaded.still.sha256, "d97fc00fb5665bb429397a117b462f0ad4814316ddd763da5e1f0008a5ade5c8");
    assert!(loaded.still.path.ends_with("pictures/orientation_1.png"));
}
