//! The head of a rig's report: what its settings are good for, the weakest part and its cure, the next session worth making.

use super::{event_words, plan_words, words};
use crate::calibration::LeftOutAt;
use crate::decide::RigSettings;
use crate::decide::plan::MissParts;

/// With fewer runs, or a single day, settings are a first guess and are called that.
const GUESS_BELOW: usize = 8;
/// What is not known of the vehicle is worth a session when more runs could take this part off a typical miss. One session
/// takes a third of it, say, and where 9 in 10 are within a distance, a miss smaller by a fiftieth makes it a point more.
const WORTH: f64 = 0.08;

/// Three lines, in the reader's order.
pub(super) fn lines(rig: &RigSettings) -> [String; 3] {
    [good_for(rig), weakest(rig), next_session(rig)]
}

/// The weakest part and its cure; a part that no run has shown yet is called that.
fn weakest(rig: &RigSettings) -> String {
    let parts = parts(rig);
    let day = parts.between_sessions_m;
    let others = [parts.run_to_run_m, parts.calibration_m, parts.steps_m];
    let seen = rig.situation.known_travel().between_sessions_m.estimate > 0.0;
    let cure = plan_words::cure(&parts);
    match seen || others.iter().any(|other| *other >= day) {
        true => cure,
        false => format!(
            "{cure} Days were not seen to differ in this log; so few cannot rule that out, and more would."
        ),
    }
}

/// What `plan` says; where it cannot say anything, what the miss at the middle target is made of.
fn parts(rig: &RigSettings) -> MissParts {
    if let Some(parts) = rig.miss_parts {
        return parts;
    }
    let (along, across) = rig.parts;
    let all = along.and_across(across);
    MissParts {
        across: across.is_some(),
        run_to_run_m: all.run_to_run_m,
        between_sessions_m: all.between_sessions_m,
        calibration_m: all.calibration_m,
        steps_m: all.step_m,
    }
}

/// What the settings are good for, at the middle target and at the event; and how often the log foretold itself.
fn good_for(rig: &RigSettings) -> String {
    let known = rig.situation.rig;
    let rule = rig.situation.setup.event.rule();
    let middle = &rig.three[rig.middle].0;
    let counts = known.counts;
    let mut out = String::new();
    if counts.fitted < GUESS_BELOW || counts.sessions == 1 {
        let runs = words::count(counts.fitted, "run", "runs");
        let days = words::count(counts.sessions, "day", "days");
        out += &format!("A first guess, from {runs} of {days}: ");
    }
    let near = match middle.miss_m {
        Some(miss) => format!(
            "at {} m the first run of a new day stops within {} {}",
            words::metres(middle.target_m),
            words::within_cm_unit(miss.high),
            plan_words::times(rig.level)
        ),
        None => format!(
            "at {} m the first run of a new day stops between {} and {}, {}",
            words::metres(middle.target_m),
            words::long_or_short(middle.long_m.low),
            words::long_or_short(middle.long_m.high),
            plan_words::times(rig.level)
        ),
    };
    out += &near;
    if let Some(within_m) = rig.at_event_m {
        out += &format!(
            "; {} is within {} {}",
            event_words::counted(rule),
            words::within_cm_unit(within_m),
            plan_words::times(RigSettings::OFTEN)
        );
    }
    out += &foretold(&known.left_out.at);
    words::capital(&(out + "."))
}

/// How many runs kept to what the other days promised, at the highest level.
fn foretold(at: &[LeftOutAt]) -> String {
    let Some(highest) = at.last() else {
        return String::new();
    };
    let count = if highest.miss.of > 0 {
        highest.miss
    } else {
        highest.long
    };
    match count.of {
        0 => String::new(),
        of => format!(
            "; each day foretold by the others, {} of {of} runs stopped within what was promised of their own settings",
            count.inside
        ),
    }
}

/// Where the next session's runs teach most, or that they would hardly help.
fn next_session(rig: &RigSettings) -> String {
    let parts = parts(rig);
    let squares = [parts.run_to_run_m, parts.between_sessions_m, parts.steps_m].map(|p| p * p);
    let without: f64 = squares.iter().sum::<f64>();
    let all = without + parts.calibration_m.powi(2);
    let gain = 1.0 - (without / all).sqrt();
    let counts = rig.situation.rig.counts;
    if gain < WORTH && counts.sessions > 2 {
        return "More runs would hardly change these settings: what is left is the vehicle and the days themselves. Practise correcting on the day.".to_string();
    }
    let day = match counts.sessions {
        1 => "another day, best on another floor",
        _ => "a new day",
    };
    match &rig.next_targets_m[..] {
        [] => format!("The next session worth making is on {day}."),
        targets_m => format!(
            "The next session worth making is on {day}: {}.",
            plan_words::runs_at(targets_m)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::fit::{Options, fit};
    use crate::calibration::{Calibration, InsideCount};
    use crate::decide::advise;
    use crate::log;
    use crate::setup::Setup;
    use crate::stats::interval::Level;

    /// Two sessions of four runs, measured across.
    const LOG: &str = "session,target_m,turns,long_cm,right_cm\n\
        1,6,25,4,3\n1,7,29,-6,-2\n1,8,33,5,6\n1,9,37.5,2,-4\n\
        2,6,25,9,1\n2,7,29,-2,4\n2,8,33,12,-3\n2,9,37.5,7,2\n";

    fn calibrated(text: &str) -> Calibration {
        let folder = tempfile::tempdir().expect("a fresh folder");
        let path = folder.path().join("runs.csv");
        std::fs::write(&path, text).expect("the log can be written");
        let setup = Setup::default();
        let read = log::read(&[path], &setup, &log::ReadOptions::default());
        let (season, _) = read.expect("a sound log");
        let level = Level::new(0.95).expect("a level");
        fit(&season, &setup, level, Options::default()).expect("a fit")
    }

    /// The head of a calibration's only rig, after a change of its settings.
    fn head(calibration: &Calibration, change: impl Fn(&mut RigSettings)) -> [String; 3] {
        let mut rigs = advise(calibration).expect("settings");
        change(&mut rigs[0]);
        lines(&rigs[0])
    }

    fn parts(run: f64, day: f64, line: f64, step: f64) -> Option<MissParts> {
        Some(MissParts {
            across: true,
            run_to_run_m: run,
            between_sessions_m: day,
            calibration_m: line,
            steps_m: step,
        })
    }

    #[test]
    fn few_runs_or_a_single_day_are_called_a_first_guess_and_no_more_is_promised() {
        let three = "session,target_m,turns,long_cm\n1,6,25,4\n1,7,29,-6\n1,8,33,5\n";
        let [good, ..] = head(&calibrated(three), |_| {});
        assert!(
            good.starts_with("A first guess, from 3 runs of 1 day: at 7"),
            "{good}"
        );
        assert!(!good.contains("trust"), "{good}");
        let seven: String = LOG.lines().take(8).map(|l| format!("{l}\n")).collect();
        let [good, ..] = head(&calibrated(&seven), |_| {});
        assert!(
            good.starts_with("A first guess, from 7 runs of 2 days: "),
            "{good}"
        );
        // Eight runs, but of one day.
        let [good, ..] = head(&calibrated(&LOG.replace("\n2,", "\n1,")), |_| {});
        assert!(
            good.starts_with("A first guess, from 8 runs of 1 day: "),
            "{good}"
        );
    }

    #[test]
    fn eight_runs_of_two_days_say_what_they_are_good_for_and_how_they_foretold_each_other() {
        let mut calibration = calibrated(LOG);
        let inside = |of, inside| InsideCount { of, inside };
        let last = calibration.rigs[0].left_out.at.len() - 1;
        calibration.rigs[0].left_out.at[last].miss = inside(8, 7);
        let [good, ..] = head(&calibration, |rig| rig.at_event_m = Some(0.123));
        assert!(
            good.starts_with("At 7.50 m the first run of a new day stops within "),
            "{good}"
        );
        assert!(
            good.contains(" cm 19 times in 20; the better of 2 runs is within 13 cm 9 times in 10"),
            "{good}"
        );
        assert!(
            good.ends_with("; each day foretold by the others, 7 of 8 runs stopped within what was promised of their own settings."),
            "{good}"
        );
        // Nothing counted across: the runs along are what was foretold.
        calibration.rigs[0].left_out.at[last].miss = inside(0, 0);
        calibration.rigs[0].left_out.at[last].long = inside(8, 6);
        let [good, ..] = head(&calibration, |rig| rig.at_event_m = None);
        assert!(
            good.ends_with("6 of 8 runs stopped within what was promised of their own settings."),
            "{good}"
        );
        assert!(!good.contains("of 2 runs"), "{good}");
        calibration.rigs[0].left_out.at[last].long = inside(0, 0);
        let [good, ..] = head(&calibration, |_| {});
        assert!(!good.contains("foretold"), "{good}");
    }

    #[test]
    fn without_left_and_right_the_first_line_says_how_long_and_how_short() {
        let along: String = LOG
            .lines()
            .map(|line| format!("{}\n", line.rsplit_once(',').expect("five cells").0))
            .collect();
        let [good, ..] = head(&calibrated(&along), |_| {});
        assert!(
            good.contains("the first run of a new day stops between "),
            "{good}"
        );
        assert!(
            good.contains(" short and ") && good.contains(" long, 19 times in 20"),
            "{good}"
        );
    }

    #[test]
    fn the_weakest_part_is_named_with_its_cure() {
        let calibration = calibrated(LOG);
        for (all, named, cure) in [
            (
                parts(0.09, 0.04, 0.02, 0.01),
                "from one run to the next (9.0 cm, along and across together)",
                "only building",
            ),
            (
                parts(0.04, 0.09, 0.02, 0.01),
                "from one day to the next (9",
                "practise on other days",
            ),
            (
                parts(0.04, 0.02, 0.09, 0.01),
                "not yet known of the vehicle (9",
                "make more runs; from one run to the next it is 4",
            ),
            (
                parts(0.02, 0.02, 0.01, 0.09),
                "the coarseness of dial and aim mark (9",
                "make them finer",
            ),
        ] {
            let [_, weakest, _] = head(&calibration, |rig| rig.miss_parts = all);
            assert!(
                weakest.contains(named) && weakest.contains(cure),
                "{weakest}"
            );
        }
    }

    #[test]
    fn the_next_session_is_on_another_day_with_the_targets_that_teach_most() {
        let mut calibration = calibrated(LOG);
        let learning = parts(0.04, 0.02, 0.09, 0.01);
        let next = |calibration: &Calibration, all: Option<MissParts>, targets_m: &[f64]| {
            let [_, _, next] = head(calibration, |rig| {
                rig.miss_parts = all;
                rig.next_targets_m = targets_m.to_vec();
            });
            next
        };
        let said = next(&calibration, learning, &[6.0, 6.0, 9.0]);
        assert_eq!(
            said,
            "The next session worth making is on a new day: 2 runs at 6.00 m, 1 run at 9.00 m."
        );
        let said = next(&calibration, learning, &[]);
        assert_eq!(said, "The next session worth making is on a new day.");
        // With little to learn the days themselves are still to be seen, until there are three.
        let learned = parts(0.09, 0.04, 0.01, 0.01);
        let said = next(&calibration, learned, &[6.0]);
        assert!(
            said.contains("worth making is on a new day: 1 run at 6.00 m"),
            "{said}"
        );
        calibration.rigs[0].counts.sessions = 3;
        let said = next(&calibration, learned, &[6.0]);
        assert!(
            said.starts_with("More runs would hardly change these settings"),
            "{said}"
        );
        assert!(said.ends_with("Practise correcting on the day."), "{said}");
        calibration.rigs[0].counts.sessions = 1;
        let said = next(&calibration, learned, &[6.0]);
        assert!(
            said.contains("is on another day, best on another floor: 1 run"),
            "{said}"
        );
    }
}
