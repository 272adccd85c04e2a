//! White, iris, pupil.

use super::dice::Dice;
use crate::phantom::scene::{Blood, Dye, Iris, Pupil, PupilDevice, Reflex, Sclera};

pub fn sclera(d: &mut Dice) -> Sclera {
    let colour = d.vary([236.0, 226.0, 206.0], 0.05);
    let red_eye = d.fault(0.12, "bloodshot");
    let radial = d.fault(0.12, "radial vessels");
    let wide = d.fault(0.15, "wide grey zone");
    let zones = [[150.0, 165.0, 165.0], [165.0, 170.0, 150.0], [140.0, 158.0, 172.0], [190.0, 188.0, 172.0]];
    let zone = d.pick(&zones);
    let mut blood = Vec::new();
    if d.fault(0.22, "blood") {
        for _ in 0..1 + d.below(3) {
            let (meridian, away) = (d.range(0.0, 360.0).to_radians(), d.range(0.98, 1.5));
            let size = d.range(0.03, 0.26);
            blood.push(Blood {
                center_r: [away * meridian.cos(), away * meridian.sin()],
                size_r: [size, size * d.range(0.3, 0.9)],
                direction_deg: d.range(0.0, 180.0),
                opacity: d.range(0.4, 0.95),
                ragged: d.range(0.1, 0.9),
            });
        }
    }
    let mut dye = Vec::new();
    if d.fault(0.12, "dye stains") {
        let ink = d.pick(&[[70.0, 60.0, 140.0], [60.0, 90.0, 160.0], [50.0, 110.0, 130.0], [60.0, 55.0, 75.0]]);
        for _ in 0..1 + d.below(3) {
            let (meridian, away) = (d.range(0.0, 360.0).to_radians(), d.range(0.85, 1.4));
            let size = d.range(0.05, 0.3);
            dye.push(Dye {
                center_r: [away * meridian.cos(), away * meridian.sin()],
                size_r: [size, size * d.range(0.3, 1.0)],
                direction_deg: d.range(0.0, 180.0),
                opacity: d.range(0.1, 0.5),
                colour: ink,
            });
        }
    }
    Sclera {
        dye,
        colour,
        redness: if red_eye { d.range(0.6, 1.1) } else { d.range(0.05, 0.55) },
        vessels: if red_eye { 45 + d.below(40) as u32 } else { 12 + d.below(28) as u32 },
        radial_share: if radial { d.range(0.4, 0.8) } else { d.range(0.0, 0.15) },
        limbus_zone_r: if wide { d.range(0.09, 0.13) } else { d.range(0.04, 0.085) },
        limbus_colour: d.vary(zone, 0.08),
        limbus_strength: d.range(0.25, 0.8),
        blood,
    }
}

pub fn iris(d: &mut Dice) -> Iris {
    let pale = d.fault(0.14, "pale iris");
    let tones: &[([f64; 3], [f64; 3])] = if pale {
        &[([190.0, 190.0, 165.0], [172.0, 165.0, 130.0]), ([178.0, 186.0, 180.0], [165.0, 160.0, 140.0])]
    } else {
        &[
            ([140.0, 148.0, 108.0], [150.0, 130.0, 75.0]),
            ([172.0, 165.0, 118.0], [176.0, 142.0, 80.0]),
            ([160.0, 166.0, 142.0], [150.0, 145.0, 110.0]),
            ([146.0, 158.0, 160.0], [140.0, 142.0, 130.0]),
            ([115.0, 138.0, 148.0], [140.0, 140.0, 120.0]),
            ([112.0, 76.0, 45.0], [130.0, 85.0, 45.0]),
            ([70.0, 48.0, 34.0], [85.0, 55.0, 36.0]),
            ([128.0, 132.0, 85.0], [135.0, 105.0, 55.0]),
            ([95.0, 120.0, 135.0], [120.0, 125.0, 120.0]),
        ]
    };
    let (outer, inner) = d.pick(tones);
    Iris {
        outer_colour: d.vary(outer, 0.12),
        inner_colour: d.vary(inner, 0.12),
        fibres: d.range(0.15, 0.6),
        blotches: d.range(0.1, 0.5),
        dark_ring: if d.chance(0.4) { d.range(0.2, 0.9) } else { 0.0 },
        haze: d.range(0.05, 0.5),
    }
}

pub fn pupil(d: &mut Dice) -> Pupil {
    let radius_r = if d.fault(0.035, "small pupil") {
        d.range(0.25, 0.45)
    } else if d.fault(0.17, "wide pupil") {
        d.range(0.78, 0.9)
    } else {
        d.range(0.54, 0.78)
    };
    let square = radius_r > 0.4 && d.fault(0.13, "square pupil");
    // The corners of a square opening must stay inside the limbus.
    let radius_r = if square { radius_r.min(0.7) } else { radius_r };
    let reflex = reflex(d, radius_r);
    Pupil {
        center_r: [d.normal(0.025), d.normal(0.025)],
        radius_r,
        squareness: if square { d.range(1.05, 1.45) } else { d.range(1.93, 2.0) },
        corner_deg: d.range(0.0, 90.0),
        irregular: d.range(0.01, 0.06),
        edge_r: d.range(0.004, 0.016),
        ruff: if d.chance(0.5) { d.range(0.2, 0.9) } else { 0.0 },
        device: match (square, d.below(10)) {
            (false, _) | (true, 0) => PupilDevice::None,
            (true, 1..5) => PupilDevice::Hooks,
            (true, _) => PupilDevice::Ring,
        },
        reflex,
    }
}

fn reflex(d: &mut Dice, radius_r: f64) -> Reflex {
    let dark = d.fault(0.10, "no red reflex");
    let grey = !dark && d.fault(0.14, "grey reflex");
    let (bright, dull) = if dark {
        ([42.0, 30.0, 34.0], [26.0, 20.0, 24.0])
    } else if grey {
        (d.pick(&[[170.0, 140.0, 130.0], [120.0, 130.0, 118.0], [150.0, 105.0, 95.0]]), [95.0, 80.0, 82.0])
    } else {
        let bright = d.pick(&[[255.0, 120.0, 25.0], [250.0, 90.0, 45.0], [235.0, 70.0, 35.0], [250.0, 150.0, 40.0]]);
        let dull = d.pick(&[[200.0, 62.0, 30.0], [150.0, 95.0, 90.0], [150.0, 42.0, 35.0], [215.0, 85.0, 40.0]]);
        (bright, dull)
    };
    let cortex = d.fault(0.12, "cortex");
    Reflex {
        bright: d.vary(bright, 0.1),
        dull: d.vary(dull, 0.12),
        direction_deg: d.range(0.0, 360.0),
        steepness: d.range(0.0, 0.85),
        meeting_r: d.range(-0.4, 0.5) * radius_r,
        clouds: if cortex { d.range(0.5, 1.3) } else { d.range(0.0, 0.25) },
    }
}
