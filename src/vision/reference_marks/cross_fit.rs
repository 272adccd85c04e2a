//! Where the two lines of a crossed mark meet.
//!
//! The outline of a cross is seldom that of the whole: now both arms, now one, now the end of one, and its axis is that of none.
//! What a cross is drawn for is the point where its lines cross. They are looked for in the ink about the region as the two
//! straight lines that hold most of it (Hough), then each is laid through the ink nearer to it than to the other, weighed by a
//! window that falls off on both sides. Near the crossing each loses to the other what lies between them, on one side before it and
//! on the other behind, so that this turns the lines a little but does not move where they meet.
//!
//! Source: R. O. Duda and P. E. Hart, "Use of the Hough transformation to detect lines and curves in pictures", Commun. ACM 15
//! (1972) 11-15 (from memory).

use super::axis_fit::{KNOT, LEAST_SKIRT};
use super::blob::Blob;
use super::finding::UNEVEN;
use super::line_sums::LineSums;
use super::patch::Frame;
use super::ring::Ring;
use crate::geometry::{Ellipse, Matrix, PixelPoint, Vector};

/// Half the side of the square that is looked at, limbus radii: that of a cross of 0.32 whose end the region is; where none is
/// found, of a small one that is lost among what else is about.
const AROUND: [f64; 2] = [0.2, 0.1];
/// Half the width of a cross whose ground is taken beside it, limbus radii.
const HALF_WIDTH: f64 = 0.12;
/// Share of the contrast below which there is no ink: of that of the region where lines are looked for, of the usual one of the
/// arms where these end, and where an arm is compared with what lies beside it.
const FAINT: f64 = 0.35;
/// Directions that are tried, and least angle between two lines: flatter ones run into each other.
const DIRECTIONS: usize = 90;
const LEAST_TURN_DEG: f64 = 20.0;
/// Steps of the fit: each leaves less than half of what was off.
const STEPS: usize = 12;
/// Cells along an arm: so many at most may be faint on the way, and so many at least must tell.
const FEW: usize = 3;
/// From where to where the ground beside an arm is looked at, cells from its edge.
const BESIDE: [f64; 2] = [1.0, 3.0];
/// Cells about the crossing whose median is the usual contrast, and the least that is, over that of the region.
const NEAR: usize = 6;
const LEAST_USUAL: f64 = 0.6;
/// Least length of an arm, from the crossing, over that of the longest one, and over the width of the lines.
const SHORTEST: (f64, f64) = (0.35, 2.5);
/// Least share of the region that lies on the two lines: what stands beside a cross is none.
const ON_LINES: f64 = 0.8;
/// sd of a line from the sway of the hand that drew it, share of its width.
const SWAY: f64 = 0.03;

/// The crossing of a crossed mark.
pub(super) struct Cross {
    /// Where its lines meet.
    pub middle: PixelPoint,
    /// Their directions (unit, y down).
    pub lines: [Vector; 2],
    /// Covariance of that, px^2.
    pub covariance: Matrix,
}

/// A cell of the ring with ink.
struct Cell {
    /// px from the middle of the square.
    place: Vector,
    /// Contrast over that of the region, at most [`KNOT`].
    ink: f64,
    /// Area over that of a cell on the limbus.
    area: f64,
}

/// A straight line: a point and a unit vector.
#[derive(Clone, Copy)]
struct Line {
    point: Vector,
    along: Vector,
}

impl Line {
    fn across(&self) -> Vector {
        Vector::new(-self.along.y, self.along.x)
    }

    fn aside(&self, place: &Vector) -> f64 {
        (place - self.point).dot(&self.across())
    }

    fn meets(&self, other: &Self) -> Option<Vector> {
        let rows = Matrix::from_rows(&[self.across().transpose(), other.across().transpose()]);
        let offsets = Vector::new(self.across().dot(&self.point), other.across().dot(&other.point));
        Some(rows.try_inverse()? * offsets)
    }
}

/// The crossing of the cross that a region is, or is part of; `None` where there is none.
pub(super) fn of(ring: &Ring, limbus: &Ellipse, blob: &Blob) -> Option<Cross> {
    AROUND.into_iter().find_map(|around| within(ring, limbus, blob, around))
}

/// The same within so many limbus radii on every side.
fn within(ring: &Ring, limbus: &Ellipse, blob: &Blob, around: f64) -> Option<Cross> {
    let cell_px = limbus.radius_px() * ring.rho_step;
    let center = limbus.at_polar(ring.rho(blob.middle_row()), ring.phi(blob.axis));
    let cells = inked(ring, limbus, blob, &center, around);
    let first = densest(&cells, cell_px, None)?;
    let width = width_of(&first, &cells, cell_px);
    let second = densest(&cells, cell_px, Some((&first, width)))?;
    let mut lines = [first, second];
    let reach = 0.5 * width + LEAST_SKIRT * cell_px;
    let mut ends = [[around * limbus.radius_px(); 2]; 2];
    // First through all there is, then through the arms as far as they go.
    for _ in 0..2 {
        fit(&mut lines, &cells, reach, &ends)?;
        ends = arms(&lines, &cells, width, cell_px)?;
    }
    let middle = lines[0].meets(&lines[1])?;
    let longest = ends.as_flattened().iter().copied().fold(0.0, f64::max);
    let shortest = ends.as_flattened().iter().copied().fold(f64::MAX, f64::min);
    let turn_sin = lines[0].across().dot(&lines[1].along).abs();
    if shortest < (SHORTEST.0 * longest).max(SHORTEST.1 * width) || turn_sin < LEAST_TURN_DEG.to_radians().sin() {
        return None;
    }
    let on_lines = blob.cells.iter().filter(|(row, column, _)| {
        let place = limbus.at_polar(ring.rho(*row as f64), ring.phi(*column as f64)) - center;
        lines.iter().any(|line| line.aside(&place).abs() < 0.5 * width + cell_px)
    });
    if (on_lines.count() as f64) < ON_LINES * blob.cells.len() as f64 {
        return None;
    }
    let outward = (center - limbus.center()).normalize();
    Some(Cross {
        middle: center + middle,
        lines: lines.map(|line| line.along),
        covariance: covariance(&lines, &cells, reach, width, &ends, &outward)?,
    })
}

/// The cells about a region that are darker than the ground on both sides of a cross there.
fn inked(ring: &Ring, limbus: &Ellipse, blob: &Blob, center: &PixelPoint, around: f64) -> Vec<Cell> {
    let cells_of = |radii: f64| radii / ring.rho_step;
    let middle_row = blob.middle_row();
    let frame = Frame { axis: blob.axis, slope: 0.0, middle_row, width: cells_of(2.0 * HALF_WIDTH) };
    let rows = [
        (middle_row - cells_of(around)).max(0.0) as usize,
        ((middle_row + cells_of(around)) as usize).min(ring.rows - 1),
    ];
    let half = cells_of(around);
    let columns = (blob.axis - half).ceil() as isize..=(blob.axis + half).floor() as isize;
    let mut cells = Vec::new();
    for (row, ground) in (rows[0]..).zip(frame.plain_grounds(ring, rows)) {
        let Some((level, tilt)) = ground else { continue };
        let rho = ring.rho(row as f64);
        for column in columns.clone().filter(|c| ring.lit[ring.at(row, *c)]) {
            let offset = (column as f64 - blob.axis) as f32;
            let contrast = f64::from(level + tilt * offset - ring.log[0][ring.at(row, column)]) / blob.contrast;
            let place = limbus.at_polar(rho, ring.phi(column as f64)) - center;
            cells.push(Cell { place, ink: contrast.min(KNOT), area: rho });
        }
    }
    cells
}

/// The line that holds most ink; beside another one of some width, where that is given, and turned from it.
fn densest(cells: &[Cell], cell_px: f64, but: Option<(&Line, f64)>) -> Option<Line> {
    let free = |cell: &&Cell| {
        cell.ink > FAINT
            && but.is_none_or(|(line, width)| line.aside(&cell.place).abs() > 0.5 * width + LEAST_SKIRT * cell_px)
    };
    let inked: Vec<&Cell> = cells.iter().filter(free).collect();
    let least = LEAST_TURN_DEG.to_radians().sin();
    let reach = cells.iter().map(|c| c.place.norm()).fold(0.0, f64::max);
    let half = (reach / cell_px).ceil() as usize + 1;
    let mut best: Option<(f64, Line)> = None;
    for k in 0..DIRECTIONS {
        let (sin, cos) = (k as f64 * std::f64::consts::PI / DIRECTIONS as f64).sin_cos();
        let (along, across) = (Vector::new(cos, sin), Vector::new(-sin, cos));
        if but.is_some_and(|(line, _)| line.across().dot(&along).abs() < least) {
            continue;
        }
        let mut bins = vec![0.0; 2 * half + 1];
        for cell in &inked {
            let bin = (cell.place.dot(&across) / cell_px).round() as isize + half as isize;
            bins[bin as usize] += cell.ink * cell.area;
        }
        // Three cells wide, as a thin line is smeared.
        for (bin, held) in bins.windows(3).enumerate() {
            let sum = 0.5 * held[0] + held[1] + 0.5 * held[2];
            if best.as_ref().is_none_or(|b| sum > b.0) {
                let aside = (bin as f64 + 1.0 - half as f64) * cell_px;
                best = Some((sum, Line { point: across * aside, along }));
            }
        }
    }
    best.filter(|b| b.0 > 0.0).map(|b| b.1)
}

/// Width of a line where its ink has fallen to half, px.
fn width_of(line: &Line, cells: &[Cell], cell_px: f64) -> f64 {
    let mut bins = [0.0; 32];
    for cell in cells {
        if let Some(bin) = bins.get_mut((line.aside(&cell.place).abs() / cell_px).round() as usize) {
            *bin += cell.ink.max(0.0) * cell.area;
        }
    }
    // The middle bin holds one side only.
    bins[0] *= 2.0;
    let half = bins.iter().position(|ink| *ink < bins[0] / 2.0).unwrap_or(bins.len());
    (2 * half - 1) as f64 * cell_px
}

/// Lay each line through the ink nearer to it than to the other.
///
/// - `reach`: of the window on either side, px
/// - `ends`: how far each goes from the crossing against and along its direction, px
fn fit(lines: &mut [Line; 2], cells: &[Cell], reach: f64, ends: &[[f64; 2]; 2]) -> Option<()> {
    for _ in 0..STEPS {
        let middle = lines[0].meets(&lines[1])?;
        let old = *lines;
        for (k, line) in lines.iter_mut().enumerate() {
            let (own, other) = (old[k], old[1 - k]);
            let mut sums = LineSums::default();
            for cell in cells {
                let aside = own.aside(&cell.place);
                let along = (cell.place - middle).dot(&own.along);
                let within = -ends[k][0] <= along && along <= ends[k][1];
                if aside.abs() >= reach || !within || other.aside(&cell.place).abs() < aside.abs() {
                    continue;
                }
                let weight = (1.0 - (aside / reach).powi(2)).powi(2) * cell.ink * cell.area;
                sums.add(along, weight, weight * aside);
            }
            let (shift, slope) = sums.line()?;
            // About the foot of the crossing on the line, which is the crossing itself.
            *line =
                Line { point: middle + own.across() * shift, along: (own.along + own.across() * slope).normalize() };
        }
    }
    Some(())
}

/// How far the ink of each line goes from the crossing, against and along its direction, px; `None` where they are no four lines
/// of one ink.
fn arms(lines: &[Line; 2], cells: &[Cell], width: f64, cell_px: f64) -> Option<[[f64; 2]; 2]> {
    let middle = lines[0].meets(&lines[1])?;
    let sides = [0.5 * width + BESIDE[0] * cell_px, 0.5 * width + BESIDE[1] * cell_px];
    let turn_sin = lines[0].across().dot(&lines[1].along).abs();
    // From here on the other line is not in the ground beside this one.
    let alone = ((sides[1] + 0.5 * width) / turn_sin / cell_px) as usize;
    let arm = |k: usize, sign: f64| {
        let mut steps: Vec<Step> = Vec::new();
        for cell in cells {
            let aside = lines[k].aside(&cell.place);
            let along = sign * (cell.place - middle).dot(&lines[k].along) / cell_px;
            if along < 0.0 || aside.abs() > sides[1] {
                continue;
            }
            let step = along as usize;
            steps.resize_with(steps.len().max(step + 1), Step::default);
            let part = match aside {
                n if n.abs() < (0.5 * width).max(cell_px) => &mut steps[step].ink,
                n if n <= -sides[0] => &mut steps[step].beside[0],
                n if n >= sides[0] => &mut steps[step].beside[1],
                _ => continue,
            };
            part.0 += cell.ink;
            part.1 += 1.0;
        }
        steps
    };
    let arms = [0, 1].map(|k| [-1.0, 1.0].map(|sign| arm(k, sign)));
    let mut near: Vec<f64> =
        arms.as_flattened().iter().flat_map(|steps| steps.iter().take(NEAR)).map(|step| mean(step.ink)).collect();
    near.sort_by(f64::total_cmp);
    let usual = near.get(near.len() / 2).filter(|usual| **usual > LEAST_USUAL)?.min(1.0);
    let mut ends = [[0.0; 2]; 2];
    for (end, steps) in ends.as_flattened_mut().iter_mut().zip(arms.as_flattened()) {
        let (mut last, mut low) = (0, 0);
        for (step, sums) in steps.iter().enumerate() {
            low = if mean(sums.ink) < FAINT * usual { low + 1 } else { 0 };
            if low > FEW {
                break;
            }
            if low == 0 {
                last = step + 1;
            }
        }
        let lone = steps.get(alone..last).filter(|lone| lone.len() >= FEW)?;
        let depth = lone.iter().map(Step::depth).sum::<f64>() / lone.len() as f64;
        if depth < FAINT * usual {
            return None;
        }
        *end = last as f64 * cell_px;
    }
    Some(ends)
}

/// A cell's length of an arm: sums of ink and numbers of cells, on it and on both sides of it.
#[derive(Default)]
struct Step {
    ink: (f64, f64),
    beside: [(f64, f64); 2],
}

impl Step {
    /// How much darker it is than both its sides, over the contrast of the region.
    fn depth(&self) -> f64 {
        mean(self.ink) - mean(self.beside[0]).max(mean(self.beside[1]))
    }
}

fn mean((sum, count): (f64, f64)) -> f64 {
    if count > 0.0 { sum / count } else { 0.0 }
}

/// Covariance of the crossing from how the ink of each line scatters about it, px^2.
///
/// - `outward`: direction of the ray
fn covariance(
    lines: &[Line; 2],
    cells: &[Cell],
    reach: f64,
    width: f64,
    ends: &[[f64; 2]; 2],
    outward: &Vector,
) -> Option<Matrix> {
    let middle = lines[0].meets(&lines[1])?;
    let variances = [0, 1].map(|k| {
        let (own, other) = (&lines[k], &lines[1 - k]);
        // Middles of pieces one width long, that share their raggedness.
        let piece = width.max(2.0);
        let mut pieces = std::collections::BTreeMap::<i64, (f64, f64)>::new();
        for cell in cells {
            let aside = own.aside(&cell.place);
            let along = (cell.place - middle).dot(&own.along);
            let within = -ends[k][0] <= along && along <= ends[k][1];
            if aside.abs() >= reach || !within || other.aside(&cell.place).abs() < 2.0 * reach {
                continue;
            }
            let weight = (1.0 - (aside / reach).powi(2)).powi(2) * cell.ink * cell.area;
            let sums = pieces.entry((along / piece).floor() as i64).or_default();
            sums.0 += weight;
            sums.1 += weight * aside;
        }
        let middles: Vec<f64> = pieces.values().filter(|p| p.0 > 0.0).map(|p| p.1 / p.0).collect();
        let squares: f64 = middles.iter().map(|m| m * m).sum();
        // Two are spent on the line itself; what few pieces say is no proof that there is no scatter.
        let free = (middles.len() as f64 - 2.0).max(1.0);
        squares / free / (middles.len() as f64).max(1.0) + (SWAY * width).powi(2)
    });
    let rows = Matrix::from_rows(&[lines[0].across().transpose(), lines[1].across().transpose()]).try_inverse()?;
    let scatter = rows * Matrix::new(variances[0], 0.0, 0.0, variances[1]) * rows.transpose();
    // The centroid of the ink lies aside of the crossing along the line halfway between the arms that is nearer to the ray.
    let both = [lines[0].along + lines[1].along, lines[0].along - lines[1].along].map(|v| v.normalize());
    let halfway = if both[0].dot(outward).abs() > both[1].dot(outward).abs() { both[0] } else { both[1] };
    let length = ends.as_flattened().iter().sum::<f64>() / 2.0;
    Some(scatter + halfway * halfway.transpose() * (UNEVEN * length).powi(2))
}

#[cfg(test)]
mod tests {
    use crate::geometry::{Ellipse, PixelPoint, Vector};
    use crate::vision::Picture;
    use crate::vision::reference_marks::{MarkFinding, find_reference_marks};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

    const RADIUS: f64 = 220.0;

    /// Ink on a plain ground about a place on the ray at some angle, with noise alike in all channels.
    struct Drawn {
        picture: Picture,
        limbus: Ellipse,
        place: PixelPoint,
        outward: Vector,
    }

    /// A stroke: how far it is turned from the ray (degrees), how far aside its middle lies and half its length (px).
    type Stroke = (f64, f64, f64);

    /// Opacity of a stroke at a place outwards and aside of the middle: twice as wide and dark at the inner end as at the outer.
    fn stroke((turn, off, half): Stroke, outwards: f64, aside: f64) -> f64 {
        let (sin, cos) = turn.to_radians().sin_cos();
        let (s, n) = (outwards * cos + aside * sin, aside * cos - outwards * sin - off);
        let t = ((s / half + 1.0) / 2.0).clamp(0.0, 1.0);
        let edge = |inside: f64| (inside + 0.5).clamp(0.0, 1.0);
        edge(2.6 - 1.3 * t - n.abs()) * edge(half - s.abs()) * (0.8 - 0.35 * t)
    }

    impl Drawn {
        /// - `ink`: opacity at a place outwards and aside, px
        fn new(ink: impl Fn(f64, f64) -> f64, degrees: f64, noise: f64, seed: u64) -> Self {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let limbus = Ellipse::circle(PixelPoint::new(-90.3, 130.4), RADIUS).unwrap();
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (outward, aside) = (Vector::new(cos, -sin), Vector::new(sin, cos));
            let place = limbus.center() + outward * (1.03 * RADIUS);
            let picture = Picture::from_fn(280, 260, |x, y| {
                let arm = PixelPoint::new(f64::from(x), f64::from(y)) - place;
                let grain: f64 = random.sample(StandardNormal);
                let level = 170.0 * (1.0 - ink(arm.dot(&outward), arm.dot(&aside))) + noise * grain;
                image::Rgb([(level.round().clamp(0.0, 255.0) * 257.0) as u16; 3])
            });
            Self { picture, limbus, place, outward }
        }

        fn strokes(strokes: &[Stroke], degrees: f64, noise: f64, seed: u64) -> Self {
            let ink = |outwards, aside| strokes.iter().map(|s| stroke(*s, outwards, aside)).fold(0.0, f64::max);
            Self::new(ink, degrees, noise, seed)
        }

        /// The finding nearest to the place.
        fn nearest(&self) -> MarkFinding {
            let findings = find_reference_marks(&self.picture, &self.limbus);
            let far = |f: &MarkFinding| (f.centroid - self.place).norm();
            findings.into_iter().min_by(|a, b| far(a).total_cmp(&far(b))).expect("a mark is found")
        }

        /// How far across and along the ray that lies from the place, px, and the sd it states across.
        fn off(&self) -> (f64, f64, f64) {
            let nearest = self.nearest();
            let off = nearest.centroid - self.place;
            let across = Vector::new(-self.outward.y, self.outward.x);
            (off.dot(&across), off.dot(&self.outward), across.dot(&(nearest.covariance * across)).sqrt())
        }
    }

    /// Flat and steep, leaning and of unequal arms: the crossing is found to a tenth of a pixel or so without noise.
    #[test]
    fn a_cross_is_read_where_its_lines_meet() {
        for turns in [[-15.0, 15.0], [-22.0, 22.0], [-30.0, 36.0], [-45.0, 45.0], [-10.0, 50.0]] {
            for (k, halves) in [[26.0, 26.0], [30.0, 20.0], [18.0, 18.0]].into_iter().enumerate() {
                let strokes = [(turns[0], 0.0, halves[0]), (turns[1], 0.0, halves[1])];
                let drawn = Drawn::strokes(&strokes, 5.0 + 3.3 * k as f64, 0.0, 0);
                assert!(drawn.nearest().crossed.is_some(), "{turns:?} {halves:?}");
                let (across, along, _) = drawn.off();
                assert!(
                    across.abs() < 0.15 && along.abs() < 0.6,
                    "{turns:?} {halves:?}: {across} across, {along} along"
                );
            }
        }
    }

    /// In noise the crossing scatters less than its interval says, which holds ragged ink as well, and that stays small.
    #[test]
    fn a_cross_is_as_certain_as_it_says() {
        const DRAWN: u64 = 40;
        let squares = |seed: u64| {
            let turn = 20.0 + (seed % 5) as f64 * 5.0;
            let drawn = Drawn::strokes(&[(turn, 0.0, 26.0), (-turn, 0.0, 26.0)], 0.21 * seed as f64, 6.0, seed);
            let (across, _, sd) = drawn.off();
            (across * across, sd * sd)
        };
        let sum = (0..DRAWN).map(squares).fold((0.0, 0.0), |sum, s| (sum.0 + s.0, sum.1 + s.1));
        let (error, stated) = ((sum.0 / DRAWN as f64).sqrt(), (sum.1 / DRAWN as f64).sqrt());
        assert!(error < 0.1 && error < 1.2 * stated && stated < 0.4, "error {error} px, stated {stated} px");
    }

    /// What does not cross is read where it lies: two lines side by side, a line that another ends at, a blot that fades away.
    #[test]
    fn what_does_not_cross_is_no_cross() {
        let double = Drawn::strokes(&[(0.0, -6.0, 26.0), (0.0, 6.0, 26.0)], 6.0, 2.0, 1);
        let met = |outwards: f64, aside: f64| {
            let second = if aside > 0.0 { stroke((60.0, 0.0, 26.0), outwards, aside) } else { 0.0 };
            stroke((0.0, 0.0, 26.0), outwards + 8.0, aside).max(0.5 * second)
        };
        let met = Drawn::new(met, 6.0, 2.0, 1);
        let fading = |outwards: f64, aside: f64| {
            let far = outwards.hypot(aside);
            0.7 * (1.0 - ((far - 7.0) / 14.0).clamp(0.0, 1.0)) + 0.1 * (1.0 - far / 60.0).clamp(0.0, 1.0)
        };
        let blot = Drawn::new(fading, 6.0, 2.0, 1);
        for (name, drawn) in [("double", double), ("met", met), ("blot", blot)] {
            let (across, ..) = drawn.off();
            assert!(drawn.nearest().crossed.is_none() && across.abs() < 0.3, "{name}: {across} px");
        }
    }
}
