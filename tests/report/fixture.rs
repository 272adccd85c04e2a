//! Invented records and drawn pictures for the tests of what is written.

use std::collections::BTreeMap;
use stillaxis::geometry::{Ellipse, EyeMap, PixelPoint, Vector, direction_of};
use stillaxis::record::*;
use stillaxis::vision::Picture;

pub const WIDTH_MM: f64 = 11.7;

/// A tilted limbus in a picture of 1000 x 750, and all that is measured in it.
pub struct Scene {
    pub ellipse: Ellipse,
    pub map: EyeMap,
    pub size: [u32; 2],
}

impl Scene {
    pub fn new() -> Self {
        Self::sized([1000, 750])
    }

    /// Limbus off the middle, tilted by about 35 degrees so that what ignores tilt is found out.
    pub fn sized(size: [u32; 2]) -> Self {
        let [w, h] = size.map(f64::from);
        let short = w.min(h);
        let ellipse =
            Ellipse::from_axes(PixelPoint::new(0.48 * w, 0.53 * h), [0.32 * short, 0.26 * short], 25.0).unwrap();
        let map = EyeMap::new(&ellipse, WIDTH_MM, 1.0, 0.0).unwrap();
        Self { ellipse, map, size }
    }

    /// Place in the picture of `mm` from the centre of the limbus along `degrees`, in its plane.
    pub fn place(&self, degrees: f64, mm: f64) -> PixelPoint {
        self.map.to_picture(&(direction_of(degrees) * mm))
    }

    pub fn limbus(&self) -> Limbus {
        Limbus {
            center_px: self.ellipse.center().coords.into(),
            semi_axes_px: self.ellipse.semi_axes_px(),
            angle_deg: self.ellipse.angle_deg(),
            radius_px: self.ellipse.radius_px(),
            radius_sd_px: 0.412_345,
            center_sd_px: 0.298_765,
            axis_ratio_sd: Some(0.004_321),
            visible_arc_deg: 287.5,
            mm_per_px: self.map.mm_per_px(),
            mm_source: MmSource::Assumed,
            score: 0.934_567_891,
        }
    }

    pub fn reference_mark(&self, meridian_deg: f64, kind: MarkKind) -> ReferenceMark {
        ReferenceMark {
            meridian_deg,
            denotes_deg: None,
            sd_deg: 0.223_456,
            center_px: self.place(meridian_deg, 5.9).coords.into(),
            kind,
            length_mm: if kind == MarkKind::Radial { 1.4 } else { 0.5 },
            length_sd_mm: Some(0.061_234),
            length_deg: Some(if kind == MarkKind::Radial { 13.7 } else { 4.9 }),
            length_sd_deg: Some(0.412_345),
            width_mm: if kind == MarkKind::Radial { 0.22 } else { 0.45 },
            width_sd_mm: Some(0.021_234),
            width_deg: Some(if kind == MarkKind::Radial { 2.2 } else { 4.4 }),
            width_sd_deg: Some(0.189_765),
            lean_deg: (kind == MarkKind::Radial).then_some(1.25),
            lean_sd_deg: (kind == MarkKind::Radial).then_some(0.654_321),
            contrast: 0.43,
            contrast_sd: Some(0.012_345),
            from_opposite_deg: Some(-0.812_345),
            from_opposite_sd_deg: Some(0.301_234),
        }
    }

    /// One of two readings of the reference marks: two opposite ones.
    fn alternative(&self, direction_deg: f64, probability: f64) -> Alternative {
        let place = |turned: f64| self.place(direction_deg + turned, 5.9).coords.into();
        Alternative { direction_deg, probability, centers_px: [0.0, 180.0].map(place).to_vec() }
    }

    /// Two groups of three dots each about a lens `offset_mm` off the centre.
    pub fn lens_marks(&self, lens_deg: f64, offset_mm: Vector) -> Vec<LensMark> {
        let marks = [(0, 1.0), (1, -1.0)].into_iter().flat_map(|(group, side)| {
            [2.6, 2.9, 3.2].map(|mm| LensMark {
                center_px: self.map.to_picture(&(offset_mm + direction_of(lens_deg) * (side * mm))).coords.into(),
                sd_px: 0.251_111,
                group,
            })
        });
        marks.collect()
    }

    /// A measured still: marks on the intended axis at `intended_deg`, the lens `error_deg` from it.
    pub fn measured(&self, path: &str, intended_deg: f64, error_deg: f64) -> Record {
        let lens_deg = (intended_deg + error_deg).rem_euclid(180.0);
        let half = 1.3;
        let residual = |t: f64| 200.0 * t.to_radians().sin().abs();
        let interval = [error_deg - half, error_deg + half];
        Record {
            outcome: Outcome::Measured,
            refusals: Vec::new(),
            limbus: Some(self.limbus()),
            reference_marks: [0.0, 180.0]
                .map(|turn| self.reference_mark((intended_deg + turn).rem_euclid(360.0), MarkKind::Radial))
                .to_vec(),
            lens_marks: self.lens_marks(lens_deg, Vector::new(0.15, -0.1)),
            alignment: Some(Alignment {
                error_deg,
                sd_deg: half / 1.959_964,
                interval95_deg: interval,
                reference_deg: intended_deg,
                intended_deg,
                lens_deg,
                lens_axis_in_eye_deg: None,
                marks_opposition_deg: Some(-0.812_345_678),
                offset_apparent_mm: Some([0.15, 0.1]),
                offset_sd_mm: Some(0.054_321),
                variance_parts_deg2: VarianceParts {
                    reference_marks: 0.21,
                    lens_marks: 0.12,
                    limbus: 0.05,
                    oval: 0.04,
                    parallax: 0.02,
                },
            }),
            cylinder: Some(Cylinder {
                plane: "cornea".into(),
                residual_percent: residual(error_deg),
                residual_interval95_percent: [
                    if interval[0] * interval[1] < 0.0 {
                        0.0
                    } else {
                        residual(interval[0]).min(residual(interval[1]))
                    },
                    residual(interval[0]).max(residual(interval[1])),
                ],
                residual_d: Some(0.025 * residual(error_deg)),
                residual_interval95_d: Some([0.0, 0.05 * residual(error_deg) + 0.1]),
                residual_axis_deg: None,
                j0_d: Some(0.031_234_567),
                j45_d: Some(-0.123_456_789),
                ..Cylinder::default()
            }),
            ..self.refused(path, RefusalCode::LimbusNotFound)
        }
    }

    /// The same with all that a sheet can add: a lens of 2.4 D in an eye of 2 D, refracted after surgery.
    pub fn costed(&self, path: &str, intended_deg: f64, error_deg: f64) -> Record {
        let mut record = self.measured(path, intended_deg, error_deg);
        let refraction = |sphere_d, cylinder_d| Refraction { sphere_d, cylinder_d, axis_deg: Some(126.363_421) };
        record.cylinder = record.cylinder.map(|cylinder| Cylinder {
            residual_d: Some(0.859_622),
            residual_interval95_d: Some([0.702_1, 1.023_4]),
            residual_axis_deg: Some(126.363_421),
            j_covariance: Some(JCovariance { j0_d2: 0.000_123_456_7, j45_d2: 0.000_2, j0_j45_d2: -0.000_01 }),
            refraction: Some(refraction(0.429_811, -0.859_622)),
            lens_d: Some(2.4),
            along_intended_d: Some(2.255_262),
            oblique_d: Some(0.820_848),
            astigmatism_d: Some(2.0),
            astigmatism_axis_deg: Some(90.0),
            astigmatism_source: Some(AstigmatismSource::Keratometry),
            spectacle_d: Some(0.859_645),
            spectacle_interval95_d: Some([0.702_2, 1.023_5]),
            spectacle_refraction: Some(refraction(0.427_607, -0.859_645)),
            vertex_mm: Some(12.0),
            vertex_source: Some(ValueSource::Assumed),
            placed: Some(Placed {
                residual_d: 0.4,
                refraction: refraction(0.2, -0.4),
                spectacle_d: 0.400_002,
                spectacle_refraction: refraction(0.199_521, -0.400_002),
                axis_off_deg: 0.5,
            }),
            ..cylinder
        });
        record.turn_back = Some(TurnBack {
            sense: if error_deg > 0.0 { Sense::Clockwise } else { Sense::CounterClockwise },
            by_deg: error_deg.abs(),
            lens_clock: "1:45".into(),
            intended_clock: "1:58".into(),
            gain_d: Some(0.459_622),
            gain_interval95_d: Some([0.302_1, 0.623_4]),
            may_gain_nothing: false,
        });
        record.best_axis = Some(BestAxis {
            refraction: refraction(0.25, -0.9),
            astigmatism_d: 1.95,
            axis_deg: Some(91.5),
            turn_deg: Some(-8.5),
            turn_interval95_deg: Some([-8.9, -8.1]),
            lens_d: 2.4,
            lens_axis_deg: 100.0,
            now_d: 0.9,
            left_d: 0.45,
            left_interval95_d: [0.43, 0.47],
            left_spectacle_d: 0.448,
        });
        let induced = |magnitude_d, axis_deg| InducedAstigmatism { magnitude_d, axis_deg: Some(axis_deg) };
        record.vector_analysis = Some(VectorAnalysis {
            before_source: AstigmatismSource::Keratometry,
            target_induced: induced(2.0, 180.0),
            surgically_induced: induced(2.4, 10.0),
            difference: induced(0.859_622, 36.4),
            magnitude_error_d: 0.4,
            angle_error_deg: Some(10.0),
            correction_index: Some(1.2),
            success_index: Some(0.429_811),
        });
        record.left_out =
            vec![LeftOut { result: "an \"invention\"".into(), columns: vec!["k_flat_d".into(), "k_steep_d".into()] }];
        record
    }

    /// A still refused for `code`, with what is found until then.
    pub fn refused(&self, path: &str, code: RefusalCode) -> Record {
        let limbus_found =
            !matches!(code, RefusalCode::Unreadable | RefusalCode::PictureTooSmall | RefusalCode::LimbusNotFound);
        let without_marks = [
            RefusalCode::LimbusTooLittleVisible,
            RefusalCode::ReferenceMarksMissing,
            RefusalCode::ReferenceMarksAmbiguous,
        ];
        let marks_found = limbus_found && !without_marks.contains(&code);
        let unreadable = code == RefusalCode::Unreadable;
        let still = Still {
            path: path.into(),
            sha256: if unreadable { String::new() } else { "0f".repeat(32) },
            width_px: if unreadable { 0 } else { self.size[0] },
            height_px: if unreadable { 0 } else { self.size[1] },
            exif_orientation: 1,
            mirrored: false,
            pixel_aspect: 1.0,
            taken_at: None,
        };
        let outcome = if unreadable { Outcome::Unreadable } else { Outcome::Refused };
        Record {
            refusals: vec![Refusal {
                code,
                message: "the best candidate scores 0.31, need 0.50".into(),
                hint: "use a still in which the marks can be seen without glare".into(),
                alternatives: if code == RefusalCode::ReferenceMarksAmbiguous {
                    vec![self.alternative(20.0, 0.52), self.alternative(110.0, 0.45)]
                } else {
                    Vec::new()
                },
            }],
            limbus: limbus_found.then(|| self.limbus()),
            reference_marks: if marks_found {
                vec![self.reference_mark(20.0, MarkKind::Dot), self.reference_mark(201.0, MarkKind::Dot)]
            } else {
                Vec::new()
            },
            ..Record::new(still, BTreeMap::new(), outcome)
        }
    }

    /// A flat picture.
    pub fn flat(&self, value: u8) -> Picture {
        Picture::from_pixel(self.size[0], self.size[1], image::Rgb([u16::from(value) * 257; 3]))
    }

    /// A plain eye: sclera, iris, pupil, each of one colour, with a grain so that it does not compress to nothing.
    pub fn eye(&self) -> Picture {
        Picture::from_fn(self.size[0], self.size[1], |x, y| {
            let level = self.ellipse.level(&PixelPoint::new(f64::from(x), f64::from(y)));
            let grain = (x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(2_246_822_519)).wrapping_mul(668_265_263) >> 27;
            let color: [u32; 3] = match level {
                l if l < 0.55 => [150, 70, 45],
                l if l < 1.0 => [95, 80, 60],
                _ => [205, 190, 180],
            };
            image::Rgb(color.map(|v| ((v + grain) * 257) as u16))
        })
    }
}

pub const ALL_CODES: [RefusalCode; 11] = [
    RefusalCode::Unreadable,
    RefusalCode::PictureTooSmall,
    RefusalCode::LimbusNotFound,
    RefusalCode::LimbusTooLittleVisible,
    RefusalCode::ReferenceMarksMissing,
    RefusalCode::ReferenceMarksAmbiguous,
    RefusalCode::IntendedAxisMissing,
    RefusalCode::LensMarksMissing,
    RefusalCode::LensMarksAmbiguous,
    RefusalCode::FarFromPlan,
    RefusalCode::IntervalTooWide,
];

/// Every kind of record: signs, nearly 0, nearly a right angle, each refusal, difficult names.
pub fn all_kinds() -> Vec<Record> {
    let scene = Scene::new();
    let mut records = vec![
        scene.measured("stills/plus.jpg", 31.0, 2.437_219),
        scene.costed("stills/minus.jpg", 7.0, -14.465_9),
        scene.measured("stills/nothing.jpg", 90.0, 0.012_3),
        scene.measured("stills/nearly-nothing.jpg", 90.0, -0.000_01),
        scene.measured("stills/right-angle.jpg", 12.0, -89.999_99),
        scene.measured("stills/other-right-angle.jpg", 12.0, 89.999_99),
        scene.measured("stills/wraps.jpg", 178.0, 1.999_99),
        scene.measured(&format!("stills/{}.jpg", "a-very-long-name_".repeat(14)), 45.0, 6.2),
        scene.measured("stills/ščęé Ωλ Журнал 左眼.jpg", 120.0, -3.3),
        scene.measured("stills <i>/<script>alert(1)&\"'.jpg", 60.0, 1.0),
    ];
    records.extend(ALL_CODES.map(|code| scene.refused(&format!("stills/{code:?}.png"), code)));
    let known = &mut records[0];
    known.case =
        [("case", "12"), ("patient", "p<7>"), ("eye", "OD"), ("error_deg", "of the sheet"), ("outcome", "good")]
            .map(|(k, v)| (k.to_owned(), v.to_owned()))
            .into();
    known.warnings = vec!["white-to-white assumed 11.7 mm".into(), "marks \"1\" & <2> not opposite".into()];
    if let Some(alignment) = &mut known.alignment {
        alignment.lens_axis_in_eye_deg = Some(12.0 + alignment.error_deg);
    }
    records[1].case = [("case".to_owned(), "13; left, \"second\"\nline".to_owned())].into();
    records
}
