//! Cheap repeatable noise: hashed lattices, smoothly joined.

/// A number in [0, 1) for a lattice place.
pub fn hash(x: i32, y: i32, seed: u32) -> f32 {
    let mut h = seed ^ (x as u32).wrapping_mul(0x85eb_ca6b) ^ (y as u32).wrapping_mul(0xc2b2_ae35).rotate_left(13);
    h ^= h >> 16;
    h = h.wrapping_mul(0x7feb_352d);
    h ^= h >> 15;
    h = h.wrapping_mul(0x846c_a68b);
    h ^= h >> 16;
    (h >> 8) as f32 / 16_777_216.0
}

/// Value noise in [0, 1): one lattice step is one unit.
pub fn value(x: f64, y: f64, seed: u32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let (ix, iy) = (fx as i32, fy as i32);
    blend(x - fx, y - fy, |dx, dy| hash(ix.wrapping_add(dx), iy.wrapping_add(dy), seed))
}

/// Value noise that repeats along x after `period` lattice steps.
pub fn value_around(x: f64, y: f64, period: i32, seed: u32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let (ix, iy) = (fx as i32, fy as i32);
    blend(x - fx, y - fy, |dx, dy| hash(ix.wrapping_add(dx).rem_euclid(period), iy.wrapping_add(dy), seed))
}

/// Sum of octaves of value noise, in [0, 1), each half as strong and twice as fine as the one before.
pub fn clouds(x: f64, y: f64, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut weight, mut total, mut scale) = (0.0, 1.0, 0.0, 1.0);
    for octave in 0..octaves {
        sum += weight * value(x * scale, y * scale, seed.wrapping_add(octave * 7919));
        total += weight;
        weight *= 0.5;
        scale *= 2.03;
    }
    sum / total
}

/// Narrow bright creases in [0, 1], long along x, gathered in patches.
pub fn creases(x: f64, y: f64, seed: u32) -> f32 {
    let patch = value(x * 0.45 + 9.0, y * 0.45, seed ^ 0x77);
    if patch < 0.5 {
        return 0.0;
    }
    let bent = y * 2.4 + 1.3 * f64::from(value(x * 0.6, y * 0.6, seed ^ 0x31));
    let ridge = 1.0 - (2.0 * clouds(x * 0.33, bent, 2, seed) - 1.0).abs() * 3.0;
    ridge.max(0.0).powi(4) * ((patch - 0.5) * 3.0).min(1.0)
}

fn blend(tx: f64, ty: f64, at: impl Fn(i32, i32) -> f32) -> f32 {
    let (sx, sy) = ((tx * tx * (3.0 - 2.0 * tx)) as f32, (ty * ty * (3.0 - 2.0 * ty)) as f32);
    let top = at(0, 0) + (at(1, 0) - at(0, 0)) * sx;
    let bottom = at(0, 1) + (at(1, 1) - at(0, 1)) * sx;
    top + (bottom - top) * sy
}
