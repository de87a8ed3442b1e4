//! Text or a spreadsheet in, typed runs out. Knows nothing of statistics.

pub mod run;
