//! `stillaxis predict` as it is called.

use assert_cmd::Command;
use serde_json::Value;

/// Arguments as typed, split at spaces.
fn predict(arguments: &str) -> std::process::Output {
    Command::cargo_bin("stillaxis").unwrap().arg("predict").args(arguments.split_whitespace()).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn objects(arguments: &str) -> Vec<Value> {
    let output = predict(arguments);
    assert_eq!(output.status.code(), Some(0), "predict {arguments}: {}", text(&output.stderr));
    text(&output.stdout).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn close(value: &Value, expected: f64, within: f64) {
    let got = value.as_f64().unwrap_or(f64::NAN);
    assert!((got - expected).abs() <= within, "{value} is not {expected}");
}

const EYE: &str = "--cylinder 2.879196 --plane lens --k-flat 43.5 --k-steep 45.5 --lens-position 5.0";

/// The lens that cancels 2.00 D; percent of the table of rotation (both recomputed twice with numpy).
#[test]
fn known_lens() {
    let rows = objects(&format!("{EYE} --misalignment 5,10,30 --json"));
    assert_eq!(rows.len(), 3);
    for (row, (angle, percent)) in rows.iter().zip([(5.0, 17.4311), (10.0, 34.7296), (30.0, 100.0)]) {
        close(&row["misalignment_deg"], angle, 0.0);
        close(&row["at_cornea_d"], 2.0, 0.0);
        close(&row["residual_percent"], percent, 1e-9);
        close(&row["residual_d"], 2.0 * percent / 100.0, 1e-4);
        close(&row["residual_axis_deg"], angle / 2.0 + 45.0, 1e-9);
        // Without a spherical equivalent the planes hardly differ: F / (1 + d F) of +r/2 and -r/2.
        close(&row["spectacle_d"], 2.0 * percent / 100.0, 5e-4);
    }
    close(&rows[1]["along_intended_d"], 2.0 * 0.939693, 1e-4);
    close(&rows[1]["oblique_d"], 2.0 * 0.342020, 1e-4);
}

/// Not matched: cornea 2.00, lenses of 1.60 and 2.40 at the cornea (recomputed twice with numpy).
#[test]
fn unmatched_lens() {
    for (lens, angle, left, axis) in
        [("1.6", "10", 0.738896, 66.108), ("2.4", "10", 0.859622, 36.363), ("2.4", "0", 0.4, 0.0)]
    {
        let rows = objects(&format!("--cylinder {lens} --plane cornea --target 2 --misalignment {angle} --json"));
        close(&rows[0]["residual_d"], left, 5e-5);
        close(&rows[0]["residual_percent"], left * 50.0, 5e-5);
        close(&rows[0]["residual_axis_deg"], axis, 5e-4);
    }
}

#[test]
fn nothing_left_has_no_axis() {
    let rows = objects(&format!("{EYE} --misalignment 0,-4 --json"));
    assert!(rows[0]["residual_axis_deg"].is_null());
    close(&rows[0]["residual_d"], 0.0, 0.0);
    close(&rows[1]["residual_axis_deg"], -47.0, 1e-9);
}

/// Fields in the documented order, and no other.
#[test]
fn fields() {
    let line = text(&predict(&format!("{EYE} --misalignment 5 --json")).stdout);
    let names: Vec<_> = line.split('"').skip(1).step_by(2).collect();
    let documented = "misalignment_deg at_cornea_d residual_d residual_percent along_intended_d oblique_d residual_axis_deg spectacle_d";
    assert_eq!(names.join(" "), documented);
}

#[test]
fn minus_form_is_transposed_and_said() {
    let minus = predict(&format!("{} --misalignment 5 --json", EYE.replace("2.879196", "-2.879196")));
    assert_eq!(minus.stdout, predict(&format!("{EYE} --misalignment 5 --json")).stdout);
    assert!(text(&minus.stderr).contains("--cylinder: -2.879196 D is in minus form, transposed to 2.879196 D"));
}

/// What a missing option would give is left out and said; what does not need it is given.
#[test]
fn missing_options() {
    let output = predict("--cylinder 3 --plane lens --misalignment 10 --json --k-flat 43");
    let row: Value = serde_json::from_slice(&output.stdout).unwrap();
    close(&row["residual_percent"], 34.7296, 1e-9);
    close(&row["residual_axis_deg"], 50.0, 1e-9);
    for field in ["at_cornea_d", "residual_d", "along_intended_d", "oblique_d", "spectacle_d"] {
        assert!(row[field].is_null(), "{field}");
    }
    assert!(text(&output.stderr).contains("--lens-position would give them"), "{}", text(&output.stderr));
    let output = predict("--cylinder 3 --plane lens --misalignment 10 --json --target 2");
    assert!(serde_json::from_slice::<Value>(&output.stdout).unwrap()["residual_percent"].is_null());
    assert!(text(&output.stderr).contains("--k-flat and --lens-position would give them"));
}

/// Every fault is named with option, value and range; nothing is printed as data.
#[test]
fn implausible_values() {
    let output = predict(
        "--cylinder 40 --plane lens --k-flat 7.8 --lens-position 0.005 --vertex 90 --misalignment 5,270 --target 25",
    );
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    let said = text(&output.stderr);
    for fault in [
        "--cylinder: 40 D is no plausible cylinder of a lens: expected 0.1 to 20 D",
        "--k-flat: 7.8 D is no plausible corneal power: expected 20 to 80 D",
        "--lens-position: 0.005 mm is no plausible lens position behind the corneal vertex: expected 1 to 10 mm",
        "--vertex: 90 mm is no plausible vertex distance: expected 0 to 20 mm",
        "--misalignment: 270 degrees is no plausible misalignment: expected -180 to 180 degrees",
        "--target: 25 D is no plausible corneal astigmatism: expected 0 to 20 D",
    ] {
        assert!(said.contains(fault), "{fault}\nnot in\n{said}");
    }
    for (wrong, said) in [
        ("--cylinder nan --plane cornea --misalignment 5", "--cylinder: NaN D"),
        ("--cylinder 2 --plane cornea --misalignment 5,x", "invalid value 'x'"),
        ("--cylinder 2 --plane cornea --misalignment 5 --k-flat 45 --k-steep 43", "45 D is above --k-steep, 43 D"),
    ] {
        let output = predict(wrong);
        assert_eq!(output.status.code(), Some(2), "{wrong}");
        assert!(text(&output.stderr).contains(said), "{wrong}: {}", text(&output.stderr));
    }
}

#[test]
fn keratometry_that_differs_is_said() {
    let output = predict("--cylinder 2 --plane cornea --misalignment 5 --k-flat 43 --k-steep 44");
    assert!(text(&output.stderr).contains("keratometry gives 1.00 D, the lens cancels 2.00 D"));
    let output = predict("--cylinder 2 --plane cornea --misalignment 5 --k-flat 43 --k-steep 44 --target 1");
    assert!(!text(&output.stderr).contains("keratometry"));
}

/// The table is aligned, has its units, its caution, and the angle at which nothing is won (30 degrees, matched).
#[test]
fn table() {
    let output = predict(&format!("{EYE} --misalignment -5,10,100"));
    let printed = text(&output.stdout);
    let rows: Vec<_> = printed.lines().skip_while(|line| !line.starts_with("misalignment")).take(5).collect();
    assert!(rows.iter().all(|row| row.chars().count() == rows[0].chars().count()), "{printed}");
    assert!(rows[1].contains("degrees") && rows[1].contains("D, cornea") && rows[1].contains('%'));
    assert_eq!(
        rows[3].split_whitespace().collect::<Vec<_>>(),
        ["10.0", "0.69", "34.7", "1.88", "0.68", "50.0", "0.69"]
    );
    assert!(printed.contains("Beyond 30.0 degrees"));
    assert!(printed.contains("Not a medical device."));
}

/// The chart appears whole at its path, reads as SVG, and marks what was asked for; no folder, no chart.
#[test]
fn plot() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("curve.svg");
    let output = predict(&format!("{EYE} --misalignment 10 --json --plot {}", path.display()));
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let svg = std::fs::read_to_string(&path).unwrap();
    resvg::usvg::Tree::from_str(&svg, &resvg::usvg::Options::default()).unwrap();
    assert!(svg.contains("10°: 0.69 D") && svg.contains("without a cylinder: 2.00 D"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);

    let nowhere = folder.path().join("none").join("curve.svg");
    let output = predict(&format!("{EYE} --misalignment 10 --plot {}", nowhere.display()));
    assert_eq!(output.status.code(), Some(2));
    let said = text(&output.stderr);
    let place = nowhere.parent().unwrap().display().to_string();
    assert!(said.contains(&format!("curve.svg: there is no folder {place}\n")), "{said}");

    for name in ["curve.png", "curve", ".svg"] {
        let other = folder.path().join(name);
        let output = predict(&format!("{EYE} --misalignment 10 --plot {}", other.display()));
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(text(&output.stderr).contains("expected a name that ends in .svg"), "{}", text(&output.stderr));
        assert!(output.stdout.is_empty() && !other.exists(), "{name}");
    }
}
