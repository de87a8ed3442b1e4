//! A known truth in, an invented season out: for practice, for tests, and to see what a log can tell.
//!
//! [`Truth`] says how a vehicle really behaves and what befalls it; [`season`] plays a season with it, as typed
//! runs and as a log. The forward model is written out here on its own (`path.rs`), so that fitting what it made
//! is a real check of the fit and not the same formula read twice. Same truth and seed, same bytes.

mod chance;
mod day;
mod launch;
mod path;
mod play;
mod rig;
mod truth;
mod truth_check;
mod truth_file;
mod truth_keys;
mod write;

pub use launch::ExactRun;
pub use path::{arc_reaching, clearance, rest_point};
pub use play::{SessionShift, SimulatedSeason, season};
pub use truth::Truth;
pub use truth_keys::{
    BuildTruth, Effects, FloorTruth, HandRollsTruth, HeadingTruth, LoadTruth, Measuring, Mishaps,
    ObstacleTruth, PlannedSeason, PlantedRow, RecoilTruth, RigTruth, Settings, TimeTruth,
    TravelTruth, TrimTruth,
};
