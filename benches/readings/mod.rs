//! What a bench that prints the readings of drawn stills is asked for, and its printing.

use clap::ValueEnum;
use rayon::prelude::*;
use stillaxis::phantom::{Difficulty, Forms, MarksShown, Wanted};

/// Print what `still` makes of each still that is asked for, a line of JSON a still; `still` is given the seed, the number and what is
/// wanted. Asked are MARKS SEED COUNT [DIFFICULTY [FORMS]]; without them, as `cargo bench` runs every bench, `usage` is printed.
pub fn print(usage: &str, still: impl Fn(u64, u64, &Wanted) -> Option<serde_json::Value> + Sync) {
    let asked: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let (marks, seed, count, difficulty, forms) = match &asked[..] {
        [marks, seed, count] => (marks, seed, count, "mixed", "usual"),
        [marks, seed, count, difficulty] => (marks, seed, count, difficulty.as_str(), "usual"),
        [marks, seed, count, difficulty, forms] => (marks, seed, count, difficulty.as_str(), forms.as_str()),
        _ => return println!("usage: {usage}"),
    };
    let marks = MarksShown::from_str(marks, false).expect("MARKS is one of those of `simulate --marks`");
    let difficulty = Difficulty::from_str(difficulty, false).expect("easy, mixed or hard");
    let forms = Forms::from_str(forms, false).expect("usual or any");
    let seed: u64 = seed.parse().expect("SEED is a whole number");
    let count: u64 = count.parse().expect("COUNT is a whole number");
    let wanted = Wanted { marks, difficulty, forms, ..Wanted::default() };
    let lines: Vec<_> = (0..count).into_par_iter().filter_map(|number| still(seed, number, &wanted)).collect();
    for line in lines {
        println!("{line}");
    }
}
