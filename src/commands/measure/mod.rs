//! `stillaxis measure`: stills to records, tables, overlays and a page.

mod batch;
mod inputs;
mod output;
mod stages;

use super::Ending;
use super::messages::{Failure, counted, say};
use crate::case_estimate;
use crate::record::{Outcome, Record};
use crate::report::page::StillPicture;
use crate::report::summary;
use crate::stills::load::shown;
use crate::stills::written::OVERLAYS;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use inputs::Job;
use output::Output;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// Measure the alignment of the lens in stills of the operation.
///
/// Writes measurements.ndjson, measurements.csv, overlays/ and report.html into the folder given by --out; cases.ndjson and
/// cases.csv as well where the case sheet names cases.
#[derive(Debug, Args)]
pub(super) struct MeasureArgs {
    /// Stills, folders of stills (with all folders in them), or `-` for a list of either on standard input, one a line
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Folder to write to; made if it is missing, files of earlier runs in it are replaced
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Case sheet: CSV with a column `still` or `case`, and what is known of each
    #[arg(long, value_name = "FILE.csv")]
    sheet: Option<PathBuf>,
    /// Folder for one picture a stage of every still: to see where a measurement went astray; made if it is missing
    #[arg(long, value_name = "DIR")]
    debug_dir: Option<PathBuf>,
    /// Stills measured at a time [default: one for each processor core]
    #[arg(long, value_name = "N")]
    jobs: Option<NonZeroUsize>,
}

/// Measure, write, and say what it came to.
pub(super) fn run(args: &MeasureArgs) -> Result<Ending, Failure> {
    let inputs = inputs::gather(&args.paths, args.sheet.as_deref(), &[args.out.join(OVERLAYS)])?;
    let read: Vec<&Path> = inputs.jobs.iter().map(|job| &job.path).chain(&args.sheet).map(PathBuf::as_path).collect();
    let with_cases = inputs.jobs.iter().any(|job| job.case.case.is_some());
    let output = Output::prepare(&args.out, &read, with_cases)?;
    if let Some(folder) = &args.debug_dir {
        output::make_usable(folder)?;
    }
    let threads = args.jobs.or_else(|| std::thread::available_parallelism().ok()).unwrap_or(NonZeroUsize::MIN);

    let progress = ProgressBar::new(inputs.jobs.len() as u64).with_style(style());
    let drawings = output.drawings(&inputs.jobs);
    let mut records = Vec::with_capacity(inputs.jobs.len());
    let mut pictures = Vec::with_capacity(inputs.jobs.len());
    let mut unwritten = 0;
    let mut stages_unwritten = 0;
    let work = |at: usize, job: &Job| {
        batch::measured(job, |measured, picture| {
            let limbus = measured.limbus.as_ref();
            let stages =
                args.debug_dir.as_ref().map(|folder| stages::write(folder, at + 1, &job.path, picture, limbus));
            (drawings.write(at, measured, picture), stages.unwrap_or(Ok(())))
        })
    };
    batch::in_order(&inputs.jobs, threads, work, |done| {
        progress.inc(1);
        if let Some(message) = message(&done.record) {
            progress.suspend(|| say(&message));
        }
        let (picture, stages) = done.drawn.unwrap_or_else(|| (Ok(StillPicture::default()), Ok(())));
        if let Err(failure) = stages {
            stages_unwritten += 1;
            progress.suspend(|| say(&failure));
        }
        pictures.push(picture.unwrap_or_else(|failure| {
            unwritten += 1;
            progress.suspend(|| say(&failure));
            StillPicture::default()
        }));
        records.push(done.record);
    });
    progress.finish_and_clear();

    let cases = case_estimate::of_records(&records);
    let failures = output.write(&records, &cases, pictures);
    unwritten += failures.len();
    failures.iter().for_each(say);
    say(&format!("\n{}", summary::text(&records)));
    if unwritten == 0 {
        say(&format!("Report: {}", shown(&output.page())));
    }
    let missing =
        std::iter::once((&args.out, unwritten)).chain(args.debug_dir.iter().map(|dir| (dir, stages_unwritten)));
    let missing = missing.filter(|(_, count)| *count > 0);
    let missing: Vec<String> = missing
        .map(|(folder, count)| format!("{}: {} could not be written", shown(folder), counted(count, "file", "files")))
        .collect();
    if !missing.is_empty() {
        return Err(Failure(missing.join("\n")));
    }
    let all = inputs.complete && records.iter().all(|record| record.outcome == Outcome::Measured);
    Ok(if all { Ending::Done } else { Ending::Partly })
}

/// What is said of a still that has no figure.
fn message(record: &Record) -> Option<String> {
    let refusal = record.refusals.first().filter(|_| record.outcome != Outcome::Measured)?;
    Some(format!("{}: {}", record.still.path, refusal.message))
}

fn style() -> ProgressStyle {
    let template = "{bar:30} {human_pos} of {human_len} stills, {per_sec}, {eta} left";
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
