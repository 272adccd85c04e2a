//! What of a picture speaks for a limbus, freed from the fall-off and the colour of the light.

use crate::vision::plane::{Channels, Plane};
use std::cell::OnceCell;

/// Standard deviation of the neighbourhood whose mean is divided out, in radii of the limbus looked for: wide enough to
/// leave the step at the limbus standing, narrow enough to take out the edge of the light field.
const NEIGHBOURHOOD: f64 = 0.55;
/// Radius, as a share of the long side, of the smallest neighbourhood kept ready, and the factor to the next.
const FIRST_SHARE: f64 = 0.09;
const NEXT: f64 = 1.4;
const SIZES: usize = 6;
/// Added to a mean before the division, as a share of the channel's brightest, so that the noise of black surroundings is
/// not blown up.
const DARK: f32 = 0.06;
/// How much of the picture is brighter than the channel's brightest is said to be: reflections.
const BRIGHTEST: f64 = 0.03;
/// Reflections are cut off at this many times the local mean.
const HIGHLIGHT: f32 = 1.8;

/// Weights of log(red / blue) beside brightness in the planes that candidates are sought in. Where the iris is as pale as
/// the sclera, the bluish grey zone still tells them apart; where the light is coloured, brightness alone does. A yellow iris is
/// redder than the sclera, which takes from the step in brightness what little there is: the last plane is brightness alone.
pub const WARMTHS: [f32; 3] = [0.3, 1.2, 0.0];
/// How many of these planes are looked at in every picture; the others where these leave a doubt.
pub const FIRST_WARMTHS: usize = 2;

/// A picture at one working resolution.
#[derive(Debug)]
pub struct Evidence {
    channels: [Plane; 3],
    dark: [f32; 3],
    tint: Plane,
    hue: Plane,
    sizes: [OnceCell<Surroundings>; SIZES],
    /// Share of a working pixel that was restored because it was burnt out.
    pub restored: Plane,
    /// Working pixels per picture pixel.
    pub factor: f64,
}

/// Planes freed from what is slower than a limbus of one size.
#[derive(Debug)]
pub struct Surroundings {
    /// Red over its local mean, capped: dark iris and bright sclera. Red passes vessels best.
    pub brightness: Plane,
    /// Logarithm of red over blue, less its local mean: the grey zone is bluer than the sclera.
    pub tint: Plane,
    /// Logarithm of red over green, less its local mean: the pupil's reflex and the iris differ in it.
    pub hue: Plane,
    /// Brightness with each of [`WARMTHS`] of tint.
    pub steps: [Plane; WARMTHS.len()],
}

impl Evidence {
    /// From the channels of a picture.
    pub fn new(channels: &Channels) -> Self {
        let planes = [&channels.red, &channels.green, &channels.blue];
        let dark = planes.map(|p| (DARK * brightest(p)).max(1e-4));
        let ratio = |over: usize, under: usize| {
            planes[over].zip(planes[under], |a, b| ((a + dark[over]) / (b + dark[under])).ln())
        };
        Self {
            tint: ratio(0, 2),
            hue: ratio(0, 1),
            channels: planes.map(Plane::clone),
            dark,
            sizes: Default::default(),
            restored: channels.restored.clone(),
            factor: channels.factor,
        }
    }

    /// Width, working px.
    pub fn width(&self) -> usize {
        self.tint.width()
    }

    /// Height, working px.
    pub fn height(&self) -> usize {
        self.tint.height()
    }

    fn long_side(&self) -> f64 {
        self.width().max(self.height()) as f64
    }

    /// The planes fit for a limbus of about `radius` working px.
    pub fn about(&self, radius: f64) -> &Surroundings {
        let steps = (radius / (FIRST_SHARE * self.long_side())).ln() / NEXT.ln();
        let size = (steps.round().max(0.0) as usize).min(SIZES - 1);
        self.sizes[size].get_or_init(|| {
            let radius = FIRST_SHARE * self.long_side() * NEXT.powi(size as i32);
            self.surroundings(NEIGHBOURHOOD * radius)
        })
    }

    fn surroundings(&self, sigma: f64) -> Surroundings {
        let [red, _, _] = &self.channels;
        let dark = self.dark[0];
        let brightness = red.zip(&red.local_mean(sigma), |v, m| (v / (m + dark)).min(HIGHLIGHT));
        let freed = |plane: &Plane| plane.zip(&plane.local_mean(sigma), |v, m| v - m);
        let tint = freed(&self.tint);
        let hue = freed(&self.hue);
        let steps = WARMTHS.map(|w| brightness.zip(&tint, |a, b| a + w * b));
        Surroundings { brightness, tint, hue, steps }
    }
}

/// The value that all but reflections stay below.
fn brightest(plane: &Plane) -> f32 {
    let mut values: Vec<f32> = plane.data().iter().copied().step_by(7).collect();
    let at = ((values.len() as f64 * (1.0 - BRIGHTEST)) as usize).min(values.len() - 1);
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}
