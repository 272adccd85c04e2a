//! Readings of the lens marks: the marks' kind and colour, the readings' terms, their axes in the plane of the true limbus, and how many groups each has.

use stillaxis::geometry::Ellipse;
use stillaxis::phantom::{Scene, Truth, View};
use stillaxis::vision::Picture;
use stillaxis::vision::lens_marks::{LensFinding, all_readings};

use crate::rounded;

pub fn readings(picture: &Picture, limbus: &Ellipse, scene: &Scene, truth: &Truth, view: &View) -> serde_json::Value {
    let axis = |lens: &LensFinding| {
        let [a, b] = [0, 1].map(|k| view.eye_of(&lens.ends[k].0));
        view.axis_through(&a, &b).map(|axis| axis.degrees())
    };
    let all = all_readings(picture, limbus);
    serde_json::json!({
        "kind": truth.lens_kind,
        "colour": scene.lens.as_ref().and_then(|lens| lens.marks.as_ref()).map(|marks| marks.colour),
        "lens_deg": truth.lens_deg,
        "axis_deg": all.iter().map(|(lens, _)| axis(lens)).collect::<Vec<_>>(),
        "groups": all.iter().map(|(lens, _)| lens.groups_seen).collect::<Vec<_>>(),
        "terms": all.into_iter().map(|(_, terms)| terms.into_iter().map(rounded).collect::<Vec<_>>()).collect::<Vec<_>>(),
    })
}
