//! The one form in which an estimate with its uncertainty travels.

use serde::{Deserialize, Serialize};

/// A number with the range it may lie in at a stated [`Level`].
///
/// In JSON, which has no infinity, what does not exist is `null`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "Ends", into = "Ends")]
pub struct Interval {
    /// Best single value.
    pub estimate: f64,
    /// Lower end; −∞ where there is none.
    pub low: f64,
    /// Upper end; +∞ where there is none.
    pub high: f64,
}

/// An [`Interval`] in JSON.
#[derive(Serialize, Deserialize)]
struct Ends {
    estimate: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

impl From<Interval> for Ends {
    fn from(interval: Interval) -> Self {
        // Never −0.
        let finite = |x: f64| x.is_finite().then_some(x + 0.0);
        Ends {
            estimate: finite(interval.estimate),
            low: finite(interval.low),
            high: finite(interval.high),
        }
    }
}

impl From<Ends> for Interval {
    fn from(ends: Ends) -> Self {
        Interval {
            estimate: ends.estimate.unwrap_or(f64::NAN),
            low: ends.low.unwrap_or(f64::NEG_INFINITY),
            high: ends.high.unwrap_or(f64::INFINITY),
        }
    }
}

impl Interval {
    /// A covering interval: extended, where it must be, to contain its estimate (`model.md` §2, Intervals).
    pub fn holding(estimate: f64, low: f64, high: f64) -> Self {
        Interval {
            estimate,
            low: low.min(estimate),
            high: high.max(estimate),
        }
    }

    /// Median and central interval of a distribution given by its quantiles.
    pub fn central(level: Level, quantile: impl Fn(f64) -> f64) -> Self {
        let tail = level.lower_tail();
        Interval {
            estimate: quantile(0.5),
            low: quantile(tail),
            high: quantile(1.0 - tail),
        }
    }

    /// The interval in another unit: every number times `factor`, ends swapped for a negative one.
    pub fn scaled(self, factor: f64) -> Self {
        let (a, b) = (self.low * factor, self.high * factor);
        Interval {
            estimate: self.estimate * factor,
            low: a.min(b),
            high: a.max(b),
        }
    }

    /// The interval shifted by `by`.
    pub fn shifted(self, by: f64) -> Self {
        Interval {
            estimate: self.estimate + by,
            low: self.low + by,
            high: self.high + by,
        }
    }
}

/// The probability an interval is meant to hold, strictly between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Level(f64);

impl TryFrom<f64> for Level {
    type Error = &'static str;

    fn try_from(p: f64) -> Result<Self, Self::Error> {
        Level::new(p).ok_or("a level is between 0 and 1")
    }
}

impl From<Level> for f64 {
    fn from(level: Level) -> Self {
        level.0
    }
}

impl Level {
    /// `None` unless `0 < p < 1`.
    pub fn new(p: f64) -> Option<Self> {
        (p > 0.0 && p < 1.0).then_some(Level(p))
    }

    /// The probability itself.
    pub fn probability(self) -> f64 {
        self.0
    }

    /// The probability left out below a central interval.
    pub fn lower_tail(self) -> f64 {
        (1.0 - self.0) / 2.0
    }
}

impl Default for Level {
    /// 95 %, the contract's default.
    fn default() -> Self {
        Level(0.95)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_moves_estimate_and_ends_alike() {
        let interval = Interval {
            estimate: 1.0,
            low: 0.5,
            high: 3.0,
        };
        let shifted = Interval {
            estimate: 3.0,
            low: 2.5,
            high: 5.0,
        };
        assert_eq!(interval.shifted(2.0), shifted);
    }
}
