//! How sharp and how noisy a picture is, from the picture alone.

use super::Picture;
use super::plane::Plane;
use crate::normal::MEDIAN_SIZE;
use image::Rgb;

/// Luma of red, green and blue (ITU-R BT.601): what recorders keep at full resolution.
const LUMA: [f32; 3] = [0.299, 0.587, 0.114];
/// Blur that slopes are taken after, px: it keeps noise out of them, and is taken off again.
const BEFORE_PX: f32 = 0.7;
/// Blur of a pixel's own area, px: 1 / root 12.
const PIXEL_PX: f64 = 0.2887;
/// Share of all pixels that are taken for edges, the steepest first.
const EDGES: f64 = 0.01;
/// Which of the edges, sorted by their blur, is taken: most things in an eye are soft, the sharpest show the camera. Set on 24 drawn
/// stills of known blur: the median of what it gives is 0.97 of the truth.
const SHARP: f64 = 0.2;
/// Fewest edges that tell anything.
const FEWEST: usize = 30;
/// Steepness of an edge over that of noise, and least steepness, levels of 1 a px.
const STEEP: (f64, f64) = (10.0, 0.006);
/// Stretch on both sides of an edge, px, over which what is a step stays where it is; a line comes back.
const LEVEL_PX: [f64; 2] = [5.0, 8.0];
/// How far it may leave its level there, and its middle half the height, shares of the step.
const UNEVEN: f64 = 0.2;
/// Least step, levels of 1.
const LEAST_STEP: f32 = 0.06;
/// Least blur that is told: below it a pixel is wider than the blur.
const LEAST_PX: f64 = 0.4;
/// Light between which noise is taken, 0 to 1: neither black nor burnt out.
const LIT: std::ops::Range<f32> = 0.06..0.92;

/// Sharpness and noise of a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sharpness {
    /// Standard deviation of the blur of its sharpest edges, as of a Gaussian, px; `None` where it has no edges.
    pub blur_px: Option<f64>,
    /// Standard deviation of the noise of its luma, 8-bit levels; what compression took away is not in it.
    pub noise_levels: f64,
}

/// Sharpness and noise of `picture`.
///
/// Noise: median size of second differences across and along together, which flat and evenly shaded ground does not have
/// (after Immerkaer 1996, with a median for his mean; from memory). Blur: of edges that are level on both sides, the height
/// over the greatest slope, which for a Gaussian blur of sd s is s times the root of 2 pi.
pub fn sharpness(picture: &Picture) -> Option<Sharpness> {
    let (width, height) = picture.dimensions();
    let luma: Vec<f32> =
        picture.pixels().map(|Rgb(rgb)| rgb.iter().zip(LUMA).map(|(v, w)| f32::from(*v) / 65535.0 * w).sum()).collect();
    let plane = Plane::new(width as usize, height as usize, luma)?;
    let noise = noise_of(&plane);
    Some(Sharpness { blur_px: blur_of(&plane, noise), noise_levels: noise * 255.0 })
}

fn noise_of(plane: &Plane) -> f64 {
    let (w, h) = (plane.width(), plane.height());
    let mut sizes: Vec<f32> = Vec::with_capacity(w * h / 4);
    for y in (1..h.saturating_sub(1)).step_by(2) {
        for x in (1..w.saturating_sub(1)).step_by(2) {
            let at = |dx: usize, dy: usize| plane.get(x + dx - 1, y + dy - 1);
            if !LIT.contains(&at(1, 1)) {
                continue;
            }
            let corners = at(0, 0) + at(2, 0) + at(0, 2) + at(2, 2);
            let sides = at(1, 0) + at(0, 1) + at(2, 1) + at(1, 2);
            sizes.push((corners - 2.0 * sides + 4.0 * at(1, 1)).abs());
        }
    }
    let Some(middle) = nth(&mut sizes, 0.5) else { return 0.0 };
    // The weights' squares add up to 36.
    f64::from(middle) / MEDIAN_SIZE / 6.0
}

fn blur_of(plane: &Plane, noise: f64) -> Option<f64> {
    let smooth = plane.blurred(BEFORE_PX);
    let (w, h) = (plane.width(), plane.height());
    let slope = |x: usize, y: usize| {
        let (dx, dy) = (smooth.get(x + 1, y) - smooth.get(x - 1, y), smooth.get(x, y + 1) - smooth.get(x, y - 1));
        (dx / 2.0, dy / 2.0)
    };
    let size = |(dx, dy): (f32, f32)| dx.hypot(dy);
    // What a central difference of smoothed noise is: about a quarter of it.
    let least = (STEEP.0 * noise / 4.0 + STEEP.1) as f32;
    let margin = LEVEL_PX[1] as usize + 2;
    let mut edges: Vec<(f32, usize, usize)> = Vec::new();
    for y in margin..h.saturating_sub(margin) {
        for x in margin..w.saturating_sub(margin) {
            let here = slope(x, y);
            let steep = size(here);
            if steep < least {
                continue;
            }
            // The middle of an edge: steeper than its neighbours across it.
            let step = |v: f32| if v.abs() > 0.38 * steep { v.signum() as isize } else { 0 };
            let (sx, sy) = (step(here.0), step(here.1));
            let next = |sign: isize| size(slope((x as isize + sign * sx) as usize, (y as isize + sign * sy) as usize));
            if steep >= next(1) && steep > next(-1) {
                edges.push((steep, x, y));
            }
        }
    }
    edges.sort_by(|a, b| b.0.total_cmp(&a.0));
    edges.truncate(((w * h) as f64 * EDGES) as usize);
    let mut blurs: Vec<f32> =
        edges.iter().filter_map(|&(steep, x, y)| step_blur(&smooth, x, y, slope(x, y), steep)).collect();
    if blurs.len() < FEWEST {
        return None;
    }
    let sharp = f64::from(nth(&mut blurs, SHARP)?);
    // The pixel's own area, the difference over two of them, and the blur before.
    let squares = sharp * sharp - PIXEL_PX.powi(2) - (2.0 * PIXEL_PX).powi(2) - f64::from(BEFORE_PX).powi(2);
    Some(squares.max(LEAST_PX * LEAST_PX).sqrt())
}

/// Blur of an edge, px, all that was done to it in it; `None` where it is no step from one level to another.
fn step_blur(plane: &Plane, x: usize, y: usize, (dx, dy): (f32, f32), steep: f32) -> Option<f32> {
    let (ux, uy) = (f64::from(dx / steep), f64::from(dy / steep));
    let at = |t: f64| plane.sample(x as f64 + ux * t, y as f64 + uy * t);
    let [near, far] = LEVEL_PX;
    let side = |sign: f64| {
        let (a, b, c) = (at(sign * near)?, at(sign * (near + far) / 2.0)?, at(sign * far)?);
        Some(((a + b + c) / 3.0, (a - c).abs()))
    };
    let ((low, low_uneven), (high, high_uneven)) = (side(-1.0)?, side(1.0)?);
    let step = high - low;
    let most = UNEVEN as f32 * step;
    let middle = (at(0.0)? - low) / step;
    let is_step = step > LEAST_STEP && low_uneven < most && high_uneven < most;
    (is_step && (middle - 0.5).abs() < UNEVEN as f32).then(|| step / steep / std::f32::consts::TAU.sqrt())
}

/// The value below which a share of all lies.
fn nth(values: &mut [f32], share: f64) -> Option<f32> {
    if values.is_empty() {
        return None;
    }
    let at = ((values.len() - 1) as f64 * share) as usize;
    Some(*values.select_nth_unstable_by(at, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;
    use statrs::function::erf::erf;

    /// Discs with edges of known blur, integrated over the pixel, with noise of known size: both come back.
    #[test]
    fn blur_and_noise_come_back() {
        for (blur, noise) in [(0.6, 1.0), (1.0, 2.0), (1.6, 4.0), (2.5, 2.0)] {
            let mut random = ChaCha8Rng::seed_from_u64(1);
            let whole = f64::hypot(blur, PIXEL_PX);
            let picture = Picture::from_fn(320, 260, |x, y| {
                let (dx, dy) = (f64::from(x) - 160.3, f64::from(y) - 128.7);
                let inside = |r: f64| (1.0 + erf((r - dx.hypot(dy)) / whole / 2f64.sqrt())) / 2.0;
                let value = 190.0 - 110.0 * inside(100.0) + 60.0 * inside(50.0);
                let grain: f64 = random.sample(StandardNormal);
                Rgb([((value + noise * grain).clamp(0.0, 255.0) * 257.0) as u16; 3])
            });
            let found = sharpness(&picture).unwrap();
            assert!((found.noise_levels / noise - 1.0).abs() < 0.06, "noise {noise}: {found:?}");
            assert!((found.blur_px.unwrap() / blur - 1.0).abs() < 0.25, "blur {blur}: {found:?}");
        }
        let flat = Picture::from_pixel(60, 60, Rgb([30_000; 3]));
        assert_eq!(sharpness(&flat).unwrap(), Sharpness { blur_px: None, noise_levels: 0.0 });
    }
}
