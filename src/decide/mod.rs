//! What is known turned into what to do: settings, corrections, plans, comparisons. Draws and words nothing.

pub mod bend;
pub mod clearance;
pub mod correct;
pub mod dial;
pub mod parts;
pub mod predict;
pub mod rounding;
pub mod score;
pub mod shape;
pub mod situation;

pub use dial::Setting;
pub use situation::{Choice, Situation};
