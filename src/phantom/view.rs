//! How the eye stands before the camera: eye frame to picture.
//!
//! The eye is seen from far off (parallel rays). A tilt shortens the plane of the limbus in one direction; a recorder
//! with pixels that are not square then stretches the picture along its own axes. Put together, A maps the plane of
//! the limbus to the picture, and the limbus appears as the ellipse E with E^2 = A N^2 A^T, N being the eye's own oval.
//!
//! Angles are defined by the symmetric S with S N^2 S = E^2 (see [`EyeMap`]). Where tilt and stretch lie oblique to
//! one another A is not symmetric, and A = S R with R a turn of the whole eye about its centre, exactly: both carry
//! the oval onto E, its long axis onto the same diameter. R drops out of every difference between two directions. The
//! drawing therefore uses S, with the eye's 0 at the direction that S itself assigns to it (found by iteration), which
//! puts each point where A puts it.

use super::scene::{Lens, ViewParameters};
use crate::geometry::{Axis, Ellipse, EyeMap, Matrix, PixelPoint, Vector, ccw_degrees, direction_of};

/// Rounds of the search for the eye's 0 under S; each shrinks what is left by about the oval's flatness.
const ZERO_ROUNDS: usize = 60;

/// The view of one eye.
#[derive(Clone, Debug)]
pub struct View {
    limbus: Ellipse,
    map: EyeMap,
    zero_deg: f64,
    half_width_mm: f64,
    height_over_width: f64,
    slide_per_mm: Vector,
    to_picture: Matrix,
    to_eye: Matrix,
}

impl View {
    /// View of its parameters; `None` where they describe no ellipse.
    pub fn new(p: &ViewParameters) -> Option<Self> {
        let center = PixelPoint::new(p.limbus_center_px[0], p.limbus_center_px[1]);
        let half_width_mm = p.white_to_white_mm / 2.0;
        let plane = plane_to_picture(p) * (p.limbus_half_width_px / half_width_mm);
        let oval = turn(p.turn_deg) * Matrix::new(half_width_mm, 0.0, 0.0, half_width_mm * p.limbus_height_over_width);
        let limbus = Ellipse::image_of_circle(center, &(plane * oval))?;
        let zero_in_picture = plane * direction_of(p.turn_deg);
        let mut zero_deg = p.turn_deg;
        let mut map = EyeMap::new(&limbus, p.white_to_white_mm, p.limbus_height_over_width, zero_deg)?;
        for _ in 0..ZERO_ROUNDS {
            zero_deg = ccw_degrees(&map.displacement_to_eye(&zero_in_picture))?;
            map = EyeMap::new(&limbus, p.white_to_white_mm, p.limbus_height_over_width, zero_deg)?;
        }
        let to_picture = map.matrix() * turn(zero_deg) * half_width_mm;
        // The camera looks along the normal of the picture; in the plane of the limbus its rays lean by tan(tilt)
        // along the direction that is shortened.
        let lean = turn(p.turn_deg).transpose() * direction_of(p.tilt_direction_deg);
        let slide_per_mm = Vector::new(lean.x, lean.y) * p.tilt_deg.to_radians().tan();
        Some(Self {
            limbus,
            map,
            zero_deg,
            half_width_mm,
            height_over_width: p.limbus_height_over_width,
            slide_per_mm,
            to_picture,
            to_eye: to_picture.try_inverse()?,
        })
    }

    /// The limbus in the picture.
    pub fn limbus(&self) -> &Ellipse {
        &self.limbus
    }

    /// The contract's map between the plane of the limbus and the picture, with the eye's true oval.
    pub fn map(&self) -> &EyeMap {
        &self.map
    }

    /// Place in the picture (px) of a place in the eye frame (limbus radii).
    pub fn picture_of(&self, eye: &Vector) -> PixelPoint {
        self.limbus.center() + self.to_picture * eye
    }

    /// Place in the eye frame (limbus radii) of a place in the picture (px).
    pub fn eye_of(&self, picture: &PixelPoint) -> Vector {
        self.to_eye * (picture - self.limbus.center())
    }

    /// Pixels of the picture to one limbus radius, geometric mean over directions.
    pub fn px_per_radius(&self) -> f64 {
        self.to_picture.determinant().abs().sqrt()
    }

    /// 1 on the limbus, less inside, for a place in the eye frame.
    pub fn level(&self, eye: &Vector) -> f64 {
        eye.x.hypot(eye.y / self.height_over_width)
    }

    /// Direction in the plane of the limbus, as the contract defines it, of a displacement in the eye frame: degrees
    /// counter-clockwise as seen, [0, 360). `None` for a null one.
    pub fn direction_deg(&self, eye: &Vector) -> Option<f64> {
        ccw_degrees(&(turn(self.zero_deg) * eye))
    }

    /// Axis in the plane of the limbus of the line through two places in the eye frame.
    pub fn axis_through(&self, a: &Vector, b: &Vector) -> Option<Axis> {
        self.direction_deg(&(b - a)).and_then(Axis::from_degrees)
    }

    /// Where a place on the lens appears in the plane of the limbus (eye frame, limbus radii).
    ///
    /// - `place_mm`: on the lens, eye frame, mm from the centre of the limbus, before the lens's own tilt
    pub fn lens_place(&self, lens: &Lens, place_mm: &Vector) -> Vector {
        let center = Vector::new(lens.center_mm[0], lens.center_mm[1]);
        let shortened = lens.tilt_deg.to_radians().cos();
        let (sin, cos) = lens.tilt_direction_deg.to_radians().sin_cos();
        let along = Vector::new(cos, sin);
        let arm = place_mm - center;
        let arm = arm + along * (arm.dot(&along) * (shortened - 1.0));
        ((center + arm) * lens.magnification + self.slide_per_mm * lens.depth_mm) / self.half_width_mm
    }

    /// Millimetres in the plane of the limbus to one limbus radius.
    pub fn mm_per_radius(&self) -> f64 {
        self.half_width_mm
    }
}

/// Tilt, then the stretch by pixels that are not square: plane of the limbus (y down) to picture, without scale.
fn plane_to_picture(p: &ViewParameters) -> Matrix {
    let along = direction_of(p.tilt_direction_deg);
    let tilt = Matrix::identity() + along * along.transpose() * (p.tilt_deg.to_radians().cos() - 1.0);
    let root = p.pixel_aspect.sqrt();
    Matrix::new(1.0 / root, 0.0, 0.0, root) * tilt
}

/// Eye frame (x along the eye's 0, y along its 90) to the plane of the limbus with y down, for the eye's 0 at `degrees`.
fn turn(degrees: f64) -> Matrix {
    let x = direction_of(degrees);
    let y = direction_of(degrees + 90.0);
    Matrix::from_columns(&[x, y])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::{Scene, Wanted};

    fn parameters() -> ViewParameters {
        ViewParameters {
            width_px: 640,
            height_px: 480,
            limbus_center_px: [300.0, 200.0],
            limbus_half_width_px: 100.0,
            turn_deg: 0.0,
            tilt_deg: 0.0,
            tilt_direction_deg: 90.0,
            pixel_aspect: 1.0,
            white_to_white_mm: 12.0,
            limbus_height_over_width: 1.0,
        }
    }

    fn assert_at(p: PixelPoint, x: f64, y: f64) {
        assert!((p.x - x).abs() < 1e-9 && (p.y - y).abs() < 1e-9, "{p:?}, expected {x}, {y}");
    }

    /// By hand: a tilt of 60 degrees halves heights; pixels four times as wide as high halve x and double y.
    #[test]
    fn tilt_and_squeeze_by_hand() {
        let tilted = View::new(&ViewParameters { tilt_deg: 60.0, ..parameters() }).unwrap();
        assert_at(tilted.picture_of(&Vector::new(1.0, 0.0)), 400.0, 200.0);
        assert_at(tilted.picture_of(&Vector::new(0.0, 1.0)), 300.0, 150.0);
        let squeezed = View::new(&ViewParameters { pixel_aspect: 4.0, ..parameters() }).unwrap();
        assert_at(squeezed.picture_of(&Vector::new(1.0, 1.0)), 350.0, 0.0);
        let turned = View::new(&ViewParameters { turn_deg: 90.0, ..parameters() }).unwrap();
        assert_at(turned.picture_of(&Vector::new(1.0, 0.0)), 300.0, 100.0);
        assert_at(turned.picture_of(&Vector::new(0.0, 1.0)), 200.0, 200.0);
    }

    /// By hand: 2 mm behind a limbus of 6 mm half width, under a tilt of 30 degrees, slides by 2 sin 30 = 1 mm in the
    /// picture, 16.667 px; a cornea that magnifies 1.17 times puts 3 mm at 3.51 mm, 58.5 px.
    #[test]
    fn depth_and_magnification_by_hand() {
        let view = View::new(&ViewParameters { tilt_deg: 30.0, ..parameters() }).unwrap();
        let mut lens = Scene::random(1, 0, &Wanted::default()).lens.unwrap();
        lens.center_mm = [0.0, 0.0];
        (lens.depth_mm, lens.magnification, lens.tilt_deg) = (2.0, 1.17, 0.0);
        let seen = |x, y| view.picture_of(&view.lens_place(&lens, &Vector::new(x, y)));
        assert_at(seen(0.0, 0.0), 300.0, 200.0 - 100.0 / 6.0);
        assert_at(seen(3.0, 0.0), 358.5, 200.0 - 100.0 / 6.0);
    }

    /// Tilt oblique to squeezed pixels: every point lies where tilt and squeeze put it, and the contract's directions
    /// differ from the eye's own by one turn common to all, so that every difference of directions is the eye's.
    #[test]
    fn the_symmetric_map_keeps_points_and_differences() {
        let p = ViewParameters {
            turn_deg: 25.0,
            tilt_deg: 12.0,
            tilt_direction_deg: 160.0,
            pixel_aspect: 0.62,
            limbus_height_over_width: 0.91,
            ..parameters()
        };
        let view = View::new(&p).unwrap();
        let shift = axis_turn(&view, 0.0);
        for k in 0..72 {
            let degrees = f64::from(k) * 5.0;
            let (sin, cos) = degrees.to_radians().sin_cos();
            let place = Vector::new(cos, sin);
            // The physical projection, written out: turn, foreshorten, squeeze.
            let plane = direction_of(degrees + p.turn_deg) * p.limbus_half_width_px;
            let along = direction_of(p.tilt_direction_deg);
            let tilted = plane + along * (plane.dot(&along) * (p.tilt_deg.to_radians().cos() - 1.0));
            let root = p.pixel_aspect.sqrt();
            assert_at(view.picture_of(&place), 300.0 + tilted.x / root, 200.0 + tilted.y * root);
            assert!((axis_turn(&view, degrees) - shift).abs() < 1e-9);
        }
        assert!((shift - p.turn_deg).abs() > 0.05, "the case is meant to have a map that is not symmetric");
    }

    fn axis_turn(view: &View, degrees: f64) -> f64 {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let seen = view.direction_deg(&Vector::new(cos, sin)).unwrap();
        let mapped = ccw_degrees(&view.map().to_eye(&view.picture_of(&Vector::new(cos, sin))).clone_owned()).unwrap();
        assert!(crate::geometry::axis_difference(seen, mapped).abs() < 1e-9);
        (seen - degrees).rem_euclid(360.0)
    }
}
