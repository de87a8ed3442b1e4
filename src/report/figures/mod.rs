//! One figure a file: its question, its numbers from the results, its drawing, its caption, and what is to be seen in it
//! in words. Nothing is computed here that a table beside it might say differently.
//!
//! A figure of the report is an [`Entry`] of [`FIGURES`]. Figures of a plan, a comparison and a review are drawn by
//! their pages from plain structs of numbers.

pub mod bias;
pub mod changed;
pub mod chronicle;
pub mod compare;
mod entry;
pub mod floor;
mod labels;
pub mod left_out;
mod marks;
pub mod parts;
pub mod plan;
pub mod recoil;
pub mod rest;
pub mod review;
mod session_names;
pub mod sessions;
mod style;
pub mod travel;
pub mod wrong;

pub use entry::{About, Entry, Plate, ReaderQuestion, TableRow};

/// The figures of a rig's report, in the reader's order within each question.
pub const FIGURES: [Entry; 10] = [
    rest::FIGURE,
    floor::FIGURE,
    left_out::FIGURE,
    parts::FIGURE,
    travel::FIGURE,
    bias::FIGURE,
    changed::FIGURE,
    sessions::FIGURE,
    recoil::FIGURE,
    wrong::FIGURE,
];
