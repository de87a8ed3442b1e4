//! The set-up file: what it may say, its defaults, and its reading.
//!
//! SI units inside (m, rad, turns); the file's own names and units live in `setup/keys.rs` only.

mod file;
// Not formatted: a key stands on a line.
#[rustfmt::skip]
mod keys;

use std::collections::BTreeMap;

pub use file::{from_toml, in_force, read};

/// Default of `obstacle.touch_accept`: the obstacle itself has no default.
const TOUCH_ACCEPT: f64 = 0.02;

/// Everything the set-up can say. [`Setup::default`] is the contract's defaults.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Setup {
    /// The wheel dial.
    pub dial: Dial,
    /// Sizes of the vehicle.
    pub vehicle: Vehicle,
    /// Diameter of a wheel set where it differs, by label.
    pub wheels_diameter_m: BTreeMap<String, f64>,
    /// When a roll-back counts, and how often it may happen.
    pub brake: Brake,
    /// How finely the aim mark can be placed.
    pub aim: Aim,
    /// What can be announced and what counts.
    pub event: Event,
    /// The obstacle, if there is one.
    pub obstacle: Option<Obstacle>,
    /// The lane, if something is in the way.
    pub lane: Option<Lane>,
    /// What a miss costs.
    pub score: Score,
    /// Guesses that stand in while the log is short.
    pub prior: Prior,
}

/// `[dial]`
#[derive(Debug, Clone, PartialEq)]
pub struct Dial {
    /// Divisions of the wheel dial.
    pub ticks_per_turn: u32,
    /// Whether the set-up said so (else assumed).
    pub given: bool,
}

/// `[vehicle]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Vehicle {
    /// Overall width.
    pub width_m: Option<f64>,
    /// Diameter of the wheels on the braked axle.
    pub wheel_diameter_m: Option<f64>,
}

/// `[brake]`
#[derive(Debug, Clone, PartialEq)]
pub struct Brake {
    /// Rolled back by at least this much counts as a recoil.
    pub recoil_from_m: f64,
    /// Recoil chance that a lead in use may carry.
    pub recoil_accept: f64,
}

/// `[aim]`
#[derive(Debug, Clone, PartialEq)]
pub struct Aim {
    /// Step of the aim mark.
    pub step_m: f64,
}

/// Which of the event's runs count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Counts {
    /// The best of them.
    #[default]
    Best,
    /// Their sum.
    Sum,
    /// The last.
    Last,
}

/// `[event]`
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Shortest target that can be announced; `None`: the log's shortest.
    pub shortest_m: Option<f64>,
    /// Longest target that can be announced; `None`: the log's longest.
    pub longest_m: Option<f64>,
    /// Step it is announced in.
    pub step_m: f64,
    /// How many runs count.
    pub runs: u32,
    /// And how.
    pub counts: Counts,
}

/// Where along the line the obstacle stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ObstacleAt {
    /// As a fraction of the target's distance.
    Fraction(f64),
    /// At a fixed distance from the start mark.
    Distance(f64),
}

/// A side of the line, as seen from the start mark looking at the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left of it.
    Left,
    /// Right of it.
    Right,
}

/// `[obstacle]`
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// Where along the line.
    pub at: ObstacleAt,
    /// Where across it, right positive.
    pub right_m: f64,
    /// Its diameter.
    pub diameter_m: f64,
    /// The side of it that the vehicle must go by.
    pub pass: Side,
    /// Chance of a touch that a trim may carry.
    pub touch_accept: f64,
}

/// `[lane]`
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// Free width on either side of the line.
    pub half_width_m: f64,
}

/// What is measured as the miss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Measure {
    /// Straight distance.
    #[default]
    Point,
    /// Along the line only.
    Line,
}

/// `[score]`; lower is better.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// What is measured.
    pub measure: Measure,
    /// For each cm of miss.
    pub per_cm: f64,
    /// For each second of run time.
    pub per_s: f64,
    /// Past the target by more than this ...
    pub long_limit_m: f64,
    /// ... costs this much more.
    pub long_penalty: f64,
    /// For touching the obstacle.
    pub touch_penalty: f64,
}

/// `[prior]`
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    /// Guess for how far sessions differ along.
    pub between_sessions_m: f64,
    /// Guess for how far sessions differ in heading, rad.
    pub between_sessions_rad: f64,
    /// Guess (SD) for a trim's curvature κ, 1/m. The file's `curve_cm_per_m2` is 100·κ/2.
    pub curvature_per_m: f64,
}

impl Default for Dial {
    fn default() -> Self {
        Dial {
            ticks_per_turn: 20,
            given: false,
        }
    }
}

impl Default for Brake {
    fn default() -> Self {
        Brake {
            recoil_from_m: 0.01,
            recoil_accept: 0.10,
        }
    }
}

impl Default for Aim {
    fn default() -> Self {
        Aim { step_m: 0.005 }
    }
}

impl Default for Event {
    fn default() -> Self {
        Event {
            shortest_m: None,
            longest_m: None,
            step_m: 0.10,
            runs: 2,
            counts: Counts::Best,
        }
    }
}

impl Default for Score {
    fn default() -> Self {
        Score {
            measure: Measure::Point,
            per_cm: 1.0,
            per_s: 0.0,
            long_limit_m: 0.5,
            long_penalty: 0.0,
            touch_penalty: 0.0,
        }
    }
}

impl Default for Prior {
    fn default() -> Self {
        Prior {
            between_sessions_m: 0.10,
            between_sessions_rad: 0.006,
            curvature_per_m: 0.03,
        }
    }
}
