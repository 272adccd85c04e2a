//! A curve over a scale, as SVG: readable in print, without colour and without a script.

use super::xml::escaped;
use std::fmt::Write;

/// Width and height of the drawing, in its own units.
const SIZE: [f64; 2] = [720.0, 440.0];
/// Space left of, above, right of and below the plot, for scales and titles.
const MARGIN: [f64; 4] = [72.0, 56.0, 24.0, 64.0];
/// Width of a letter and height of a line at the chart's size of type, somewhat generous.
const LETTER_WIDTH: f64 = 8.5;
const LINE_HEIGHT: f64 = 15.0;
/// Step sizes that people count in, times a power of ten.
const STEPS: [f64; 4] = [1.0, 2.0, 5.0, 10.0];

/// A horizontal line that the curve is to be seen against.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Where on the vertical scale.
    pub y: f64,
    /// What it stands for, written below its right end.
    pub label: String,
}

/// A point on the curve with its value written beside it.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkedPoint {
    /// On the horizontal scale.
    pub x: f64,
    /// On the vertical scale.
    pub y: f64,
    /// What is written beside it.
    pub label: String,
}

/// What is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct LineChart {
    /// Title above the plot.
    pub title: String,
    /// What the horizontal scale shows, with unit.
    pub x_label: String,
    /// What the vertical scale shows, with unit.
    pub y_label: String,
    /// Ends of the horizontal scale.
    pub x_range: [f64; 2],
    /// Distance of the ticks of the horizontal scale.
    pub x_step: f64,
    /// The curve, in order of x. The vertical scale begins at 0 and holds all of it.
    pub curve: Vec<[f64; 2]>,
    /// A level to compare with.
    pub level: Option<Level>,
    /// Points of note, in order of x. Each has a dot; a label stands beside it where the curve leaves room, and is left
    /// out where it would cover another or the scale, the later point's first kept.
    pub points: Vec<MarkedPoint>,
}

impl LineChart {
    /// The chart as a self-contained SVG document.
    pub fn svg(&self) -> String {
        self.drawn("xmlns=\"http://www.w3.org/2000/svg\" ")
    }

    /// The chart as an element of a page.
    pub fn element(&self) -> String {
        self.drawn("role=\"img\" ")
    }

    fn drawn(&self, attributes: &str) -> String {
        let top = self.top();
        let y_step = step(top, 6.0);
        let y_top = (top / y_step).ceil() * y_step;
        let [left, above, right, below] = MARGIN;
        let (x0, x1, y0, y1) = (left, SIZE[0] - right, SIZE[1] - below, above);
        let x = |value: f64| x0 + (value - self.x_range[0]) / (self.x_range[1] - self.x_range[0]) * (x1 - x0);
        let y = |value: f64| y0 + value / y_top * (y1 - y0);

        let mut svg = Drawing::new(&self.title, attributes);
        for value in ticks(0.0, y_top, y_step) {
            svg.line([x0, y(value)], [x1, y(value)], "stroke=\"#d8d8d8\"");
            let decimals = if y_step < 0.1 { 2 } else { usize::from(y_step < 1.0) };
            svg.text([x0 - 8.0, y(value) + 5.0], "end", &format!("{value:.decimals$}"));
        }
        for value in ticks(self.x_range[0], self.x_range[1], self.x_step) {
            svg.line([x(value), y0], [x(value), y0 + 6.0], "stroke=\"#222\"");
            svg.text([x(value), y0 + 24.0], "middle", &format!("{value:.0}"));
        }
        svg.line([x0, y0], [x1, y0], "stroke=\"#222\"");
        svg.line([x0, y0], [x0, y1], "stroke=\"#222\"");
        svg.text([x0.midpoint(x1), SIZE[1] - 14.0], "middle", &self.x_label);
        svg.turned_text([20.0, y0.midpoint(y1)], &self.y_label);

        if let Some(level) = &self.level {
            svg.line([x0, y(level.y)], [x1, y(level.y)], "stroke=\"#222\" stroke-dasharray=\"7 5\"");
            svg.text([x1 - 10.0, y(level.y) + 20.0], "end", &level.label);
        }
        let curve: Vec<[f64; 2]> = self.curve.iter().map(|&[at, value]| [x(at), y(value)]).collect();
        svg.curve(&curve);
        let plot = [x0, y1, x1, y0];
        let mut written: Vec<Label> = Vec::new();
        for point in self.points.iter().rev() {
            let place = [x(point.x), y(point.y)];
            svg.dot(place);
            let free = |label: &Label| label.within(plot) && !written.iter().any(|other| label.overlaps(other));
            let places = || Label::beside(place, &point.label, y0).into_iter().filter(free);
            if let Some(label) = places().find(|label| !label.crossed_by(&curve)).or_else(|| places().next()) {
                svg.text(label.baseline, label.anchor, &point.label);
                written.push(label);
            }
        }
        svg.done()
    }

    /// Largest value drawn; 1 where all is 0.
    fn top(&self) -> f64 {
        let curve = self.curve.iter().map(|&[_, value]| value);
        let top = curve.chain(self.level.iter().map(|level| level.y)).fold(0.0, f64::max);
        if top > 0.0 { top } else { 1.0 }
    }
}

/// Where a label stands.
struct Label {
    baseline: [f64; 2],
    anchor: &'static str,
    /// Left and right end.
    extent: [f64; 2],
}

impl Label {
    /// The places beside a point, below before above, right before left; then farther off, clear of a sharp bend: level
    /// with it, and within the bend above it. `bottom` is the horizontal scale, which letters stay above.
    fn beside(place: [f64; 2], text: &str, bottom: f64) -> [Self; 7] {
        let width = text.chars().count() as f64 * LETTER_WIDTH;
        let [x, y] = place;
        let right = |by, y| Self { baseline: [x + by, y], anchor: "start", extent: [x + by, x + by + width] };
        let left = |by, y| Self { baseline: [x - by, y], anchor: "end", extent: [x - by - width, x - by] };
        let (below, above, level) = (y + 18.0, y - 10.0, (y + 5.0).min(bottom - 6.0));
        let within_bend =
            Self { baseline: [x, y - 70.0], anchor: "middle", extent: [x - width / 2.0, x + width / 2.0] };
        [
            right(10.0, below),
            left(10.0, below),
            right(10.0, above),
            left(10.0, above),
            right(32.0, level),
            left(32.0, level),
            within_bend,
        ]
    }

    /// Whether it lies within left, top, right and bottom of the plot.
    fn within(&self, [left, top, right, bottom]: [f64; 4]) -> bool {
        let [_, baseline] = self.baseline;
        left <= self.extent[0] && self.extent[1] <= right && top <= baseline - LINE_HEIGHT && baseline <= bottom - 6.0
    }

    /// Whether a point of the curve lies in its letters.
    fn crossed_by(&self, curve: &[[f64; 2]]) -> bool {
        let [_, baseline] = self.baseline;
        curve.iter().any(|&[x, y]| {
            self.extent[0] <= x && x <= self.extent[1] && baseline - LINE_HEIGHT <= y && y <= baseline + 4.0
        })
    }

    fn overlaps(&self, other: &Self) -> bool {
        let apart = self.extent[1] < other.extent[0] || other.extent[1] < self.extent[0];
        !apart && (self.baseline[1] - other.baseline[1]).abs() < LINE_HEIGHT
    }
}

/// Distance of ticks so that about `count` of them fill `span`.
fn step(span: f64, count: f64) -> f64 {
    let rough = span / count;
    let decade = 10_f64.powf(rough.log10().floor());
    STEPS.iter().map(|step| step * decade).find(|step| *step >= rough).unwrap_or(10.0 * decade)
}

/// Ticks from `low` to `high`, both included.
fn ticks(low: f64, high: f64, step: f64) -> impl Iterator<Item = f64> {
    let count = ((high - low) / step + 1e-9).floor() as u32;
    (0..=count).map(move |k| low + f64::from(k) * step)
}

/// An SVG document that is being written. Writing to a string does not fail.
struct Drawing(String);

impl Drawing {
    fn new(title: &str, attributes: &str) -> Self {
        let [width, height] = SIZE;
        let mut drawing = Self(format!(
            "<svg {attributes}viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
             height=\"{height}\" font-family=\"DejaVu Sans, Verdana, Arial, sans-serif\" font-size=\"14\" fill=\"#222\">\n\
             <title>{title}</title>\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n",
            title = escaped(title),
        ));
        let _ = writeln!(
            drawing.0,
            "<text x=\"{}\" y=\"30\" font-size=\"16\" font-weight=\"bold\">{}</text>",
            MARGIN[0],
            escaped(title)
        );
        drawing
    }

    fn line(&mut self, from: [f64; 2], to: [f64; 2], style: &str) {
        let _ = writeln!(
            self.0,
            "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" {style}/>",
            from[0], from[1], to[0], to[1]
        );
    }

    /// A white rim keeps letters legible where they cross a line.
    fn text(&mut self, at: [f64; 2], anchor: &str, text: &str) {
        let _ = writeln!(
            self.0,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" stroke=\"#fff\" stroke-width=\"4\" \
             paint-order=\"stroke\">{}</text>",
            at[0],
            at[1],
            escaped(text)
        );
    }

    fn turned_text(&mut self, at: [f64; 2], text: &str) {
        let _ = writeln!(
            self.0,
            "<text transform=\"translate({:.1} {:.1}) rotate(-90)\" text-anchor=\"middle\">{}</text>",
            at[0],
            at[1],
            escaped(text)
        );
    }

    fn curve(&mut self, points: &[[f64; 2]]) {
        let points = points.iter().map(|[x, y]| format!("{x:.2},{y:.2}")).collect::<Vec<_>>().join(" ");
        let _ =
            writeln!(self.0, "<polyline points=\"{points}\" fill=\"none\" stroke=\"#0b5394\" stroke-width=\"2.5\"/>");
    }

    fn dot(&mut self, at: [f64; 2]) {
        let _ = writeln!(
            self.0,
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"5\" fill=\"#0b5394\" stroke=\"#fff\" stroke-width=\"1.5\"/>",
            at[0], at[1]
        );
    }

    fn done(mut self) -> String {
        self.0.push_str("</svg>\n");
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_counted_as_people_count() {
        assert_eq!(step(2.0, 6.0), 0.5);
        assert_eq!(step(100.0, 6.0), 20.0);
        assert_eq!(ticks(0.0, 45.0, 15.0).collect::<Vec<_>>(), [0.0, 15.0, 30.0, 45.0]);
        assert_eq!(ticks(0.0, 0.3, 0.1).count(), 4);
    }

    /// Both points of a sharp bend are labelled, neither label on the curve.
    #[test]
    fn labels_keep_off_the_curve() {
        let chart = LineChart {
            title: "t".to_owned(),
            x_label: "x".to_owned(),
            y_label: "y".to_owned(),
            x_range: [0.0, 180.0],
            x_step: 30.0,
            curve: (0..=180).map(|x| [f64::from(x), (f64::from(x) - 30.0).abs() / 30.0]).collect(),
            level: None,
            points: vec![
                MarkedPoint { x: 30.0, y: 0.0, label: "least: 0.00 D".to_owned() },
                MarkedPoint { x: 40.0, y: 1.0 / 3.0, label: "now: 0.33 D".to_owned() },
            ],
        };
        let svg = chart.svg();
        assert!(svg.contains("least: 0.00 D") && svg.contains("now: 0.33 D"));
        let place = |x: f64, y: f64| [72.0 + x / 180.0 * 624.0, 376.0 - y / 5.0 * 320.0];
        let curve: Vec<_> = chart.curve.iter().map(|&[x, y]| place(x, y)).collect();
        for line in svg.lines().filter(|line| line.contains(" D</text>")) {
            let number = |name: &str| -> f64 {
                line.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
            };
            let width = 7.0 * line.matches(|c: char| c.is_alphanumeric()).count().min(13) as f64;
            let (x, y) = (number("x"), number("y"));
            let letters = match line.split("anchor=\"").nth(1).unwrap().split('"').next().unwrap() {
                "end" => [x - width, x],
                "middle" => [x - width / 2.0, x + width / 2.0],
                _ => [x, x + width],
            };
            assert!(y < 376.0);
            let on_curve = |p: &&[f64; 2]| letters[0] < p[0] && p[0] < letters[1] && y - 11.0 < p[1] && p[1] < y;
            assert_eq!(curve.iter().find(on_curve), None, "{line}");
        }
    }

    /// The document is read back by an SVG library, and the curve's end stands at the scale's corner.
    #[test]
    fn the_document_is_svg() {
        let chart = LineChart {
            title: "a < b & c".to_owned(),
            x_label: "x".to_owned(),
            y_label: "y".to_owned(),
            x_range: [0.0, 10.0],
            x_step: 5.0,
            curve: vec![[0.0, 0.0], [10.0, 2.0]],
            level: Some(Level { y: 1.0, label: "one".to_owned() }),
            points: vec![MarkedPoint { x: 5.0, y: 1.0, label: "1.00".to_owned() }],
        };
        let svg = chart.svg();
        resvg::usvg::Tree::from_str(&svg, &resvg::usvg::Options::default()).unwrap();
        assert!(svg.contains("<title>a &lt; b &amp; c</title>"));
        assert!(svg.contains("points=\"72.00,376.00 696.00,56.00\""), "{svg}");
    }
}
