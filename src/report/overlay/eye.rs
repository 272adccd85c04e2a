//! Where things of the plane of the limbus lie in the drawing.

use super::ink::Place;
use crate::geometry::{Ellipse, EyeMap, PixelPoint, Vector, direction_of};
use crate::record::{Alignment, Limbus, Record};

/// The limbus and its plane, in a drawing that is the picture `factor` times as large.
#[derive(Clone, Copy, Debug)]
pub struct Eye {
    limbus: Ellipse,
    map: Option<EyeMap>,
    factor: f64,
}

impl Eye {
    /// `None` where the record's ellipse is none.
    pub fn new(limbus: &Limbus, map: Option<&EyeMap>, factor: f64) -> Option<Self> {
        let [x, y] = limbus.center_px;
        let limbus = Ellipse::from_axes(PixelPoint::new(x, y), limbus.semi_axes_px, limbus.angle_deg)?;
        Some(Self { limbus, map: map.copied(), factor })
    }

    /// Whether directions in the plane of the limbus are known.
    pub fn has_plane(&self) -> bool {
        self.map.is_some()
    }

    /// A displacement in the picture (px) along `degrees` in the plane of the limbus: that of 1 mm where the plane
    /// is known, a direction in the picture otherwise.
    fn displacement(&self, degrees: f64) -> Vector {
        let direction = direction_of(degrees);
        self.map.map_or(direction, |map| map.matrix() * direction)
    }

    /// Unit direction in the drawing of `degrees` in the plane of the limbus.
    pub fn direction(&self, degrees: f64) -> Vector {
        self.displacement(degrees).normalize()
    }

    /// Centre of the limbus.
    pub fn center(&self) -> Place {
        place(&self.limbus.center(), self.factor)
    }

    /// Place along `degrees` in the plane of the limbus, at `times` the limbus's distance from the centre.
    pub fn around(&self, degrees: f64, times: f64) -> Place {
        let along = self.displacement(degrees);
        let limbus = along / self.limbus.unit(&(self.limbus.center() + along)).norm();
        place(&(self.limbus.center() + limbus * times), self.factor)
    }

    /// Mean radius in the drawing, px.
    pub fn radius(&self) -> f64 {
        self.limbus.radius_px() * self.factor
    }

    /// Px of the drawing a millimetre along `degrees`; `None` where the plane is not known.
    pub fn px_per_mm(&self, degrees: f64) -> Option<f64> {
        self.map.map(|map| (map.matrix() * direction_of(degrees)).norm() * self.factor)
    }

    /// From `from` (px of the picture) along `degrees` as far as `times` the limbus: the distance in the plane, mm.
    /// `None` where the plane is not known or `from` lies beyond.
    pub fn reach_mm(&self, from: &PixelPoint, degrees: f64, times: f64) -> Option<f64> {
        let start = self.limbus.unit(from);
        let step = self.limbus.unit(&(self.limbus.center() + self.map?.matrix() * direction_of(degrees)));
        let (a, b, c) = (step.norm_squared(), start.dot(&step), start.norm_squared() - times * times);
        (c < 0.0).then(|| ((b * b - a * c).sqrt() - b) / a)
    }

    /// Place `distance_mm` along `degrees` from `from` (px of the picture); `None` where the plane is not known.
    pub fn along(&self, from: &PixelPoint, degrees: f64, distance_mm: f64) -> Option<Place> {
        let map = self.map?;
        Some(place(&map.to_picture(&(map.to_eye(from) + direction_of(degrees) * distance_mm)), self.factor))
    }

    /// The limbus as a closed curve.
    pub fn limbus_curve(&self) -> Vec<Place> {
        (0..=720).map(|half_degrees| self.around(f64::from(half_degrees) / 2.0, 1.0)).collect()
    }
}

/// A place of the picture (pixel centres at integers) in a drawing `factor` times as large (pixel corners at integers).
pub fn place(point: &PixelPoint, factor: f64) -> Place {
    Place::new((point.x + 0.5) * factor, (point.y + 0.5) * factor)
}

/// Centroid of the lens in the picture, px: midpoint of its two groups, or the middle of the one that was seen.
pub fn lens_middle(record: &Record) -> Option<PixelPoint> {
    let group = |wanted: u8| {
        let marks: Vec<Vector> =
            record.lens_marks.iter().filter(|mark| mark.group == wanted).map(|mark| mark.center_px.into()).collect();
        (!marks.is_empty()).then(|| marks.iter().sum::<Vector>() / marks.len() as f64)
    };
    match (group(0), group(1)) {
        (Some(a), Some(b)) => Some(((a + b) / 2.0).into()),
        (one, other) => one.or(other).map(Into::into),
    }
}

/// What the figures of the degree scale mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Notation {
    /// Directions as seen, [0, 360), 0 to the right: nothing tells the eye's 0 meridian.
    Seen,
    /// Axes of the eye, (0, 180], its 0-180 meridian lying along this direction, degrees.
    Eye(f64),
}

impl Notation {
    /// The eye's own wherever the record knows it.
    pub fn of(alignment: Option<&Alignment>) -> Self {
        alignment
            .and_then(|a| a.lens_axis_in_eye_deg.map(|in_eye| Self::Eye(a.lens_deg - in_eye)))
            .unwrap_or(Self::Seen)
    }

    /// Direction in the plane of the limbus of the scale's `mark`, degrees.
    pub fn direction_deg(self, mark: f64) -> f64 {
        match self {
            Self::Seen => mark,
            Self::Eye(zero) => zero + mark,
        }
    }

    /// How the axis along `direction_deg` is written: to 0.1 degrees, in (0, 180] for the eye's.
    pub fn axis(self, direction_deg: f64) -> String {
        let value = match self {
            Self::Seen => direction_deg,
            Self::Eye(zero) => direction_deg - zero,
        };
        let tenths = ((value.rem_euclid(180.0)) * 10.0).round() / 10.0;
        let wrapped = match self {
            Self::Seen if tenths >= 180.0 => 0.0,
            Self::Eye(_) if tenths <= 0.0 => 180.0,
            _ => tenths,
        };
        format!("{wrapped:.1}°")
    }

    /// The figure at the scale's `mark`.
    pub fn figure(self, mark: u32) -> String {
        match self {
            Self::Seen => mark.to_string(),
            Self::Eye(_) if mark.is_multiple_of(180) => "180".to_owned(),
            Self::Eye(_) => (mark % 180).to_string(),
        }
    }
}
