//! `stillaxis agree`: the program against readers, reader against reader, repeat against repeat.

use super::Ending;
use super::messages::{Failure, say};
use super::study::{StudyArgs, made_by, records, write};
use crate::stills::load::shown;
use crate::study::agree::{Agreement, methods};
use crate::study::figures::Study;
use crate::study::readings;
use std::path::PathBuf;

/// Agreement of the program with readers, of readers with each other, and of repeats.
///
/// READINGS.csv has one row a reading: `still` (file name, or end of the path), `reader`, `error_deg` (lens axis less intended
/// axis, degrees, counter-clockwise positive). A reader may read a still several times. Writes report.html, agree.json and
/// agree.csv into the folder given by --out. Exit codes: 0 all could be used, 1 some records or readings could not (they
/// are counted in the report), 2 the run itself could not be done.
#[derive(Debug, clap::Args)]
pub(super) struct AgreeArgs {
    /// Results of `measure`: a folder with measurements.ndjson in it, or such a file
    #[arg(value_name = "RESULTS")]
    results: PathBuf,
    /// Readers' readings
    #[arg(value_name = "READINGS.csv")]
    readings: PathBuf,
    #[command(flatten)]
    study: StudyArgs,
}

/// Read, ask, write.
pub(super) fn run(args: &AgreeArgs) -> Result<Ending, Failure> {
    let read = records(std::slice::from_ref(&args.results), &args.study)?;
    let file = &args.readings;
    let bytes = std::fs::read(file).map_err(|error| Failure::at(file, error))?;
    let paths: Vec<&str> = read.stills.iter().map(|still| still.path.as_str()).collect();
    let set_aside: Vec<&str> = read.set_aside.iter().map(String::as_str).collect();
    let found = readings::read(&bytes, &paths, &set_aside).map_err(|error| Failure::at(file, error))?;
    found.messages.iter().for_each(|message| say(&format!("{}: {message}", shown(file))));
    let agreement = Agreement::new(&read.stills, &found);
    let sections = agreement.sections();
    let mut how = methods();
    how.push(made_by(&read));
    let study = Study {
        command: "agree",
        title: "Agreement of axis readings".to_owned(),
        headline: agreement.headline(&sections),
        version: env!("CARGO_PKG_VERSION"),
        seed: 0,
        inclusions: [read.inclusions.clone(), found.inclusions].concat(),
        notes: Vec::new(),
        sections,
        methods: how,
    };
    write(&args.study, &study)
}
