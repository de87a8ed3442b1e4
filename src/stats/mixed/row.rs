//! A row that is not in the fit: one to be predicted, or one of a group in progress.

/// Where a row lies: in the design, and on the scale of the spreads.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its p entries of the design.
    pub x: Vec<f64>,
    /// Size u > 0: the covariate that spreads grow with, over its mean in the fit.
    pub size: f64,
}

impl Row {
    /// A row of a model whose spreads are the same everywhere.
    pub fn of_mean_size(x: Vec<f64>) -> Self {
        Row { x, size: 1.0 }
    }
}
