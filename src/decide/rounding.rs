//! Rounding to what a hand can set. The event-day card rounds by the same rule.

use crate::units;

/// How many steps `x` is nearest to, as a whole number; see [`units::steps`].
pub fn steps(x: f64, step: f64) -> i64 {
    units::steps(x, step) as i64
}

/// A setting of the dial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DialSetting {
    /// Ticks in all, ≥ 0.
    pub ticks_in_all: i64,
    /// Divisions of the dial.
    pub ticks_per_turn: i64,
}

impl DialSetting {
    /// The nearest setting to a number of turns; none below 0.
    pub fn nearest(turns: f64, ticks_per_turn: u32) -> Self {
        let per = i64::from(ticks_per_turn);
        DialSetting {
            ticks_in_all: steps(turns, 1.0 / per as f64).max(0),
            ticks_per_turn: per,
        }
    }

    /// Whole turns.
    pub fn whole_turns(self) -> i64 {
        self.ticks_in_all / self.ticks_per_turn
    }

    /// Ticks on top of them.
    pub fn ticks(self) -> i64 {
        self.ticks_in_all % self.ticks_per_turn
    }

    /// Both together, in turns.
    pub fn turns(self) -> f64 {
        self.whole_turns() as f64 + self.ticks() as f64 / self.ticks_per_turn as f64
    }
}

/// An offset rounded to the aim step, m; never −0.
pub fn aim_m(offset_m: f64, step_m: f64) -> f64 {
    steps(offset_m, step_m) as f64 * step_m + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_round_away_from_zero_on_both_sides() {
        assert_eq!(steps(0.25, 0.5), 1);
        assert_eq!(steps(-0.25, 0.5), -1);
        assert_eq!(steps(0.249, 0.5), 0);
        assert!(aim_m(-0.001, 0.005).is_sign_positive());
    }

    #[test]
    fn twenty_ticks_are_a_turn() {
        let setting = DialSetting::nearest(36.575, 20);
        assert_eq!((setting.whole_turns(), setting.ticks()), (36, 12));
        let setting = DialSetting::nearest(36.98, 20);
        assert_eq!((setting.whole_turns(), setting.ticks()), (37, 0));
        assert!((setting.turns() - 37.0).abs() < 1e-12);
    }
}
