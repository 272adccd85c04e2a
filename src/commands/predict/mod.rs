//! `stillaxis predict`: what a misalignment would cost, without a picture.

mod inputs;
mod output;
mod sums;

use super::Ending;
use super::files::write_whole;
use super::messages::{Failure, say};
use super::standard_output::print;
use crate::optics::vergence::USUAL_VERTEX_MM;
use clap::builder::{PathBufValueParser, TypedValueParser};
use clap::{Args, ValueEnum};
use inputs::Inputs;
use std::path::PathBuf;

/// What is printed with every prediction.
const CAUTION: &str = "Calculated from the values given; paraxial, thin cornea and lens. The posterior cornea, the incision and a \
     tilt of the lens are not in it. Judgement rests with the licensed surgeon, under local rules. Not a medical device.";

/// What a misaligned toric lens leaves uncorrected, calculated without a picture.
///
/// Prints a table, one row a misalignment. With --json one object a line: misalignment_deg, at_cornea_d (the corneal astigmatism
/// that this lens would cancel), residual_d (cylinder left at the corneal plane), residual_percent (of the astigmatism
/// to be corrected), along_intended_d and oblique_d (power of the lens along the intended meridian and 45 degrees from
/// it, at the corneal plane), residual_axis_deg (minus-cylinder axis that corrects the rest, from the intended axis,
/// counter-clockwise positive, -90 to 90; null where nothing is left) and spectacle_d (cylinder left at the spectacle
/// plane). null where an option is missing.
#[derive(Debug, Args)]
pub(super) struct PredictArgs {
    /// Cylinder of the lens, D; one in minus form is transposed
    #[arg(long, value_name = "D", allow_negative_numbers = true)]
    cylinder: f64,
    /// Plane in which the cylinder is given
    #[arg(long, value_enum)]
    plane: Plane,
    /// Angles between lens axis and intended axis, degrees, counter-clockwise positive; `,` between
    #[arg(
        long,
        value_name = "DEG[,DEG...]",
        required = true,
        value_delimiter = ',',
        allow_hyphen_values = true,
        value_parser = degrees
    )]
    misalignment: Vec<f64>,
    /// Power of the cornea along its flat meridian, D: with --lens-position, takes a lens-plane cylinder to the cornea
    #[arg(long, value_name = "D")]
    k_flat: Option<f64>,
    /// Power of the cornea along its steep meridian, D: held against what the lens cancels
    #[arg(long, value_name = "D")]
    k_steep: Option<f64>,
    /// Lens behind the corneal vertex, mm
    #[arg(long, value_name = "MM")]
    lens_position: Option<f64>,
    /// Astigmatism to be corrected, at the cornea, steep at the intended axis, D [default: what the lens cancels]
    #[arg(long, value_name = "D", allow_negative_numbers = true)]
    target: Option<f64>,
    /// Spectacle plane before the cornea, mm
    #[arg(long, value_name = "MM", default_value_t = USUAL_VERTEX_MM)]
    vertex: f64,
    /// Print one JSON object a misalignment instead of the table
    #[arg(long)]
    json: bool,
    /// Draw the residual cylinder against the misalignment, as SVG
    #[arg(long, value_name = "FILE.svg", value_parser = PathBufValueParser::new().try_map(svg))]
    plot: Option<PathBuf>,
}

/// Where the cylinder of a lens is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Plane {
    /// As printed on the lens: in its own plane.
    Lens,
    /// As it acts at the cornea.
    Cornea,
}

/// A number of degrees, spaces about it left out.
fn degrees(text: &str) -> Result<f64, std::num::ParseFloatError> {
    text.trim().parse()
}

/// A file named as what is written to it.
fn svg(path: PathBuf) -> Result<PathBuf, &'static str> {
    let named = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("svg"));
    if named { Ok(path) } else { Err("expected a name that ends in .svg, which is what is drawn") }
}

/// Check, calculate, print.
pub(super) fn run(args: &PredictArgs) -> Result<Ending, Failure> {
    let inputs = Inputs::check(args).map_err(|faults| Failure(faults.join("\n")))?;
    let rows: Vec<_> = args.misalignment.iter().map(|&angle| inputs.row(angle)).collect();
    for note in inputs.notes() {
        say(&note);
    }
    if let Some(path) = &args.plot {
        let drawn = output::chart(&inputs, &rows).svg();
        write_whole(path, drawn.as_bytes()).map_err(|error| Failure::at(path, error))?;
    }
    if args.json {
        say(&CAUTION);
        print(&output::json(&rows).map_err(|error| Failure(format!("standard output: {error}")))?)?;
    } else {
        print(&format!("{}\n{CAUTION}\n", output::table(&inputs, &rows)))?;
    }
    Ok(Ending::Done)
}
