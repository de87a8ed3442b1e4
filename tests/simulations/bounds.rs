//! What a table's figures must keep to.

/// Bounds that a figure did not keep, as sentences.
#[derive(Debug, Default)]
pub struct Bounds(pub Vec<String>);

impl Bounds {
    /// `figure` must be a number, `least` or more.
    pub fn at_least(&mut self, what: &str, figure: f64, least: f64) {
        if figure.is_nan() || figure < least {
            self.0
                .push(format!("{what}: {figure:.3}, at least {least:.3} expected"));
        }
    }

    /// `figure` must be a number, `most` or less.
    pub fn at_most(&mut self, what: &str, figure: f64, most: f64) {
        if figure.is_nan() || figure > most {
            self.0
                .push(format!("{what}: {figure:.3}, at most {most:.3} expected"));
        }
    }
}

/// How far chance may take a share of so many simulated seasons: three standard errors.
pub fn allowed(share: f64, seasons: u64) -> f64 {
    3.0 * (share * (1.0 - share) / seasons as f64).sqrt()
}
