//! What a figure of a report is: an entry in the list, and what stands around its drawing.

use crate::calibration::{Calibration, Story};
use crate::decide::RigSettings;
use crate::error::Error;
use crate::report::svg::Figure;
use crate::report::words;
use crate::stats::interval::Interval;

/// The part of a rig's page that a figure stands in: the reader's question it helps to answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReaderQuestion {
    /// Where runs come to rest.
    HowFar,
    /// How far that can be trusted.
    HowSure,
    /// What the log says of the vehicle.
    Why,
    /// What went wrong.
    Wrong,
}

impl ReaderQuestion {
    /// In the reader's order.
    pub const ALL: [ReaderQuestion; 4] = [
        ReaderQuestion::HowFar,
        ReaderQuestion::HowSure,
        ReaderQuestion::Why,
        ReaderQuestion::Wrong,
    ];

    /// The heading of that part.
    pub fn heading(self) -> &'static str {
        match self {
            ReaderQuestion::HowFar => "How far from the target it stops",
            ReaderQuestion::HowSure => "How sure this is",
            ReaderQuestion::Why => "Why: what the log says of this vehicle",
            ReaderQuestion::Wrong => "What went wrong",
        }
    }
}

/// A figure of a rig's report.
pub struct Entry {
    /// File name without its end.
    pub name: &'static str,
    /// The part of the page it stands in.
    pub question: ReaderQuestion,
    /// Takes its numbers from the results and draws them under a name (this one, or with a rig's number before it);
    /// `None` where the log has nothing to show of it.
    pub tell: fn(&About, &str) -> Result<Option<Plate>, Error>,
}

/// What the figures of a report are about: one rig of a calibration.
#[derive(Clone, Copy)]
pub struct About<'a> {
    /// The calibration.
    pub calibration: &'a Calibration,
    /// The rig with its settings.
    pub rig: &'a RigSettings<'a>,
}

impl<'a> About<'a> {
    /// What the fits saw of its runs and sessions; `None` for a calibration that was read from a file.
    pub fn story(&self) -> Option<&'a Story> {
        self.rig.situation.rig.story.as_ref()
    }

    /// The level of intervals as people count: `19 of 20`.
    pub fn level(&self) -> String {
        words::level(self.calibration.level.probability())
    }

    /// The level of intervals as statisticians write it: `95 %`.
    pub fn percent(&self) -> String {
        words::percent(self.calibration.level.probability())
    }
}

/// A figure with the words and numbers that stand around it; or a sentence in its place, where there is nothing to draw.
#[derive(Default)]
pub struct Plate {
    /// What it shows.
    pub title: String,
    /// The drawing; `None` where the caption says all there is.
    pub figure: Option<Figure>,
    /// Caption in plain words.
    pub caption: String,
    /// Sentences of a list below the caption of one that has no drawing.
    pub points: Vec<String>,
    /// Heads of the columns of its table, where there are more than two.
    pub head: Vec<&'static str>,
    /// Estimates and intervals.
    pub rows: Vec<TableRow>,
    /// Formula and sources.
    pub fold: Vec<String>,
}

impl Plate {
    /// A drawn figure with a caption.
    pub fn new(figure: Figure, caption: impl Into<String>) -> Self {
        Plate {
            title: figure.title.clone(),
            figure: Some(figure),
            caption: caption.into(),
            ..Plate::default()
        }
    }
}

/// A row of a fold's table; the first cell says what it is.
pub type TableRow = Vec<String>;

/// A row of two cells.
pub fn row(what: &str, value: String) -> TableRow {
    vec![what.to_string(), value]
}

/// A row of an estimate with its interval, in another unit.
pub fn interval_row(what: &str, interval: Interval, factor: f64, unit: &str) -> TableRow {
    row(
        what,
        format!("{} {unit}", words::interval(&interval.scaled(factor))),
    )
}

/// A label behind a comma; nothing for an empty one.
pub fn named(label: &str) -> String {
    if label.is_empty() {
        String::new()
    } else {
        format!(", {}", words::label(label))
    }
}
