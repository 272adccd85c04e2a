//! Every value of each group beside the others.

use super::Drawn;
use super::frame::{
    INK, ROW, SIZE, TYPE, color, dashed, document, legend, letters, number, put_mark, range, shortened,
};
use crate::statistics::descriptive::{quantile_of_sorted, sorted};
use plotters::prelude::*;
use std::io;

/// Values of a group beyond which their number is drawn instead.
const MOST_DOTS: usize = 600;
/// Steps of the outline that shows numbers.
const STEPS: usize = 60;
const COUNTS_NOTE: &str = "A group of more than 600 eyes is drawn as an outline whose width is the number of eyes.";

/// One strip a group: dots set aside where they would cover each other, or an outline; box for the middle half, bar for the
/// median.
pub fn draw(groups: &[(String, Vec<f64>)], y_label: &str, limits: &[f64]) -> io::Result<Drawn> {
    let values = groups.iter().flat_map(|(_, values)| values.iter().copied());
    let y = range(values.chain(limits.iter().flat_map(|l| [-l, *l])));
    let x = -0.5..groups.len() as f64 - 0.5;
    let counted = groups.iter().any(|(_, values)| values.len() > MOST_DOTS);
    let letters_fit = 440 / (groups.len().max(1) * 9);
    // Names that have no room under their strips are told above as well.
    let long = groups.iter().any(|(name, _)| name.chars().count() > letters_fit.max(3));
    let names: Vec<&str> = groups.iter().filter(|_| long).map(|(name, _)| name.as_str()).collect();
    let height = SIZE.1 + ROW as u32 * names.len() as u32;
    let svg = document((SIZE.0, height), |area| {
        let area = &legend(area, &names)?;
        let mut chart = ChartBuilder::on(area)
            .margin(10)
            .x_label_area_size(58)
            .y_label_area_size(72)
            .build_cartesian_2d(x.clone(), y.clone())?;
        let name = |place: &f64| {
            let at = place.round();
            let group = groups.get(at as usize).filter(|_| (place - at).abs() < 1e-6 && at >= 0.0);
            group.map_or(String::new(), |(name, _)| shortened(name, letters_fit.max(3)))
        };
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(super::frame::GREY)
            .axis_style(INK)
            .x_labels(0)
            .y_labels(7)
            .y_desc(y_label)
            .label_style(letters())
            .axis_desc_style(letters())
            .x_label_formatter(&name)
            .y_label_formatter(&|v| number(*v))
            .draw()?;
        for level in limits.iter().flat_map(|limit| [-limit, *limit]) {
            dashed(&mut chart, &x, level)?;
        }
        let plotting = chart.plotting_area().clone();
        let bare = plotting.strip_coord_spec();
        let (left, top) = bare.get_base_pixel();
        let place = |group: usize, value: f64| {
            let (px, py) = plotting.map_coordinate(&(group as f64, value));
            (px - left, py - top)
        };
        let room = (f64::from(bare.dim_in_pixel().0) / groups.len().max(1) as f64 * 0.44) as i32;
        for (group, (name, values)) in groups.iter().enumerate() {
            let ordered = sorted(values);
            if values.len() <= MOST_DOTS {
                for (at, aside) in set_aside(&ordered, |v| place(group, v).1, room) {
                    let (px, py) = place(group, at);
                    put_mark(&bare, group, (px + aside, py), 4)?;
                }
            } else {
                let outline = outline(&ordered, &y, room);
                let side = |sign: i32| outline.iter().map(move |(v, w)| (*v, sign * w));
                let corners = side(1).chain(side(-1).rev()).map(|(v, w)| {
                    let (px, py) = place(group, v);
                    (px + w, py)
                });
                let corners: Vec<(i32, i32)> = corners.collect();
                bare.draw(&Polygon::new(corners, color(group).mix(0.5).filled()))?;
            }
            let at = |share: f64| quantile_of_sorted(&ordered, share).map(|v| place(group, v));
            if let (Some(low), Some(middle), Some(high)) = (at(0.25), at(0.5), at(0.75)) {
                let half = (room / 2).min(26);
                bare.draw(&Rectangle::new([(low.0 - half, high.1), (low.0 + half, low.1)], INK.stroke_width(1)))?;
                bare.draw(&PathElement::new(
                    [(low.0 - half, middle.1), (low.0 + half, middle.1)],
                    INK.stroke_width(3),
                ))?;
            }
            let style = super::frame::centered();
            let (px, _) = place(group, 0.0);
            let label = shortened(name, letters_fit.max(3));
            let (area_left, area_top) = area.get_base_pixel();
            let (base_x, base_y) = (left - area_left + px, top - area_top + bare.dim_in_pixel().1 as i32);
            area.draw(&Text::new(label, (base_x, base_y + TYPE), style.clone()))?;
            area.draw(&Text::new(format!("n {}", values.len()), (base_x, base_y + 2 * TYPE + 4), style))?;
        }
        Ok(())
    })?;
    Ok(Drawn { svg, note: if counted { COUNTS_NOTE } else { "" } })
}

/// Values with how far each is set aside, px, so that marks do not cover each other, as far as there is room.
fn set_aside(ordered: &[f64], height: impl Fn(f64) -> i32, room: i32) -> Vec<(f64, i32)> {
    const MARK: i32 = 8;
    let mut placed: Vec<(i32, i32)> = Vec::new();
    ordered
        .iter()
        .map(|value| {
            let y = height(*value);
            let near: Vec<i32> =
                placed.iter().rev().take(200).filter(|(_, py)| (py - y).abs() < MARK).map(|p| p.0).collect();
            let free = |aside: &i32| near.iter().all(|other| (other - aside).abs() >= MARK);
            let tried = (0..=room / MARK).flat_map(|k| [k * MARK, -k * MARK]);
            let aside =
                tried.filter(|aside| aside.abs() <= room).find(free).unwrap_or(near.len() as i32 * 3 % room.max(1));
            placed.push((aside, y));
            (*value, aside)
        })
        .collect()
}

/// Half-width of the outline, px, at each step of the scale.
fn outline(ordered: &[f64], y: &std::ops::Range<f64>, room: i32) -> Vec<(f64, i32)> {
    let step = (y.end - y.start) / STEPS as f64;
    let mut counts = [0_usize; STEPS];
    for value in ordered {
        counts[(((value - y.start) / step) as usize).min(STEPS - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1) as f64;
    let width = |count: usize| (f64::from(room) * count as f64 / most).ceil() as i32;
    counts.iter().enumerate().map(|(k, count)| (y.start + (k as f64 + 0.5) * step, width(*count))).collect()
}
