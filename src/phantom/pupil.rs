//! The pupil: its outline, and the light that comes back through it.

use super::canvas::{Canvas, Rgb, Stroke, along, linear, mix, smoothstep, times};
use super::noise;
use super::scene::{Pupil, PupilDevice};
use crate::geometry::Vector;

/// Painter of the pupil.
pub struct Opening<'a> {
    pupil: &'a Pupil,
    center: Vector,
    bright: Rgb,
    dull: Rgb,
    toward: Vector,
    corner: Vector,
    scale: f64,
    seed: u32,
}

impl<'a> Opening<'a> {
    /// Painter of a pupil.
    pub fn new(pupil: &'a Pupil, seed: u32) -> Self {
        // Scaled so that squareness keeps the mean radius: a corner stands out as a side draws in.
        let mean = (0..90).map(|k| outline(along(f64::from(k)), pupil.squareness)).sum::<f64>() / 90.0;
        Self {
            pupil,
            center: Vector::new(pupil.center_r[0], pupil.center_r[1]),
            bright: linear(&pupil.reflex.bright),
            dull: linear(&pupil.reflex.dull),
            toward: along(pupil.reflex.direction_deg),
            corner: along(pupil.corner_deg),
            scale: pupil.radius_r / mean,
            seed,
        }
    }

    /// Distance inside the edge (limbus radii, negative outside) and the radius of the edge in this direction.
    pub fn inside(&self, eye: &Vector) -> (f64, f64) {
        let arm = eye - self.center;
        let away = arm.norm().max(1e-9);
        let u = arm / away;
        let turned = Vector::new(u.dot(&self.corner), self.corner.x * u.y - self.corner.y * u.x);
        let turns = u.y.atan2(u.x) / std::f64::consts::TAU;
        let uneven = f64::from(noise::value_around(turns * 5.0, 0.4, 5, self.seed))
            + 0.4 * f64::from(noise::value_around(turns * 29.0, 0.4, 29, self.seed))
            - 0.7;
        let radius = self.scale * outline(turned, self.pupil.squareness) * (1.0 + self.pupil.irregular * uneven);
        (radius - away, radius)
    }

    /// How much of a place shows the inside of the pupil.
    pub fn share(&self, inside: f64, px: f64) -> f64 {
        let soft = self.pupil.edge_r.max(px / 2.0);
        smoothstep(-soft, soft, inside)
    }

    /// Light through the pupil at a place.
    pub fn colour(&self, eye: &Vector, inside: f64) -> Rgb {
        let r = &self.pupil.reflex;
        let arm = eye - self.center;
        let cloud = noise::clouds(eye.x * 3.1, eye.y * 3.1, 3, self.seed ^ 11) - 0.5;
        let s = arm.dot(&self.toward) - r.meeting_r + 0.12 * f64::from(cloud);
        let half = self.pupil.radius_r * (1.05 - 0.93 * r.steepness);
        let mut colour = mix(self.dull, self.bright, smoothstep(-half, half, s) as f32);
        let streaks = noise::clouds(arm.x * 9.0 + arm.y * 3.0, arm.y * 9.0, 3, self.seed ^ 12) - 0.45;
        let milky = (cloud + streaks).max(0.0) * r.clouds as f32;
        colour = mix(colour, [0.36, 0.32, 0.27], (milky * 1.2).min(0.8));
        times(colour, (0.82 + 0.18 * smoothstep(0.0, 0.12, inside)) as f32 * (1.0 + 0.2 * cloud))
    }

    /// Darkness of the ruff along the edge, as a factor on the iris.
    pub fn ruff(&self, inside: f64) -> f32 {
        1.0 - (self.pupil.ruff * 0.75 * smoothstep(-0.045, -0.004, inside)) as f32
    }

    /// What holds the pupil open.
    pub fn draw_device(&self, canvas: &mut Canvas) {
        match self.pupil.device {
            PupilDevice::None => {}
            PupilDevice::Hooks => self.draw_hooks(canvas),
            PupilDevice::Ring => self.draw_ring(canvas),
        }
    }

    /// A thin square ring along the edge, a loop at each corner.
    fn draw_ring(&self, canvas: &mut Canvas) {
        let place = |degrees: f64, share: f64| {
            let u = along(degrees - self.pupil.corner_deg);
            self.center + along(degrees) * (self.scale * outline(u, self.pupil.squareness) * share)
        };
        let mut strokes = vec![(0..=96).map(|k| (place(f64::from(k) * 3.75, 0.985), 0.012)).collect::<Vec<_>>()];
        for k in 0..4 {
            let corner = place(self.pupil.corner_deg + 90.0 * f64::from(k), 0.97);
            strokes.push((0..=12).map(|j| (corner + along(f64::from(j) * 30.0) * 0.035, 0.011)).collect());
        }
        for points in strokes {
            canvas.stroke(&Stroke { points, softness: 0.004 }, |canvas, index, near| {
                let round = 1.0 - near.across * near.across * 0.7;
                canvas.lay(index, [0.12 + 0.3 * round, 0.16 + 0.32 * round, 0.3 + 0.4 * round], near.coverage * 0.6);
            });
        }
    }

    /// Four hooks that pull the corners out, from beyond the limbus inwards.
    fn draw_hooks(&self, canvas: &mut Canvas) {
        for k in 0..4 {
            let direction = self.pupil.corner_deg + 90.0 * f64::from(k);
            let corner = self.scale * outline(Vector::x(), self.pupil.squareness);
            let tip = self.center + along(direction) * (corner - 0.03);
            let outer = along(direction) * 1.35;
            let aside = Vector::new(-along(direction).y, along(direction).x) * 0.035;
            let points =
                vec![(tip + aside, 0.010), (tip - along(direction) * 0.02, 0.012), (tip, 0.013), (outer, 0.013)];
            canvas.stroke(&Stroke { points, softness: 0.003 }, |canvas, index, near| {
                let round = 1.0 - near.across * near.across * 0.7;
                canvas.lay_over(
                    index,
                    [0.08 + 0.25 * round, 0.10 + 0.3 * round, 0.28 + 0.4 * round],
                    near.coverage * 0.85,
                );
            });
        }
    }
}

/// Radius of the outline `|x|^p + |y|^p = 1` in a direction: a circle for 2, a square standing on its corner for 1.
fn outline(direction: Vector, p: f64) -> f64 {
    (direction.x.abs().powf(p) + direction.y.abs().powf(p)).powf(-1.0 / p)
}
