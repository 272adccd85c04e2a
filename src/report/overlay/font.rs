//! The embedded font: no system font is needed to draw.

use crate::report::xml::escaped;
use resvg::usvg::{Options, fontdb};
use std::sync::{Arc, OnceLock};

/// Family of both faces as the font names itself. Of its widths only the condensed is embedded: the panel is no wider
/// than the picture.
pub const FAMILY: &str = "DejaVu Sans";

/// Parser options that know the embedded faces and nothing else.
pub fn options() -> Options<'static> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let fonts = FONTS.get_or_init(|| {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(dejavu::sans_condensed::regular().to_vec());
        fonts.load_font_data(dejavu::sans_condensed::bold().to_vec());
        Arc::new(fonts)
    });
    Options { font_family: FAMILY.to_owned(), fontdb: Arc::clone(fonts), ..Options::default() }
}

/// One piece of text to be measured or drawn.
#[derive(Clone, Debug)]
pub struct Text {
    /// What it says.
    pub text: String,
    /// Size of the em, px.
    pub size: f64,
    /// Bold face.
    pub bold: bool,
}

impl Text {
    /// Regular face.
    pub fn regular(text: impl Into<String>, size: f64) -> Self {
        Self { text: text.into(), size, bold: false }
    }

    /// Bold face.
    pub fn bold(text: impl Into<String>, size: f64) -> Self {
        Self { text: text.into(), size, bold: true }
    }

    /// An SVG element, left end of the baseline at (x, y), with more `attributes`.
    pub fn element(&self, x: f64, y: f64, attributes: &str) -> String {
        let weight = if self.bold { 700 } else { 400 };
        format!(
            r#"<text x="{x:.2}" y="{y:.2}" font-family="{FAMILY}" font-size="{:.2}" font-weight="{weight}" xml:space="preserve" {attributes}>{}</text>"#,
            self.size,
            escaped(&self.text)
        )
    }
}

/// Widths of `texts` as they will be drawn, px.
pub fn widths(texts: &[Text]) -> Vec<f64> {
    let mut svg = String::from(r#"<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10">"#);
    for (index, text) in texts.iter().enumerate() {
        svg.push_str(&text.element(0.0, 0.0, &format!(r#"id="t{index}""#)));
    }
    svg.push_str("</svg>");
    let tree = resvg::usvg::Tree::from_str(&svg, &options()).ok();
    (0..texts.len())
        .map(|index| {
            let node = tree.as_ref().and_then(|tree| tree.node_by_id(&format!("t{index}")));
            node.map_or(0.0, |node| f64::from(node.bounding_box().width()))
        })
        .collect()
}
