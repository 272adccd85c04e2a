//! Charts of one curve.

use stillaxis::report::line_chart::LineChart;

/// What XML cannot hold is replaced, not written: `escaped` is the one of all drawings.
#[test]
fn control_characters_do_not_break_the_document() {
    let chart = LineChart {
        title: "a \u{1} & \u{ffff}".to_owned(),
        x_label: "<x>".to_owned(),
        y_label: "y".to_owned(),
        x_range: [0.0, 1.0],
        x_step: 1.0,
        curve: vec![[0.0, 0.0], [1.0, 1.0]],
        level: None,
        points: Vec::new(),
    };
    let svg = chart.svg();
    assert!(svg.contains("<title>a \u{fffd} &amp; \u{fffd}</title>") && svg.contains("&lt;x&gt;"), "{svg}");
    resvg::usvg::Tree::from_str(&svg, &resvg::usvg::Options::default()).unwrap();
}
