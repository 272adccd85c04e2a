//! Records of stills to records of cases.

use super::combine::{Combined, LEAST_OWN_DEG2, Reading, combine};
use super::parallax::{ViewReading, parallax};
use crate::geometry::{Matrix, Vector, axis_difference};
use crate::normal::Z95;
use crate::optics::angle_size::size_interval95;
use crate::optics::rotation::residual_percent;
use crate::record::columns::{cell, is_excluded};
use crate::record::{
    Alignment, CASE_SCHEMA_VERSION, CaseEstimate, CaseRecord, CaseStill, CaseView, Limbus, Outcome, Record,
};
use crate::statistics::descriptive::{mean, standard_deviation};
use std::collections::{BTreeSet, HashMap};

/// Columns that tell one case from another, and those that a plan rests on.
const KEYS: [&str; 4] = ["case", "patient", "eye", "stage"];
const PLAN: [&str; 3] = ["intended_axis_deg", "marks_denote_deg", "white_to_white_mm"];

/// Why a still whose bytes stood there before counts for nothing; the name of that one follows.
const SAME_PICTURE: &str = "the same picture as";
/// Why a still that the others contradict is left out.
const STANDS_APART: &str = "stands apart from the others";

/// One record for each case and stage that `records` name, in the order of their first stills. Stills that name no case are in
/// none.
pub fn of_records(records: &[Record]) -> Vec<CaseRecord> {
    let mut places: HashMap<[String; 4], usize> = HashMap::new();
    let mut groups: Vec<([String; 4], Vec<&Record>)> = Vec::new();
    for record in records.iter().filter(|record| !cell(&record.case, "case").is_empty()) {
        let mut key = KEYS.map(|column| cell(&record.case, column).to_owned());
        key[2] = key[2].to_uppercase();
        let at = *places.entry(key.clone()).or_insert_with(|| {
            groups.push((key, Vec::new()));
            groups.len() - 1
        });
        groups[at].1.push(record);
    }
    groups.into_iter().map(|(key, stills)| of_case(key, &stills)).collect()
}

/// The alignment of a measured still.
fn measured(record: &Record) -> Option<&Alignment> {
    record.alignment.as_ref().filter(|_| record.outcome == Outcome::Measured)
}

/// For each still why it counts for nothing whatever it reads: the sheet leaves it out, or it is a picture that was there before,
/// whose noise is the same over again.
fn set_aside(stills: &[&Record]) -> Vec<Option<String>> {
    let mut seen: HashMap<&str, &str> = HashMap::new();
    let mut reasons = Vec::with_capacity(stills.len());
    for record in stills {
        let (hash, path) = (record.still.sha256.as_str(), record.still.path.as_str());
        let first = seen.get(hash).filter(|_| !hash.is_empty());
        reasons.push(if is_excluded(&record.case) {
            Some("excluded by the case sheet".to_owned())
        } else if let Some(first) = first {
            Some(format!("{SAME_PICTURE} {first}"))
        } else {
            seen.insert(hash, path);
            None
        });
    }
    reasons
}

fn of_case([case, patient, eye, stage]: [String; 4], stills: &[&Record]) -> CaseRecord {
    let set_aside = set_aside(stills);
    let counted: Vec<usize> =
        (0..stills.len()).filter(|k| measured(stills[*k]).is_some() && set_aside[*k].is_none()).collect();
    let alignments: Vec<&Alignment> = counted.iter().filter_map(|k| measured(stills[*k])).collect();
    let readings: Vec<Reading> = alignments.iter().map(|a| Reading::of(a.error_deg, &a.variance_parts_deg2)).collect();
    let combined = combine(&readings);
    let weight_of = |still: usize| {
        let at = counted.iter().position(|k| *k == still)?;
        combined.as_ref().map(|c| c.weights[at])
    };
    let described = stills.iter().enumerate().map(|(k, record)| {
        let weight = weight_of(k).unwrap_or(0.0);
        let apart = || (weight == 0.0).then(|| STANDS_APART.to_owned());
        let left_out = measured(record).and_then(|_| set_aside[k].clone().or_else(apart));
        let error_deg = measured(record).map(|a| a.error_deg);
        CaseStill { path: record.still.path.clone(), outcome: record.outcome, error_deg, weight, left_out }
    });
    let described: Vec<CaseStill> = described.collect();
    let measured_count = stills.iter().filter(|record| measured(record).is_some()).count();
    let estimate = combined.as_ref().map(|c| estimate(c, &readings, measured_count));
    let used: Vec<&Record> = counted.iter().filter(|k| weight_of(**k) > Some(0.0)).map(|k| stills[*k]).collect();
    CaseRecord {
        schema: CASE_SCHEMA_VERSION,
        case,
        patient,
        eye,
        stage,
        warnings: warnings(stills, &described, combined.as_ref(), &readings),
        stills: described,
        estimate,
        view: view(&used),
        program: stills[0].program.clone(),
    }
}

fn estimate(combined: &Combined, readings: &[Reading], measured: usize) -> CaseEstimate {
    let used: Vec<&Reading> = readings
        .iter()
        .zip(&combined.weights)
        .filter(|(_, weight)| **weight > 0.0)
        .map(|(reading, _)| reading)
        .collect();
    let errors: Vec<f64> =
        used.iter().map(|r| combined.error_deg + axis_difference(combined.error_deg, r.error_deg)).collect();
    let own: Vec<f64> = used.iter().map(|r| r.own_deg2.max(LEAST_OWN_DEG2)).collect();
    // The interval's own sd, so that the cost is as wide as the angle where few stills had to tell it.
    let half = (combined.interval95_deg[1] - combined.interval95_deg[0]) / 2.0;
    let sd_of_interval = half / Z95;
    CaseEstimate {
        measured: measured as u32,
        used: used.len() as u32,
        error_deg: combined.error_deg,
        sd_deg: combined.sd_deg(),
        interval95_deg: combined.interval95_deg,
        own_sd_deg: combined.own_sd_deg,
        shared_sd_deg: combined.shared_sd_deg,
        spread_sd_deg: standard_deviation(&errors),
        expected_spread_sd_deg: mean(&own).unwrap_or(0.0).sqrt(),
        agreement_p: combined.p_agree,
        inflation: combined.inflation,
        residual_percent: residual_percent(combined.error_deg),
        residual_interval95_percent: size_interval95(combined.error_deg, sd_of_interval).map(residual_percent),
    }
}

fn warnings(
    stills: &[&Record],
    described: &[CaseStill],
    combined: Option<&Combined>,
    readings: &[Reading],
) -> Vec<String> {
    let mut warnings = Vec::new();
    for column in PLAN {
        // An empty cell contradicts none.
        let cells = stills.iter().filter(|s| !is_excluded(&s.case)).map(|s| cell(&s.case, column));
        let values: BTreeSet<&str> = cells.filter(|cell| !cell.is_empty()).collect();
        if values.len() > 1 {
            warnings.push(format!("the sheet gives the stills of this case different {column}: one of them is wrong"));
        }
    }
    let apart = described.iter().filter(|s| s.left_out.as_deref() == Some(STANDS_APART));
    for still in apart {
        let error = still.error_deg.unwrap_or(0.0);
        warnings.push(format!(
            "{}: {error:+.1}° stands apart from the other stills and was left out; look at its overlay",
            still.path
        ));
    }
    let again = described.iter().filter(|s| s.left_out.as_deref().is_some_and(|why| why.starts_with(SAME_PICTURE)));
    warnings.extend(again.map(|s| format!("{}: {}, counted once", s.path, s.left_out.as_deref().unwrap_or_default())));
    let Some(combined) = combined else { return warnings };
    if combined.inflation > 1.0 {
        warnings.push(format!(
            "the stills differ by more than their intervals allow (p {:.1e}): the interval was widened; was the lens turned \
             between them?",
            combined.p_agree.unwrap_or(0.0)
        ));
    }
    if combined.weights.iter().filter(|w| **w > 0.0).count() == 1 {
        warnings.push("one still only: nothing tells whether another would agree".to_owned());
    }
    let shared = combined.shared_sd_deg > 2.0 * combined.own_sd_deg && readings.len() > 1;
    if shared {
        warnings.push(
            "most of what is uncertain is held to be shared by all stills: further stills would hardly help".to_owned(),
        );
    }
    warnings
}

/// Where the eye's 0 lies in the plane of the limbus, degrees, modulo 180; `None` where the still does not tell it.
fn zero_deg(record: &Record) -> Option<f64> {
    let alignment = record.alignment.as_ref()?;
    alignment.lens_axis_in_eye_deg.map(|axis| alignment.lens_deg - axis)
}

/// Offsets and shapes in the frame of the first still.
fn view(stills: &[&Record]) -> Option<CaseView> {
    // Marks of several meridians may be others in each still: the eye's 0 is the same.
    let by_zero = stills.iter().all(|record| zero_deg(record).is_some());
    let mut turns: Vec<f64> = Vec::new();
    let mut readings: Vec<ViewReading> = Vec::new();
    for record in stills {
        let (Some(limbus), Some(alignment)) = (&record.limbus, &record.alignment) else { continue };
        let Some(offset) = alignment.offset_apparent_mm else { continue };
        let (Some(offset_sd_mm), Some(anisotropy_sd)) = (alignment.offset_sd_mm, limbus.axis_ratio_sd) else {
            continue;
        };
        // Directions of marks are axes: a microscope turned by more than a right angle between stills is not told from one
        // turned by less.
        let direction = zero_deg(record).filter(|_| by_zero).unwrap_or(alignment.reference_deg);
        let first = turns.first().copied().unwrap_or(direction);
        let turn = axis_difference(first, direction);
        turns.push(first + turn);
        readings.push(ViewReading {
            offset_mm: turned(-turn) * Vector::new(offset[0], offset[1]),
            offset_sd_mm,
            anisotropy: anisotropy(limbus, turn),
            anisotropy_sd,
        });
    }
    let told = parallax(&readings)?;
    let count = readings.len() as f64;
    let offset = readings.iter().fold(Vector::zeros(), |s, r| s + r.offset_mm) / count;
    let covariance = told.decentration_covariance_mm2;
    Some(CaseView {
        stills: readings.len() as u32,
        offset_apparent_mm: [offset.x, offset.y],
        tilt_change_deg: told.change_deg,
        depth_mm: told.depth_told.then_some(told.depth_mm),
        depth_sd_mm: told.depth_told.then_some(told.depth_sd_mm),
        decentration_mm: told.decentration_told.then_some([told.decentration_mm.x, told.decentration_mm.y]),
        decentration_sd_mm: told.decentration_told.then(|| [covariance.m11.sqrt(), covariance.m22.sqrt()]),
    })
}

fn turned(degrees: f64) -> Matrix {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Matrix::new(cos, -sin, sin, cos)
}

/// Anisotropy of the ellipse, x right, y up, turned back by `turn_deg`.
fn anisotropy(limbus: &Limbus, turn_deg: f64) -> Vector {
    let [longer, shorter] = limbus.semi_axes_px;
    // The record has the direction towards y down.
    let (sin, cos) = (2.0 * (-limbus.angle_deg - turn_deg).to_radians()).sin_cos();
    Vector::new(cos, sin) * (longer / shorter).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{MmSource, Still, VarianceParts};

    /// A still of an eye whose 0 lies at `zero` degrees and whose lens stands at 30 in it, 0.4 mm from the centre along the eye's 0.
    fn still(zero: f64, reference_in_eye: f64, columns: &[(&str, &str)]) -> Record {
        let provenance = Still {
            path: format!("{zero}-{reference_in_eye}.jpg"),
            sha256: String::new(),
            width_px: 800,
            height_px: 600,
            exif_orientation: 1,
            mirrored: false,
            pixel_aspect: 1.0,
            taken_at: None,
        };
        let case = columns.iter().chain(&[("case", "1")]).map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
        let mut record = Record::new(provenance, case, Outcome::Measured);
        record.limbus = Some(Limbus {
            center_px: [400.0, 300.0],
            semi_axes_px: [205.0, 200.0],
            angle_deg: 0.0,
            radius_px: 202.5,
            radius_sd_px: 0.5,
            center_sd_px: 0.5,
            axis_ratio_sd: Some(0.004),
            visible_arc_deg: 330.0,
            mm_per_px: 0.029,
            mm_source: MmSource::Assumed,
            score: 1.0,
        });
        let (sin, cos) = zero.to_radians().sin_cos();
        record.alignment = Some(Alignment {
            error_deg: 1.0,
            sd_deg: 0.2,
            interval95_deg: [0.6, 1.4],
            reference_deg: (zero + reference_in_eye).rem_euclid(180.0),
            intended_deg: (zero + 29.0).rem_euclid(180.0),
            lens_deg: (zero + 30.0).rem_euclid(180.0),
            lens_axis_in_eye_deg: Some(30.0),
            marks_opposition_deg: None,
            offset_apparent_mm: Some([0.4 * cos, 0.4 * sin]),
            offset_sd_mm: Some(0.01),
            variance_parts_deg2: VarianceParts { lens_marks: 0.04, ..VarianceParts::default() },
        });
        record
    }

    /// Four copies of a still tell no more than the one.
    #[test]
    fn a_picture_counts_once() {
        let picture = |path: &str, hash: &str, columns: &[(&str, &str)]| {
            let mut record = still(10.0, 0.0, columns);
            (record.still.path, record.still.sha256) = (path.to_owned(), hash.to_owned());
            record
        };
        let copies = ["a", "b", "c", "d"].map(|path| picture(path, "1f", &[]));
        let case = &of_records(&copies)[0];
        let estimate = case.estimate.as_ref().unwrap();
        assert_eq!((estimate.measured, estimate.used), (4, 1));
        assert!((estimate.own_sd_deg - 0.2).abs() < 1e-12 && estimate.agreement_p.is_none());
        assert_eq!(case.stills[3].left_out.as_deref(), Some("the same picture as a"));
        assert!(case.warnings.contains(&"d: the same picture as a, counted once".to_owned()), "{:?}", case.warnings);
        // One that the sheet leaves out does not stand for its copy, and other pictures count.
        let stills = [picture("a", "1f", &[("exclude", "true")]), picture("b", "1f", &[]), picture("c", "2e", &[])];
        assert_eq!(of_records(&stills)[0].estimate.as_ref().unwrap().used, 2);
        assert_eq!(of_records(&["a", "b"].map(|path| picture(path, "", &[])))[0].estimate.as_ref().unwrap().used, 2);
    }

    /// Of marks on 0, 180 and 270 one still shows the first two, another only the third: the eye is turned by no more for that.
    #[test]
    fn offsets_do_not_turn_with_the_marks_that_were_found() {
        for turned in [0.0, 25.0] {
            let stills = [still(10.0, 0.0, &[]), still(10.0 + turned, 90.0, &[])];
            let view = view(&stills.iter().collect::<Vec<_>>()).unwrap();
            let [x, y] = view.offset_apparent_mm;
            let (sin, cos) = 10f64.to_radians().sin_cos();
            assert!((x - 0.4 * cos).hypot(y - 0.4 * sin) < 1e-9, "turned {turned}: {x}, {y}");
        }
    }

    #[test]
    fn only_what_contradicts_is_wrong() {
        let of = |cells: [&[(&str, &str)]; 2]| {
            let [a, b] = cells.map(|columns| still(10.0, 0.0, columns));
            let warnings = of_records(&[a, b]).pop().unwrap().warnings;
            warnings.iter().any(|w| w.contains("one of them is wrong"))
        };
        let width = ("white_to_white_mm", "11.9");
        assert!(of([&[width], &[("white_to_white_mm", "12.1")]]));
        assert!(!of([&[width], &[]]));
        assert!(!of([&[width], &[("white_to_white_mm", " ")]]));
        assert!(!of([&[width], &[("white_to_white_mm", "12.1"), ("exclude", "true")]]));
    }
}
