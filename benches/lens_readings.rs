//! What each reading of the lens marks of drawn stills has to say for itself, for weighing them.
//!
//!     cargo bench --bench lens_readings -- both|reference-only|none SEED COUNT [easy|mixed|hard [usual|any]]
//!
//! Prints a line of JSON a still: the terms of its readings (see `lens_marks::all_readings`), their axes in the
//! plane of the true limbus, how many groups each has, and the true axis. `tests/reference/lens_weights/fit.py` reads them.

mod readings;
mod recorded;

use recorded::recorded;
use stillaxis::phantom::{self, MarksShown, Scene, View, Wanted};
use stillaxis::vision::lens_marks::{LensFinding, all_readings};
use stillaxis::vision::limbus::find_limbus;

fn still(seed: u64, number: u64, wanted: &Wanted) -> Option<serde_json::Value> {
    let scene = Scene::random(seed, number, wanted);
    let drawing = phantom::draw(&scene)?;
    let truth = phantom::truth(&scene, "", &drawing.visibility)?;
    if wanted.marks == MarksShown::Both && !truth.readable {
        return None;
    }
    let picture = recorded(&scene, &drawing)?.picture;
    let limbus = find_limbus(&picture).ok()?.ellipse;
    let view = View::new(&scene.view)?;
    let axis = |lens: &LensFinding| {
        let [a, b] = [0, 1].map(|k| view.eye_of(&lens.ends[k].0));
        view.axis_through(&a, &b).map(|axis| axis.degrees())
    };
    let all = all_readings(&picture, &limbus);
    Some(serde_json::json!({
        "still": format!("{seed}/{number}"),
        "lens": truth.lens_kind,
        "lens_deg": truth.lens_deg,
        "axis_deg": all.iter().map(|(lens, _)| axis(lens)).collect::<Vec<_>>(),
        "groups": all.iter().map(|(lens, _)| lens.groups_seen).collect::<Vec<_>>(),
        "terms": all.into_iter().map(|(_, terms)| terms.into_iter().map(rounded).collect::<Vec<_>>()).collect::<Vec<_>>(),
    }))
}

fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

fn main() {
    readings::print(
        "cargo bench --bench lens_readings -- both|reference-only|none SEED COUNT [easy|mixed|hard [usual|any]]",
        still,
    );
}
