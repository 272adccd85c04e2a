//! Findings and plan to angle, offset and interval.
//!
//! All directions are taken in the plane of the limbus ([`EyeMap`]), and each depends on where the eye's 0 lies in it,
//! which follows from the marks: `solve_marks` goes round until that is at rest. The uncertainty is carried through the
//! whole of it by differences: each input is moved by its standard deviation and the error looked at, so that what
//! cancels (the centre of the limbus between two opposite marks, its shape where the lens lies on the marks) does.

use crate::geometry::ellipse_fit::{from_parameters, parameters};
use crate::geometry::{
    Axis, Ellipse, EyeMap, Matrix, Meridian, OvalPrior, PixelPoint, Vector, are_opposite, axis_difference, ccw_degrees,
    direction_difference,
};
use crate::normal::Z95;
use nalgebra::{DMatrix, DVector, Matrix5};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// White-to-white distance where the sheet gives none, mm: published averages lie near it, eyes differ by 0.4 (from
/// memory).
pub const AVERAGE_WIDTH_MM: f64 = 11.7;
/// Standard deviation of height over width where the sheet gives both: a caliper reads to about 0.1 mm.
const MEASURED_OVAL_SD: f64 = 0.012;

/// Half of the 95 % interval that a variance (degrees squared) leaves, degrees.
pub fn half95_deg(variance_deg2: f64) -> f64 {
    Z95 * variance_deg2.sqrt()
}

/// What was planned and is known of the eye.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Axis the lens was planned at, degrees in the eye's notation.
    pub intended_axis_deg: Option<f64>,
    /// Whether the reference marks denote meridians of the eye; otherwise they stand on the intended axis.
    pub marks_denote_meridians: bool,
    /// White-to-white distance, mm.
    pub white_to_white_mm: Option<f64>,
    /// Height of the limbus, mm.
    pub limbus_height_mm: Option<f64>,
}

impl Plan {
    /// White-to-white distance, mm: the eye's own, or the average.
    pub fn width_mm(&self) -> f64 {
        self.white_to_white_mm.unwrap_or(AVERAGE_WIDTH_MM)
    }
}

/// The limbus as read, px.
#[derive(Clone, Debug)]
pub struct LimbusReading {
    /// Its ellipse.
    pub ellipse: Ellipse,
    /// Covariance of (cx, cy, E11, E12, E22), px^2.
    pub covariance: Matrix5<f64>,
}

impl LimbusReading {
    /// For each of the five independent directions in which it is uncertain, the limbus one standard deviation to either side;
    /// `None` where that is no ellipse.
    pub fn one_sd_away(&self) -> impl Iterator<Item = [Option<Ellipse>; 2]> {
        let eigen = self.covariance.symmetric_eigen();
        let read = parameters(&self.ellipse);
        (0..eigen.eigenvalues.len()).map(move |k| {
            let step = eigen.eigenvectors.column(k) * eigen.eigenvalues[k].max(0.0).sqrt();
            [1.0, -1.0].map(|sign| from_parameters(&(read + step * sign)))
        })
    }
}

/// A reference mark as read.
#[derive(Clone, Debug)]
pub struct MarkReading {
    /// Centroid, px.
    pub place: PixelPoint,
    /// Covariance of the centroid, px^2.
    pub covariance: Matrix,
    /// The meridian it stands for, degrees: of the eye where the plan says so, else from the reference axis (0 or 180).
    pub denotes_deg: f64,
}

/// The reference marks in the plane of the limbus.
#[derive(Clone, Debug)]
pub struct PlacedMarks {
    /// The map between picture and plane.
    pub map: EyeMap,
    /// Rotation that takes what the marks denote onto where they stand, degrees counter-clockwise.
    pub rotation_deg: f64,
    /// Where the eye's 0 lies, degrees counter-clockwise; `None` where neither marks nor plan tell it.
    pub zero_deg: Option<f64>,
    /// Each mark's meridian with the standard deviation of its own reading, degrees.
    pub meridians: Vec<(Meridian, f64)>,
}

/// The lens axis as read: two points on it, px, with their covariances.
#[derive(Clone, Debug)]
pub struct LensReading {
    /// The two points.
    pub ends: [(PixelPoint, Matrix); 2],
    /// Whether they are the centroids of both groups, so that their middle is the middle of the lens.
    pub both_groups: bool,
}

/// Why no error can be given from complete findings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AlignmentError {
    /// The marks denote meridians, and nothing says which axis was intended.
    #[error(
        "the marks denote meridians of the eye, but no intended axis is given; the lens axis lies at {lens_axis_deg:.1}°"
    )]
    NoIntendedAxis {
        /// Lens axis in the eye's notation, degrees.
        lens_axis_deg: f64,
    },
    /// A mark lies in the middle of the limbus, or the limbus has no size.
    #[error("the reference marks that were found have no direction from the centre of the limbus")]
    MarksWithoutDirection,
    /// Both ends of the lens's axis lie in one place.
    #[error("the lens marks that were found lie in one place and have no direction")]
    LensWithoutDirection,
}

// Part of the record as it stands: what is changed here is changed in the contract.
/// Variance of the error by source, degrees squared. They add up to `sd_deg` squared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VarianceParts {
    /// Reading the reference marks.
    pub reference_marks: f64,
    /// Reading the lens marks.
    pub lens_marks: f64,
    /// Centre and shape of the limbus.
    pub limbus: f64,
    /// The limbus's own height over width.
    pub oval: f64,
    /// Depth of the lens behind the limbus under tilt.
    pub parallax: f64,
}

impl VarianceParts {
    /// Variance of the error, degrees squared.
    pub fn sum(&self) -> f64 {
        self.reference_marks + self.lens_marks + self.limbus + self.oval + self.parallax
    }
}

/// The alignment with all that was derived on the way.
#[derive(Clone, Debug)]
pub struct Aligned {
    /// Lens axis less intended axis, degrees, [-90, 90).
    pub error_deg: f64,
    /// Its variance by source, degrees squared.
    pub parts: VarianceParts,
    /// Direction of the reference axis in the plane of the limbus.
    pub reference: Axis,
    /// Direction of the intended axis there.
    pub intended: Axis,
    /// Direction of the lens axis there.
    pub lens: Axis,
    /// Lens axis in the eye's own notation, where the eye's 0 is known.
    pub lens_axis_in_eye: Option<Axis>,
    /// How far two opposite marks are from opposite, degrees.
    pub marks_opposition_deg: Option<f64>,
    /// Middle of the lens from the centre of the limbus, mm on the limbus scale, x right, y up as seen.
    pub offset_apparent_mm: Option<[f64; 2]>,
    /// The map all of it was taken in.
    pub map: EyeMap,
}

impl Aligned {
    /// Standard deviation of the error, degrees.
    pub fn sd_deg(&self) -> f64 {
        self.parts.sum().sqrt()
    }

    /// 95 % interval of the error, degrees, unwrapped.
    pub fn interval95_deg(&self) -> [f64; 2] {
        let half = half95_deg(self.parts.sum());
        [self.error_deg - half, self.error_deg + half]
    }
}

/// What the height over width of this limbus is held to be.
pub fn oval_prior(plan: &Plan) -> OvalPrior {
    match (plan.white_to_white_mm, plan.limbus_height_mm) {
        (Some(width), Some(height)) => OvalPrior { height_over_width: height / width, sd: MEASURED_OVAL_SD },
        _ if plan.marks_denote_meridians || plan.intended_axis_deg.is_some() => OvalPrior::AVERAGE,
        _ => OvalPrior::UNKNOWN_DIRECTION,
    }
}

/// What the marks' rotation depends on, as one point that can be moved.
#[derive(Clone)]
struct MarkInputs<'a> {
    plan: &'a Plan,
    ellipse: Ellipse,
    center_covariance: Matrix,
    marks: Vec<MarkReading>,
    height_over_width: f64,
}

impl<'a> MarkInputs<'a> {
    fn new(limbus: &LimbusReading, marks: &[MarkReading], plan: &'a Plan) -> Self {
        Self {
            plan,
            ellipse: limbus.ellipse,
            center_covariance: limbus.covariance.fixed_view::<2, 2>(0, 0).into_owned(),
            marks: marks.to_vec(),
            height_over_width: oval_prior(plan).height_over_width,
        }
    }
}

/// Everything the error depends on, as one point that can be moved.
#[derive(Clone)]
struct Inputs<'a> {
    reference: MarkInputs<'a>,
    lens: [PixelPoint; 2],
}

/// The eye's 0 in the plane of the limbus for a given rotation of the marks; `None` where nothing tells it.
fn zero_direction(plan: &Plan, rotation: f64) -> Option<f64> {
    if plan.marks_denote_meridians { Some(rotation) } else { plan.intended_axis_deg.map(|axis| rotation - axis) }
}

/// The map, and in it the rotation that takes what the marks denote onto where they stand, degrees.
fn solve_marks(inputs: &MarkInputs) -> Option<(EyeMap, f64)> {
    let width = inputs.plan.width_mm();
    let mut zero = 0.0;
    let mut last = None;
    // Each round changes the map by the oval's few percent of the last change: a handful of rounds is exact.
    for _ in 0..8 {
        let map = EyeMap::new(&inputs.ellipse, width, inputs.height_over_width, zero)?;
        let rotation = rotation_of_marks(inputs, &map)?;
        let next = zero_direction(inputs.plan, rotation).unwrap_or(rotation);
        let settled = axis_difference(zero, next).abs() < 1e-10;
        zero = next;
        last = Some((map, rotation));
        if settled {
            break;
        }
    }
    last
}

/// Where the marks stand in the plane of the limbus; `None` where marks or limbus have no direction or size.
pub fn place_marks(limbus: &LimbusReading, marks: &[MarkReading], plan: &Plan) -> Option<PlacedMarks> {
    let (map, rotation_deg) = solve_marks(&MarkInputs::new(limbus, marks, plan))?;
    let meridians = marks.iter().map(|mark| {
        let eye = map.to_eye(&mark.place);
        let slope = meridian_slope(&map, &eye);
        Meridian::of(&eye).map(|meridian| (meridian, slope.dot(&(mark.covariance * slope)).sqrt()))
    });
    let meridians = meridians.collect::<Option<Vec<_>>>()?;
    Some(PlacedMarks { map, rotation_deg, zero_deg: zero_direction(plan, rotation_deg), meridians })
}

/// Rotation of the marks, degrees.
///
/// Two marks that denote opposite meridians: their chord, free of the centre of the limbus. Otherwise generalised
/// least squares on the meridians, the centre's covariance shared by all of them.
fn rotation_of_marks(inputs: &MarkInputs, map: &EyeMap) -> Option<f64> {
    if let [a, b] = inputs.marks.as_slice()
        && are_opposite(a.denotes_deg, b.denotes_deg)
    {
        return Some(ccw_degrees(&map.displacement_to_eye(&(a.place - b.place)))? - a.denotes_deg);
    }
    let count = inputs.marks.len();
    let first = ccw_degrees(&map.to_eye(&inputs.marks.first()?.place))? - inputs.marks[0].denotes_deg;
    let mut covariance = DMatrix::zeros(count, count);
    let mut residual = DVector::zeros(count);
    let mut slopes = Vec::with_capacity(count);
    for (i, mark) in inputs.marks.iter().enumerate() {
        let eye = map.to_eye(&mark.place);
        let meridian = ccw_degrees(&eye)? - mark.denotes_deg;
        residual[i] = direction_difference(first, meridian);
        let slope = meridian_slope(map, &eye);
        covariance[(i, i)] += slope.dot(&(mark.covariance * slope));
        slopes.push(slope);
    }
    for i in 0..count {
        for j in 0..count {
            covariance[(i, j)] += slopes[i].dot(&(inputs.center_covariance * slopes[j]));
        }
    }
    let solved = covariance.cholesky()?;
    let ones = DVector::from_element(count, 1.0);
    let weighted = solved.solve(&ones);
    Some(first + weighted.dot(&residual) / weighted.sum())
}

/// Derivative of a meridian (degrees, counter-clockwise) with respect to the place of its mark in the picture (px).
fn meridian_slope(map: &EyeMap, eye: &Vector) -> Vector {
    let across = Vector::new(eye.y, -eye.x) / eye.norm_squared();
    map.inverse_matrix() * across * 1f64.to_degrees()
}

/// Error of the alignment with its interval.
///
/// # Errors
/// [`AlignmentError`] where the plan or the findings do not determine one.
pub fn align(
    limbus: &LimbusReading,
    marks: &[MarkReading],
    lens: &LensReading,
    plan: &Plan,
) -> Result<Aligned, AlignmentError> {
    let no_marks = || AlignmentError::MarksWithoutDirection;
    let no_lens = || AlignmentError::LensWithoutDirection;
    let inputs = Inputs { reference: MarkInputs::new(limbus, marks, plan), lens: [lens.ends[0].0, lens.ends[1].0] };
    let PlacedMarks { map, rotation_deg, zero_deg, meridians } =
        place_marks(limbus, marks, plan).ok_or_else(no_marks)?;
    let lens_deg = lens_direction(&inputs.lens, &map).ok_or_else(no_lens)?;
    let lens_axis = Axis::from_degrees(lens_deg).ok_or_else(no_lens)?;
    let lens_axis_in_eye = zero_deg.and_then(|zero| Axis::from_degrees(lens_deg - zero));
    let Some(error) = error_of(plan, rotation_deg, lens_deg) else {
        return Err(match lens_axis_in_eye {
            Some(axis) => AlignmentError::NoIntendedAxis { lens_axis_deg: axis.notation_degrees() },
            None => no_marks(),
        });
    };
    let parts = variance_parts(&inputs, limbus, lens, error).ok_or_else(no_lens)?;
    let opposition = match (marks, meridians.as_slice()) {
        ([a, b], [(ma, _), (mb, _)]) if are_opposite(a.denotes_deg, b.denotes_deg) => {
            Some(axis_difference(ma.degrees(), mb.degrees()))
        }
        _ => None,
    };
    let middle = PixelPoint::from((lens.ends[0].0.coords + lens.ends[1].0.coords) / 2.0);
    let offset = lens.both_groups.then(|| {
        let eye = map.to_eye(&middle);
        [eye.x, -eye.y]
    });
    let reference_axis = if plan.marks_denote_meridians {
        rotation_deg + marks.first().map_or(0.0, |m| m.denotes_deg)
    } else {
        rotation_deg
    };
    Ok(Aligned {
        error_deg: error,
        parts,
        reference: Axis::from_degrees(reference_axis).ok_or_else(no_marks)?,
        intended: lens_axis.turned(-error),
        lens: lens_axis,
        lens_axis_in_eye,
        marks_opposition_deg: opposition,
        offset_apparent_mm: offset,
        map,
    })
}

/// Direction of the lens axis in the plane of the limbus, degrees counter-clockwise.
fn lens_direction(ends: &[PixelPoint; 2], map: &EyeMap) -> Option<f64> {
    ccw_degrees(&map.displacement_to_eye(&(ends[1] - ends[0])))
}

/// Lens axis less intended axis, degrees, [-90, 90); `None` where the plan names no axis.
fn error_of(plan: &Plan, rotation_deg: f64, lens_deg: f64) -> Option<f64> {
    let intended = if plan.marks_denote_meridians { rotation_deg + plan.intended_axis_deg? } else { rotation_deg };
    Some(axis_difference(intended, lens_deg))
}

/// Variance of the error by source.
fn variance_parts(inputs: &Inputs, limbus: &LimbusReading, lens: &LensReading, error: f64) -> Option<VarianceParts> {
    let plan = inputs.reference.plan;
    // Half the difference of the errors at plus and minus one standard deviation of an input.
    let moved = |change: &dyn Fn(&mut Inputs, f64) -> Option<()>| -> Option<f64> {
        let mut sides = [0.0; 2];
        for (side, sign) in sides.iter_mut().zip([1.0, -1.0]) {
            let mut changed = inputs.clone();
            change(&mut changed, sign)?;
            let (map, rotation) = solve_marks(&changed.reference)?;
            *side = axis_difference(error, error_of(plan, rotation, lens_direction(&changed.lens, &map)?)?);
        }
        Some(((sides[0] - sides[1]) / 2.0).powi(2))
    };
    let mut parts = VarianceParts::default();
    for (i, mark) in inputs.reference.marks.iter().enumerate() {
        for step in principal_steps(&mark.covariance) {
            parts.reference_marks += moved(&|c, sign| {
                c.reference.marks[i].place += step * sign;
                Some(())
            })?;
        }
    }
    for (i, (_, covariance)) in lens.ends.iter().enumerate() {
        for step in principal_steps(covariance) {
            parts.lens_marks += moved(&|c, sign| {
                c.lens[i] += step * sign;
                Some(())
            })?;
        }
    }
    for [more, less] in limbus.one_sd_away() {
        parts.limbus += moved(&|c, sign| {
            c.reference.ellipse = if sign > 0.0 { more? } else { less? };
            Some(())
        })?;
    }
    parts.oval = moved(&|c, sign| {
        c.reference.height_over_width += sign * oval_prior(plan).sd;
        Some(())
    })?;
    parts.parallax = depth_sd_deg(&inputs.reference.ellipse).powi(2);
    Some(parts)
}

/// The two principal axes of a covariance, each as long as its standard deviation.
fn principal_steps(covariance: &Matrix) -> [Vector; 2] {
    let eigen = covariance.symmetric_eigen();
    [0, 1].map(|k| eigen.eigenvectors.column(k) * eigen.eigenvalues[k].max(0.0).sqrt())
}

/// What the lens's depth behind the limbus does to its direction, as a standard deviation in degrees.
///
/// Once foreshortening is undone a tilt of 10 degrees turns the lens by less than 0.1 degree, one of 20 by 0.3: about
/// quadratic in the tilt. The tilt is read off the ellipse, as far as it is flatter than all but the flattest limbi are by
/// themselves (two standard deviations); less than that may hide the few degrees that are the rule (common practice, no
/// source). A still flatter than one tilted by 12 is a squeezed recording as a rule, since nobody operates on an eye that looks so
/// far aside (the same).
fn depth_sd_deg(ellipse: &Ellipse) -> f64 {
    const HIDDEN_DEG: f64 = 4.0;
    const MOST_DEG: f64 = 12.0;
    const AT_TEN_DEGREES: f64 = 0.05;
    const FLATTEST: f64 = OvalPrior::AVERAGE.height_over_width - 2.0 * OvalPrior::AVERAGE.sd;
    let [longer, shorter] = ellipse.semi_axes_px();
    let foreshortening = (shorter / longer / FLATTEST).min(1.0);
    let tilt = foreshortening.acos().to_degrees().clamp(HIDDEN_DEG, MOST_DEG);
    AT_TEN_DEGREES * (tilt / 10.0).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::direction_of;

    const CENTER: PixelPoint = PixelPoint::new(500.0, 400.0);

    fn sure(p: PixelPoint) -> (PixelPoint, Matrix) {
        (p, Matrix::identity() * 0.01)
    }

    /// A scene in the plane of the limbus, seen through the map of a tilted, squeezed limbus.
    struct Scene {
        ellipse: Ellipse,
        ratio: f64,
        zero: f64,
    }

    impl Scene {
        fn map(&self) -> EyeMap {
            EyeMap::new(&self.ellipse, AVERAGE_WIDTH_MM, self.ratio, self.zero).unwrap()
        }

        fn mark(&self, meridian: f64, denotes: f64) -> MarkReading {
            let place = self.map().to_picture(&(direction_of(meridian) * 6.0));
            MarkReading { place, covariance: Matrix::identity() * 0.01, denotes_deg: denotes }
        }

        fn lens(&self, axis: f64) -> LensReading {
            let (d, off) = (direction_of(axis) * 2.6, Vector::new(0.3, -0.2));
            let map = self.map();
            LensReading {
                ends: [sure(map.to_picture(&(off - d))), sure(map.to_picture(&(off + d)))],
                both_groups: true,
            }
        }

        fn limbus(&self) -> LimbusReading {
            LimbusReading { ellipse: self.ellipse, covariance: Matrix5::identity() * 4.0 }
        }
    }

    fn scene(zero: f64) -> Scene {
        Scene { ellipse: Ellipse::from_axes(CENTER, [200.0, 150.0], 20.0).unwrap(), ratio: 0.94, zero }
    }

    /// By hand: a natural oval, even the flattest, is no tilt, 10 degrees beyond it are, and a recording squeezed to 0.6 is not
    /// taken for 50.
    #[test]
    fn tilt_is_what_is_flatter_than_a_limbus_by_itself() {
        let sd = |ratio: f64| depth_sd_deg(&Ellipse::from_axes(CENTER, [200.0, 200.0 * ratio], 30.0).unwrap());
        for (ratio, expected) in
            [(1.0, 0.008), (0.94, 0.008), (0.88, 0.008), (0.88 * 10.0_f64.to_radians().cos(), 0.05), (0.6, 0.072)]
        {
            assert!((sd(ratio) - expected).abs() < 1e-9, "{ratio}: {}", sd(ratio));
        }
    }

    /// Marks without a lens: they stand where they were put, whatever tilt, squeeze and the eye's own turn.
    #[test]
    fn marks_are_placed_without_a_lens() {
        for zero in [-40.0, 13.0, 95.0] {
            let s = scene(zero);
            let on_axis = Plan { intended_axis_deg: Some(30.0), ..Plan::default() };
            let denoting = Plan { marks_denote_meridians: true, ..Plan::default() };
            for (plan, counted_from) in [(on_axis, zero + 30.0), (denoting, zero)] {
                for denoted in [vec![0.0, 180.0], vec![180.0], vec![0.0, 90.0, 270.0]] {
                    let marks: Vec<MarkReading> = denoted.iter().map(|d| s.mark(counted_from + d, *d)).collect();
                    let placed = place_marks(&s.limbus(), &marks, &plan).unwrap();
                    assert!(axis_difference(placed.zero_deg.unwrap(), zero).abs() < 1e-6, "{:?}", placed.zero_deg);
                    for ((meridian, sd_deg), denotes) in placed.meridians.iter().zip(&denoted) {
                        let off = axis_difference(counted_from + denotes, meridian.degrees());
                        assert!(off.abs() < 1e-6 && *sd_deg > 0.0, "{zero}: {off} +- {sd_deg}");
                    }
                }
            }
        }
    }

    /// Marks on the intended axis: the error comes back whatever tilt, squeeze and the eye's own turn.
    #[test]
    fn marks_on_the_axis() {
        for zero in [-40.0, 0.0, 13.0, 95.0] {
            for (axis, error) in [(30.0, 4.0), (100.0, -12.0), (5.0, 0.0), (178.0, 7.5)] {
                let s = scene(zero);
                let marks = [s.mark(zero + axis, 0.0), s.mark(zero + axis + 180.0, 180.0)];
                let plan = Plan { intended_axis_deg: Some(axis), ..Plan::default() };
                let a = align(&s.limbus(), &marks, &s.lens(zero + axis + error), &plan).unwrap();
                assert!((a.error_deg - error).abs() < 1e-6, "{}", a.error_deg);
                let in_eye = a.lens_axis_in_eye.unwrap();
                assert!(in_eye.turn_to(Axis::from_degrees(axis + error).unwrap()).abs() < 1e-6);
                let [x, y] = a.offset_apparent_mm.unwrap();
                assert!((x - 0.3).abs() < 1e-6 && (y - 0.2).abs() < 1e-6);
                assert!(a.marks_opposition_deg.unwrap().abs() < 1e-6);
            }
        }
    }

    /// Marks on 0 and 180, on 0, 90 and 180, or on 270 alone: the intended axis is laid off from them.
    #[test]
    fn marks_on_meridians() {
        let zero = 25.0;
        let s = scene(zero);
        for denoted in [vec![0.0, 180.0], vec![0.0, 90.0, 180.0], vec![270.0]] {
            let marks: Vec<_> = denoted.iter().map(|d| s.mark(zero + d, *d)).collect();
            let plan = Plan { intended_axis_deg: Some(70.0), marks_denote_meridians: true, ..Plan::default() };
            let a = align(&s.limbus(), &marks, &s.lens(zero + 73.0), &plan).unwrap();
            assert!((a.error_deg - 3.0).abs() < 1e-6, "{denoted:?}: {}", a.error_deg);
        }
    }

    /// The oval matters little where the lens lies on its marks and much where it lies 45 degrees off them: a
    /// limbus of height over width 0.94 that is taken for round puts an axis wrong by up to atan(1 / 0.94) - 45 = 1.8 degrees, 29 for
    /// each unit of the ratio, so 0.9 for an sd of 0.03.
    #[test]
    fn the_oval_belongs_in_the_interval() {
        let s = Scene { ellipse: Ellipse::from_axes(CENTER, [200.0, 188.0], 0.0).unwrap(), ratio: 0.94, zero: 0.0 };
        let on_axis = Plan { intended_axis_deg: Some(45.0), ..Plan::default() };
        let near = align(&s.limbus(), &[s.mark(45.0, 0.0), s.mark(225.0, 180.0)], &s.lens(47.0), &on_axis).unwrap();
        let denoting = Plan { marks_denote_meridians: true, ..on_axis };
        let far = align(&s.limbus(), &[s.mark(0.0, 0.0), s.mark(180.0, 180.0)], &s.lens(47.0), &denoting).unwrap();
        assert!(near.parts.oval.sqrt() < 0.08, "{}", near.parts.oval.sqrt());
        assert!((0.7..1.1).contains(&far.parts.oval.sqrt()), "{}", far.parts.oval.sqrt());
    }

    /// Two opposite marks: the centre of the limbus drops out. One mark: it does not.
    #[test]
    fn the_centre_drops_out_of_a_chord() {
        let s = scene(0.0);
        let plan = Plan { intended_axis_deg: Some(30.0), ..Plan::default() };
        let mut limbus = s.limbus();
        limbus.covariance = Matrix5::from_diagonal(&nalgebra::Vector5::new(9.0, 9.0, 0.0, 0.0, 0.0));
        let pair = align(&limbus, &[s.mark(30.0, 0.0), s.mark(210.0, 180.0)], &s.lens(31.0), &plan).unwrap();
        let single = align(&limbus, &[s.mark(30.0, 0.0)], &s.lens(31.0), &plan).unwrap();
        assert!(pair.parts.limbus < 1e-12);
        assert!(single.parts.limbus.sqrt() > 0.5);
    }

    /// The propagated standard deviation against that of many drawn readings.
    #[test]
    fn interval_against_monte_carlo() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let s = scene(10.0);
        let plan = Plan { intended_axis_deg: Some(40.0), ..Plan::default() };
        let marks = [s.mark(50.0, 0.0), s.mark(230.0, 180.0)];
        let lens = s.lens(56.0);
        let a = align(&s.limbus(), &marks, &lens, &plan).unwrap();
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let errors: Vec<f64> = (0..4000)
            .map(|_| {
                let mut marks = marks.clone();
                let mut lens = lens.clone();
                let mut limbus = s.limbus();
                for m in &mut marks {
                    m.place += Vector::new(normal(), normal()) * 0.1;
                }
                for e in &mut lens.ends {
                    e.0 += Vector::new(normal(), normal()) * 0.1;
                }
                let step = nalgebra::Vector5::from_fn(|_, _| normal()) * 2.0;
                limbus.ellipse = from_parameters(&(parameters(&limbus.ellipse) + step)).unwrap();
                align(&limbus, &marks, &lens, &plan).unwrap().error_deg - a.error_deg
            })
            .collect();
        let sd = (errors.iter().map(|e| e * e).sum::<f64>() / 4000.0).sqrt();
        let p = a.parts;
        let expected = (p.reference_marks + p.lens_marks + p.limbus).sqrt();
        assert!((sd / expected - 1.0).abs() < 0.05, "drawn {sd}, propagated {expected}");
    }

    #[test]
    fn without_a_plan() {
        let s = Scene { ratio: 1.0, ..scene(0.0) };
        let marks = [s.mark(30.0, 0.0), s.mark(210.0, 180.0)];
        let a = align(&s.limbus(), &marks, &s.lens(33.0), &Plan::default()).unwrap();
        assert!((a.error_deg - 3.0).abs() < 1e-9);
        assert!(a.lens_axis_in_eye.is_none());
        let denoting = Plan { marks_denote_meridians: true, ..Plan::default() };
        assert!(matches!(
            align(&s.limbus(), &marks, &s.lens(33.0), &denoting),
            Err(AlignmentError::NoIntendedAxis { .. })
        ));
    }

    /// A mark in the very middle of the limbus, and groups that lie on each other.
    #[test]
    fn what_has_no_direction_is_refused() {
        let s = scene(0.0);
        let plan = Plan { intended_axis_deg: Some(30.0), ..Plan::default() };
        let middle = MarkReading { place: CENTER, ..s.mark(30.0, 0.0) };
        let error = align(&s.limbus(), std::slice::from_ref(&middle), &s.lens(33.0), &plan).unwrap_err();
        assert_eq!(error, AlignmentError::MarksWithoutDirection);
        assert!(place_marks(&s.limbus(), &[middle.clone(), middle], &plan).is_none());
        let one_place = LensReading { ends: [s.lens(33.0).ends[0]; 2], both_groups: true };
        let marks = [s.mark(30.0, 0.0), s.mark(210.0, 180.0)];
        let error = align(&s.limbus(), &marks, &one_place, &plan).unwrap_err();
        assert_eq!(error, AlignmentError::LensWithoutDirection);
    }
}
