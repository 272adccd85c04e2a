//! What of a picture speaks for a limbus, freed from the fall-off of the light.

use crate::vision::plane::{Channels, Plane};

/// Width of the neighbourhood whose mean is divided out, as a share of the long side: wide enough to leave the step
/// at the limbus standing, narrow enough to take out the edge of the light field.
const NEIGHBOURHOOD: f64 = 0.10;
/// Added to the mean before the division, so that the noise of black surroundings is not blown up.
const DARK: f32 = 0.05;
/// Reflections are cut off at this many times the local mean.
const HIGHLIGHT: f32 = 1.8;

/// Weight of log(red / blue) beside brightness in the plane that candidates are sought in: where the iris is as pale as
/// the sclera, the bluish grey zone still tells them apart.
const WARMTH: f32 = 0.5;

/// Planes at one working resolution.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// Red over its local mean, capped: dark iris and bright sclera. Red passes vessels best.
    pub brightness: Plane,
    /// tint
    pub tint: Plane,
    /// step
    pub step: Plane,
    /// Logarithm of red over green: the pupil's reflex and the iris differ in it.
    pub hue: Plane,
    /// Working pixels per picture pixel.
    pub factor: f64,
}

impl Evidence {
    /// From the channels of a picture.
    pub fn new(channels: &Channels) -> Self {
        let long = channels.red.width().max(channels.red.height()) as f64;
        let mean = channels.red.local_mean(NEIGHBOURHOOD * long);
        let brightness = channels.red.zip(&mean, |v, m| (v / (m + DARK)).min(HIGHLIGHT));
        let tint = channels.red.zip(&channels.blue, |r, b| ((r + DARK) / (b + DARK)).ln());
        let step = brightness.zip(&tint, |a, b| a + WARMTH * b);
        let hue = channels.red.zip(&channels.green, |r, g| ((r + DARK) / (g + DARK)).ln());
        Self { brightness, step, tint, hue, factor: channels.factor }
    }
}
