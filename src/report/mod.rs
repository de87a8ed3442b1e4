//! Results in, pages and figures out as names and bytes; computes nothing and writes nothing.

pub mod figures;
pub mod svg;
pub mod words;
