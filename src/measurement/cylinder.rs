//! What the misalignment of one still costs, as far as the sheet says, and what turning the lens back would win.

use super::eye::{self, Lens, Missing};
use crate::alignment::Aligned;
use crate::geometry::Axis;
use crate::optics::SpheroCylinder;
use crate::optics::angle_size::size_interval95;
use crate::optics::misalignment_cost::{MisalignmentCost, Plan, Residual};
use crate::optics::rotation::residual_percent;
use crate::optics::turn_back::{self, clock};
use crate::record::{AstigmatismSource, Cylinder, JCovariance, LeftOut, Placed, Refraction, Sense, TurnBack};
use crate::stills::sheet::{Case, CylinderPlane};

/// A cylinder below this, D, reads 0.00 and has no axis worth the name.
const NO_CYLINDER_D: f64 = 0.005;

/// How the lens was read to stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Placing {
    /// Lens axis less intended axis, degrees.
    pub(super) error_deg: f64,
    /// Its standard deviation, degrees.
    pub(super) sd_deg: f64,
    /// Direction of the lens axis in the plane of the limbus.
    pub(super) lens: Axis,
    /// Lens axis in the eye's own notation, where the eye's 0 is known.
    pub(super) lens_in_eye: Option<Axis>,
}

impl From<&Aligned> for Placing {
    fn from(aligned: &Aligned) -> Self {
        Self {
            error_deg: aligned.error_deg,
            sd_deg: aligned.sd_deg(),
            lens: aligned.lens,
            lens_in_eye: aligned.lens_axis_in_eye,
        }
    }
}

/// What a placing costs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cost {
    pub(super) cylinder: Cylinder,
    pub(super) turn_back: TurnBack,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) warnings: Vec<String>,
}

/// The cost of a placing, by what the sheet says.
pub(super) fn cost(placing: &Placing, case: &Case) -> Cost {
    let sizes = size_interval95(placing.error_deg, placing.sd_deg);
    let mut cylinder = Cylinder {
        residual_percent: residual_percent(placing.error_deg),
        residual_interval95_percent: sizes.map(residual_percent),
        ..Cylinder::default()
    };
    let mut warnings = eye::transposed(case);
    let mut left_out = Vec::new();
    if placing.lens_in_eye.is_none() {
        left_out.push(columns_for("axes in the eye's notation", vec!["intended_axis_deg"]));
    }
    let lens = match eye::lens(case) {
        Ok(lens) => lens,
        Err(columns) => {
            left_out.push(columns_for("residual in dioptres", columns));
            let turn_back = turn_back(placing, None, sizes);
            return Cost { cylinder, turn_back, left_out, warnings };
        }
    };
    // Without the eye's 0 the intended axis is as good a 0 as any; axes are kept back then.
    let intended = placing.lens_in_eye.map_or(Axis::ZERO, |lens| lens.turned(-placing.error_deg));
    let in_eye = |axis: Axis| placing.lens_in_eye.is_some().then(|| axis.notation_degrees());
    let astigmatism = to_meet(placing, case, &lens, intended, &mut left_out);
    let at_cornea = lens.plane == CylinderPlane::Cornea;
    let (vertex_mm, vertex_source) = eye::vertex(case);
    let plan = Plan {
        astigmatism_d: astigmatism.power_d,
        steep: astigmatism.steep,
        lens_at_cornea_d: lens.power_d,
        intended,
        spherical_equivalent_d: if at_cornea { eye::refraction(case).map_or(0.0, |power| power.m_d) } else { 0.0 },
        vertex_mm,
    };
    let cost = plan.cost(placing.error_deg, placing.sd_deg);
    let axis = cost.axis.and_then(in_eye);
    describe(&mut cylinder, &lens, &cost, axis);
    if placing.lens_in_eye.is_some() {
        describe_by_direction(&mut cylinder, &cost);
    }
    cylinder.astigmatism_d = Some(astigmatism.power_d);
    cylinder.astigmatism_axis_deg = in_eye(astigmatism.steep);
    cylinder.astigmatism_source = Some(astigmatism.source);
    if at_cornea {
        describe_at_spectacles(&mut cylinder, &cost, axis);
        cylinder.vertex_mm = Some(vertex_mm);
        cylinder.vertex_source = Some(vertex_source);
    }
    if astigmatism.source != AstigmatismSource::Matched {
        cylinder.placed = Some(placed(&cost.placed, astigmatism.steep.turn_to(intended), &in_eye));
        warnings.extend(plan_wins_nothing(cost.placed.cylinder_d, astigmatism.power_d));
    }
    Cost { turn_back: turn_back(placing, Some(&cost), sizes), cylinder, left_out, warnings }
}

/// The astigmatism that a lens is to meet.
struct ToMeet {
    power_d: f64,
    steep: Axis,
    source: AstigmatismSource,
}

/// What the sheet says is to be corrected; where it says too little, what the lens matches. What is missing goes to `left_out`.
fn to_meet(placing: &Placing, case: &Case, lens: &Lens, intended: Axis, left_out: &mut Vec<LeftOut>) -> ToMeet {
    let told = match (eye::lens_at_cornea(case), placing.lens_in_eye) {
        (Ok(_), Some(_)) => eye::to_correct(case),
        (Ok(_), None) => Err(vec!["intended_axis_deg"]),
        (Err(columns), _) => {
            left_out.push(columns_for("dioptres at the corneal and the spectacle plane", columns.clone()));
            Err(columns)
        }
    };
    let to_meet = match told {
        Ok((astigmatism, source)) => {
            ToMeet { power_d: astigmatism.magnitude_d(), steep: astigmatism.steep().unwrap_or(intended), source }
        }
        Err(columns) => {
            left_out.push(columns_for("what the plan leaves, apart from the placing", columns));
            ToMeet { power_d: lens.power_d, steep: intended, source: AstigmatismSource::Matched }
        }
    };
    let of_incision = eye::missing_of_incision(case);
    if to_meet.source == AstigmatismSource::Keratometry && !of_incision.is_empty() {
        left_out.push(columns_for("what the incision adds to the astigmatism", of_incision));
    }
    to_meet
}

/// What is left with the lens as it stands, in the plane that the lens is known in.
fn describe(cylinder: &mut Cylinder, lens: &Lens, cost: &MisalignmentCost, axis: Option<f64>) {
    cylinder.plane = if lens.plane == CylinderPlane::Cornea { "cornea" } else { "lens" }.into();
    cylinder.lens_d = Some(lens.power_d);
    cylinder.along_intended_d = Some(cost.now.along_intended_d);
    cylinder.oblique_d = Some(cost.now.oblique_d);
    cylinder.residual_d = Some(cost.now.cylinder_d);
    cylinder.residual_interval95_d = Some(cost.cylinder_interval95_d);
    cylinder.residual_axis_deg = axis;
    cylinder.refraction = Some(refraction(&cost.now.at_cornea, axis));
}

/// The same by direction, which takes the eye's 0.
fn describe_by_direction(cylinder: &mut Cylinder, cost: &MisalignmentCost) {
    let covariance = cost.covariance_d2;
    cylinder.j0_d = Some(cost.now.power.j0_d);
    cylinder.j45_d = Some(cost.now.power.j45_d);
    cylinder.j_covariance =
        Some(JCovariance { j0_d2: covariance.m11, j45_d2: covariance.m22, j0_j45_d2: covariance.m12 });
}

/// The same at the spectacle plane.
fn describe_at_spectacles(cylinder: &mut Cylinder, cost: &MisalignmentCost, axis: Option<f64>) {
    cylinder.spectacle_d = Some(cost.now.spectacle_cylinder_d);
    cylinder.spectacle_interval95_d = Some(cost.spectacle_interval95_d);
    cylinder.spectacle_refraction = Some(refraction(&cost.now.at_spectacles, axis));
}

/// What a lens at its intended axis would leave; nothing about it is in doubt but the sheet.
fn placed(residual: &Residual, axis_off_deg: f64, in_eye: &dyn Fn(Axis) -> Option<f64>) -> Placed {
    let axis = residual.power.minus_axis().filter(|_| residual.cylinder_d >= NO_CYLINDER_D).and_then(in_eye);
    Placed {
        residual_d: residual.cylinder_d,
        refraction: refraction(&residual.at_cornea, axis),
        spectacle_d: residual.spectacle_cylinder_d,
        spectacle_refraction: refraction(&residual.at_spectacles, axis),
        axis_off_deg,
    }
}

/// What to say of a plan by which the lens would leave as much as it finds, or more: an entry of the sheet is likelier wrong.
fn plan_wins_nothing(placed_d: f64, to_correct_d: f64) -> Option<String> {
    (placed_d >= to_correct_d).then(|| {
        format!(
            "a lens at its intended axis would leave {placed_d:.2} D, no less than the {to_correct_d:.2} D that are to be \
             corrected: see whether intended_axis_deg is the axis of the lens's marks, and the axis of the astigmatism its \
             steep meridian"
        )
    })
}

/// A sphero-cylinder, of which `axis_deg` is known.
pub(super) fn refraction(power: &SpheroCylinder, axis_deg: Option<f64>) -> Refraction {
    let minus = power.minus_form();
    Refraction { sphere_d: minus.sphere_d, cylinder_d: minus.cylinder_d, axis_deg }
}

/// The turn to the intended axis. Without dioptres it wins `residual_percent`, and may win nothing where the size of the
/// error may be 0.
fn turn_back(placing: &Placing, cost: Option<&MisalignmentCost>, sizes: [f64; 2]) -> TurnBack {
    let turn = turn_back::TurnBack::of_misalignment(placing.error_deg);
    let on_clock = |direction_deg: f64| {
        let (hour, minute) = clock(direction_deg);
        format!("{hour}:{minute:02}")
    };
    let lens_deg = placing.lens.degrees();
    TurnBack {
        sense: match turn.sense {
            turn_back::Sense::Clockwise => Sense::Clockwise,
            turn_back::Sense::CounterClockwise => Sense::CounterClockwise,
        },
        by_deg: turn.by_deg,
        lens_clock: on_clock(lens_deg),
        // The end of the intended axis that this end of the lens is turned to, not the one below 180 degrees.
        intended_clock: on_clock(lens_deg - placing.error_deg),
        gain_d: cost.map(|cost| cost.gain_d),
        gain_interval95_d: cost.map(|cost| cost.gain_interval95_d),
        may_gain_nothing: cost.map_or(sizes[0] <= 0.0, |cost| cost.may_gain_nothing),
    }
}

/// Say that `columns` would give `result`.
pub(super) fn columns_for(result: &str, columns: Missing) -> LeftOut {
    LeftOut { result: result.into(), columns: columns.into_iter().map(str::to_owned).collect() }
}
