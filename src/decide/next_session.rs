//! The next practice sessions: which targets and leads, in which order, with which settings; a first guess where nothing is known.

use super::dial::{self, Setting};
use super::plan::{Gain, Prospects};
use super::practice::{OtherLead, Practice, PracticeRun};
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

/// How many sessions are to be made ready, and in which order their runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionsWanted {
    /// Sessions, at least 1.
    pub sessions: u32,
    /// Runs in each, at least 1.
    pub runs: u32,
    /// Start of the chance that orders them.
    pub seed: u64,
}

/// The next sessions of a rig that something is known of.
#[derive(Debug, Clone, PartialEq)]
pub struct NextSessions {
    /// For each session the settings of its runs, in the order in which to make them.
    pub sessions: Vec<Vec<Setting>>,
    /// The second lead that some are made with.
    pub other_lead: Option<OtherLead>,
    /// What the sessions gain at the event; `None` where the log does not tell how near runs stop.
    pub gain: Option<Gain>,
}

/// The settings of the next sessions' runs.
///
/// Targets and leads are those of [`Prospects::practice`], which `plan` advises; where only distance is known the targets are
/// spread evenly. Their order within a session is chance, so that floor and vehicle changing during the session are not taken
/// for an effect of distance.
///
/// * `within_m` — the distance that the gain is told for; without it the one of [`Prospects::gain`]
///
/// # Errors
/// Any error of [`dial::setting`].
pub fn settings(
    situation: &Situation,
    range: EventRange,
    level: Level,
    wanted: SessionsWanted,
    within_m: Option<f64>,
) -> Result<NextSessions, Error> {
    let SessionsWanted { sessions, runs, .. } = wanted;
    let prospects = match Prospects::new(situation, range) {
        Ok(prospects) => Some(prospects),
        Err(Error::CannotAnswer(_)) => None,
        Err(other) => return Err(other),
    };
    let mut practice = match &prospects {
        Some(prospects) => prospects.practice(situation, sessions, runs),
        None => Practice::new(situation, sessions, &spread(range, runs)),
    };
    let mut known: Vec<(PracticeRun, Setting)> = Vec::new();
    let mut setting = |run: PracticeRun| {
        if let Some((_, setting)) = known.iter().find(|(of, _)| *of == run) {
            return Ok(setting.clone());
        }
        let mut with = situation.clone();
        with.lead_turns = run.lead_turns;
        let setting = dial::setting(&with, run.target_m, level)?;
        known.push((run, setting.clone()));
        Ok(setting)
    };
    let mut out = Vec::new();
    for (index, runs) in practice.sessions.iter_mut().enumerate() {
        shuffle(runs, wanted.seed, index);
        let of_session: Result<Vec<Setting>, Error> =
            runs.iter().map(|run| setting(*run)).collect();
        out.push(of_session?);
    }
    Ok(NextSessions {
        sessions: out,
        other_lead: practice.other_lead,
        gain: prospects.and_then(|p| p.gain(sessions, runs, within_m).ok()),
    })
}

/// A target with a first guess at its turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guess {
    /// Target, m.
    pub target_m: f64,
    /// Turns whose wheel circumferences add up to the target; `None` where no wheel's size is known.
    pub dial: Option<DialSetting>,
}

/// Sessions before which nothing is known but the set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstSessions {
    /// For each session one guess a run, in the order in which to make them; none where the set-up says neither what can be
    /// announced nor how large a wheel is.
    pub sessions: Vec<Vec<Guess>>,
    /// Label of the wheel set that is meant; blank for the vehicle's own.
    pub wheels: String,
    /// Diameter of that wheel set, m.
    pub diameter_m: Option<f64>,
    /// The other wheel sets' labels and diameters, m.
    pub others_m: Vec<(String, f64)>,
}

/// The first sessions, with target / (π × diameter) as the turns (common practice, no source).
///
/// * `wheels` — the wheel set that is meant; without it the vehicle's own wheels are, else the only set there is
///
/// # Errors
/// [`Error::CannotAnswer`] when the set-up gives one end of the range and the usual other end leaves nothing.
pub fn first(
    setup: &Setup,
    wheels: Option<&str>,
    wanted: SessionsWanted,
) -> Result<FirstSessions, Error> {
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
        targets_m = spread(EventRange::from_setup(setup, USUAL_RANGE_M)?, wanted.runs);
    }
    let dial = |target_m: f64| {
        diameter_m.map(|diameter_m| {
            let turns = target_m / (std::f64::consts::PI * diameter_m);
            DialSetting::nearest(turns, setup.dial.ticks_per_turn)
        })
    };
    let session = |index: u32| {
        let mut guesses: Vec<Guess> = targets_m
            .iter()
            .map(|&target_m| Guess {
                target_m,
                dial: dial(target_m),
            })
            .collect();
        shuffle(&mut guesses, wanted.seed, index as usize);
        guesses
    };
    Ok(FirstSessions {
        sessions: (0..wanted.sessions).map(session).collect(),
        wheels: meant.unwrap_or("").to_string(),
        diameter_m,
        others_m,
    })
}

/// Targets from the shortest to the longest that can be announced, evenly; the middle one for a single run.
fn spread(range: EventRange, runs: u32) -> Vec<f64> {
    let targets_m = range.targets_m();
    let (last, runs) = (targets_m.len() - 1, runs as usize);
    if runs == 1 {
        return vec![range.middle_m()];
    }
    (0..runs)
        .map(|i| targets_m[(i * last + (runs - 1) / 2) / (runs - 1)])
        .collect()
}

/// Every order alike (Fisher and Yates), each session by a chance of its own.
fn shuffle<T>(runs: &mut [T], seed: u64, session: usize) {
    let mut chance = resample::replicate(seed, session as u64);
    for last in (1..runs.len()).rev() {
        let other = (resample::uniform(&mut chance) * (last + 1) as f64) as usize;
        runs.swap(last, other.min(last));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: SessionsWanted = SessionsWanted {
        sessions: 1,
        runs: 8,
        seed: 1,
    };

    fn setup() -> Setup {
        let mut setup = Setup::default();
        setup.event.shortest_m = Some(5.0);
        setup.event.longest_m = Some(5.0);
        setup
    }

    fn turns(setup: &Setup, wheels: Option<&str>) -> Vec<Option<i64>> {
        let first = first(setup, wheels, ONE).expect("a range");
        let whole = |g: &Guess| g.dial.map(DialSetting::whole_turns);
        first.sessions[0].iter().map(whole).collect()
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
        let others = first(&setup, None, ONE).expect("a range").others_m;
        assert_eq!(others, [("wide".to_string(), 2.0 * ten)]);
    }

    #[test]
    fn without_range_and_wheels_there_is_nothing_to_guess() {
        let nothing = first(&Setup::default(), None, ONE).expect("nothing wrong");
        assert!(nothing.sessions[0].is_empty());
        // One end beyond the usual other one.
        let mut far = Setup::default();
        far.event.shortest_m = Some(11.0);
        assert!(matches!(
            first(&far, None, ONE),
            Err(Error::CannotAnswer(_))
        ));
    }

    /// Each of the 24 orders of four targets about equally often: χ² on 23 degrees of freedom stays below its 99.9 %
    /// point, 49.7 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    #[test]
    fn every_order_is_as_likely_as_any_other() {
        let seeds = 4800;
        let mut seen = std::collections::BTreeMap::new();
        for seed in 0..seeds {
            let mut targets_m = [1.0, 2.0, 3.0, 4.0];
            shuffle(&mut targets_m, seed, 0);
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
