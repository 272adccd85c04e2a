//! What several stills of one eye come to, whole path: eyes drawn under several tilts, measured, combined.
//!
//!     cargo bench --bench cases -- SEED EYES STILLS
//!
//! Prints error and interval of the case estimates against the truth; how much of the variance of a still's error is the same
//! in all stills of its eye; depth and decentration where the views tell them.

mod recorded;

use rayon::prelude::*;
use recorded::recorded;
use stillaxis::case_estimate::of_records;
use stillaxis::geometry::axis_difference;
use stillaxis::measurement::measure;
use stillaxis::phantom::{self, views};
use stillaxis::record::{CaseRecord, Record};
use stillaxis::stills::load::Loaded;
use stillaxis::stills::sheet::Case;

struct Eye {
    record: CaseRecord,
    truth_deg: f64,
    /// Error less truth of each measured still, and the variance of reading its marks and of the rest that is its own.
    off: Vec<[f64; 3]>,
    depth_mm: f64,
    decentration_mm: f64,
}

fn eye(seed: u64, number: u64, stills: usize) -> Option<Eye> {
    let scenes = views(seed, number, stills);
    let lens = scenes[0].lens.clone()?;
    let mut truths = Vec::new();
    let mut records: Vec<Record> = Vec::new();
    for (k, scene) in scenes.iter().enumerate() {
        let drawing = phantom::draw(scene)?;
        let truth = phantom::truth(scene, "", &drawing.visibility)?.alignment_error_deg?;
        let Loaded { picture, mut still, .. } = recorded(scene, &drawing)?;
        still.path = format!("{number}/{k}");
        let columns = [("case".to_owned(), number.to_string())].into_iter().collect();
        let intended = Some(scene.plan.intended_axis_deg);
        let case = Case { columns, intended_axis_deg: intended, ..Case::default() };
        records.push(measure(&picture, still, &case).record);
        truths.push(truth);
    }
    let off = records.iter().zip(&truths).filter_map(|(record, truth)| {
        let alignment = record.alignment.as_ref()?;
        let parts = &alignment.variance_parts_deg2;
        Some([axis_difference(*truth, alignment.error_deg), parts.reference_marks, parts.lens_marks + parts.limbus])
    });
    let off = off.collect();
    let record = of_records(&records).pop()?;
    let truth_deg = truths.iter().sum::<f64>() / truths.len() as f64;
    let decentration_mm = lens.center_mm[0].hypot(lens.center_mm[1]);
    Some(Eye { record, truth_deg, off, depth_mm: lens.depth_mm, decentration_mm })
}

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let [seed, eyes, stills] = &given[..] else {
        println!("usage: cargo bench --bench cases -- SEED EYES STILLS");
        return;
    };
    let number = |text: &str| text.parse::<u64>().expect("a whole number");
    let (seed, eyes, stills) = (number(seed), number(eyes), number(stills) as usize);
    let all: Vec<Eye> = (0..eyes).into_par_iter().filter_map(|k| eye(seed, k, stills)).collect();
    let (mut ratios, mut held, mut offs, mut depths, mut centers) = (vec![], 0, vec![], vec![], vec![]);
    for eye in &all {
        if let Some(e) = &eye.record.estimate {
            let off = axis_difference(eye.truth_deg, e.error_deg);
            offs.push(off);
            ratios.push(off / e.sd_deg);
            held += usize::from(off.abs() < (e.interval95_deg[1] - e.interval95_deg[0]) / 2.0);
        }
        if let Some(view) = &eye.record.view {
            depths.extend(view.depth_mm.zip(view.depth_sd_mm).map(|(d, sd)| ((d - eye.depth_mm) / sd, sd)));
            centers.extend(
                view.decentration_mm
                    .zip(view.decentration_sd_mm)
                    .map(|(c, sd)| (c[0].hypot(c[1]) - eye.decentration_mm, sd[0].hypot(sd[1]) / 2f64.sqrt())),
            );
        }
    }
    let rms = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt();
    let (of, widest) = (offs.len(), offs.iter().fold(0.0_f64, |m, o| m.max(o.abs())));
    println!("{of} cases of {stills} stills: error rms {:.3}, worst {widest:.3} degrees", rms(&offs));
    println!("error / sd rms {:.2}; interval held {held} of {of}", rms(&ratios));
    // One-way analysis of variance: what is between eyes is shared, what is within is a still's own.
    let groups: Vec<&Vec<[f64; 3]>> = all.iter().map(|e| &e.off).filter(|off| off.len() > 1).collect();
    let mean = |off: &[[f64; 3]]| off.iter().map(|o| o[0]).sum::<f64>() / off.len() as f64;
    let within: f64 = groups.iter().flat_map(|g| g.iter().map(|o| (o[0] - mean(g)).powi(2))).sum::<f64>()
        / groups.iter().map(|g| g.len() as f64 - 1.0).sum::<f64>();
    let per = groups.iter().map(|g| g.len() as f64).sum::<f64>() / groups.len() as f64;
    let between = groups.iter().map(|g| mean(g).powi(2)).sum::<f64>() / groups.len() as f64 - within / per;
    let stated = |k: usize| {
        groups.iter().flat_map(|g| g.iter().map(|o| o[k])).sum::<f64>()
            / groups.iter().map(|g| g.len() as f64).sum::<f64>()
    };
    println!("a still's own variance {within:.4}, shared {between:.4} degrees squared");
    println!("stated: reference marks {:.4}, lens marks and limbus {:.4}", stated(1), stated(2));
    let z: Vec<f64> = depths.iter().map(|d| d.0).collect();
    println!(
        "depth told in {}: error / sd rms {:.2}, mean {:+.2}, sd {:.2} mm",
        z.len(),
        rms(&z),
        mean_of(z.iter().copied()),
        mean_of(depths.iter().map(|d| d.1))
    );
    let off: Vec<f64> = centers.iter().map(|c| c.0).collect();
    println!(
        "decentration told in {}: size off rms {:.3} mm, sd {:.3} mm",
        off.len(),
        rms(&off),
        mean_of(centers.iter().map(|c| c.1))
    );
}

fn mean_of(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    values.iter().sum::<f64>() / values.len().max(1) as f64
}
