//! haltmark: from a season's run log of a small stopping vehicle to settings that can be trusted.

pub mod calibration;
pub mod cli;
pub mod decide;
pub mod error;
pub mod fault;
pub mod geometry;
pub mod keys;
pub mod log;
pub mod report;
pub mod setup;
pub mod simulate;
pub mod stats;
pub mod units;
pub mod watch;
