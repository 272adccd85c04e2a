//! Residual cylinder and residual astigmatism, by group.

use super::audit::{ALL, AuditSettings, Group, every, people};
use super::estimates::Sample;
use super::eye::Eye;
use super::figures::{Chart, Plot, Region, Section, Series};
use crate::statistics::centroid_region::CentroidRegion;
use crate::statistics::descriptive;
use crate::statistics::jackknife::Scale;

/// Groups shown in the double-angle plane.
const MOST_CENTROIDS_DRAWN: usize = 4;

/// Mean and median of the residual cylinder, and the centroid of the residual astigmatism with its region.
pub(super) fn section(all: &Group, by: &[(String, Vec<Group>)], settings: &AuditSettings) -> Option<Section> {
    let mut section = Section::new("Residual cylinder");
    let measured = all.1.iter().filter_map(|eye| eye.measure);
    let (mut at_cornea, mut at_lens) = (0, 0);
    for dioptres in measured.filter_map(|m| m.dioptres) {
        if dioptres.at_cornea { at_cornea += 1 } else { at_lens += 1 }
    }
    let cornea = at_cornea > 0;
    if at_cornea + at_lens == 0 {
        section.text.push("In dioptres nothing can be said: the sheet gives no toric power.".to_owned());
    } else if cornea && at_lens > 0 {
        section.text.push(format!(
            "Dioptres are those at the cornea. {at_lens} eyes have theirs in the plane of the lens only, a different unit: \
             they are left out of the dioptres, not of the percentages."
        ));
    } else {
        let plane = if cornea { "at the cornea" } else { "in the plane of the lens" };
        section.text.push(format!("Dioptres hold {plane}."));
    }
    section.text.push("Axes are in the eye's own notation; left eyes are not mirrored onto right ones.".to_owned());
    let same_plane = |eye: &Eye| eye.measure?.dioptres.filter(|d| d.at_cornea == cornea);
    let (mut series, mut regions) = (Vec::new(), Vec::new());
    let drawn: Vec<String> = match by.first() {
        Some((column, groups)) => {
            groups.iter().take(MOST_CENTROIDS_DRAWN).map(|(name, _)| format!("{column}: {name}")).collect()
        }
        None => vec![ALL.to_owned()],
    };
    for (name, eyes) in every(all, by) {
        let percent = Sample::of(eyes.iter().copied(), |eye| Some(eye.measure?.residual_percent));
        let dioptres = Sample::of(eyes.iter().copied(), |eye| Some(same_plane(eye)?.residual_d));
        for (quantity, unit, sample) in [("of the cylinder", "%", &percent), ("cylinder", "D", &dioptres)] {
            if sample.values.is_empty() {
                continue;
            }
            let mean = sample.mean(Scale::Logarithm);
            section.add(&name, format!("residual {quantity}, mean"), unit, mean.value, mean.interval, sample.behind());
            let median = sample.median(settings.seed);
            section.add(
                &name,
                format!("residual {quantity}, median"),
                unit,
                median.value,
                median.interval,
                sample.behind(),
            );
        }
        let vectors: Vec<(&Eye, [f64; 2])> =
            eyes.iter().filter_map(|eye| Some((*eye, same_plane(eye)?.power_vector_d?))).collect();
        if vectors.is_empty() {
            continue;
        }
        // Twice J0 and J45: C cos 2A and C sin 2A of the minus cylinder that corrects the residual.
        let points: Vec<[f64; 2]> = vectors.iter().map(|(_, [j0, j45])| [2.0 * j0, 2.0 * j45]).collect();
        let sample = Sample::of(vectors.iter().map(|(eye, _)| *eye), |_| Some(0.0));
        centroid(&mut section, &name, &points, &sample);
        if drawn.contains(&name) {
            if let Some(region) = CentroidRegion::of(&points, &sample.patients, sample.inflation()) {
                regions.push(Region { group: series.len(), center: region.center, outline: region.outline(72) });
            }
            series.push(Series { name, points });
        }
    }
    if section.figures.is_empty() {
        return None;
    }
    let shown = every(all, by).filter(|(name, _)| drawn.contains(name)).flat_map(|(_, eyes)| eyes.iter().copied());
    let behind = Sample::of(shown, |eye| same_plane(eye)?.power_vector_d.map(|_| 0.0)).behind();
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

fn centroid(section: &mut Section, name: &str, points: &[[f64; 2]], sample: &Sample) {
    let behind = sample.behind();
    let mean = |k: usize| descriptive::mean(&points.iter().map(|p| p[k]).collect::<Vec<_>>()).unwrap_or(f64::NAN);
    let (x, y) = (mean(0), mean(1));
    let axis = (y.atan2(x).to_degrees() / 2.0).rem_euclid(180.0);
    section.add(name, "centroid, power", "D", Some(x.hypot(y)), None, behind);
    section.add(name, "centroid, minus-cylinder axis", "°", Some(if axis == 0.0 { 180.0 } else { axis }), None, behind);
    let region = CentroidRegion::of(points, &sample.patients, sample.inflation());
    let note = match region {
        Some(region) if region.excludes_origin => "0 lies outside of the region",
        Some(_) => "0 lies within the region",
        None => "no region: fewer than three patients, or all on a line",
    };
    let longer = region.map(|r| r.semi_axes[0]);
    section.add(name, "95 % region, longer semi-axis", "D", longer, None, behind).noted(note);
    section.add(name, "95 % region, shorter semi-axis", "D", region.map(|r| r.semi_axes[1]), None, behind);
}
