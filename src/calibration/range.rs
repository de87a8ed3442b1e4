//! Which targets can be announced, and which of them is the middle one.

use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::log::run::Season;
use crate::setup::{OBSTACLE_AT_KEY, OBSTACLE_BEFORE, Setup};
use crate::units::at_most_decimals;

/// Shortest and longest target written in a season, m; NaN without any.
pub fn logged_targets_m(season: &Season) -> (f64, f64) {
    let targets_m = season.runs.iter().filter_map(|run| run.target_m);
    targets_m.fold((f64::NAN, f64::NAN), |(low, high), t| {
        (low.min(t), high.max(t))
    })
}

/// Refuses an obstacle that does not stand before the log's shortest target, where that is the shortest to be announced. One
/// that the set-up gives is held against the obstacle when the set-up is read.
///
/// # Errors
/// [`Error::Input`] with the key concerned.
pub fn obstacle_before_logged(setup: &Setup, log_targets_m: (f64, f64)) -> Result<(), Error> {
    let shortest_m = log_targets_m.0;
    if setup.event.shortest_m.is_some()
        || shortest_m.is_nan()
        || setup.obstacle_is_before(shortest_m)
    {
        return Ok(());
    }
    let expected = format!(
        "{OBSTACLE_BEFORE}, which is that of the log, {} m, as long as [event] does not give another as shortest_m",
        at_most_decimals(shortest_m, 3)
    );
    let fault = Fault::error("the set-up", expected).column(OBSTACLE_AT_KEY);
    Err(Faults::from(fault).into())
}

/// The targets that can be announced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventRange {
    /// Shortest target.
    pub shortest_m: f64,
    /// Longest target.
    pub longest_m: f64,
    /// Step it is announced in.
    pub step_m: f64,
}

/// More targets are in nobody's table: the step or a target is mistyped.
const MOST_TARGETS: f64 = 10_000.0;
/// With penalties the setting for each target is a search over some thousand settings (`src/decide/score.rs`), of about ten
/// milliseconds: a table of this many takes a rig ten seconds, and no event announces as many.
const MOST_TARGETS_SEARCHED: f64 = 1_000.0;
/// Targets are given to a tenth of a millimetre at most; this keeps 5.5 + 7 × 0.1 from becoming 6.199999999999999.
const TARGET_GRAIN_PER_M: f64 = 1e4;
/// A part of a step so small that only rounding makes it.
const STEP_GRAIN: f64 = 1e-6;

impl EventRange {
    /// The set-up's range, else that of the logs' targets.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when the two leave nothing.
    pub fn from_setup(setup: &Setup, log_targets_m: (f64, f64)) -> Result<Self, Error> {
        let shortest_m = setup.event.shortest_m.unwrap_or(log_targets_m.0);
        let longest_m = setup.event.longest_m.unwrap_or(log_targets_m.1);
        let (most, why) = match setup.score.is_plain() {
            true => (MOST_TARGETS, ""),
            false => (
                MOST_TARGETS_SEARCHED,
                ", and the price on time or the penalties under [score] make the setting for each a search",
            ),
        };
        if (longest_m - shortest_m) / setup.event.step_m > most {
            return Err(Error::cannot_answer(
                format!(
                    "from {shortest_m} to {longest_m} m by {} m there are more than {most} targets that can be announced{why}",
                    setup.event.step_m
                ),
                "give [event] a larger step_m, or shortest_m and longest_m, in the set-up file, or mend a mistyped \
                 target in the log",
            ));
        }
        if shortest_m.is_finite() && longest_m.is_finite() && shortest_m <= longest_m {
            obstacle_before_logged(setup, log_targets_m)?;
            return Ok(EventRange {
                shortest_m,
                longest_m,
                step_m: setup.event.step_m,
            });
        }
        let what = match shortest_m.is_finite() && longest_m.is_finite() {
            true => format!(
                "no target can be announced: the nearest would be {shortest_m} m and the farthest {longest_m} m"
            ),
            false => "neither log nor set-up says which targets can be announced".to_string(),
        };
        Err(Error::cannot_answer(
            what,
            "give both [event] shortest_m and longest_m in the set-up file",
        ))
    }

    /// Every target that can be announced, shortest first.
    pub fn targets_m(&self) -> Vec<f64> {
        let steps = ((self.longest_m - self.shortest_m) / self.step_m + STEP_GRAIN).floor();
        (0..=steps as usize)
            .map(|k| self.target_m(k as f64))
            .collect()
    }

    /// The middle target: the one that can be announced nearest the mean of the ends, the shorter of two as near.
    pub fn middle_m(&self) -> f64 {
        let steps = 0.5 * (self.longest_m - self.shortest_m) / self.step_m;
        self.target_m((steps - 0.5 - STEP_GRAIN).ceil().max(0.0))
    }

    /// Shortest, middle and longest target; the longest is the end of the range, which the step need not reach.
    pub fn three_m(&self) -> [f64; 3] {
        [
            self.target_m(0.0),
            self.middle_m(),
            Self::tidy(self.longest_m),
        ]
    }

    /// The target so many steps beyond the shortest.
    fn target_m(&self, steps: f64) -> f64 {
        Self::tidy(self.shortest_m + steps * self.step_m)
    }

    fn tidy(target_m: f64) -> f64 {
        (target_m * TARGET_GRAIN_PER_M).round() / TARGET_GRAIN_PER_M
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn middle_m(shortest_m: f64, longest_m: f64, step_m: f64) -> f64 {
        let range = EventRange {
            shortest_m,
            longest_m,
            step_m,
        };
        assert!(range.targets_m().contains(&range.middle_m()), "{range:?}");
        range.middle_m()
    }

    /// From 5 to 10 m by 4 mm are 1,250 targets.
    #[test]
    fn a_table_is_refused_earlier_where_each_setting_is_a_search() {
        let mut setup = Setup::default();
        setup.event.step_m = 0.004;
        assert!(EventRange::from_setup(&setup, (5.0, 10.0)).is_ok());
        setup.score.long_penalty = 40.0;
        let refused = EventRange::from_setup(&setup, (5.0, 10.0)).unwrap_err();
        assert!(refused.to_string().contains("1000 targets"), "{refused}");
        setup.event.step_m = 0.005;
        assert!(EventRange::from_setup(&setup, (5.0, 10.0)).is_ok());
    }

    #[test]
    fn the_middle_target_can_be_announced_and_is_the_shorter_of_two_as_near() {
        assert_eq!(middle_m(6.5, 10.5, 0.1), 8.5);
        assert_eq!(middle_m(5.5, 9.0, 0.1), 7.2);
        assert_eq!(middle_m(5.5, 9.04, 0.1), 7.3);
        assert_eq!(middle_m(7.0, 8.0, 1.0), 7.0);
        assert_eq!(middle_m(5.0, 9.0, 3.0), 8.0);
        assert_eq!(middle_m(5.0, 9.0, 10.0), 5.0);
        assert_eq!(middle_m(8.0, 8.0, 0.1), 8.0);
    }
}
