//! One figure a file: each takes a plain struct of numbers that came with the results, and computes nothing.

pub mod bias;
pub mod compare;
pub mod drift;
pub mod floor;
mod frame;
pub mod left_out;
mod legend;
pub mod parts;
pub mod plan;
pub mod recoil;
pub mod rest;
pub mod review;
pub mod sessions;
pub mod travel;
pub mod wrong;
