//! The summary at the end of a run.

use crate::fixture::{Scene, all_kinds};
use stillaxis::record::RefusalCode;
use stillaxis::report::summary::{Summary, text};

/// Counted by hand from the list of errors below.
#[test]
fn counts_are_those_of_the_records() {
    let scene = Scene::new();
    let mut records: Vec<_> = [0.5, -5.0, 5.01, -12.0].map(|error| scene.measured("a.jpg", 40.0, error)).to_vec();
    records.push(scene.refused("b.jpg", RefusalCode::LensMarksMissing));
    records.push(scene.refused("c.jpg", RefusalCode::LensMarksMissing));
    records.push(scene.refused("d.jpg", RefusalCode::LimbusNotFound));
    records.push(scene.refused("e.jpg", RefusalCode::Unreadable));
    let summary = Summary::of(&records);
    assert_eq!((summary.measured, summary.refused, summary.unreadable), (4, 3, 1));
    assert_eq!(summary.beyond, [2, 1]);
    assert!((summary.median_abs_error_deg.unwrap() - 5.005).abs() < 1e-12);
    assert_eq!(summary.causes[0], (RefusalCode::LensMarksMissing, 2));

    let text = text(&records);
    assert!(text.starts_with("8 stills: 4 measured, 3 refused, 1 unreadable\n"), "{text}");
    for line in
        ["  median        5.0°", "  beyond 5°     2 (50 %)", "  beyond 10°    1 (25 %)", "  2  lens marks missing"]
    {
        assert!(text.lines().any(|l| l == line), "{line} in\n{text}");
    }
    assert!(text.contains("is not a reason to operate"));
    assert!(text.ends_with("device.\n"), "{text}");
}

/// Repeated readings of a lens in its place: their mean is noise, and is said to be. One far off is not.
#[test]
fn the_mean_is_said_without_reading_noise() {
    let scene = Scene::new();
    let readings = |errors: &[f64]| text(&errors.iter().map(|e| scene.measured("a.jpg", 40.0, *e)).collect::<Vec<_>>());
    let noise = readings(&[0.5, -0.8, 0.2, -0.4, 0.9]);
    assert!(noise.contains("  mean          0.6°, no more than reading noise\n"), "{noise}");
    assert!(noise.contains("  mean residual 2.0 % of the cylinder, no more than reading noise\n"), "{noise}");
    let off = readings(&[4.0, -3.0, 5.0, 0.1]);
    assert!(off.contains("  mean          3.0°; 2.9° with reading noise taken out\n"), "{off}");
}

#[test]
fn lines_fit_a_terminal() {
    assert!(text(&all_kinds()).lines().all(|line| line.chars().count() <= 80));
}

/// Without a figure there is nothing to act upon, and nothing to take a median of.
#[test]
fn a_run_without_a_measured_still_gives_no_figure() {
    let refused = text(&[Scene::new().refused("a.jpg", RefusalCode::LimbusNotFound)]);
    assert_eq!(refused, "1 still: 0 measured, 1 refused\n\nNot measured\n  1  limbus not found\n");
    assert_eq!(text(&[]), "0 stills: 0 measured, 0 refused\n");
}
