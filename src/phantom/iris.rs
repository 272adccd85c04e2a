//! The iris.

use super::canvas::{Rgb, linear, mix, smoothstep, times};
use super::noise;
use super::scene::Iris;
use crate::geometry::Vector;

/// Painter of the iris.
pub struct Stroma<'a> {
    iris: &'a Iris,
    outer: Rgb,
    inner: Rgb,
    seed: u32,
}

impl<'a> Stroma<'a> {
    /// Painter of an iris.
    pub fn new(iris: &'a Iris, seed: u32) -> Self {
        Self { iris, outer: linear(&iris.outer_colour), inner: linear(&iris.inner_colour), seed }
    }

    /// Light of the iris.
    ///
    /// - `eye`: place in the eye frame
    /// - `level`: 1 on the limbus
    /// - `turns`: meridian in whole turns
    /// - `depth`: 0 at the pupil's edge to 1 at the limbus
    /// - `haze_colour`: of the cornea's rim
    pub fn colour(&self, eye: &Vector, level: f64, turns: f64, depth: f64, haze_colour: Rgb) -> Rgb {
        let i = self.iris;
        let sway = f64::from(noise::value(eye.x * 3.0, eye.y * 3.0, self.seed)) * 0.04;
        let fine = noise::value_around((turns + sway) * 151.0, depth * 2.3, 151, self.seed ^ 1);
        let coarse = noise::value_around((turns + sway) * 47.0, depth * 1.4, 47, self.seed ^ 2);
        let fibre = (fine - 0.5) * 0.5 + (coarse - 0.5) * 0.7;
        let blotch = noise::clouds(eye.x * 7.0, eye.y * 7.0, 3, self.seed ^ 3) - 0.5;
        // The collarette, a wavy step a third of the way out, parts two tones.
        let wave = 0.06 * (f64::from(noise::value_around(turns * 17.0, 0.7, 17, self.seed ^ 4)) - 0.5);
        let tone = smoothstep(0.18, 0.55, depth + wave * 2.0) as f32;
        let mut colour = mix(self.inner, self.outer, tone);
        colour = times(colour, (1.0 + 1.1 * fibre * i.fibres as f32 + 1.3 * blotch * i.blotches as f32).max(0.15));
        let ring = smoothstep(0.86, 0.97, level) as f32 * i.dark_ring as f32;
        colour = times(colour, 1.0 - 0.6 * ring);
        mix(colour, haze_colour, smoothstep(0.84, 1.0, level) as f32 * i.haze as f32)
    }
}
