//! Answers as they go to page, JSON and CSV alike.

use serde::Serialize;

/// All that a command has to say.
#[derive(Clone, Debug, Serialize)]
pub struct Study {
    /// Command that made it.
    pub command: &'static str,
    /// Title.
    pub title: String,
    /// The main finding in a line.
    pub headline: String,
    /// Version of stillaxis.
    pub version: &'static str,
    /// Seed of all drawing of chance.
    pub seed: u64,
    /// What became of every record.
    pub inclusions: Vec<Inclusion>,
    /// What a reader should know before the figures.
    pub notes: Vec<String>,
    /// The figures.
    pub sections: Vec<Section>,
    /// How they were found, for quoting.
    pub methods: Vec<String>,
}

/// What became of some of the records.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Inclusion {
    /// What.
    pub what: String,
    /// How many.
    pub records: usize,
    /// Why they were left out; `None` where they were not.
    #[serde(skip)]
    pub left_out: Option<Why>,
}

/// Why records are left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// They cannot be used.
    Unusable,
    /// The case sheet or an argument says so.
    Asked,
}

impl Inclusion {
    /// Of so many that were read, or that count.
    pub fn new(what: impl Into<String>, records: usize) -> Self {
        Self { what: what.into(), records, left_out: None }
    }

    /// Of so many that were left out.
    pub fn left_out(what: impl Into<String>, records: usize, why: Why) -> Self {
        Self { left_out: Some(why), ..Self::new(what, records) }
    }
}

/// Figures that belong together.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Section {
    /// Title.
    pub title: String,
    /// What they say, or why something is missing.
    pub text: Vec<String>,
    /// The figures, those of a group one after the other.
    pub figures: Vec<Figure>,
    /// Charts; not in JSON, which holds the numbers.
    #[serde(skip)]
    pub charts: Vec<Chart>,
}

/// A number with what stands behind it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// Group, or pair of groups.
    pub group: String,
    /// What it is.
    pub quantity: String,
    /// Unit; empty for a bare number.
    pub unit: &'static str,
    /// Value; `None` where it cannot be said, for the reason in `note`.
    pub value: Option<f64>,
    /// 95 % interval.
    pub interval95: Option<[f64; 2]>,
    /// Eyes behind it.
    pub eyes: usize,
    /// Patients behind it, where all are named.
    pub patients: Option<usize>,
    /// What a reader should know.
    pub note: String,
}

/// A chart to be drawn.
#[derive(Clone, Debug)]
pub struct Chart {
    /// What is drawn.
    pub plot: Plot,
    /// What it shows, and how many eyes stand behind it.
    pub caption: String,
}

/// Points of one group.
#[derive(Clone, Debug)]
pub struct Series {
    /// Name of the group.
    pub name: String,
    /// Points.
    pub points: Vec<[f64; 2]>,
}

/// A centroid with its region.
#[derive(Clone, Debug)]
pub struct Region {
    /// Number of the group.
    pub group: usize,
    /// Centroid.
    pub center: [f64; 2],
    /// Points round the region.
    pub outline: Vec<[f64; 2]>,
}

/// What is drawn, in the units of the figures.
#[derive(Clone, Debug)]
pub enum Plot {
    /// Values in order, against limits on either side of 0.
    Sequence {
        /// Order and value, by group.
        series: Vec<Series>,
        /// Title of the horizontal scale.
        x_label: String,
        /// Title of the vertical scale.
        y_label: String,
        /// Limits, drawn at + and -.
        limits: Vec<f64>,
    },
    /// Every value of each group beside the others, with median and quartiles.
    Strips {
        /// Name and values of each group.
        groups: Vec<(String, Vec<f64>)>,
        /// Title of the vertical scale.
        y_label: String,
        /// Limits, drawn at + and -.
        limits: Vec<f64>,
    },
    /// Axes on a half circle, as a rose whose areas are counts.
    Axes {
        /// Degrees.
        axes_deg: Vec<f64>,
    },
    /// Astigmatism in the double-angle plane: C cos 2A to the right, C sin 2A up, D.
    DoubleAngle {
        /// Points by group.
        series: Vec<Series>,
        /// Of those groups that have one.
        regions: Vec<Region>,
    },
    /// Difference against mean, with bias and limits and their intervals (low, value, high).
    Difference {
        /// Points, one series.
        series: Vec<Series>,
        /// Lower limit, bias, upper limit, each with its interval.
        lines: [[f64; 3]; 3],
        /// Title of the horizontal scale.
        x_label: String,
        /// Title of the vertical scale.
        y_label: String,
    },
    /// Curves against a level.
    Curves {
        /// Each curve.
        series: Vec<Series>,
        /// Title of the horizontal scale.
        x_label: String,
        /// Title of the vertical scale.
        y_label: String,
        /// Levels to compare with, named.
        levels: Vec<(f64, String)>,
    },
}

/// Who stands behind a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Behind {
    /// Eyes.
    pub eyes: usize,
    /// Patients, where all are named.
    pub patients: Option<usize>,
}

/// To so many decimals with a proper minus, and none before what rounds to 0: `−0.43`, `0.00`.
pub fn decimal(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let negative = value < 0.0 && text.bytes().any(|byte| (b'1'..=b'9').contains(&byte));
    format!("{}{text}", if negative { "−" } else { "" })
}

impl Section {
    /// An empty one.
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), ..Self::default() }
    }

    /// Add a figure; a value that is not finite is none.
    pub fn add(
        &mut self,
        group: &str,
        quantity: impl Into<String>,
        unit: &'static str,
        value: Option<f64>,
        interval: Option<crate::statistics::Interval>,
        behind: Behind,
    ) -> &mut Figure {
        let finite = |i: &crate::statistics::Interval| i.low.is_finite() && i.high.is_finite();
        let value = value.filter(|v| v.is_finite());
        let at = self.figures.len();
        self.figures.push(Figure {
            group: group.to_owned(),
            quantity: quantity.into(),
            unit,
            value,
            interval95: interval.filter(finite).filter(|_| value.is_some()).map(|i| [i.low, i.high]),
            eyes: behind.eyes,
            patients: behind.patients,
            note: String::new(),
        });
        &mut self.figures[at]
    }
}

impl Figure {
    /// With a note.
    pub fn noted(&mut self, note: impl Into<String>) -> &mut Self {
        self.note = note.into();
        self
    }
}
