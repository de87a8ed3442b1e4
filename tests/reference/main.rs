//! The statistics against published and independently computed values. Each module reads one group of cases from
//! `data/` (what they are and where they come from: `data/README.md`) and prints every row that fails, whole.

mod anova;
mod control_charts;
mod geometry;
mod groups;
mod least_squares;
mod linear_regression;
mod logistic;
mod nested;
mod nested_by_qr;
mod outliers;
mod predictions;
mod quantiles;
mod radial;
mod read;
mod worked_example;
