//! The set-up file: what it may say, its defaults, and its reading.

mod file;
mod tables;

pub use file::{from_toml, in_force, page, read, read_over, told};
pub use tables::{
    Aim, Brake, Counts, Dial, Event, EventRule, Lane, Measure, OBSTACLE_AT_KEY, OBSTACLE_BEFORE,
    Obstacle, ObstacleAt, PassSide, Prior, Score, Setup, TicksSource, Vehicle,
};
