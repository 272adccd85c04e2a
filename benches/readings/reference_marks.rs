//! Readings of the reference marks: traits and profile of their candidates, candidates and terms of each reading, and which readings
//! take nothing but marks for marks.

use stillaxis::geometry::{Ellipse, Vector};
use stillaxis::phantom::{Scene, Truth, View};
use stillaxis::vision::Picture;
use stillaxis::vision::reference_marks::choose::{self, Reading};
use stillaxis::vision::reference_marks::find_reference_marks;

use crate::rounded;

/// How far from where it was drawn a mark may be found, limbus radii: a part of it may be covered.
const NEAR: f64 = 0.1;

pub fn readings(picture: &Picture, limbus: &Ellipse, scene: &Scene, truth: &Truth, view: &View) -> serde_json::Value {
    let findings = find_reference_marks(picture, limbus);
    let drawn: Vec<_> = scene
        .reference_marks
        .iter()
        .map(|mark| {
            let (sin, cos) = mark.meridian_deg.to_radians().sin_cos();
            view.picture_of(&(Vector::new(cos, sin) * (mark.inner_r + mark.outer_r) / 2.0))
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
    let all = choose::readings(&findings, limbus, &pattern, hint);
    serde_json::json!({
        "kind": truth.reference_kind,
        "marks": scene.reference_marks.len(),
        "traits": findings.iter().map(|f| f.traits.map(rounded).to_vec()).collect::<Vec<_>>(),
        "profiles": findings.iter().map(|f| f.profile.map(|v| rounded(v.into())).to_vec()).collect::<Vec<_>>(),
        "placed": all.iter().map(|r| r.placed.iter().map(|p| p.finding).collect::<Vec<_>>()).collect::<Vec<_>>(),
        "crossing": all.iter().map(|r| rounded(r.crossing)).collect::<Vec<_>>(),
        "terms": all.iter().map(|r| r.terms.to_vec()).collect::<Vec<_>>(),
        "zero_deg": all.iter().map(|r| r.zero_deg).collect::<Vec<_>>(),
        "right": all.iter().map(right).collect::<Vec<_>>(),
    })
}
