//! The overlay, on pictures of one grey so that every drawn pixel shows.

use crate::fixture::{Scene, all_kinds};
use image::{Rgb, RgbImage};
use stillaxis::geometry::PixelPoint;
use stillaxis::report::overlay::{draw, draw_thumbnail};

const GREY: u8 = 128;

/// Largest departure from the grey within `reach` px of `at`.
fn ink_near(picture: &RgbImage, at: &PixelPoint, reach: i64) -> u8 {
    let (x, y) = (at.x.round() as i64, at.y.round() as i64);
    let mut most = 0;
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let Rgb(pixel) = picture.get_pixel((x + dx) as u32, (y + dy) as u32);
            most = most.max(pixel.map(|v| v.abs_diff(GREY)).into_iter().max().unwrap());
        }
    }
    most
}

#[test]
fn the_lens_axis_is_drawn_where_the_map_puts_it() {
    let scene = Scene::new();
    let record = scene.measured("a.jpg", 31.0, 24.0);
    let drawn = draw(&scene.flat(GREY), &record, Some(&scene.map));
    let middle = scene.map.to_eye(&PixelPoint::from(record.lens_marks[1].center_px))
        + scene.map.to_eye(&PixelPoint::from(record.lens_marks[4].center_px));
    let along =
        |degrees: f64, mm: f64| scene.map.to_picture(&(middle / 2.0 + stillaxis::geometry::direction_of(degrees) * mm));
    for mm in [-4.2, -1.5, 1.5, 4.2] {
        assert!(ink_near(&drawn, &along(55.0, mm), 1) > 60, "lens axis at {mm} mm");
        assert!(ink_near(&drawn, &along(55.0 + 98.0, mm), 1) == 0, "nothing aside at {mm} mm");
    }
}

#[test]
fn every_kind_of_record_can_be_drawn() {
    let scene = Scene::new();
    let picture = scene.flat(GREY);
    for record in all_kinds() {
        let map = record.limbus.as_ref().map(|_| &scene.map);
        let drawn = draw(&picture, &record, map);
        assert_eq!(drawn.width(), 1000);
        assert!(drawn.height() > 800 && drawn.height() < 1100, "{}: {}", record.still.path, drawn.height());
        assert_eq!(draw_thumbnail(&picture, &record, map, 96).dimensions(), (96, 72));
    }
}
