//! The picture about one mark, in the mark's own frame: depth along and across it.

use crate::geometry::{PixelPoint, Vector};
use crate::normal::MEDIAN_SIZE;
use crate::vision::{Picture, bilinear};
use std::sync::LazyLock;

/// Distance of the samples, px.
pub(super) const STEP_PX: f64 = 0.5;
/// What lies beyond an end of the mark and is looked at, px: at least, and as a share of its length.
const BEYOND: (f64, f64) = (5.0, 0.3);
/// Light (0 to 1) below which nothing is told from black: no ground, but a mark may be as black as that.
const UNLIT: f64 = 0.004;

/// How values of the picture are taken for light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// The tone curve of common displays undone (IEC 61966-2-1, as a power of 2.2).
    Linear,
    /// As they are.
    AsStored,
}

/// Where a mark lies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    /// Its middle, px.
    pub middle: PixelPoint,
    /// Its own direction (unit), outwards.
    pub along: Vector,
    /// Its length and width, px, as first seen.
    pub size: [f64; 2],
}

impl Frame {
    /// Direction across it.
    pub fn across(&self) -> Vector {
        Vector::new(-self.along.y, self.along.x)
    }

    /// From where to where its ground is taken on both sides, px from its axis.
    fn flanks(&self) -> [f64; 2] {
        let inner = 0.5 * self.size[1] + (0.4 * self.size[1]).max(3.0);
        [inner, inner + (0.8 * self.size[1]).clamp(4.0, 16.0)]
    }
}

/// One channel of the picture in lines across a mark, as stored.
pub(super) struct Samples {
    frame: Frame,
    /// Places of the lines along the mark and of the samples across it, px.
    places: Vec<f64>,
    wide: Vec<f64>,
    /// Values from 0 to 1, line by line; not a number outside of the picture.
    values: Vec<f64>,
}

/// Depth, 1 - light / ground, in lines across the mark.
pub(super) struct Strip {
    /// Places of the lines along the mark, px from its middle.
    pub places: Vec<f64>,
    /// Places across it, px from its axis.
    pub offsets: Vec<f64>,
    /// Depth line by line; not a number where unknown.
    pub depth: Vec<f64>,
    /// sd of one sample in the ground over its level, from the median square of second differences.
    pub noise: f64,
    /// For each line half the difference of its two sides' natural logarithms of light; `None` where unknown.
    pub uneven: Vec<Option<f64>>,
}

impl Samples {
    /// Sample a channel (0 to 2: red, green, blue) about a mark.
    pub fn take(picture: &Picture, frame: &Frame, channel: usize) -> Self {
        let length = frame.size[0];
        let reach = length / 2.0 + BEYOND.0.max(BEYOND.1 * length);
        let grid = |reach: f64| -> Vec<f64> {
            let count = (reach / STEP_PX).ceil() as i32;
            (-count..=count).map(|k| f64::from(k) * STEP_PX).collect()
        };
        let (places, wide) = (grid(reach), grid(frame.flanks()[1]));
        let mut values = Vec::with_capacity(places.len() * wide.len());
        for place in &places {
            let line = frame.middle + frame.along * *place;
            values.extend(wide.iter().map(|n| {
                let value = bilinear::sample(picture, &(line + frame.across() * *n));
                value.map_or(f64::NAN, |value| f64::from(value[channel]))
            }));
        }
        Self { frame: *frame, places, wide, values }
    }

    /// The depths.
    pub fn strip(&self, tone: Tone) -> Strip {
        let [inner, outer] = self.frame.flanks();
        let wide = &self.wide;
        let offsets: Vec<f64> = wide.iter().copied().filter(|n| n.abs() <= inner).collect();
        let mut strip =
            Strip { depth: Vec::new(), noise: 0.0, uneven: Vec::new(), places: self.places.clone(), offsets };
        let mut squares = Vec::new();
        for values in self.values.chunks_exact(wide.len()) {
            let light: Vec<f64> = values
                .iter()
                .map(|v| match tone {
                    Tone::Linear => linear(*v),
                    Tone::AsStored => *v,
                })
                .zip(wide)
                .map(|(v, n)| if v > UNLIT || n.abs() < inner { v } else { f64::NAN })
                .collect();
            let side = |sign: f64| {
                let values = wide.iter().zip(&light).filter(|(n, _)| **n * sign >= inner).map(|(_, v)| *v);
                median(values.collect())
            };
            let sides = side(-1.0).zip(side(1.0));
            strip.uneven.push(sides.map(|(left, right)| (left.ln() - right.ln()) / 2.0));
            let far = (inner + outer) / 2.0;
            for (n, value) in wide.iter().zip(&light).filter(|(n, _)| n.abs() <= inner) {
                let ground = sides.map(|(left, right)| left + (right - left) * (n + far) / (2.0 * far));
                strip.depth.push(ground.map_or(f64::NAN, |ground| 1.0 - value / ground));
            }
            // Differences over more than a pixel and a half: the noise of the sensor, not the shade of the ground.
            let apart = (1.5 / STEP_PX) as usize;
            if let Some((left, right)) = sides {
                let level = (left + right) / 2.0;
                let outside = (0..wide.len().saturating_sub(2 * apart))
                    .filter(|k| wide[*k] >= inner || wide[k + 2 * apart] <= -inner);
                squares.extend(outside.filter_map(|k| {
                    let second = (light[k] - 2.0 * light[k + apart] + light[k + 2 * apart]) / level;
                    second.is_finite().then_some(second * second / 6.0)
                }));
            }
        }
        // By the median: edges are no noise.
        strip.noise = median(squares).map_or(0.0, |m| m.sqrt() / MEDIAN_SIZE);
        strip
    }
}

impl Strip {
    /// Depth of a line and an offset, by their numbers.
    pub fn at(&self, line: usize, k: usize) -> f64 {
        self.depth[line * self.offsets.len() + k]
    }

    /// Mean depth across the mark over the lines whose place `chosen` holds.
    pub fn across(&self, chosen: impl Fn(f64) -> bool) -> (Vec<f64>, Vec<f64>) {
        let lines: Vec<usize> = (0..self.places.len()).filter(|l| chosen(self.places[*l])).collect();
        let means = (0..self.offsets.len()).map(|k| mean(lines.iter().map(|l| self.at(*l, k))));
        known(&self.offsets, means)
    }

    /// Mean depth along the mark over the offsets that `chosen` holds.
    pub fn along(&self, chosen: impl Fn(f64) -> bool) -> (Vec<f64>, Vec<f64>) {
        let columns: Vec<usize> = (0..self.offsets.len()).filter(|k| chosen(self.offsets[*k])).collect();
        let means = (0..self.places.len()).map(|l| mean(columns.iter().map(|k| self.at(l, *k))));
        known(&self.places, means)
    }
}

fn known(places: &[f64], means: impl Iterator<Item = Option<f64>>) -> (Vec<f64>, Vec<f64>) {
    places.iter().zip(means).filter_map(|(place, mean)| Some((*place, mean?))).unzip()
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values.filter(|v| v.is_finite()) {
        sum += value;
        count += 1.0;
    }
    (count > 0.0).then(|| sum / count)
}

/// Median of the values that are numbers, of two in the middle the greater; `None` of none.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| v.is_finite());
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// The power of 2.2 of a value from 0 to 1, from a table: within 1e-7.
fn linear(value: f64) -> f64 {
    if value.is_nan() {
        return value;
    }
    const STEPS: usize = 4096;
    static TABLE: LazyLock<Vec<f64>> =
        LazyLock::new(|| (0..=STEPS + 1).map(|k| (k as f64 / STEPS as f64).powf(2.2)).collect());
    let place = value.clamp(0.0, 1.0) * STEPS as f64;
    let below = place as usize;
    TABLE[below] + (TABLE[below + 1] - TABLE[below]) * (place - below as f64)
}
