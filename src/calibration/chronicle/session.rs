//! One session of the season's story: how far from the target its runs came to rest, and what was new in it.

use crate::columns::Column;
use crate::log::run::Status;
use jiff::civil::Date;

/// The misses of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionMisses {
    /// Its label.
    pub label: String,
    /// Its first date.
    pub date: Option<Date>,
    /// Runs that came to rest, in the order they were made.
    pub runs: Vec<RunMiss>,
    /// Median of the counted misses, m.
    pub typical_m: f64,
    /// Smallest of them, m.
    pub best_m: f64,
    /// Labels that the session before did not have; none in the first.
    pub fresh: Vec<Fresh>,
}

impl SessionMisses {
    /// The misses that count.
    pub fn counted(&self) -> impl Iterator<Item = &RunMiss> {
        self.runs.iter().filter(|run| !run.set_aside)
    }
}

/// One run's miss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunMiss {
    /// How far from the target it came to rest, m, ≥ 0.
    pub miss_m: f64,
    /// Distance of the target, m.
    pub target_m: f64,
    /// What became of it; never void.
    pub status: Status,
    /// Whether the program set it aside, in which case it does not count.
    pub set_aside: bool,
}

/// A label that a session has and the session before it has not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fresh {
    /// Of what: vehicle, wheels, build, trim or floor.
    pub column: Column,
    /// The label, never blank.
    pub label: String,
    /// Whether no session before had it.
    pub first: bool,
}
