//! What a season costs, step by step, and a club's archive as a whole: `cargo bench`. The league is in `archives.rs`.

#[path = "made.rs"]
#[allow(dead_code, reason = "each bench uses its part of it")]
mod made;

use divan::{Bencher, black_box};
use haltmark::calibration::Calibration;
use haltmark::decide::compare::{By, compare};
use haltmark::decide::plan::{Question, plan};
use haltmark::decide::{Choice, Situation, advise, dial};
use haltmark::geometry;
use haltmark::report::{self, Shown, card, rig_figures, view};
use haltmark::stats::mixed::{Design, Posterior, Rows, SpreadPrior};
use made::{Made, Size};
use nalgebra::{DMatrix, DVector};

fn main() {
    divan::main();
}

/// The fitted season, and the name of its first rig.
fn season() -> (Made, Calibration) {
    let made = Made::new(Size::Season);
    let calibration = made.fit(&made.read());
    (made, calibration)
}

/// A hundred and twenty-five runs in twelve sessions, as a season's rig has them.
fn rows() -> Rows {
    let season = Made::new(Size::Season).read();
    let runs: Vec<_> = season
        .runs
        .iter()
        .filter(|run| run.wheels == 0 && run.turns.is_some() && run.rest_m.is_some())
        .collect();
    let turns = runs.iter().filter_map(|run| run.turns);
    let rest = runs.iter().filter_map(|run| run.rest_m);
    Rows::new(
        DMatrix::from_iterator(2, runs.len(), turns.flat_map(|turns| [1.0, turns])).transpose(),
        DVector::from_iterator(runs.len(), rest),
        runs.iter()
            .map(|run| run.session as usize)
            .collect::<Vec<usize>>(),
    )
}

fn design() -> Design {
    rows().design(&[], 0.003).expect("a line")
}

#[divan::bench]
fn reading(bencher: Bencher) {
    let made = Made::new(Size::Season);
    bencher.bench(|| made.read());
}

#[divan::bench]
fn geometry_of_1000_runs(bencher: Bencher) {
    bencher.bench(|| {
        (0..1000).fold(0.0, |sum, i| {
            let (ahead, right) = (6.0 + 0.003 * f64::from(i), 0.002 * f64::from(i));
            let (chord, heading) = geometry::chord_and_heading(black_box(ahead), right);
            let arc = geometry::arc_of_chord(chord, 0.018);
            sum + arc + geometry::chord_of_arc(arc, 0.018) + geometry::aim_offset(chord, heading)
        })
    });
}

#[divan::bench]
fn one_mixed_model_fit(bencher: Bencher) {
    let rows = rows();
    bencher.bench(|| rows.design(&[], 0.003).expect("a line").reml());
}

#[divan::bench]
fn inference_over_the_ratio(bencher: Bencher) {
    let design = design();
    bencher.bench(|| Posterior::new(black_box(&design), SpreadPrior::without_guess(0.75)));
}

#[divan::bench]
fn all_statistics_of_a_season(bencher: Bencher) {
    let made = Made::new(Size::Season);
    let season = made.read();
    bencher.bench(|| made.fit(black_box(&season)));
}

#[divan::bench]
fn one_dial(bencher: Bencher) {
    let (made, calibration) = season();
    let rig = &calibration.rigs[0];
    bencher.bench(|| {
        let situation = Situation::from_rig(&calibration.setup, rig, &Choice::default())?;
        dial::setting(&situation, black_box(7.35), made.level)
    });
}

#[divan::bench]
fn all_targets_of_a_rig(bencher: Bencher) {
    let (_, mut calibration) = season();
    calibration.rigs.truncate(1);
    bencher.bench(|| advise(&calibration).map(|_| ()));
}

#[divan::bench]
fn figures_of_a_rig(bencher: Bencher) {
    let (_, calibration) = season();
    let rigs = advise(&calibration).expect("settings");
    bencher.bench(|| rig_figures::all(&calibration, &rigs[0], "rig1-").map(|drawn| drawn.len()));
}

#[divan::bench]
fn page_of_a_rig(bencher: Bencher) {
    let (_, calibration) = season();
    let rigs = advise(&calibration).expect("settings");
    bencher
        .with_inputs(|| rig_figures::all(&calibration, &rigs[0], "rig1-").expect("figures"))
        .bench_values(|drawn| {
            let page = view::rig(&calibration, &rigs[0], 0, drawn, Shown::Inside);
            report::page::report(&calibration, vec![page], None)
        });
}

#[divan::bench]
fn card_of_two_rigs(bencher: Bencher) {
    let (_, calibration) = season();
    let rigs = advise(&calibration).expect("settings");
    bencher.bench(|| card::write(&calibration, "0123456789abcdef", &rigs));
}

#[divan::bench]
fn plan_of_a_season(bencher: Bencher) {
    let (_, calibration) = season();
    let rig = &calibration.rigs[0];
    let situation =
        Situation::from_rig(&calibration.setup, rig, &Choice::default()).expect("a rig");
    let range = calibration.range().expect("targets");
    let question = || Question {
        within_m: 0.15,
        chance: 0.9,
        asked: None,
    };
    bencher.bench(|| plan(&situation, range, question()));
}

#[divan::bench]
fn compare_in_a_season(bencher: Bencher) {
    let made = Made::new(Size::Season);
    let season = made.read();
    bencher.bench(|| {
        compare(
            black_box(&season),
            &made.setup,
            made.level,
            By::Wheels,
            "foam",
            "rubber",
        )
    });
}

/// A season and a club's archive as a whole, from the log to every file in memory, and what they are measured against.
mod whole {
    use super::{Bencher, Made, Size};

    const SIZES: [Size; 2] = [Size::Season, Size::Club];

    #[divan::bench(args = SIZES, sample_size = 1)]
    fn fit(bencher: Bencher, size: Size) {
        let made = Made::new(size);
        bencher.bench_local(|| made.everything());
    }

    #[divan::bench(args = SIZES, sample_size = 1)]
    fn floor(bencher: Bencher, size: Size) {
        let made = Made::new(size);
        bencher.bench_local(|| made.floor());
    }

    #[divan::bench(args = SIZES, sample_size = 1)]
    fn csv_alone(bencher: Bencher, size: Size) {
        let made = Made::new(size);
        bencher.bench_local(|| made.csv_alone());
    }
}
