//! A curve over a scale, as SVG: readable in print, without colour and without a script.

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
    /// Points of note, in order of x. Each has a dot; a label that would cover another or the scale is left out, the later
    /// point's first kept.
    pub points: Vec<MarkedPoint>,
}

impl LineChart {
    /// The chart as a self-contained SVG document.
    pub fn svg(&self) -> String {
        let top = self.top();
        let y_step = step(top, 6.0);
        let y_top = (top / y_step).ceil() * y_step;
        let [left, above, right, below] = MARGIN;
        let (x0, x1, y0, y1) = (left, SIZE[0] - right, SIZE[1] - below, above);
        let x = |value: f64| x0 + (value - self.x_range[0]) / (self.x_range[1] - self.x_range[0]) * (x1 - x0);
        let y = |value: f64| y0 + value / y_top * (y1 - y0);

        let mut svg = Drawing::new(&self.title);
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
        svg.curve(self.curve.iter().map(|&[at, value]| [x(at), y(value)]));
        let mut written: Vec<Label> = Vec::new();
        for point in self.points.iter().rev() {
            let place = [x(point.x), y(point.y)];
            svg.dot(place);
            let label = Label::beside(place, &point.label, x1);
            let fits = label.baseline[1] <= y0 - 6.0 && !written.iter().any(|other| label.overlaps(other));
            if fits {
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
    /// Below and right of a point on a rising curve, where nothing is in the way; above and left where the right edge of
    /// the plot leaves no room.
    fn beside(place: [f64; 2], text: &str, right_edge: f64) -> Self {
        let width = text.chars().count() as f64 * LETTER_WIDTH;
        let [x, y] = place;
        if x + 10.0 + width <= right_edge {
            Self { baseline: [x + 10.0, y + 18.0], anchor: "start", extent: [x + 10.0, x + 10.0 + width] }
        } else {
            Self { baseline: [x - 10.0, y - 10.0], anchor: "end", extent: [x - 10.0 - width, x - 10.0] }
        }
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
    fn new(title: &str) -> Self {
        let [width, height] = SIZE;
        let mut drawing = Self(format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
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

    fn curve(&mut self, points: impl Iterator<Item = [f64; 2]>) {
        let points = points.map(|[x, y]| format!("{x:.2},{y:.2}")).collect::<Vec<_>>().join(" ");
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

/// Text as it may stand in an XML document.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
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
