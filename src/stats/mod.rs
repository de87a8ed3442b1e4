//! General statistics; knows nothing of vehicles, logs or files.

pub mod anova;
pub mod charts;
pub mod correlation;
pub mod counting;
pub mod cubic;
pub mod distributions;
pub mod exchange;
pub mod interval;
pub mod lattice;
pub mod linalg;
pub mod logistic;
pub mod mixed;
pub mod nested;
pub mod normality;
pub mod optimise;
pub mod radial;
pub mod resample;
pub mod rows;
pub mod t_table;
pub mod weighted;

/// What a calculation in this room can fail of. Callers turn it into words about runs and columns.
#[derive(Debug, Clone, PartialEq)]
pub enum Numerical {
    /// The columns before `column` (counted from 0) already explain it (an aliased column): its coefficient is not estimable.
    RankLost {
        /// Index of the column, from 0.
        column: usize,
    },
    /// A number that had to be finite was not.
    NotFinite {
        /// Which number.
        what: &'static str,
    },
    /// A search used up its steps.
    DidNotSettle {
        /// Which search.
        what: &'static str,
        /// How much the last step still changed, in the unit of what was searched.
        last_change: f64,
    },
    /// Arguments that do not fit together, or lie outside their range.
    Shape {
        /// What was wrong with them.
        what: &'static str,
    },
    /// The function has the same sign at both ends, so no root is known to lie between them.
    NoBracket {
        /// Value of the function at the lower end.
        at_low: f64,
        /// Value of the function at the upper end.
        at_high: f64,
    },
}

impl std::fmt::Display for Numerical {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Numerical::RankLost { column } => write!(
                out,
                "column {} is already explained by the columns before it",
                column + 1
            ),
            Numerical::NotFinite { what } => write!(out, "{what} is not a finite number"),
            Numerical::DidNotSettle { what, last_change } => {
                write!(out, "{what} did not settle (last change {last_change:e})")
            }
            Numerical::Shape { what } => write!(out, "{what}"),
            Numerical::NoBracket { at_low, at_high } => write!(
                out,
                "no change of sign between the ends ({at_low:e} and {at_high:e})"
            ),
        }
    }
}

impl std::error::Error for Numerical {}
