//! The form of the reference marks: from pixels to millimetres and degrees, with their uncertainties.
//!
//! What is uncertain of the limbus is carried through by differences, as in [`crate::alignment`]: its ellipse and its height
//! over width are moved by their standard deviations and the figures looked at.

use crate::alignment::{LimbusReading, MarkReading, Plan, oval_prior};
use crate::geometry::{Axis, EyeMap, Meridian, Vector, are_opposite, ccw_degrees};
use crate::record::{MarkKind, ReferenceMark};
use crate::vision::reference_marks::MarkFinding;
use crate::vision::reference_marks::size::MarkSize;

/// sd of the white-to-white distance, mm, where it is the average (see [`Plan::width_mm`]) and where the sheet gives it: a
/// caliper reads to about 0.1 mm (common practice).
const WIDTH_SD_MM: [f64; 2] = [0.4, 0.1];

/// A mark that was chosen, as found, as it counts, and as it measures.
pub(super) struct Mark<'a> {
    /// As found.
    pub finding: &'a MarkFinding,
    /// As it counts.
    pub reading: &'a MarkReading,
    /// As it measures in the picture.
    pub size: MarkSize,
    /// Its meridian with the sd of its own reading, degrees.
    pub meridian: (Meridian, f64),
}

/// What is known of the eye that the marks stand on.
pub(super) struct Ground<'a> {
    /// The limbus.
    pub limbus: &'a LimbusReading,
    /// The plan.
    pub plan: &'a Plan,
    /// Where the eye's 0 lies in the plane of the limbus, degrees; modulo 180 is enough.
    pub zero_deg: f64,
}

/// Figures of one mark, each as far as it is known.
#[derive(Clone, Copy, Default)]
struct Figures {
    length_mm: f64,
    width_mm: f64,
    length_deg: f64,
    width_deg: f64,
    lean_deg: f64,
    from_opposite_deg: f64,
}

impl Figures {
    fn values(&self) -> [f64; 6] {
        [self.length_mm, self.width_mm, self.length_deg, self.width_deg, self.lean_deg, self.from_opposite_deg]
    }
}

impl Ground<'_> {
    fn map(&self, ellipse: &crate::geometry::Ellipse, height_over_width: f64) -> Option<EyeMap> {
        EyeMap::new(ellipse, self.plan.width_mm(), height_over_width, self.zero_deg)
    }

    /// The map as read, and for each thing that is uncertain of the limbus the two maps one sd away.
    fn maps(&self) -> Option<(EyeMap, Vec<[EyeMap; 2]>)> {
        let prior = oval_prior(self.plan);
        let read = self.map(&self.limbus.ellipse, prior.height_over_width)?;
        let mut moved = Vec::new();
        for [more, less] in self.limbus.one_sd_away() {
            moved.push([self.map(&more?, prior.height_over_width)?, self.map(&less?, prior.height_over_width)?]);
        }
        let oval = |sign: f64| self.map(&self.limbus.ellipse, prior.height_over_width + sign * prior.sd);
        moved.push([oval(1.0)?, oval(-1.0)?]);
        Some((read, moved))
    }
}

/// Describe the marks; `None` where the limbus has no map.
pub(super) fn describe(marks: &[Mark], ground: &Ground) -> Option<Vec<ReferenceMark>> {
    let (read, moved) = ground.maps()?;
    Some(marks.iter().map(|mark| describe_one(mark, marks, ground, &read, &moved)).collect())
}

fn describe_one(mark: &Mark, marks: &[Mark], ground: &Ground, read: &EyeMap, moved: &[[EyeMap; 2]]) -> ReferenceMark {
    let opposite = marks.iter().find(|other| are_opposite(other.reading.denotes_deg, mark.reading.denotes_deg));
    let of = |map: &EyeMap| figures(mark, opposite, ground, map);
    let here = of(read).unwrap_or_default();
    let mut limbus = [0.0; 6];
    for [more, less] in moved {
        let (Some(more), Some(less)) = (of(more), of(less)) else { continue };
        for (sum, (a, b)) in limbus.iter_mut().zip(more.values().into_iter().zip(less.values())) {
            *sum += ((a - b) / 2.0).powi(2);
        }
    }
    let [length, width] = [mark.size.length_px, mark.size.width_px];
    let scale = WIDTH_SD_MM[usize::from(ground.plan.white_to_white_mm.is_some())] / ground.plan.width_mm();
    let own = |measured: Option<crate::vision::reference_marks::size::Measured>| measured.map(|m| m.sd / m.value);
    let sd = |value: f64, own: Option<f64>, scale: f64, limbus: f64| {
        own.map(|own| ((value * own).powi(2) + (value * scale).powi(2) + limbus).sqrt())
    };
    let along_sd = mark.size.along_sd_deg.filter(|_| mark.finding.direction.is_some());
    // The radial direction that a lean is taken from stands where the centroid does.
    let lean_own = along_sd.map(|along| along.hypot(mark.meridian.1));
    let opposition_own = opposite.map(|other| mark.meridian.1.hypot(other.meridian.1));
    ReferenceMark {
        meridian_deg: mark.meridian.0.degrees(),
        denotes_deg: ground.plan.marks_denote_meridians.then_some(mark.reading.denotes_deg),
        sd_deg: mark.meridian.1,
        center_px: [mark.finding.centroid.x, mark.finding.centroid.y],
        kind: if mark.finding.direction.is_some() { MarkKind::Radial } else { MarkKind::Dot },
        length_mm: here.length_mm,
        length_sd_mm: sd(here.length_mm, own(length), scale, limbus[0]),
        length_deg: Some(here.length_deg),
        length_sd_deg: sd(here.length_deg, own(length), 0.0, limbus[2]),
        width_mm: here.width_mm,
        width_sd_mm: sd(here.width_mm, own(width), scale, limbus[1]),
        width_deg: Some(here.width_deg),
        width_sd_deg: sd(here.width_deg, own(width), 0.0, limbus[3]),
        lean_deg: mark.finding.direction.map(|_| here.lean_deg),
        lean_sd_deg: lean_own.map(|own| own.hypot(limbus[4].sqrt())),
        contrast: mark.size.contrast.map_or(mark.finding.contrast, |c| c.value),
        contrast_sd: mark.size.contrast.map(|c| c.sd),
        from_opposite_deg: opposite.map(|_| here.from_opposite_deg),
        from_opposite_sd_deg: opposition_own.map(|own| own.hypot(limbus[5].sqrt())),
    }
}

/// The figures of a mark seen through `map`.
fn figures(mark: &Mark, opposite: Option<&Mark>, ground: &Ground, map: &EyeMap) -> Option<Figures> {
    let size = &mark.size;
    let place = map.to_eye(&mark.finding.centroid);
    let along = map.displacement_to_eye(&size.along).norm();
    let across = Vector::new(-size.along.y, size.along.x);
    // A stroke is a strip: its width is what is left of its area. A dot is as wide as its chord across.
    let aside = if mark.finding.direction.is_some() {
        map.inverse_matrix().determinant().abs() / along
    } else {
        map.displacement_to_eye(&across).norm()
    };
    // Where the form is no bar's, the outline has to do.
    let length_mm = along * size.length_px.map_or(mark.finding.length_px, |m| m.value);
    let width_mm = aside * size.width_px.map_or(mark.finding.width_px, |m| m.value);
    let radius_mm = ground.plan.width_mm() / 2.0 * oval_prior(ground.plan).height_over_width.sqrt();
    let radial = Axis::from_degrees(ccw_degrees(&place)?)?;
    let meridian = |m: &Mark| Meridian::of(&map.to_eye(&m.finding.centroid));
    let from_opposite = opposite.and_then(|other| {
        let turned = Meridian::from_degrees(meridian(other)?.degrees() + 180.0)?;
        Some(turned.turn_to(meridian(mark)?))
    });
    Some(Figures {
        length_mm,
        width_mm,
        length_deg: (length_mm / radius_mm).to_degrees(),
        width_deg: (2.0 * (width_mm / 2.0 / place.norm()).atan()).to_degrees(),
        lean_deg: radial.turn_to(Axis::of(&map.displacement_to_eye(&size.along))?),
        from_opposite_deg: from_opposite.unwrap_or(0.0),
    })
}

#[cfg(test)]
mod tests {
    use crate::measurement::measure;
    use crate::phantom::{self, Difficulty, Scene, Wanted};
    use crate::stills::load::{Loaded, Recording, load};
    use crate::stills::sheet::Case;

    /// Marks of known width, length and lean come back, and their stated sd is true: error over sd in lines, strokes and dots
    /// drawn with a fixed seed. `cargo bench --bench mark_forms` prints it for more of them.
    #[test]
    fn forms_come_back_with_their_sd() {
        let wanted = Wanted { difficulty: Difficulty::Easy, ..Wanted::default() };
        let mut ratios: [Vec<f64>; 3] = Default::default();
        let mut widths = Vec::new();
        let stills = (0..40).map(|k| Scene::random(41, k, &wanted));
        for scene in stills.filter(|scene| scene.view.width_px <= 1024).take(12) {
            let drawing = phantom::draw(&scene).unwrap();
            let truth = phantom::truth(&scene, "", &drawing.visibility).unwrap();
            let kind = truth.reference_kind.clone().unwrap_or_default();
            if !["line", "stroke", "dot"].contains(&kind.as_str()) {
                continue;
            }
            let file = tempfile::NamedTempFile::new().unwrap();
            std::fs::write(file.path(), phantom::encode(&drawing.picture, &scene.camera).unwrap()).unwrap();
            let Loaded { picture, still, .. } = load(file.path(), Recording::default()).unwrap();
            let case = Case {
                intended_axis_deg: Some(scene.plan.intended_axis_deg),
                white_to_white_mm: Some(scene.view.white_to_white_mm),
                ..Case::default()
            };
            for mark in measure(&picture, still, &case).record.reference_marks {
                let far = |center: [f64; 2]| (center[0] - mark.center_px[0]).hypot(center[1] - mark.center_px[1]);
                let Some(drawn) = truth.reference_marks.iter().find(|t| far(t.center_px) < 6.0) else { continue };
                let mut add = |k: usize, error: f64, sd: Option<f64>| ratios[k].extend(sd.map(|sd| error / sd));
                add(0, mark.length_mm - drawn.length_mm, mark.length_sd_mm);
                add(1, mark.width_mm - drawn.width_mm, mark.width_sd_mm);
                let leans = mark.lean_deg.zip(drawn.lean_deg);
                add(2, leans.map_or(0.0, |(found, true_lean)| found - true_lean), mark.lean_sd_deg);
                let half_width = (mark.width_deg.unwrap() / 2.0).to_radians().tan();
                let radius_mm = mark.width_mm / 2.0 / half_width;
                assert!((4.5..7.5).contains(&radius_mm), "the mark stands {radius_mm} mm from the centre");
                widths.push((mark.width_mm / drawn.width_mm).ln());
            }
        }
        let rms = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt();
        let [length, width, lean] = ratios;
        assert!(width.len() >= 12, "{} marks", width.len());
        assert!(rms(&widths) < 0.12, "width off by {:.0} %", 100.0 * rms(&widths));
        for (name, values, held) in
            [("length", &length, 0.4..1.6), ("width", &width, 0.5..1.5), ("lean", &lean, 0.2..1.3)]
        {
            assert!(held.contains(&rms(values)), "{name}: error over sd {:.2}: {values:.2?}", rms(values));
        }
    }
}
