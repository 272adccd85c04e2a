//! The options, held against what is physically plausible.

use super::{Plane, PredictArgs};
use crate::optics::limits::{self, Limit};
use crate::optics::vergence::toric_at_cornea;

/// A difference between keratometry and what the lens cancels is worth a word from here on, D: half of the smallest
/// step in which cylinders are prescribed.
const WORTH_A_WORD_D: f64 = 0.125;

/// Options that passed, cylinders as sizes.
#[derive(Debug)]
pub(super) struct Inputs {
    /// Cylinder of the lens in `plane`, D, as plus.
    pub(super) cylinder_d: f64,
    pub(super) plane: Plane,
    pub(super) k_flat_d: Option<f64>,
    k_steep_d: Option<f64>,
    pub(super) lens_position_mm: Option<f64>,
    /// Astigmatism to be corrected where it was given, D, as plus.
    pub(super) target_d: Option<f64>,
    pub(super) vertex_mm: f64,
    /// Options that were given in minus form.
    transposed: Vec<String>,
}

impl Inputs {
    /// All faults are listed, not just the first.
    pub(super) fn check(args: &PredictArgs) -> Result<Self, Vec<String>> {
        let mut faults = Vec::new();
        let mut check = |option: &str, limit: Limit, value: f64| {
            faults.extend(limit.check(value).err().map(|fault| format!("--{option}: {fault}")));
        };
        check("cylinder", limits::LENS_CYLINDER, args.cylinder.abs());
        for &angle in &args.misalignment {
            check("misalignment", limits::MISALIGNMENT, angle);
        }
        check("vertex", limits::VERTEX, args.vertex);
        for (option, limit, value) in [
            ("k-flat", limits::CORNEAL_POWER, args.k_flat),
            ("k-steep", limits::CORNEAL_POWER, args.k_steep),
            ("lens-position", limits::LENS_POSITION, args.lens_position),
            ("target", limits::ASTIGMATISM, args.target.map(f64::abs)),
        ] {
            if let Some(value) = value {
                check(option, limit, value);
            }
        }
        if let (Some(flat), Some(steep)) = (args.k_flat, args.k_steep)
            && flat > steep
        {
            faults.push(format!("--k-flat: {flat} D is above --k-steep, {steep} D: expected the smaller power first"));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let minus = |option: &str, value: f64| {
            (value < 0.0).then(|| format!("--{option}: {value} D is in minus form, transposed to {} D", -value))
        };
        let transposed = [("cylinder", Some(args.cylinder)), ("target", args.target)]
            .into_iter()
            .filter_map(|(option, value)| minus(option, value?))
            .collect();
        Ok(Self {
            cylinder_d: args.cylinder.abs(),
            plane: args.plane,
            k_flat_d: args.k_flat,
            k_steep_d: args.k_steep,
            lens_position_mm: args.lens_position,
            target_d: args.target.map(f64::abs),
            vertex_mm: args.vertex,
            transposed,
        })
    }

    /// The corneal astigmatism that this lens would cancel, D; `None` where an option is missing.
    pub(super) fn at_cornea_d(&self) -> Option<f64> {
        match self.plane {
            Plane::Cornea => Some(self.cylinder_d),
            Plane::Lens => Some(toric_at_cornea(self.k_flat_d?, self.cylinder_d, self.lens_position_mm?)),
        }
    }

    /// What a reader should know of the figures.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = self.transposed.clone();
        let missing: Vec<_> =
            [("--k-flat", self.k_flat_d.is_none()), ("--lens-position", self.lens_position_mm.is_none())]
                .into_iter()
                .filter_map(|(option, missing)| missing.then_some(option))
                .collect();
        match self.at_cornea_d() {
            None => {
                let percent = if self.target_d.is_some() { "percent and dioptres" } else { "dioptres" };
                notes.push(format!("{percent} at the cornea are left out: {} would give them", missing.join(" and ")));
            }
            Some(cancelled_d) => notes.extend(self.unlike_keratometry(cancelled_d)),
        }
        notes
    }

    /// Where keratometry was given, differs from what the lens cancels, and no target says which holds.
    fn unlike_keratometry(&self, cancelled_d: f64) -> Option<String> {
        let keratometry_d = self.k_steep_d? - self.k_flat_d?;
        let unlike = self.target_d.is_none() && (keratometry_d - cancelled_d).abs() > WORTH_A_WORD_D;
        unlike.then(|| {
            format!(
                "keratometry gives {keratometry_d:.2} D, the lens cancels {cancelled_d:.2} D and is taken to match the eye: --target \
                 {keratometry_d:.2} would hold it against keratometry"
            )
        })
    }
}
