//! What must not matter to an answer, or must change it in a known way, on random seasons: a mirror, the order of rows, what
//! things are called, where the target stood, a run written twice, today as one more session, the kind of file.

mod common;

use common::packed::ods;
use common::try_read_as;
use haltmark::calibration::fit::{Options, fit};
use haltmark::calibration::{Calibration, Rig};
use haltmark::decide::compare::{self, By, Compared, Comparison};
use haltmark::decide::correct::{AlmostImpossible, correct};
use haltmark::decide::review::{Review, review};
use haltmark::decide::{Choice, Situation, dial};
use haltmark::geometry;
use haltmark::log::ReadOptions;
use haltmark::log::run::Season;
use haltmark::setup::{self, Setup};
use haltmark::simulate::{self, BuildTruth, FloorTruth, RigTruth, TrimTruth, Truth};
use haltmark::stats::interval::{Interval, Level};
use haltmark::stats::mixed::Rows;
use haltmark::stats::resample::{normal, replicate, uniform};
use nalgebra::{DMatrix, DVector};

const SEASONS: u64 = 6;

/// A season of two to six days, some runs not measured across, two wheel sets on one floor or two, sometimes re-built or
/// re-trimmed halfway.
fn invented(index: u64) -> Season {
    let mut chance = replicate(1801, index);
    let mut of = |low: f64, high: f64| low + (high - low) * uniform(&mut chance);
    let mut truth = Truth {
        vehicle: "Plover".to_string(),
        wheels: "cork".to_string(),
        build: "long string".to_string(),
        trim: "first".to_string(),
        floor: "hall".to_string(),
        ..Truth::default()
    };
    truth.travel.run_to_run_m = of(0.02, 0.08);
    truth.travel.between_sessions_m = of(0.0, 0.12);
    truth.heading.curvature_per_m = of(-0.04, 0.04);
    truth.heading.between_sessions_rad = of(0.0, 0.01);
    truth.season.sessions = of(2.0, 6.99) as usize;
    truth.season.runs_per_session = vec![of(4.0, 8.99) as usize];
    truth.season.leads_turns = vec![1.0, 1.5];
    truth.season.first_date = Some("2031-10-04".parse().expect("a date"));
    truth.measuring.right_noted = of(0.7, 1.0);
    truth.rigs.push(RigTruth {
        wheels: Some("felt".to_string()),
        distance_per_turn_m: Some(of(0.22, 0.24)),
        ..RigTruth::default()
    });
    let halfway = truth.season.sessions / 2 + 1;
    if of(0.0, 1.0) < 0.5 {
        truth.builds.push(BuildTruth {
            build: "short string".to_string(),
            from_session: halfway,
            overshoot_m: Some(0.35),
        });
    }
    if of(0.0, 1.0) < 0.5 {
        truth.trims.push(TrimTruth {
            trim: "second".to_string(),
            from_session: halfway,
            straight_rad: Some(0.01),
            curvature_per_m: None,
        });
    }
    truth.floors.push(FloorTruth {
        floor: "attic".to_string(),
        sessions: vec![1],
        long_m: of(-0.05, 0.05),
        right_rad: 0.0,
    });
    simulate::season(&truth, index).season
}

/// A range that does not depend on the targets of the log, and an obstacle, so that every number is asked for.
fn setup() -> Setup {
    let text = "[vehicle]\nwidth_cm = 17\n[event]\nshortest_m = 6\nlongest_m = 9\n[obstacle]\nat = 0.45\nright_cm = 28\n\
                diameter_cm = 24\npass = \"left\"\n";
    setup::from_toml("setup.toml", text).expect("a set-up")
}

fn fitted(season: &Season, setup: &Setup) -> Calibration {
    fit(season, setup, Level::default(), Options::default()).expect("a season that can be fitted")
}

fn choice(rig: &Rig) -> Choice {
    Choice {
        rig: Some(rig.name.clone()),
        ..Choice::default()
    }
}

fn cork() -> Choice {
    Choice {
        rig: Some("Plover/cork".to_string()),
        ..Choice::default()
    }
}

/// Everything that is dialled and promised for two targets, as (turns, aim, long, right, miss, gap, touch).
fn settings(situation: &Situation) -> Vec<f64> {
    let of = |target_m| {
        let exact = dial::exact(situation, target_m, Level::default()).expect("a setting");
        let setting = dial::setting(situation, target_m, Level::default()).expect("a setting");
        let aim = exact.aim_right_m.expect("aims were written");
        let known = [setting.right_m, setting.miss_m, setting.gap_m];
        let intervals = [exact.turns, aim, setting.long_m]
            .into_iter()
            .chain(known.into_iter().flatten());
        let mut all: Vec<f64> = intervals
            .flat_map(|i| [i.estimate, i.low, i.high])
            .collect();
        all.extend([setting.dial.turns(), setting.aim_right_m.expect("an aim")]);
        all.extend(setting.touch_chance);
        all
    };
    [6.5, 8.2].into_iter().flat_map(of).collect()
}

/// How far numbers may lie apart that are the same but for rounding: the nodes over τ/σ lie about a mode that is found to
/// 1e-3 of ln(τ/σ), which moves tails of few runs by some 1e-6 of their size (`src/model.md`, section 11).
const NODES: f64 = 1e-5;

fn near(what: &str, a: &[f64], b: &[f64], within: f64) {
    assert_eq!(a.len(), b.len(), "{what}");
    for (i, (x, y)) in a.iter().zip(b).enumerate() {
        let same = x == y || (x - y).abs() <= within * (1.0 + x.abs());
        assert!(same, "{what}, number {i}: {x} and {y}\n{a:?}\n{b:?}");
    }
}

fn shuffled(season: &Season, index: u64) -> Season {
    let mut chance = replicate(1802, index);
    let mut out = season.clone();
    for last in (1..out.runs.len()).rev() {
        out.runs
            .swap(last, (uniform(&mut chance) * (last + 1) as f64) as usize);
    }
    out
}

fn sessions(season: &Season, keep: impl Fn(u32) -> bool) -> Season {
    season.with(
        season
            .runs
            .iter()
            .filter(|r| keep(r.session))
            .cloned()
            .collect(),
    )
}

/// The last session as a log of its own, and the season before it.
fn today_and_before(season: &Season) -> (Season, Season) {
    let last = season.sessions.len() as u32 - 1;
    let mut today = sessions(season, |s| s == last);
    today.sessions = vec!["today".to_string()];
    for run in &mut today.runs {
        run.session = 0;
    }
    (today, sessions(season, |s| s != last))
}

fn numbers_of(found: &Comparison) -> Vec<f64> {
    let compared = |c: Compared| [c.a, c.b, c.difference];
    let intervals = [
        found.distance_per_turn_m,
        found.overshoot_m,
        found.event_miss_m,
        found.at_event.miss_m,
    ];
    let mut all: Vec<f64> = intervals
        .into_iter()
        .flat_map(compared)
        .flat_map(|i| [i.estimate, i.low, i.high])
        .collect();
    all.extend([
        found.first_run.chance_b_better,
        found.at_event.answer.chance_b_better,
    ]);
    all
}

fn wheels_compared(season: &Season, setup: &Setup, [a, b]: [&str; 2]) -> Comparison {
    compare::compare(season, setup, Level::default(), By::Wheels, a, b)
        .expect("two that can be compared")
}

fn reviewed(calibration: &Calibration, later: &Season) -> Review {
    let situation = Situation::new(calibration, &cork()).expect("a rig");
    review(&situation, later, calibration.level).expect("runs that can be reviewed")
}

/// What a review says along and, with this sign, across; a new trim says nothing across.
fn numbers_of_review(review: &Review, side: f64) -> Vec<f64> {
    let of = |i: Interval| [i.estimate, i.low, i.high];
    let mut numbers = Vec::new();
    if let Some(along) = review.shift_long_m {
        numbers.extend(of(along.by));
        numbers.push(along.p);
    }
    if let Some(across) = review.shift_right_rad {
        let seen = across.by.scaled(side);
        numbers.extend([
            seen.estimate,
            seen.low.min(seen.high),
            seen.low.max(seen.high),
            across.p,
        ]);
    }
    numbers.extend(review.spread_ratio.map(of).into_iter().flatten());
    numbers
}

/// `comparing` and `reviewing` in a mirror: right is left, and the verdicts stay. (A fit, a setting and a correction in one:
/// `fitting`, `dialling`, `correcting`.)
#[test]
fn a_mirror_changes_no_verdict() {
    for index in 0..SEASONS {
        let season = invented(index);
        let mut mirror = season.clone();
        for run in &mut mirror.runs {
            run.right_m = run.right_m.map(|right| -right);
            run.aim_right_m = run.aim_right_m.map(|right| -right);
        }
        let setup = Setup::default();
        let [one, other] = [&season, &mirror].map(|s| wheels_compared(s, &setup, ["cork", "felt"]));
        near("compared", &numbers_of(&one), &numbers_of(&other), NODES);
        let curve = |c: &Comparison| c.curvature_per_m.expect("measured across").difference;
        let (a, b) = (curve(&one), curve(&other).scaled(-1.0));
        near(
            "curve",
            &[a.estimate, a.low, a.high],
            &[b.estimate, b.low, b.high],
            1e-6,
        );
        let [one, other] = [&season, &mirror].map(|s| {
            let (today, before) = today_and_before(s);
            reviewed(&fitted(&before, &setup), &today)
        });
        assert_eq!(one.verdict, other.verdict);
        near(
            "reviewed",
            &numbers_of_review(&one, 1.0),
            &numbers_of_review(&other, -1.0),
            1e-6,
        );
    }
}

/// Rows in another order: fit, settings, comparison, correction and review stay. (The same through a file: `fitting`.)
#[test]
fn the_order_of_rows_changes_no_answer() {
    let setup = setup();
    for index in 0..SEASONS {
        let season = invented(index);
        let other = shuffled(&season, index);
        let [one, two] =
            [&season, &other].map(|s| numbers_of(&wheels_compared(s, &setup, ["cork", "felt"])));
        near("compared", &one, &two, NODES);
        let (today, before) = today_and_before(&season);
        let (today_too, before_too) = today_and_before(&other);
        let (one, two) = (fitted(&before, &setup), fitted(&before_too, &setup));
        for rig in &one.rigs {
            let corrected = |calibration, today| {
                let corrected =
                    correct(calibration, today, &choice(rig), AlmostImpossible::LeftOut)
                        .expect("a day");
                [settings(&corrected.before), settings(&corrected.situation)].concat()
            };
            near(
                &rig.name,
                &corrected(&one, &today),
                &corrected(&two, &today_too),
                1e-6,
            );
        }
        let [one, two] = [(&one, &today), (&two, &today_too)]
            .map(|(c, t)| numbers_of_review(&reviewed(c, t), 1.0));
        near("reviewed", &one, &two, NODES);
    }
}

/// Every label under another name, first in the alphabet last: the rig under its new name has the settings of the old.
#[test]
fn what_things_are_called_changes_no_answer() {
    let setup = setup();
    for index in 0..SEASONS {
        let season = invented(index);
        let mut other = season.clone();
        let lists = [
            &mut other.sessions,
            &mut other.vehicles,
            &mut other.wheels,
            &mut other.builds,
            &mut other.trims,
            &mut other.floors,
        ];
        for list in lists {
            for (label, letter) in list.iter_mut().zip(('a'..='z').rev()) {
                *label = letter.to_string();
            }
        }
        let (one, two) = (fitted(&season, &setup), fitted(&other, &setup));
        assert_eq!(one.rigs.len(), two.rigs.len());
        for (w, wheels) in other.wheels.iter().enumerate() {
            let was = one
                .rigs
                .iter()
                .find(|r| r.wheels == season.wheels[w])
                .expect("the rig");
            let is = two
                .rigs
                .iter()
                .find(|r| &r.wheels == wheels)
                .expect("the rig under its new name");
            let of = |c, rig: &Rig| settings(&Situation::new(c, &choice(rig)).expect("a rig"));
            near(wheels, &of(&one, was), &of(&two, is), NODES);
            assert_eq!(was.counts, is.counts);
        }
    }
}

/// Where the target stood says nothing of where a vehicle goes: with rest points and the directions of the aim marks kept,
/// every target may be another. The range of the event is the set-up's.
#[test]
fn moving_every_target_changes_no_answer() {
    let setup = setup();
    for index in 0..SEASONS {
        let season = invented(index);
        let mut chance = replicate(1803, index);
        let mut other = season.clone();
        for run in &mut other.runs {
            let (Some(target), Some(aim)) = (run.target_m, run.aim_right_m) else {
                continue;
            };
            let moved = target + 3.0 * (uniform(&mut chance) - 0.5);
            run.aim_right_m = Some(geometry::aim_offset(
                moved,
                geometry::aim_heading(target, aim),
            ));
            run.target_m = Some(moved);
        }
        let (one, two) = (fitted(&season, &setup), fitted(&other, &setup));
        for (was, is) in one.rigs.iter().zip(&two.rigs) {
            assert_eq!(was.counts, is.counts);
            let of = |c, rig: &Rig| settings(&Situation::new(c, &choice(rig)).expect("a rig"));
            near(&was.name, &of(&one, was), &of(&two, is), NODES);
        }
    }
}

/// A run written twice is one of weight two: the same coefficients, at every ratio of the spreads, as generalised least
/// squares in full matrices where that run's own variance is σ²/2.
#[test]
fn a_run_counted_twice_is_a_run_of_weight_two() {
    for index in 0..40 {
        let mut chance = replicate(1804, index);
        let groups = 1 + (5.0 * uniform(&mut chance)) as usize;
        let n = groups + 4 + (12.0 * uniform(&mut chance)) as usize;
        let x = DMatrix::from_fn(n, 2, |_, j| {
            if j == 0 {
                1.0
            } else {
                24.0 + 14.0 * uniform(&mut chance)
            }
        });
        let y = DVector::from_fn(n, |i, _| {
            0.3 + 0.235 * x[(i, 1)] + 0.05 * normal(&mut chance)
        });
        let group: Vec<usize> = (0..n).map(|i| i % groups).collect();
        let twice = (n as f64 * uniform(&mut chance)) as usize;
        let rows = Rows::new(
            DMatrix::from_fn(n + 1, 2, |i, j| x[(if i == n { twice } else { i }, j)]),
            DVector::from_fn(n + 1, |i, _| y[if i == n { twice } else { i }]),
            [&group[..], &[group[twice]]].concat(),
        );
        let design = rows.design(&[], 0.0).expect("full rank");
        for theta in [0.0, 0.3, 1.0, 4.0] {
            let v = DMatrix::from_fn(n, n, |i, j| {
                let own = match (i == j, i == twice) {
                    (false, _) => 0.0,
                    (true, true) => 0.5,
                    (true, false) => 1.0,
                };
                own + if group[i] == group[j] {
                    theta * theta
                } else {
                    0.0
                }
            });
            let weights = v.try_inverse().expect("a covariance");
            let normal_matrix = x.transpose() * &weights * &x;
            let expected =
                normal_matrix.try_inverse().expect("full rank") * x.transpose() * &weights * &y;
            let beta = &design.at(theta).expect("full rank").beta;
            near("beta", beta.as_slice(), expected.as_slice(), 1e-9);
        }
    }
}

/// Today corrected for, and a fit with today as one more session: where nothing but the runs tells the line (no growth, no
/// lead, nothing measured across, no wheel), the two know the same of it once the prior on τ/σ, which is scaled by the σ of
/// each fit, has been held.
#[test]
fn correcting_knows_of_the_line_what_a_fit_with_today_knows() {
    let mut setup = Setup::default();
    setup.prior.spread_growth = Some(0.0);
    let mut seen = 0;
    for index in 0..2 * SEASONS {
        let mut season = invented(index);
        for run in &mut season.runs {
            (run.right_m, run.lead_turns, run.build) = (None, None, 0);
        }
        season.runs.retain(|run| run.wheels == 0);
        let (today, before) = today_and_before(&season);
        if before.runs.len() < 6 {
            continue;
        }
        seen += 1;
        let keep = Options {
            keep_all: true,
            ..Options::default()
        };
        let fitted = |season: &Season, setup: &Setup| {
            fit(season, setup, Level::default(), keep).expect("a fit")
        };
        let calibration = fitted(&before, &setup);
        // The scale of the prior is the guess of τ over the fit's σ.
        let sigma = |c: &Calibration| c.rigs[0].travel.sigma_for_priors_m;
        let mut held = setup.clone();
        held.prior.between_sessions_m *= sigma(&fitted(&season, &setup)) / sigma(&calibration);
        let refitted = fitted(&season, &held);
        let all = AlmostImpossible::Believed;
        let corrected = correct(&calibration, &today, &Choice::default(), all).expect("a day");
        assert_eq!(corrected.runs, today.runs.len());
        let known = &refitted.rigs[0].travel.posterior;
        let group = &corrected.situation.travel;
        let nu = calibration.rigs[0].travel.posterior.nu() + today.runs.len() as f64;
        assert_eq!(nu, known.nu());
        let of_group = group
            .nodes()
            .iter()
            .map(|n| (n.weight, n.rss, &n.theta, &n.covariance));
        let of_fit = known
            .nodes()
            .iter()
            .map(|n| (n.weight, n.rss, &n.beta, &n.covariance));
        near("the line", &line(nu, of_group), &line(nu, of_fit), NODES);
    }
    assert!(seen > 5, "{seen}");
}

/// Mean and standard deviation of overshoot and distance per turn, from nodes of (weight, RSS, coefficients, covariance).
fn line<'n>(
    nu: f64,
    nodes: impl Iterator<Item = (f64, f64, &'n Vec<f64>, &'n Vec<f64>)>,
) -> Vec<f64> {
    let (mut means, mut squares) = ([0.0; 2], [0.0; 2]);
    for (weight, rss, beta, covariance) in nodes {
        // The lower triangle by rows: c00, c10, c11.
        for (k, own) in [covariance[0], covariance[2]].into_iter().enumerate() {
            means[k] += weight * beta[k];
            squares[k] += weight * (beta[k].powi(2) + rss / (nu - 2.0) * own);
        }
    }
    let spread = |k: usize| (squares[k] - means[k].powi(2)).sqrt();
    vec![means[0], means[1], spread(0), spread(1)]
}

/// One log as text, as a workbook and as an OpenDocument sheet: the same runs, so the same answers.
#[test]
fn the_kind_of_file_changes_nothing() {
    for index in 0..SEASONS {
        let mut truth = Truth::default();
        truth.season.sessions = 2 + index as usize % 3;
        truth.season.first_date = Some("2031-10-04".parse().expect("a date"));
        truth.measuring.right_noted = 0.8;
        let csv = simulate::season(&truth, index).to_csv();
        let table: Vec<Vec<&str>> = csv
            .lines()
            .filter(|l| !l.starts_with('#'))
            .map(|l| l.split(',').collect())
            .collect();
        let read = |name: &str, bytes: &[u8]| {
            let (mut season, faults) =
                try_read_as(name, bytes, &Setup::default(), &ReadOptions::default())
                    .expect("a log");
            assert!(!faults.any_error());
            season.files.clear();
            for run in &mut season.runs {
                run.line = 0;
            }
            season
        };
        let text = read("s.csv", csv.as_bytes());
        assert_eq!(text, read("s.xlsx", &workbook(&table)), "season {index}");
        assert_eq!(
            text,
            read("s.ods", &ods(&open_document(&table))),
            "season {index}"
        );
    }
}

/// Numbers as numbers, all else as text, as a person's spreadsheet has them.
fn workbook(table: &[Vec<&str>]) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (row, cells) in (0..).zip(table) {
        for (column, cell) in (0..).zip(cells) {
            let written = match cell.parse::<f64>() {
                Ok(number) => sheet.write_number(row, column, number),
                Err(_) => sheet.write_string(row, column, *cell),
            };
            written.expect("a cell");
        }
    }
    book.save_to_buffer().expect("a workbook")
}

fn open_document(table: &[Vec<&str>]) -> String {
    let cell = |cell: &&str| match cell.parse::<f64>() {
        _ if cell.is_empty() => "<table:table-cell/>".to_string(),
        Ok(number) => format!(
            "<table:table-cell office:value-type=\"float\" office:value=\"{number}\"><text:p>{cell}</text:p></table:table-cell>"
        ),
        Err(_) => format!(
            "<table:table-cell office:value-type=\"string\"><text:p>{cell}</text:p></table:table-cell>"
        ),
    };
    let row = |cells: &Vec<&str>| {
        format!(
            "<table:table-row>{}</table:table-row>",
            cells.iter().map(cell).collect::<String>()
        )
    };
    table.iter().map(row).collect()
}
