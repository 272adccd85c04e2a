//! Time of an audit of many records, and the size of its page.
//!
//!     cargo bench --bench audit [-- RECORDS]
//!
//! 50,000 records are made up; reading them, asking and writing the page are timed apart. All cores are used. The memory of a whole
//! run is seen best from outside: `/usr/bin/time -v stillaxis audit ...`.

use std::time::Instant;
use stillaxis::report::study::html;
use stillaxis::study::audit::{AuditSettings, headline, methods, sections};
use stillaxis::study::eye::eyes;
use stillaxis::study::figures::Study;
use stillaxis::study::reading::{Choice, read};

const RECORDS: usize = 50_000;

/// A line as `measure` writes it, of an error that goes round a fixed pattern.
fn line(at: usize) -> String {
    let (patient, eye) = (at / 2, if at.is_multiple_of(2) { "OD" } else { "OS" });
    let error = ((at * 7919) % 2003) as f64 / 143.0 - 7.0;
    let (technique, operator) = (["ink", "scratch"][patient % 2], ["Beck", "Tarn", "Ghyll"][patient % 3]);
    let (month, day) = (patient / 28 % 12 + 1, patient % 28 + 1);
    format!(
        "{{\"schema\":1,\"still\":{{\"path\":\"{at}.jpg\",\"sha256\":\"{at:064x}\"}},\"case\":{{\"patient\":\"p{patient}\",\"eye\":\"{eye}\",\
         \"technique\":\"{technique}\",\"operator\":\"{operator}\",\"date\":\"2031-{month:02}-{day:02}\"}},\"outcome\":\"measured\",\
         \"refusals\":[],\"warnings\":[],\"reference_marks\":[{{\"length_mm\":1.1,\"width_mm\":0.2,\"lean_deg\":1.5,\"contrast\":0.4}}],\
         \"alignment\":{{\"error_deg\":{error:.4},\"sd_deg\":0.5,\"lens_axis_in_eye_deg\":{axis},\"marks_opposition_deg\":0.4,\
         \"variance_parts_deg2\":{{\"reference_marks\":0.1,\"lens_marks\":0.1,\"oval\":0.05}}}},\"cylinder\":{{\"plane\":\"cornea\",\
         \"residual_percent\":{percent:.3},\"residual_d\":{dioptres:.4},\"j0_d\":{j0:.4},\"j45_d\":0.1}},\
         \"program\":{{\"version\":\"0.1.0\",\"settings\":\"\"}}}}\n",
        axis = at % 180,
        percent = error.abs() * 3.4,
        dioptres = error.abs() * 0.07,
        j0 = error * 0.03,
    )
}

fn main() {
    let records = std::env::args().filter_map(|argument| argument.parse().ok()).next().unwrap_or(RECORDS);
    let bytes: String = (0..records).map(line).collect();
    let start = Instant::now();
    let mut last = start;
    let mut told = |what: &str| {
        println!("{what:<10}{:8.2} s", last.elapsed().as_secs_f64());
        last = Instant::now();
    };
    println!("{records} records, {:.1} MB", bytes.len() as f64 / 1e6);
    let found = read(&[("made up".to_owned(), bytes.into_bytes())], &Choice::default());
    told("reading");
    let together = eyes(&found.stills);
    let settings =
        AuditSettings { by: vec!["technique".to_owned(), "operator".to_owned()], limits_deg: vec![5.0, 10.0], seed: 1 };
    let study = Study {
        command: "audit",
        title: "Audit".to_owned(),
        headline: headline(&together.eyes, 5.0),
        version: env!("CARGO_PKG_VERSION"),
        seed: settings.seed,
        inclusions: found.inclusions,
        notes: together.notes,
        sections: sections(&together.eyes, &settings),
        methods: methods(&settings),
    };
    told("answers");
    let page = html(&study).expect("a page in memory");
    told("page");
    println!("in all    {:8.2} s; page {:.2} MB", start.elapsed().as_secs_f64(), page.len() as f64 / 1e6);
}
