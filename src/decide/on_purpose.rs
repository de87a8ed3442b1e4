//! Why a setting does not aim at the target itself: the score's prices make another one cheaper on average.

use crate::setup::Setup;
use crate::units;

/// Offsets below this are the rounding of dial and aim mark, m.
const LEAST_M: f64 = 0.005;

/// How far beside the target a setting aims, and which prices make that cheaper. Worded here only.
#[derive(Debug, Clone, PartialEq)]
pub struct OnPurpose {
    /// How far past the target runs stop on average, m: + long.
    pub long_m: f64,
    /// How far across, m: + right.
    pub right_m: f64,
    /// What holds for every target.
    reason: String,
    template: String,
}

impl OnPurpose {
    /// `None` where the setting aims at the target as nearly as dial and aim mark can be set, or the score has no price but
    /// that of the miss.
    ///
    /// * `long_m`, `right_m` — how far the setting carries a run past and right of where the mean of a run is on the target
    pub fn new(setup: &Setup, long_m: f64, right_m: f64) -> Option<Self> {
        let beside = long_m.abs() >= LEAST_M || right_m.abs() >= LEAST_M;
        let everything = template(setup, true).filter(|_| beside)?;
        Some(OnPurpose {
            long_m,
            right_m,
            reason: everything.replace(HOW_FAR, "beside the target"),
            template: template(setup, long_m.abs() >= LEAST_M)?,
        })
    }

    /// The reason without numbers that change from target to target: for one remark below a whole table.
    pub fn reason(&self) -> &str {
        &self.reason
    }
}

impl std::fmt::Display for OnPurpose {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let side = |by_m: f64, plus: &str, minus: &str| {
            let side = if by_m > 0.0 { plus } else { minus };
            let cm = units::decimals(100.0 * by_m.abs(), 0);
            (by_m.abs() >= LEAST_M).then(|| format!("{cm} cm {side}"))
        };
        let along = side(self.long_m, "long", "short");
        let across = side(self.right_m, "to the right", "to the left");
        let both: Vec<String> = along.into_iter().chain(across).collect();
        write!(f, "{}", self.template.replace(HOW_FAR, &both.join(" and ")))
    }
}

/// Stands in a [`template`] for how far and to which side.
const HOW_FAR: &str = "#";

/// The sentence with a hole for how far and to which side, which the card fills in by itself; the prices that the set-up has
/// beside that of the miss are in it. `None` where there is none.
///
/// * `along` — whether it aims long or short; of a setting that aims aside alone, touches are the reason where they have a price
pub fn template(setup: &Setup, along: bool) -> Option<String> {
    let score = &setup.score;
    let touch = score.touch_penalty > 0.0 && setup.obstacle.is_some();
    let along = along || !touch;
    let points = |price: f64| units::at_most_decimals(price, 3);
    let mut prices = Vec::new();
    if along && score.long_penalty > 0.0 {
        prices.push(format!(
            "going more than {} cm past the target costs {}",
            units::at_most_decimals(100.0 * score.long_limit_m, 1),
            points(score.long_penalty)
        ));
    }
    if touch {
        prices.push(format!(
            "touching the obstacle costs {}",
            points(score.touch_penalty)
        ));
    }
    if along && score.per_s > 0.0 {
        prices.push(format!("each second costs {}", points(score.per_s)));
    }
    (!prices.is_empty()).then(|| {
        format!(
            "aims {HOW_FAR} on purpose: {} ([score] in the set-up), so that is cheaper on average",
            prices.join(" and ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setup(score: &str) -> Setup {
        crate::setup::from_toml("setup", &format!("[score]\n{score}")).expect("a sound set-up")
    }

    #[test]
    fn what_going_long_costs_is_said_with_how_far_short_it_aims() {
        let setup = setup("long_limit_cm = 50\nlong_penalty = 40\n");
        let said = OnPurpose::new(&setup, -0.063, 0.0).map(|why| why.to_string());
        assert_eq!(
            said.as_deref(),
            Some(
                "aims 6 cm short on purpose: going more than 50 cm past the target costs 40 ([score] in the set-up), so that is \
                 cheaper on average"
            )
        );
    }

    /// How far past the target a run goes has nothing to do with left and right.
    #[test]
    fn a_setting_that_aims_aside_alone_speaks_of_touches_alone() {
        let setup = setup(
            "long_penalty = 40\ntouch_penalty = 50\n[obstacle]\nat = 0.5\nright_cm = 20\ndiameter_cm = 10\npass = \"left\"\n",
        );
        let said = |long_m| {
            let beside = OnPurpose::new(&setup, long_m, -0.2).expect("20 cm aside");
            (beside.to_string(), beside.reason().to_string())
        };
        let long = "going more than 50 cm past the target costs 40";
        let touch = "touching the obstacle costs 50";
        let (aside, below_the_table) = said(0.0);
        assert!(aside.contains(touch) && !aside.contains(long), "{aside}");
        let (both, _) = said(-0.1);
        assert!(both.contains(touch) && both.contains(long), "{both}");
        assert!(below_the_table.contains(touch) && below_the_table.contains(long));
    }

    #[test]
    fn nothing_is_said_of_rounding_or_of_a_score_that_is_the_miss_alone() {
        assert_eq!(OnPurpose::new(&Setup::default(), -0.06, 0.0), None);
        assert_eq!(OnPurpose::new(&setup("per_s = 2\n"), 0.004, -0.004), None);
        let beside = OnPurpose::new(&setup("per_s = 2\n"), 0.02, -0.03).expect("two centimetres");
        assert!(
            beside
                .reason()
                .starts_with("aims beside the target on purpose: each second costs 2 (")
        );
        let said = beside.to_string();
        assert!(
            said.starts_with(
                "aims 2 cm long and 3 cm to the left on purpose: each second costs 2 ("
            ),
            "{said}"
        );
    }
}
