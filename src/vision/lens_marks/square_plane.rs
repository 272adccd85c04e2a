//! A square grey picture, and what is done with it on the way to the marks.

/// A square grey picture in single precision.
#[derive(Clone)]
pub struct SquarePlane {
    /// Pixels a side.
    pub side: usize,
    /// Row by row.
    pub data: Vec<f32>,
}

impl SquarePlane {
    /// All `value`.
    pub fn filled(side: usize, value: f32) -> Self {
        Self { side, data: vec![value; side * side] }
    }

    /// Value at column `x` and row `y`.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.side + x]
    }

    /// Bilinear value at a place that may lie outside: the border is repeated.
    pub fn sample(&self, x: f64, y: f64) -> f32 {
        let most = (self.side - 1) as f64;
        let (x, y) = (x.clamp(0.0, most), y.clamp(0.0, most));
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.side - 1), (y0 + 1).min(self.side - 1));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let top = self.at(x0, y0) * (1.0 - fx) + self.at(x1, y0) * fx;
        let bottom = self.at(x0, y1) * (1.0 - fx) + self.at(x1, y1) * fx;
        top * (1.0 - fy) + bottom * fy
    }

    /// Blurred by a Gaussian of standard deviation `sigma` px, as three box means (the border is repeated).
    pub fn blurred(&self, sigma: f64) -> Self {
        // Three boxes of half-width r have the variance 3 * ((2 r + 1)^2 - 1) / 12; the fraction of the outermost
        // taps makes any sigma possible.
        let whole = (4.0 * sigma * sigma + 1.0).sqrt();
        let reach = ((whole - 1.0) / 2.0).floor().max(0.0);
        let fraction = fractional_tap(sigma, reach);
        let mut out = self.clone();
        let mut line = vec![0.0; self.side];
        for _ in 0..3 {
            for row in out.data.chunks_mut(self.side) {
                line.copy_from_slice(row);
                box_mean(&line, row, reach as usize, fraction);
            }
        }
        let mut turned = out.transposed();
        for _ in 0..3 {
            for row in turned.data.chunks_mut(self.side) {
                line.copy_from_slice(row);
                box_mean(&line, row, reach as usize, fraction);
            }
        }
        turned.transposed()
    }

    /// The greatest value within `reach` px in rows and columns.
    fn dilated(&self, reach: usize) -> Self {
        let mut out = self.clone();
        for _ in 0..2 {
            let wide = out.clone();
            for (row, values) in out.data.chunks_mut(self.side).zip(wide.data.chunks(self.side)) {
                // By distance: a whole row at a time.
                for apart in 1..=reach.min(self.side - 1) {
                    row.iter_mut().zip(&values[apart..]).for_each(|(v, right)| *v = v.max(*right));
                    row[apart..].iter_mut().zip(values).for_each(|(v, left)| *v = v.max(*left));
                }
            }
            out = out.transposed();
        }
        out
    }

    /// How far each value lies below the morphological closing by a square of half-side `reach` px: what is darker
    /// than its surroundings and narrower than the square.
    pub fn narrow_dark(&self, reach: usize) -> Self {
        let mut closed = self.dilated(reach).negated().dilated(reach).negated();
        closed.data.iter_mut().zip(&self.data).for_each(|(c, v)| *c -= v);
        closed
    }

    /// How much the plane falls off to both sides of a pixel inside its border: minus its second derivatives, by xx, xy and yy.
    pub fn fall_off(&self, x: usize, y: usize) -> [f32; 3] {
        let (b, i, side) = (&self.data, y * self.side + x, self.side);
        [
            2.0 * b[i] - b[i - 1] - b[i + 1],
            -(b[i + side + 1] - b[i + side - 1] - b[i - side + 1] + b[i - side - 1]) / 4.0,
            2.0 * b[i] - b[i - side] - b[i + side],
        ]
    }

    /// Every value with its sign turned.
    pub fn negated(mut self) -> Self {
        self.data.iter_mut().for_each(|v| *v = -*v);
        self
    }

    /// Columns for rows.
    pub fn transposed(&self) -> Self {
        let mut out = Self::filled(self.side, 0.0);
        const TILE: usize = 16;
        for y0 in (0..self.side).step_by(TILE) {
            for x0 in (0..self.side).step_by(TILE) {
                for y in y0..(y0 + TILE).min(self.side) {
                    for x in x0..(x0 + TILE).min(self.side) {
                        out.data[x * self.side + y] = self.data[y * self.side + x];
                    }
                }
            }
        }
        out
    }
}

/// Weight of the two taps just outside a box of half-width `reach` that gives a box of variance sigma^2 / 3.
fn fractional_tap(sigma: f64, reach: f64) -> f32 {
    let want = sigma * sigma / 3.0;
    let inner = reach * (reach + 1.0) * (2.0 * reach + 1.0) / 3.0;
    let count = 2.0 * reach + 1.0;
    let edge = (reach + 1.0).powi(2);
    ((want * count - inner) / (2.0 * (edge - want))).clamp(0.0, 1.0) as f32
}

fn box_mean(line: &[f32], out: &mut [f32], reach: usize, fraction: f32) {
    let last = line.len() - 1;
    let get = |i: isize| line[i.clamp(0, last as isize) as usize];
    let scale = 1.0 / (2.0 * reach as f32 + 1.0 + 2.0 * fraction);
    let r = reach as isize;
    let mut sum: f32 = (-r..=r).map(get).sum();
    // Where no end is near, three views of the line run side by side.
    let whole = line.len().saturating_sub(2 * reach + 2);
    let (begin, rest) = out.split_at_mut((reach + 1).min(line.len()));
    let (inner, end) = rest.split_at_mut(whole);
    let near_an_end = |first: usize, part: &mut [f32], mut sum: f32| {
        for (i, value) in (first as isize..).zip(part) {
            *value = (sum + fraction * (get(i - r - 1) + get(i + r + 1))) * scale;
            sum += get(i + r + 1) - get(i - r);
        }
        sum
    };
    sum = near_an_end(0, begin, sum);
    let after = line.get(2 * reach + 2..).unwrap_or_default();
    for (((value, before), leaving), after) in inner.iter_mut().zip(line).zip(&line[1..]).zip(after) {
        *value = (sum + fraction * (before + after)) * scale;
        sum += after - leaving;
    }
    near_an_end(reach + 1 + whole, end, sum);
}
