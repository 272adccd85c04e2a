//! Residual cylinder and residual astigmatism, by group.

use super::audit::{ALL, AuditSettings, Group, every, people};
use super::estimates::Sample;
use super::eye::Eye;
use super::figures::{Chart, Plot, Region, Section, Series};
use super::reading::Dioptres;
use crate::geometry::wrap;
use crate::statistics::centroid_region::CentroidRegion;
use crate::statistics::descriptive;
use crate::statistics::jackknife::Scale;

/// Groups shown in the double-angle plane.
const MOST_CENTROIDS_DRAWN: usize = 4;

/// Mean and median of the residual cylinder, and the centroid of the residual astigmatism with its region.
pub(super) fn section(all: &Group, by: &[(String, Vec<Group>)], settings: &AuditSettings) -> Option<Section> {
    let mut section = Section::new("Residual cylinder");
    let plane = Plane::of(&all.1);
    section.text.push(plane.in_words());
    section.text.push("Axes are in the eye's own notation; left eyes are not mirrored onto right ones.".to_owned());
    let drawn = drawn_groups(by);
    let (mut series, mut regions) = (Vec::new(), Vec::new());
    for (name, eyes) in every(all, by) {
        sizes(&mut section, &name, eyes, plane, settings.seed);
        let astigmatism = Astigmatism::of(eyes, plane);
        if astigmatism.points.is_empty() {
            continue;
        }
        centroid(&mut section, &name, &astigmatism);
        if drawn.contains(&name) {
            let region = astigmatism.region();
            regions.extend(region.map(|region| Region {
                group: series.len(),
                center: region.center,
                outline: region.outline(72),
            }));
            series.push(Series { name, points: astigmatism.points });
        }
    }
    if section.figures.is_empty() {
        return None;
    }
    let shown = every(all, by).filter(|(name, _)| drawn.contains(name)).flat_map(|(_, eyes)| eyes.iter().copied());
    let behind = Sample::of(shown, |eye| plane.dioptres(eye)?.power_vector_d.map(|_| 0.0)).behind();
    if behind.eyes > 0 {
        section.charts.push(Chart {
            plot: Plot::DoubleAngle { series, regions },
            caption: format!(
                "Residual astigmatism in the double-angle plane: direction twice the axis of the minus cylinder that \
                 corrects it, distance its power. Cross: centroid; outline: its 95 % region. {}.",
                people(behind)
            ),
        });
    }
    Some(section)
}

/// The plane whose dioptres are spoken of: the cornea, where any eye has its own there.
#[derive(Clone, Copy)]
struct Plane {
    at_cornea: usize,
    at_lens: usize,
}

impl Plane {
    fn of(eyes: &[&Eye]) -> Self {
        let dioptres = eyes.iter().filter_map(|eye| eye.measure?.dioptres);
        let (at_cornea, at_lens): (Vec<_>, Vec<_>) = dioptres.partition(|d| d.at_cornea);
        Self { at_cornea: at_cornea.len(), at_lens: at_lens.len() }
    }

    fn in_words(self) -> String {
        match (self.at_cornea, self.at_lens) {
            (0, 0) => "In dioptres nothing can be said: the sheet gives no toric power.".to_owned(),
            (_, 0) => "Dioptres hold at the cornea.".to_owned(),
            (0, _) => "Dioptres hold in the plane of the lens.".to_owned(),
            (_, at_lens) => format!(
                "Dioptres are those at the cornea. {at_lens} eyes have theirs in the plane of the lens only, a different \
                 unit: they are left out of the dioptres, not of the percentages."
            ),
        }
    }

    /// What an eye has in this plane.
    fn dioptres(self, eye: &Eye) -> Option<Dioptres> {
        eye.measure?.dioptres.filter(|d| d.at_cornea == (self.at_cornea > 0))
    }
}

/// Names of the groups shown in the double-angle plane, as [`every`] gives them.
fn drawn_groups(by: &[(String, Vec<Group>)]) -> Vec<String> {
    match by.first() {
        Some((column, groups)) => {
            groups.iter().take(MOST_CENTROIDS_DRAWN).map(|(name, _)| format!("{column}: {name}")).collect()
        }
        None => vec![ALL.to_owned()],
    }
}

/// Mean and median of what is left, in percent and in dioptres.
fn sizes(section: &mut Section, name: &str, eyes: &[&Eye], plane: Plane, seed: u64) {
    let percent = Sample::of(eyes.iter().copied(), |eye| Some(eye.measure?.residual_percent));
    let dioptres = Sample::of(eyes.iter().copied(), |eye| Some(plane.dioptres(eye)?.residual_d));
    for (quantity, unit, sample) in [("of the cylinder", "%", &percent), ("cylinder", "D", &dioptres)] {
        if sample.values.is_empty() {
            continue;
        }
        for (what, e) in [("mean", sample.mean(Scale::Logarithm)), ("median", sample.median(seed))] {
            section.add(name, format!("residual {quantity}, {what}"), unit, e.value, e.interval, sample.behind());
        }
    }
}

/// Residual astigmatism of a group.
struct Astigmatism {
    /// Twice J0 and J45, D: C cos 2A and C sin 2A of the minus cylinder that corrects the residual.
    points: Vec<[f64; 2]>,
    /// The eyes behind them.
    sample: Sample,
}

impl Astigmatism {
    fn of(eyes: &[&Eye], plane: Plane) -> Self {
        let (eyes, points): (Vec<&Eye>, Vec<[f64; 2]>) = eyes
            .iter()
            .filter_map(|eye| Some((*eye, plane.dioptres(eye)?.power_vector_d?.map(|j_d| 2.0 * j_d))))
            .unzip();
        Self { points, sample: Sample::of(eyes, |_| Some(0.0)) }
    }

    fn region(&self) -> Option<CentroidRegion> {
        let patients = &self.sample.patients;
        CentroidRegion::of(&self.points, &patients.numbers, patients.inflation())
    }
}

fn centroid(section: &mut Section, name: &str, astigmatism: &Astigmatism) {
    let behind = astigmatism.sample.behind();
    let mean =
        |k: usize| descriptive::mean(&astigmatism.points.iter().map(|p| p[k]).collect::<Vec<_>>()).unwrap_or(f64::NAN);
    let (x, y) = (mean(0), mean(1));
    let axis = wrap(y.atan2(x).to_degrees() / 2.0, 180.0);
    section.add(name, "centroid, power", "D", Some(x.hypot(y)), None, behind);
    section.add(name, "centroid, minus-cylinder axis", "°", Some(if axis == 0.0 { 180.0 } else { axis }), None, behind);
    let region = astigmatism.region();
    let note = match region {
        Some(region) if region.excludes_origin => "0 lies outside of the region",
        Some(_) => "0 lies within the region",
        None => "no region: fewer than three patients, or all on a line",
    };
    let longer = region.map(|r| r.semi_axes[0]);
    section.add(name, "95 % region, longer semi-axis", "D", longer, None, behind).noted(note);
    section.add(name, "95 % region, shorter semi-axis", "D", region.map(|r| r.semi_axes[1]), None, behind);
}
