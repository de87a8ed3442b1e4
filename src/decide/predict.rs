//! The next run of a situation at a setting.

use super::situation::Situation;
pub use crate::predict::{CLOUD_POINTS, Hand, Path, Prediction, cloud_scores};

/// Where the next run of a situation may come to rest when made at a setting.
pub fn next_run(situation: &Situation, hand: Hand) -> Prediction {
    let row = situation.travel_row(hand.turns);
    let arc_mean_m = situation.travel.mean(&row);
    let arc = situation.travel.next_distribution(&row);
    let excess = situation
        .known_heading()
        .map(|(known, trim, today)| today.next_distribution(&known.row(trim, arc_mean_m)));
    let curvature_per_m = situation.curvature_per_m();
    Prediction::new(hand, curvature_per_m, (&arc, arc_mean_m), excess.as_ref())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::Measure;
    use crate::stats::interval::Level;

    /// Where a quantile of the miss is taken to be, the probability is as asked for to within 2e-6 of the target's distance,
    /// on target and far off it, from four runs to many.
    #[test]
    fn quantiles_of_the_miss_settle() {
        use crate::calibration::fit;
        use crate::decide::{Choice, dial};
        use crate::setup::Setup;
        use crate::simulate::{self, Truth};
        for (sessions, runs) in [(1, 4), (3, 5), (12, 10)] {
            let mut truth = Truth::default();
            truth.season.sessions = sessions;
            truth.season.runs_per_session = vec![runs];
            let season = simulate::season(&truth, 3).season;
            let setup = Setup::default();
            let known = fit::fit(&season, &setup, Level::default(), fit::Options::default())
                .expect("a fit");
            let situation = Situation::new(&known, &Choice::default()).expect("one rig");
            for target_m in [4.0, 8.0, 12.0] {
                let (turns, aim) = dial::plain_setting(&situation, target_m).expect("turns");
                for (by_turns, by_m) in [(0.0, 0.0), (0.025, 0.0025), (0.5, 0.0), (2.0, -0.5)] {
                    let hand = Hand {
                        target_m,
                        turns: turns + by_turns,
                        aim_right_m: aim + by_m,
                    };
                    let prediction = next_run(&situation, hand);
                    let within = |q| prediction.chance_within(q, Measure::Point).expect("known");
                    for p in [0.1, 0.5, 0.95, 0.99] {
                        let q = prediction.miss_quantile(p, Measure::Point).expect("known");
                        let near = 2e-6 * target_m;
                        assert!(
                            q == target_m || within(q - near) < p && within(q + near) > p,
                            "{sessions} of {runs}, {hand:?}, {p}: {q}"
                        );
                    }
                }
            }
        }
    }
}
