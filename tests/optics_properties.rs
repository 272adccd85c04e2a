//! Properties of the optics over random eyes, and the coverage of its intervals by drawing.

use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use stillaxis::geometry::{Axis, axis_difference};
use stillaxis::optics::angle_size::size_interval95;
use stillaxis::optics::best_axis::{BestAxis, doubt};
use stillaxis::optics::misalignment_cost::Plan;
use stillaxis::optics::rotation::{residual_d, residual_percent, residual_refraction, sizes_in_interval};
use stillaxis::optics::toric_lens::ToricEye;
use stillaxis::optics::vector_analysis::{Astigmatism, VectorAnalysis};
use stillaxis::optics::vergence::{
    at_corneal_plane, at_lens_plane, cornea_to_spectacles, spectacles_to_cornea, toric_at_cornea, toric_at_lens,
};
use stillaxis::optics::{PowerVector, SpheroCylinder};

fn axis(degrees: f64) -> Axis {
    Axis::from_degrees(degrees).unwrap()
}

fn power() -> impl Strategy<Value = SpheroCylinder> {
    (-15.0..15.0_f64, -8.0..8.0_f64, 0.0..180.0_f64).prop_map(|(s, c, a)| SpheroCylinder::new(s, c, axis(a)))
}

fn plan() -> impl Strategy<Value = Plan> {
    (0.5..5.0_f64, 0.0..180.0_f64, 0.5..5.0_f64, -15.0..15.0_f64, -3.0..3.0_f64, 10.0..15.0_f64).prop_map(
        |(astigmatism_d, steep, lens_at_cornea_d, off, spherical_equivalent_d, vertex_mm)| Plan {
            astigmatism_d,
            steep: axis(steep),
            lens_at_cornea_d,
            intended: axis(steep + off),
            spherical_equivalent_d,
            vertex_mm,
        },
    )
}

/// Distance of two powers, D, whatever form they are written in.
fn apart(a: SpheroCylinder, b: SpheroCylinder) -> f64 {
    (PowerVector::from(a) - PowerVector::from(b)).strength_d()
}

proptest! {
    #[test]
    fn planes_and_back(k in 35.0..55.0_f64, toric in 0.0..10.0_f64, position in 1.0..10.0_f64, f in power(), vertex in 0.0..20.0_f64) {
        prop_assert!((at_corneal_plane(at_lens_plane(k, position), position) - k).abs() < 1e-9);
        prop_assert!((toric_at_lens(k, toric_at_cornea(k, toric, position), position) - toric).abs() < 1e-9);
        prop_assert!(apart(spectacles_to_cornea(&cornea_to_spectacles(&f, vertex), vertex), f) < 1e-9);
        prop_assert!(apart(cornea_to_spectacles(&spectacles_to_cornea(&f, vertex), vertex), f) < 1e-9);
    }

    #[test]
    fn adding_then_taking_away_is_nothing(f in power(), lens in power()) {
        prop_assert!(apart(f + lens - lens, f) < 1e-9);
        prop_assert!(apart(f.transposed(), f) < 1e-9);
        prop_assert!(apart(SpheroCylinder::from(PowerVector::from(f)), f) < 1e-9);
    }

    #[test]
    fn turning_every_axis_turns_every_result(f in power(), lens in power(), x in -400.0..400.0_f64) {
        let turned = |p: SpheroCylinder| SpheroCylinder { axis: p.axis.turned(x), ..p };
        prop_assert!(apart(turned(f) + turned(lens), turned(f + lens)) < 1e-9);
        prop_assert!((PowerVector::from(f).turned(x) - PowerVector::from(turned(f))).strength_d() < 1e-9);
    }

    #[test]
    fn turning_the_eye_turns_what_is_left(plan in plan(), t in -90.0..90.0_f64, x in -400.0..400.0_f64) {
        let turned = Plan { steep: plan.steep.turned(x), intended: plan.intended.turned(x), ..plan };
        let (here, there) = (plan.residual(t), turned.residual(t));
        prop_assert!((here.power.turned(x) - there.power).strength_d() < 1e-9);
        prop_assert!((here.cylinder_d - there.cylinder_d).abs() < 1e-9);
        prop_assert!((here.spectacle_cylinder_d - there.spectacle_cylinder_d).abs() < 1e-9);
        // Size by the law of cosines, vector by crossing cylinders: two ways to one figure.
        prop_assert!((here.cylinder_d - here.power.cylinder_d()).abs() < 1e-9);
        prop_assert!((here.power.m_d - plan.spherical_equivalent_d).abs() < 1e-12);
    }

    #[test]
    fn matched_lens_leaves_twice_the_sine(c in 0.25..6.0_f64, steep in 0.0..180.0_f64, t in -360.0..360.0_f64) {
        let expected = 2.0 * c * t.to_radians().sin().abs();
        prop_assert!((residual_d(c, c, t) - expected).abs() < 1e-9);
        prop_assert!((residual_percent(t) * c / 100.0 - expected).abs() < 1e-9);
        let crossed = residual_refraction(c, axis(steep), c, axis(steep + t));
        prop_assert!((crossed.cylinder_d() - expected).abs() < 1e-9);
    }

    /// Every place of an interval has its size within the image, and both ends of the image are sizes of places.
    #[test]
    fn image_of_an_interval(low in -300.0..300.0_f64, width in 0.0..200.0_f64) {
        let [least, most] = sizes_in_interval([low, low + width]);
        let sizes: Vec<f64> = (0..=4000).map(|k| axis_difference(0.0, low + width * f64::from(k) / 4000.0).abs()).collect();
        let (seen_least, seen_most) = sizes.iter().fold((90.0_f64, 0.0_f64), |(l, m), &s| (l.min(s), m.max(s)));
        let step = width / 4000.0 + 1e-9;
        prop_assert!(least <= seen_least + 1e-9 && seen_least - least <= step, "{least} {seen_least}");
        prop_assert!(most >= seen_most - 1e-9 && most - seen_most <= step, "{most} {seen_most}");
    }

    /// The best axis and what is left there against a scan of all axes; what is left now is the refraction's own.
    #[test]
    fn best_axis_is_that_of_a_scan(refraction in power(), lens_d in 0.5..6.0_f64, now in 0.0..180.0_f64) {
        let refraction = PowerVector::from(refraction);
        let best = BestAxis::find(refraction, lens_d, axis(now));
        let lens_at = |at: f64| PowerVector::from(SpheroCylinder::correcting(lens_d, axis(at)));
        let left_at = |at: f64| (refraction + lens_at(now) - lens_at(at)).cylinder_d();
        prop_assume!(best.astigmatism_d > 0.05);
        let step = 0.05;
        let scan = (0..3_600).map(|k| f64::from(k) * step).min_by(|a, b| left_at(*a).total_cmp(&left_at(*b))).unwrap();
        prop_assert!(axis_difference(scan, best.axis.unwrap().degrees()).abs() <= step);
        prop_assert!((left_at(best.axis.unwrap().degrees()) - best.left_d).abs() < 1e-9);
        prop_assert!((axis(now).turned(best.turn_deg.unwrap()).turn_to(best.axis.unwrap())).abs() < 1e-9);
        prop_assert!((best.residual_at(axis(now)) - best.now_d).abs() < 1e-9);
        prop_assert!((best.residual_at(axis(scan)) - left_at(scan)).abs() < 1e-9);
    }

    /// A misaligned lens in words of vector analysis: the difference vector is the residual, the correction index that
    /// of a change of 2 C sin t less than intended.
    #[test]
    fn vector_analysis_of_a_misaligned_lens(plan in plan(), t in -40.0..40.0_f64) {
        let before = Astigmatism::new(plan.astigmatism_d, plan.steep);
        let after = Astigmatism::from(plan.residual(t).power);
        let eye = VectorAnalysis::new(before, Astigmatism::new(0.0, Axis::ZERO), after);
        prop_assert!((eye.difference.magnitude_d() - plan.residual(t).cylinder_d).abs() < 1e-9);
        prop_assert!((eye.surgically_induced.magnitude_d() - plan.lens_at_cornea_d).abs() < 1e-9);
        prop_assert!((eye.correction_index.unwrap() - plan.lens_at_cornea_d / plan.astigmatism_d).abs() < 1e-9);
        let off = axis_difference(plan.steep.degrees(), plan.intended.degrees() + t);
        prop_assert!(axis_difference(eye.angle_error_deg.unwrap(), off).abs() < 1e-7);
    }
}

proptest! {
    /// Crossing lens and cornea as thin cylinders at the cornea, as the record does, against vergence matrices through
    /// the whole eye: 0.03 D at most for lenses of 0.7 to 1.4 of what the cornea has, wherever they stand; the same bound by
    /// NumPy over 60,000 eyes.
    #[test]
    fn crossing_at_the_cornea_is_near_the_whole_eye(
        flat in 40.0..47.0_f64, ratio in 0.7..1.4_f64, toric in 1.0..6.0_f64, t in -90.0..90.0_f64,
        position in 4.0..6.0_f64, retina in 22.0..26.0_f64,
    ) {
        let steep = axis(70.0);
        let lens_at_cornea_d = toric_at_cornea(flat, toric, position);
        let astigmatism = lens_at_cornea_d * ratio;
        let plan = Plan {
            astigmatism_d: astigmatism,
            steep,
            lens_at_cornea_d,
            intended: steep,
            spherical_equivalent_d: 0.0,
            vertex_mm: 12.0,
        };
        // A sphere that leaves about none.
        let needed = stillaxis::optics::vergence::AQUEOUS_INDEX / ((retina - position) / 1000.0);
        let sphere = needed - at_lens_plane(flat + astigmatism / 2.0, position) - toric / 2.0;
        let eye = ToricEye {
            cornea: SpheroCylinder::of_surface(flat, flat + astigmatism, steep),
            lens: SpheroCylinder::new(sphere, toric, steep.turned(t)),
            lens_position_mm: position,
            retina_mm: retina,
        };
        let exact = eye.refraction().unwrap().cylinder_d();
        let crossed = plan.residual(t).cylinder_d;
        prop_assert!((exact - crossed).abs() < 0.031, "{exact} {crossed}");
    }
}

/// What the doubt in the lens axis makes of the best axis holds the truth 94 to 96 times of 100 where turn and rest
/// go one way over the interval; and the turn is hardly touched by it.
#[test]
fn doubt_in_the_best_axis() {
    const DRAWS: usize = 20_000;
    let (lens_d, sd) = (2.4, 1.5);
    for (refraction, stands) in
        [(SpheroCylinder::new(0.25, -0.75, axis(115.0)), 50.0), (SpheroCylinder::new(-0.5, -1.25, axis(60.0)), 178.0)]
    {
        let refraction = PowerVector::from(refraction);
        let truth = BestAxis::find(refraction, lens_d, axis(stands));
        let [mut turn, mut left] = [0; 2];
        for reading in readings(stands, sd, DRAWS) {
            let read = doubt(refraction, lens_d, axis(reading), sd);
            let [low, high] = read.turn_interval95_deg.unwrap();
            turn += usize::from(low - 1e-9 <= truth.turn_deg.unwrap() && truth.turn_deg.unwrap() <= high + 1e-9);
            let [low, high] = read.left_interval95_d;
            left += usize::from(low - 1e-12 <= truth.left_d && truth.left_d <= high + 1e-12);
        }
        for held in [turn, left] {
            assert!((0.94..=0.96).contains(&share(held, DRAWS)), "{held}");
        }
        let [low, high] = doubt(refraction, lens_d, axis(stands), sd).turn_interval95_deg.unwrap();
        assert!(high - low < 0.6 * 2.0 * 1.96 * sd, "{low} {high}");
    }
}

/// Readings of one true angle, with normal noise.
fn readings(truth: f64, sd: f64, count: usize) -> impl Iterator<Item = f64> {
    let mut random = ChaCha8Rng::seed_from_u64(20_240_611);
    let noise = Normal::new(truth, sd).unwrap();
    (0..count).map(move |_| noise.sample(&mut random))
}

fn share(count: usize, of: usize) -> f64 {
    count as f64 / of as f64
}

/// 95 % hold in 94 to 96 %: of the size, the residual in percent, in dioptres at both planes, and the gain; at 0, where the
/// interval of the angle mostly holds 0, where it does half of the time, far away, and at the other fold.
#[test]
fn intervals_hold_the_truth() {
    const DRAWS: usize = 20_000;
    let sd = 1.5;
    let plan = Plan {
        astigmatism_d: 2.0,
        steep: axis(70.0),
        lens_at_cornea_d: 1.6,
        intended: axis(71.0),
        spherical_equivalent_d: -0.5,
        vertex_mm: 12.0,
    };
    for truth in [0.0, 0.7, -1.5, 2.4, -2.9, 4.5, 12.0, 45.0, -86.0, 89.0, 90.0] {
        let error = truth - 1.0;
        let true_left = plan.residual(error);
        let [mut size, mut percent, mut cornea, mut spectacles, mut gain] = [0; 5];
        let within = |[low, high]: [f64; 2], value: f64| usize::from(low <= value + 1e-12 && value <= high + 1e-12);
        for reading in readings(error, sd, DRAWS) {
            let interval = size_interval95(reading + 1.0, sd);
            size += within(interval, axis_difference(0.0, truth).abs());
            percent += within(interval.map(residual_percent), residual_percent(truth));
            let cost = plan.cost(reading, sd);
            cornea += within(cost.cylinder_interval95_d, true_left.cylinder_d);
            spectacles += within(cost.spectacle_interval95_d, true_left.spectacle_cylinder_d);
            gain += within(cost.gain_interval95_d, true_left.cylinder_d - cost.placed.cylinder_d);
            assert!(cost.cylinder_interval95_d[0] >= 0.0);
        }
        for (name, held) in
            [("size", size), ("percent", percent), ("cornea", cornea), ("spectacles", spectacles), ("gain", gain)]
        {
            let held = share(held, DRAWS);
            assert!((0.94..=0.96).contains(&held), "{name} at {truth}: {held}");
        }
    }
}

/// The turn back wins nothing for sure exactly where the interval of the angle holds 0, for a matched lens in place.
#[test]
fn no_gain_where_the_angle_may_be_none() {
    let plan = Plan {
        astigmatism_d: 2.0,
        steep: axis(10.0),
        lens_at_cornea_d: 2.0,
        intended: axis(10.0),
        spherical_equivalent_d: 0.0,
        vertex_mm: 12.0,
    };
    for k in -100..=100 {
        let error = f64::from(k) / 10.0 + 0.05;
        let cost = plan.cost(error, 1.5);
        let holds_none = error.abs() < 1.959_964 * 1.5;
        assert_eq!(cost.may_gain_nothing, holds_none, "{error}");
        assert_eq!(cost.axis.is_none(), holds_none, "{error}");
        assert!((cost.gain_d - cost.now.cylinder_d).abs() < 1e-12);
    }
    // What a stronger lens leaves at its place keeps an axis, whatever the noise about 0.
    let stronger = Plan { lens_at_cornea_d: 3.0, ..plan };
    assert!((stronger.cost(0.1, 1.5).axis.unwrap().turn_to(axis(10.0))).abs() < 1.0);
}

/// Covariance of J0 and J45 against that of drawn lenses; at 15 degrees of noise a linearised one is 10 % off.
#[test]
fn covariance_of_the_vector() {
    const DRAWS: usize = 200_000;
    let plan = Plan {
        astigmatism_d: 1.0,
        steep: axis(0.0),
        lens_at_cornea_d: 2.0,
        intended: axis(20.0),
        spherical_equivalent_d: 0.0,
        vertex_mm: 12.0,
    };
    for sd in [1.0, 15.0] {
        let drawn: Vec<_> = readings(7.0, sd, DRAWS).map(|t| plan.residual(t).power).collect();
        let n = DRAWS as f64;
        let mean = |of: &dyn Fn(&PowerVector) -> f64| drawn.iter().map(of).sum::<f64>() / n;
        let (m0, m45) = (mean(&|p| p.j0_d), mean(&|p| p.j45_d));
        let expected = plan.cost(7.0, sd).covariance_d2;
        let scale = expected.trace();
        for (got, expected) in [
            (mean(&|p| (p.j0_d - m0).powi(2)), expected[(0, 0)]),
            (mean(&|p| (p.j45_d - m45).powi(2)), expected[(1, 1)]),
            (mean(&|p| (p.j0_d - m0) * (p.j45_d - m45)), expected[(0, 1)]),
        ] {
            assert!((got - expected).abs() < 0.01 * scale, "{sd}: {got} is not {expected}");
        }
    }
}
