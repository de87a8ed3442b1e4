//! Seasons simulated from known truths with fixed seeds, to count how often what the program says is right. This measures; it
//! proves no formula. Tests hold small counts to bounds, `tables.rs` prints large ones.
#![allow(dead_code)] // Each test uses its part; the tables use all.

pub mod bands;
pub mod bounds;
pub mod checks;
pub mod chronicle;
pub mod comparisons;
pub mod event_day;
pub mod priors;
pub mod promises;
pub mod reviews;
pub mod slips;
pub mod vehicle;
