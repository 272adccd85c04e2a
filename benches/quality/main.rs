//! How good a measurement is, in one table: every figure that can be had from drawn stills, and those of frames of your own.
//!
//!     cargo bench --bench quality [-- [SEED=N] [COUNT] [FOLDER...]]
//!
//! COUNT stills of all difficulties are drawn (2,000), a quarter as many whose axis is laid off from marks on 0 and 180, a quarter as many
//! whose marks are of any form, and a quarter as many that lack marks. A FOLDER holds stills with truth.json and, as a rule, cases.csv (DEVELOPERS.md says how); then nothing
//! is drawn unless COUNT is given. Then follows the risk curve.

mod risk;
mod score;
mod stills;

use score::{Figures, Judged};
use std::collections::BTreeMap;
use std::path::PathBuf;
use stillaxis::phantom::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};

/// Drawn unless told otherwise.
const COUNT: u64 = 2000;
/// Seed unless told otherwise. No weight was fitted to its stills; the limit of a single mark was chosen with them in sight (README).
const SEED: u64 = 31_415;
/// Rows of fewer stills say too little.
const LEAST_IN_A_ROW: usize = 10;
/// Classes of resolution: upper ends, radius of the limbus in px.
const RADII_PX: [(f64, &str); 4] =
    [(110.0, "under 110 px"), (160.0, "110 to 160 px"), (230.0, "160 to 230 px"), (f64::INFINITY, "230 px and more")];

fn main() -> Result<(), String> {
    let (mut count, mut seed, mut folders) = (None, SEED, Vec::new());
    for argument in std::env::args().skip(1).filter(|a| a != "--bench") {
        match (argument.parse::<u64>(), argument.strip_prefix("SEED=").map(str::parse)) {
            (Ok(n), _) => count = Some(n),
            (_, Some(Ok(n))) => seed = n,
            _ => folders.push(PathBuf::from(argument)),
        }
    }
    if folders.is_empty() || count.is_some() {
        of_drawn(seed, count.unwrap_or(COUNT));
    }
    for folder in folders {
        let set = stills::of_folder(&folder)?;
        heading(&folder.display().to_string());
        print_all(&set);
        print_refusals(&set);
        risk::print(&set);
    }
    Ok(())
}

fn of_drawn(seed: u64, count: u64) {
    let part = count.div_ceil(4);
    let draw = |of: u64, count: u64, wanted: Wanted, closely: bool| stills::drawn(seed + of, count, &wanted, closely);
    let both: Vec<Judged> = [Difficulty::Easy, Difficulty::Mixed, Difficulty::Hard]
        .into_iter()
        .zip(0_u64..)
        .flat_map(|(difficulty, k)| draw(k, (count + 2 - k) / 3, Wanted { difficulty, ..Wanted::default() }, true))
        .collect();
    heading(&format!("{count} drawn stills, seed {seed}"));
    print_all(&both);
    let anywhere = draw(10, part, Wanted { axis: AxisPlan::Anywhere, ..Wanted::default() }, false);
    line("marks on 0 and 180, axis anywhere", anywhere.iter());
    let any_form = draw(14, part, Wanted { forms: Forms::Any, ..Wanted::default() }, false);
    line("marks of any form, size, ink", any_form.iter());
    for (k, marks, name) in [
        (11, MarksShown::None, "no marks at all"),
        (12, MarksShown::ReferenceOnly, "no marks on the lens"),
        (13, MarksShown::LensOnly, "no reference marks"),
    ] {
        let without = draw(k, part.div_ceil(3), Wanted { marks, ..Wanted::default() }, false);
        line(name, without.iter());
    }
    print_refusals(&both);
    risk::print(&both);
}

/// The whole set, then by difficulty, kind, resolution and fault.
fn print_all(set: &[Judged]) {
    line("all", set.iter());
    grouped(set, "", |j| j.known.difficulty.iter().cloned().collect());
    grouped(set, "marks ", |j| j.known.reference_kind.iter().cloned().collect());
    grouped(set, "lens ", |j| j.known.lens_kind.iter().cloned().collect());
    for (k, (most, name)) in RADII_PX.iter().enumerate() {
        let least = if k > 0 { RADII_PX[k - 1].0 } else { 0.0 };
        let within = |j: &&Judged| (least..*most).contains(&j.radius_px());
        if set.iter().filter(within).count() >= LEAST_IN_A_ROW {
            line(&format!("limbus {name}"), set.iter().filter(within));
        }
    }
    grouped(set, "fault ", |j| j.known.difficulties.clone());
}

/// What was refused although there is an angle to be read, by reason.
fn print_refusals(set: &[Judged]) {
    let mut refusals: BTreeMap<&str, usize> = BTreeMap::new();
    for code in set.iter().filter(|j| j.marked()).filter_map(|j| j.refusal.as_deref()) {
        *refusals.entry(code).or_default() += 1;
    }
    let told: Vec<String> = refusals.iter().map(|(code, n)| format!("{code} {n}")).collect();
    println!("refused although there is an angle: {}", told.join(", "));
}

fn grouped(set: &[Judged], prefix: &str, of: impl Fn(&Judged) -> Vec<String>) {
    let mut groups: BTreeMap<String, Vec<&Judged>> = BTreeMap::new();
    for judged in set {
        for name in of(judged) {
            groups.entry(name).or_default().push(judged);
        }
    }
    for (name, group) in groups.into_iter().filter(|(_, group)| group.len() >= LEAST_IN_A_ROW) {
        line(&format!("{prefix}{name}"), group.into_iter());
    }
}

fn heading(what: &str) {
    println!("\n{what}; limbus in percent of its radius, angles in degrees");
    println!(
        "{:<36}{:>7}{:>9}{:>7}{:>8}{:>7}{:>10}{:>13}{:>9}{:>8}{:>8}{:>7}{:>9}{:>7}{:>10}",
        "",
        "stills",
        "limbus",
        "wrong",
        "median",
        "p95",
        "measured",
        "of readable",
        "median",
        "p95",
        "max",
        "wrong",
        "cover95",
        "z rms",
        "invented"
    );
}

fn line<'a>(name: &str, set: impl Iterator<Item = &'a Judged>) {
    let f = Figures::of(set);
    println!(
        "{name:<36}{:>7}{:>9.3}{:>7}{:>8.2}{:>7.2}{:>10.3}{:>13.3}{:>9.3}{:>8.3}{:>8.2}{:>7}{:>9.3}{:>7.2}{:>10}",
        f.stills,
        f.limbus_found,
        f.limbus_wrong,
        f.limbus_percent[0],
        f.limbus_percent[1],
        f.measured,
        f.measured_of_readable,
        f.off_deg[0],
        f.off_deg[1],
        f.off_deg[2],
        f.wrong,
        f.coverage,
        f.z_rms,
        format!("{}/{}", f.invented, f.stills - f.marked),
    );
}
