//! A log of each size on disk, read and fitted once, for what is measured one step at a time.

#[path = "floor.rs"]
pub mod floor;
#[path = "logs.rs"]
mod logs;
#[path = "session_sums.rs"]
mod session_sums;

use std::path::{Path, PathBuf};

use haltmark::calibration::{Calibration, fit};
use haltmark::log::{self, run::Season};
use haltmark::setup::Setup;
use haltmark::stats::interval::Level;
use haltmark::{decide, report};
pub use logs::Size;

/// A log and what the program makes of it.
pub struct Made {
    /// How large.
    pub size: Size,
    path: PathBuf,
    /// The set-up in force: nothing but defaults, and a width and an obstacle would only add to both sides.
    pub setup: Setup,
    /// Of every interval.
    pub level: Level,
}

impl Made {
    /// Writes the log below the build folder, where it is not there yet.
    pub fn new(size: Size) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
        let path = folder.join(format!("{}.csv", size.name()));
        if !path.exists() {
            std::fs::create_dir_all(folder).expect("a folder of the build");
            let part = path.with_extension("part");
            logs::write(size, &part).expect("room for a log");
            std::fs::rename(&part, &path).expect("the log under its name");
        }
        Made {
            size,
            path,
            setup: Setup::default(),
            level: Level::new(0.95).expect("a level"),
        }
    }

    /// Reads it.
    pub fn read(&self) -> Season {
        log::read(
            std::slice::from_ref(&self.path),
            &self.setup,
            &log::ReadOptions::default(),
        )
        .expect("an invented log has no fault")
        .0
    }

    /// Fits every rig.
    pub fn fit(&self, season: &Season) -> Calibration {
        let options = fit::Options {
            keep_all: false,
            since: None,
        };
        let mut calibration =
            fit::fit(season, &self.setup, self.level, options).expect("a season to fit");
        decide::complete(&mut calibration).expect("a range of targets");
        calibration
    }

    /// Everything that `fit` makes of the log, in memory: how many bytes.
    pub fn everything(&self) -> usize {
        let calibration = self.fit(&self.read());
        let advice = decide::advise(&calibration).expect("settings");
        let files = report::files(&calibration, &advice).expect("a report");
        files.iter().map(|file| file.bytes.len()).sum()
    }

    /// The log read and as many figures drawn, without statistics.
    pub fn floor(&self) -> usize {
        let rigs = match self.size {
            Size::Season => 2,
            Size::Club => 20,
            Size::League => 400,
        };
        floor::draw(&self.read(), rigs)
    }

    /// The log streamed by the csv crate alone.
    pub fn csv_alone(&self) -> usize {
        session_sums::stream(&self.path)
            .expect("an invented log has no fault")
            .len()
    }
}
