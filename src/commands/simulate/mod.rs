//! `stillaxis simulate`: stills of known truth, and what a camera can be expected to give of them.

mod series;
mod study;

use super::Ending;
use super::files::{write_into, write_whole};
use super::messages::Failure;
use crate::phantom::{self, AxisPlan, Difficulty, Forms, MarksShown, Scene, Truth, Wanted};
use rayon::prelude::*;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Draw stills of known truth, with their truth.json and case sheet.
#[derive(Debug, clap::Args)]
pub(super) struct SimulateArgs {
    /// Folder to write to; made if it is not there
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// How many stills; with --study, of each form of marks
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..))]
    count: u32,
    /// Seed; the same seed draws the same stills
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Which marks to draw
    #[arg(long, value_enum, default_value_t = MarksShown::Both)]
    marks: MarksShown,
    /// What the reference marks stand for
    #[arg(long, value_enum, default_value_t = AxisPlan::OnMarks)]
    axis: AxisPlan,
    /// How various the marks are: as ways of marking are met with, or any form, size, ink and strength as often as any other
    #[arg(long, value_enum, default_value_t = Forms::Usual)]
    forms: Forms,
    /// How hard the stills are to read
    #[arg(long, value_enum, default_value_t = Difficulty::Mixed)]
    difficulty: Difficulty,
    /// Also write scenes.json, every parameter of each still
    #[arg(long)]
    scenes: bool,
    /// Draw a series of operations to audit instead: 40 patients, three operators, two ways of marking, with dates and
    /// readings.csv, what two drawn readers read
    #[arg(long, conflicts_with_all = ["count", "marks", "axis", "forms", "difficulty", "scenes"])]
    series: bool,
    #[command(flatten)]
    study: study::StudyOptions,
}

/// One still, drawn and written.
struct Drawn {
    name: String,
    scene: Scene,
    truth: Truth,
}

/// Draw and write.
pub(super) fn run(args: &SimulateArgs) -> Result<Ending, Failure> {
    fs::create_dir_all(&args.out).map_err(|e| Failure::at(&args.out, e))?;
    if args.series {
        return series::run(&args.out, args.seed);
    }
    if args.study.asked() {
        return study::run(&args.study, &args.out, args.count, args.seed, args.difficulty);
    }
    let wanted = Wanted { difficulty: args.difficulty, marks: args.marks, axis: args.axis, forms: args.forms };
    let drawn: Vec<Drawn> = (0..args.count)
        .into_par_iter()
        .map(|k| draw_and_write(args, u64::from(k), &wanted))
        .collect::<Result<_, Failure>>()?;
    let keep = |name: &str, bytes| write_into(&args.out, name, bytes);
    let truths: Vec<&Truth> = drawn.iter().map(|d| &d.truth).collect();
    keep("truth.json", serde_json::to_vec_pretty(&truths).map_err(io::Error::from))?;
    keep("cases.csv", case_sheet(&drawn))?;
    if args.scenes {
        let scenes: Vec<&Scene> = drawn.iter().map(|d| &d.scene).collect();
        keep("scenes.json", serde_json::to_vec_pretty(&scenes).map_err(io::Error::from))?;
    }
    Ok(Ending::Done)
}

fn draw_and_write(args: &SimulateArgs, still: u64, wanted: &Wanted) -> Result<Drawn, Failure> {
    draw_scene(&args.out, &format!("still_{still:04}"), Scene::random(args.seed, still, wanted))
}

/// Draw a scene and write it under `stem` and the ending of its format.
fn draw_scene(out: &Path, stem: &str, scene: Scene) -> Result<Drawn, Failure> {
    let extension = if scene.camera.jpeg_quality.is_some() { "jpg" } else { "png" };
    let name = format!("{stem}.{extension}");
    let path = out.join(&name);
    let no_limbus = || Failure::at(&path, "the scene has no limbus");
    let drawing = phantom::draw(&scene).ok_or_else(no_limbus)?;
    let truth = phantom::truth(&scene, &name, &drawing.visibility).ok_or_else(no_limbus)?;
    let bytes = phantom::encode(&drawing.picture, &scene.camera).map_err(|e| Failure::at(&path, e))?;
    write_whole(&path, &bytes).map_err(|e| Failure::at(&path, e))?;
    Ok(Drawn { name, scene, truth })
}

/// The case sheet; columns that no still needs are left out.
fn case_sheet(drawn: &[Drawn]) -> io::Result<Vec<u8>> {
    let meridians = drawn.iter().any(|d| d.scene.plan.sheet_has_meridians);
    let zero = drawn.iter().any(|d| d.scene.plan.zero_direction_deg.is_some());
    let mut sheet = csv::Writer::from_writer(Vec::new());
    let columns = [("still", true), ("intended_axis_deg", true), ("marks_denote_deg", meridians)];
    let columns = columns.into_iter().chain([("zero_direction_deg", zero)]);
    sheet.write_record(columns.filter(|c| c.1).map(|c| c.0))?;
    for d in drawn {
        let plan = &d.scene.plan;
        let mut row = vec![d.name.clone(), plan.intended_axis_deg.to_string()];
        if meridians {
            let denoted: Vec<String> = plan.marks_meant_deg.iter().map(f64::to_string).collect();
            row.push(if plan.sheet_has_meridians { denoted.join(";") } else { String::new() });
        }
        if zero {
            row.push(plan.zero_direction_deg.map(|z| z.to_string()).unwrap_or_default());
        }
        sheet.write_record(row)?;
    }
    sheet.into_inner().map_err(csv::IntoInnerError::into_error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;
    use std::path::Path;

    fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
        fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap())
            .map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap()))
            .collect()
    }

    /// The same seed writes the same bytes on one thread and on three; every still has its truth and its row.
    #[test]
    fn the_same_files_whatever_the_threads() {
        let written: Vec<_> = [1, 3]
            .into_iter()
            .map(|threads| {
                let folder = tempfile::tempdir().unwrap();
                let args = SimulateArgs {
                    out: folder.path().join("drawn"),
                    count: 4,
                    seed: 6,
                    marks: MarksShown::Both,
                    axis: AxisPlan::Anywhere,
                    forms: Forms::Usual,
                    difficulty: Difficulty::Easy,
                    scenes: true,
                    series: false,
                    study: study::StudyOptions::default(),
                };
                let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
                assert_eq!(pool.install(|| run(&args)).unwrap(), Ending::Done);
                files(&args.out)
            })
            .collect();
        assert!(written[0] == written[1]);
        assert_eq!(written[0].len(), 4 + 3);
        let truths: Vec<Truth> = serde_json::from_slice(&written[0]["truth.json"]).unwrap();
        let mut sheet = csv::Reader::from_reader(&written[0]["cases.csv"][..]);
        assert_eq!(
            &sheet.headers().unwrap().iter().collect::<Vec<_>>()[..3],
            ["still", "intended_axis_deg", "marks_denote_deg"]
        );
        for (truth, row) in truths.iter().zip(sheet.records()) {
            let row = row.unwrap();
            assert_eq!(truth.still, row[0]);
            assert!(written[0].contains_key(&truth.still));
            assert!(row[1].parse::<f64>().is_ok() && row[2].starts_with('0'));
        }
    }
}
