//! What each reading of the reference marks of drawn stills has to say for itself, for weighing them.
//!
//!     cargo bench --bench mark_readings -- both|lens-only SEED COUNT [easy|mixed|hard [usual|any]]
//!
//! Prints a line of JSON a still: the traits and profile of its candidates, the candidates and terms of its readings (see
//! `choose::Reading::terms`), and which readings take nothing but marks for marks. `tests/reference/mark_weights/fit.py` reads them.

mod readings;
mod recorded;

use recorded::recorded;
use stillaxis::phantom::{self, MarksShown, Scene, View, Wanted};
use stillaxis::vision::limbus::find_limbus;
use stillaxis::vision::reference_marks::choose::{self, Reading};
use stillaxis::vision::reference_marks::find_reference_marks;

/// How far from where it was drawn a mark may be found, limbus radii: a part of it may be covered.
const NEAR: f64 = 0.1;

fn still(seed: u64, number: u64, wanted: &Wanted) -> Option<serde_json::Value> {
    let scene = Scene::random(seed, number, wanted);
    let drawing = phantom::draw(&scene)?;
    let truth = phantom::truth(&scene, "", &drawing.visibility)?;
    if wanted.marks == MarksShown::Both && !truth.readable {
        return None;
    }
    let picture = recorded(&scene, &drawing)?.picture;
    let limbus = find_limbus(&picture).ok()?.ellipse;
    let findings = find_reference_marks(&picture, &limbus);

    let view = View::new(&scene.view)?;
    let drawn: Vec<_> = scene
        .reference_marks
        .iter()
        .map(|mark| {
            let (sin, cos) = mark.meridian_deg.to_radians().sin_cos();
            let eye = stillaxis::geometry::Vector::new(cos, sin) * (mark.inner_r + mark.outer_r) / 2.0;
            view.picture_of(&eye)
        })
        .collect();
    let is_mark: Vec<bool> =
        findings.iter().map(|f| drawn.iter().any(|d| (f.centroid - d).norm() < NEAR * view.px_per_radius())).collect();
    let (pattern, hint) = if scene.plan.sheet_has_meridians {
        (scene.plan.marks_meant_deg.clone(), scene.plan.zero_direction_deg)
    } else {
        (vec![0.0, 180.0], None)
    };
    let right = |r: &Reading| r.placed.iter().all(|p| is_mark[p.finding]);
    let all = choose::readings(&findings, &limbus, &pattern, hint);
    Some(serde_json::json!({
        "still": format!("{seed}/{number}"),
        "marks": scene.reference_marks.len(),
        "traits": findings.iter().map(|f| f.traits.map(rounded).to_vec()).collect::<Vec<_>>(),
        "profiles": findings.iter().map(|f| f.profile.map(|v| rounded(v.into())).to_vec()).collect::<Vec<_>>(),
        "placed": all.iter().map(|r| r.placed.iter().map(|p| p.finding).collect::<Vec<_>>()).collect::<Vec<_>>(),
        "crossing": all.iter().map(|r| rounded(r.crossing)).collect::<Vec<_>>(),
        "terms": all.iter().map(|r| r.terms.to_vec()).collect::<Vec<_>>(),
        "zero_deg": all.iter().map(|r| r.zero_deg).collect::<Vec<_>>(),
        "right": all.iter().map(right).collect::<Vec<_>>(),
    }))
}

fn rounded(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}

fn main() {
    readings::print(
        "cargo bench --bench mark_readings -- both|lens-only SEED COUNT [easy|mixed|hard [usual|any]]",
        still,
    );
}
