//! The statistics against published and independently computed values. Each module reads one group of cases from
//! `data/` (what they are and where they come from: `data/README.md`) and prints every row that fails, whole.

mod anova;
mod linear_regression;
mod quantiles;
mod read;
