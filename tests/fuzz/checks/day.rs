//! What comes after a fit, on any small logs: bytes make a season, a day's runs and later ones, and those a comparison, a
//! corrected setting and a review.

use haltmark::calibration::{Calibration, fit};
use haltmark::decide::compare::{self, By, Compared, ComparedSpreads, Comparison};
use haltmark::decide::correct::{AlmostImpossible, Corrected, correct};
use haltmark::decide::review::{self, Review};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::error::Error;
use haltmark::log::run::Season;
use haltmark::log::{LogKind, ReadOptions};
use haltmark::report::{compare_page, compare_words, review_page, review_words};
use haltmark::setup::Setup;
use haltmark::stats::interval::{Interval, Level};

use super::made::{self, Bytes, LogKept, any_log, any_setup};
use super::{Thorough, error_is_sound, finite, log, said_soundly};

const SEASON_ROWS: u8 = 32;
const TODAY_ROWS: u8 = 6;
const LATER_ROWS: u8 = 14;
/// Pages take most of the time and see nothing that the answers do not.
const PAGES_ONE_IN: u64 = 200;
/// With penalties every setting is a search.
const PRICED_ONE_IN: u64 = 200;

/// From logs made of these bytes to every answer after a fit; whether something could be compared, and whether a day could
/// be corrected for.
pub fn is_answered(input: &[u8], thorough: Thorough) -> (bool, bool) {
    let mut bytes = Bytes(input);
    let mut setup = any_setup(&mut bytes);
    if !thorough.chosen("penalties", input, PRICED_ONE_IN) {
        made::without_prices(&mut setup);
    }
    let level = Level::new(bytes.of(&[0.95, 0.5, 0.8, 0.999_999, 0.01])).expect("a share");
    let with_pages = thorough.chosen("pages", input, PAGES_ONE_IN);
    let by = bytes.next();
    let kept = LogKept::any(&mut bytes);
    let today = any_log(&mut bytes, kept, TODAY_ROWS, &["today"]);
    let later = any_log(&mut bytes, kept, LATER_ROWS, &["later", "H", "A"]);
    let season = any_log(&mut bytes, kept, SEASON_ROWS, &made::SESSIONS);
    let Some(season) = log::read_with(season.as_bytes(), &setup) else {
        return (false, false);
    };
    let compared = is_compared(&season, &setup, level, by, with_pages);
    let calibration = match fit::fit(&season, &setup, level, fit::Options::default()) {
        Err(error) => {
            error_is_sound(&error, "");
            return (compared, false);
        }
        Ok(calibration) => calibration,
    };
    let choice = Choice {
        rig: Some(calibration.rigs[0].name.clone()),
        ..Choice::default()
    };
    let day = ReadOptions {
        kind: LogKind::Day,
        ..ReadOptions::default()
    };
    let setup = &calibration.setup;
    let today = log::read_as(today.as_bytes(), setup, &day);
    let corrected = today.is_some_and(|today| is_corrected(&calibration, &choice, &today));
    if let Some(later) = log::read_as(later.as_bytes(), setup, &day) {
        reviews(&calibration, &choice, &later, with_pages);
    }
    (compared, corrected)
}

const COLUMNS: [By; 5] = [By::Wheels, By::Vehicle, By::Build, By::Trim, By::Floor];

/// Whether the first two labels of a column could be compared: of the first column, from one on, that has two.
fn is_compared(season: &Season, setup: &Setup, level: Level, from: u8, with_pages: bool) -> bool {
    let labels = |by: By| match by {
        By::Wheels => &season.wheels,
        By::Vehicle => &season.vehicles,
        By::Build => &season.builds,
        By::Trim => &season.trims,
        By::Floor => &season.floors,
    };
    let columns = COLUMNS.iter().cycle().skip(from as usize % COLUMNS.len());
    let two = |&by: &By| Some((by, labels(by).first()?, labels(by).get(1)?));
    let Some((by, a, b)) = columns.take(COLUMNS.len()).find_map(two) else {
        return false;
    };
    match compare::compare(season, setup, level, by, a, b) {
        Err(error) => {
            error_is_sound(&error, "");
            false
        }
        Ok(found) => {
            comparison_is_sound(&found);
            for line in compare_words::answer(&found)
                .iter()
                .chain(&compare_words::notes(&found))
            {
                said_soundly(line);
            }
            if with_pages {
                files_are_sound(compare_page::files(&found, &season.files));
            }
            true
        }
    }
}

fn files_are_sound(files: Result<Vec<haltmark::report::File>, Error>) {
    match files {
        Err(error) => error_is_sound(&error, ""),
        Ok(files) => finite::files(files),
    }
}

fn comparison_is_sound(found: &Comparison) {
    let holds = |i: Interval| finite::interval(i, found);
    let compared = |c: Compared| [c.a, c.b, c.difference].into_iter().for_each(holds);
    let spreads = |s: ComparedSpreads| [s.a, s.b, s.ratio].into_iter().for_each(holds);
    compared(found.distance_per_turn_m);
    compared(found.overshoot_m);
    compared(found.event_miss_m);
    compared(found.at_event.miss_m);
    for c in [found.curvature_per_m, found.time_s, found.score]
        .into_iter()
        .flatten()
    {
        compared(c);
    }
    spreads(found.run_to_run_m);
    spreads(found.between_sessions_m);
    found.common.into_iter().for_each(holds);
    let [a, b] = found.at_event.chance_within;
    for chance in [
        found.first_run.chance_b_better,
        found.at_event.answer.chance_b_better,
        a,
        b,
    ] {
        finite::chance(chance, found);
    }
    assert!(found.days_m.is_finite() && found.days_m >= 0.0, "{found:?}");
}

/// Whether today's runs could be taken into account. Where none of them is doubted, believing them changes nothing.
fn is_corrected(calibration: &Calibration, choice: &Choice, today: &Season) -> bool {
    let with = |almost_impossible| correct(calibration, today, choice, almost_impossible);
    let corrected = match with(AlmostImpossible::LeftOut) {
        Ok(corrected) => corrected,
        Err(error) => {
            error_is_sound(&error, "");
            return false;
        }
    };
    let settings = settings_of(&corrected, calibration.level);
    let believed =
        with(AlmostImpossible::Believed).expect("it was taken into account a moment ago");
    let with_all = settings_of(&believed, calibration.level);
    if corrected.doubted.is_empty() {
        assert_eq!(
            settings, with_all,
            "believing runs that nobody doubts moves the setting"
        );
    }
    for doubted in &corrected.doubted {
        said_soundly(&doubted.why);
    }
    for warning in &corrected.warnings {
        said_soundly(warning);
    }
    corrected.runs > 0
}

fn settings_of(corrected: &Corrected, level: Level) -> Vec<dial::Setting> {
    let setup = corrected.situation.setup;
    let mut settings = Vec::new();
    for situation in [Some(&corrected.situation), corrected.less_lead.as_ref()]
        .into_iter()
        .flatten()
    {
        for &target_m in made::targets_m(setup) {
            match dial::setting(situation, target_m, level) {
                Err(error) => error_is_sound(&error, ""),
                Ok(setting) => {
                    finite::setting(&setting);
                    settings.push(setting);
                }
            }
        }
    }
    match corrected.today(8.35) {
        Err(error) => error_is_sound(&error, ""),
        Ok(None) => assert_eq!(corrected.runs, 0),
        Ok(Some(today)) => {
            let numbers = [
                Some(today.shift_long_m),
                today.shift_right_rad,
                Some(today.share_along),
                today.share_across,
            ];
            assert!(
                numbers.into_iter().flatten().all(f64::is_finite),
                "{today:?}"
            );
        }
    }
    settings
}

fn reviews(calibration: &Calibration, choice: &Choice, later: &Season, with_pages: bool) {
    let situation = Situation::new(calibration, choice).expect("its first rig");
    match review::review(&situation, later, calibration.level) {
        Err(error) => error_is_sound(&error, ""),
        Ok(review) => {
            review_is_sound(&review);
            if with_pages {
                files_are_sound(review_page::files(calibration, &situation, &review));
            }
        }
    }
}

fn review_is_sound(review: &Review) {
    for shift in [review.shift_long_m, review.shift_right_rad]
        .into_iter()
        .flatten()
    {
        finite::interval(shift.by, review);
        finite::chance(shift.p, review);
    }
    if let Some(ratio) = review.spread_ratio {
        finite::interval(ratio, review);
    }
    review
        .spread_p
        .into_iter()
        .for_each(|p| finite::chance(p, review));
    for (found, promised) in review
        .runs
        .iter()
        .flat_map(|run| [run.long_m, run.right_m])
        .flatten()
    {
        assert!(found.is_finite());
        finite::interval(promised, review);
    }
    for (miss, high) in review.runs.iter().filter_map(|run| run.miss_m) {
        assert!(miss.is_finite() && high.is_finite(), "{review:?}");
    }
    for count in [review.inside_long, review.inside_right, review.inside_miss] {
        assert!(count.inside <= count.of, "{review:?}");
    }
    for line in review_words::advice(review).iter().chain(&review.warnings) {
        said_soundly(line);
    }
    for aside in &review.set_aside {
        said_soundly(&aside.why);
    }
}
