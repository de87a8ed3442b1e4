//! The next practice session: which targets, in which order, with which settings; a first guess where nothing is known.

use super::dial::{self, Setting};
use super::plan::{Prospects, USUAL_RUNS};
use super::rounding::DialSetting;
use super::situation::Situation;
use crate::calibration::EventRange;
use crate::calibration::travel::wheel_diameter_m;
use crate::error::Error;
use crate::setup::Setup;
use crate::stats::interval::Level;
use crate::stats::resample;

/// Targets of a first session where the set-up does not say what can be announced, m: what a sports hall holds. No source.
const USUAL_RANGE_M: (f64, f64) = (5.0, 10.0);

/// The settings of the next session's runs, in the order in which to make them.
///
/// The targets are those where runs teach the most (`plan`), or evenly spread ones where only distance is known. Their
/// order is chance, so that floor and vehicle changing during the session are not taken for an effect of distance. Where
/// there is a [`lead_to_try`], every second run is made with it.
///
/// # Errors
/// Any error of [`dial::setting`].
pub fn settings(
    situation: &Situation,
    range: EventRange,
    level: Level,
    seed: u64,
) -> Result<Vec<Setting>, Error> {
    let mut targets_m = match Prospects::new(situation, range) {
        Ok(prospects) => prospects.targets_m(1, USUAL_RUNS as usize),
        Err(Error::CannotAnswer(_)) => spread(range),
        Err(other) => return Err(other),
    };
    shuffle(&mut targets_m, seed);
    let mut trying = situation.clone();
    let lead_to_try = lead_to_try(situation);
    trying.lead_turns = lead_to_try.or(situation.lead_turns);
    targets_m
        .into_iter()
        .enumerate()
        .map(|(i, target_m)| {
            let with = if i % 2 == 1 { &trying } else { situation };
            dial::setting(with, target_m, level)
        })
        .collect()
}

/// A lead to try in practice beside the one in use: a turn less, but no less than half of it (common practice, no source),
/// where the lead in use rolls back more often than is accepted. Never one for the event: what it does is not known yet.
pub fn lead_to_try(situation: &Situation) -> Option<f64> {
    let in_use = situation.lead_turns?;
    let chance = situation.build().recoil.chance(in_use)?;
    let too_often = chance > situation.setup.brake.recoil_accept && in_use > 0.0;
    too_often.then(|| (in_use - 1.0).max(0.5 * in_use))
}

/// A target with a first guess at its turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guess {
    /// Target, m.
    pub target_m: f64,
    /// Turns whose wheel circumferences add up to the target; `None` where no wheel's size is known.
    pub dial: Option<DialSetting>,
}

/// A session of which nothing is known but the set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstSession {
    /// One a run, in the order in which to make them; none where the set-up says neither what can be announced nor how
    /// large a wheel is.
    pub guesses: Vec<Guess>,
    /// Label of the wheel set that is meant; blank for the vehicle's own.
    pub wheels: String,
    /// Diameter of that wheel set, m.
    pub diameter_m: Option<f64>,
    /// The other wheel sets' labels and diameters, m.
    pub others_m: Vec<(String, f64)>,
}

/// The first session, with target / (π × diameter) as the turns (common practice, no source).
///
/// * `wheels` — the wheel set that is meant; without it the vehicle's own wheels are, else the only set there is
///
/// # Errors
/// [`Error::CannotAnswer`] when the set-up gives one end of the range and the usual other end leaves nothing.
pub fn first(setup: &Setup, wheels: Option<&str>, seed: u64) -> Result<FirstSession, Error> {
    let sets = &setup.wheels_diameter_m;
    let meant = match (wheels, setup.vehicle.wheel_diameter_m, sets.len()) {
        (Some(label), ..) => Some(label),
        (None, None, 1) => sets.keys().next().map(String::as_str),
        (None, ..) => None,
    };
    let diameter_m = match meant {
        Some(label) => wheel_diameter_m(setup, label),
        None => setup.vehicle.wheel_diameter_m,
    };
    let others_m = sets
        .iter()
        .filter(|(label, _)| wheels.is_none() && meant != Some(label.as_str()))
        .map(|(label, diameter_m)| (label.clone(), *diameter_m))
        .collect();
    let event = &setup.event;
    let mut targets_m = Vec::new();
    if diameter_m.is_some() || event.shortest_m.is_some() || event.longest_m.is_some() {
        targets_m = spread(EventRange::from_setup(setup, USUAL_RANGE_M)?);
        shuffle(&mut targets_m, seed);
    }
    let dial = |target_m: f64| {
        diameter_m.map(|diameter_m| {
            let turns = target_m / (std::f64::consts::PI * diameter_m);
            DialSetting::nearest(turns, setup.dial.ticks_per_turn)
        })
    };
    Ok(FirstSession {
        guesses: targets_m
            .into_iter()
            .map(|target_m| Guess {
                target_m,
                dial: dial(target_m),
            })
            .collect(),
        wheels: meant.unwrap_or("").to_string(),
        diameter_m,
        others_m,
    })
}

/// Targets from the shortest to the longest that can be announced, evenly.
fn spread(range: EventRange) -> Vec<f64> {
    let targets_m = range.targets_m();
    let (last, runs) = (targets_m.len() - 1, USUAL_RUNS as usize);
    (0..runs)
        .map(|i| targets_m[(i * last + (runs - 1) / 2) / (runs - 1)])
        .collect()
}

/// Every order alike (Fisher and Yates).
fn shuffle(targets_m: &mut [f64], seed: u64) {
    let mut chance = resample::replicate(seed, 0);
    for last in (1..targets_m.len()).rev() {
        let other = (resample::uniform(&mut chance) * (last + 1) as f64) as usize;
        targets_m.swap(last, other.min(last));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setup() -> Setup {
        let mut setup = Setup::default();
        setup.event.shortest_m = Some(5.0);
        setup.event.longest_m = Some(5.0);
        setup
    }

    fn turns(setup: &Setup, wheels: Option<&str>) -> Vec<Option<i64>> {
        let session = first(setup, wheels, 1).expect("a range");
        let whole = |g: &Guess| g.dial.map(DialSetting::whole_turns);
        session.guesses.iter().map(whole).collect()
    }

    /// A wheel of 10/π cm carries the vehicle 10 cm a turn: 5 m are 50 turns; of 20/π cm 20 cm: 25 turns.
    #[test]
    fn a_first_guess_is_target_over_circumference_of_the_wheels_that_are_meant() {
        let ten = 0.1 / std::f64::consts::PI;
        let mut setup = setup();
        assert_eq!(turns(&setup, None), [None; 8]);
        setup
            .wheels_diameter_m
            .insert("wide".to_string(), 2.0 * ten);
        assert_eq!(turns(&setup, None), [Some(25); 8]);
        setup.vehicle.wheel_diameter_m = Some(ten);
        assert_eq!(turns(&setup, None), [Some(50); 8]);
        assert_eq!(turns(&setup, Some("wide")), [Some(25); 8]);
        assert_eq!(turns(&setup, Some("other")), [Some(50); 8]);
        let others = first(&setup, None, 1).expect("a range").others_m;
        assert_eq!(others, [("wide".to_string(), 2.0 * ten)]);
    }

    #[test]
    fn without_range_and_wheels_there_is_nothing_to_guess() {
        let nothing = first(&Setup::default(), None, 1).expect("nothing wrong");
        assert!(nothing.guesses.is_empty());
        // One end beyond the usual other one.
        let mut far = Setup::default();
        far.event.shortest_m = Some(11.0);
        assert!(matches!(first(&far, None, 1), Err(Error::CannotAnswer(_))));
    }

    /// Each of the 24 orders of four targets about equally often: χ² on 23 degrees of freedom stays below its 99.9 %
    /// point, 49.7 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    #[test]
    fn every_order_is_as_likely_as_any_other() {
        let seeds = 4800;
        let mut seen = std::collections::BTreeMap::new();
        for seed in 0..seeds {
            let mut targets_m = [1.0, 2.0, 3.0, 4.0];
            shuffle(&mut targets_m, seed);
            *seen.entry(targets_m.map(|t| t as u8)).or_insert(0.0) += 1.0;
        }
        let expected = seeds as f64 / 24.0;
        let chi_squared: f64 = seen
            .values()
            .map(|n: &f64| (n - expected).powi(2) / expected)
            .sum();
        assert_eq!(seen.len(), 24);
        assert!(chi_squared < 49.7, "{chi_squared}");
    }
}
