//! Which of two is better, by how much, and how sure: wheel sets, vehicles, builds, trims, floors. (`model.md` §9.)
//!
//! Each has its own line and its own spreads; where both ran on the same day the part of the day's shift that both share
//! cancels, and only that part ([`crate::stats::mixed::pair`]). Better is whichever lands nearer on the first run of a new
//! day at a perfect setting.

mod miss;
mod settle;
mod sides;

use crate::calibration::heading::HeadingFit;
use crate::calibration::{EventRange, SetAside, range};
use crate::error::Error;
use crate::log::run::Season;
use crate::setup::{Measure, Setup};
use crate::stats::Numerical;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::pair::{self, Contrast, Contrasted, Member, Pair};
use crate::stats::weighted::{Normal, Normals, Weighted};
use miss::RunTimes;
pub use sides::By;
use sides::{Both, SameStates, Side};

/// Which of two lands nearer, as far as the level asks to be sure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Better {
    /// The first lands nearer.
    A,
    /// The second does.
    B,
    /// The runs do not tell.
    Undecided,
}

impl Better {
    /// The contract's word.
    pub fn name(self) -> &'static str {
        match self {
            Better::A => "a",
            Better::B => "b",
            Better::Undecided => "undecided",
        }
    }

    fn from_chance(chance_b_better: f64, level: Level) -> Self {
        if chance_b_better >= level.probability() {
            Better::B
        } else if chance_b_better <= 1.0 - level.probability() {
            Better::A
        } else {
            Better::Undecided
        }
    }

    fn mirrored(self) -> Self {
        match self {
            Better::A => Better::B,
            Better::B => Better::A,
            Better::Undecided => Better::Undecided,
        }
    }
}

/// A number of each, and b − a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// The number for a.
    pub a: Interval,
    /// The number for b.
    pub b: Interval,
    /// b − a.
    pub difference: Interval,
}

/// A standard deviation of each, and b / a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComparedSpreads {
    /// The number for a.
    pub a: Interval,
    /// The number for b.
    pub b: Interval,
    /// b / a.
    pub ratio: Interval,
}

/// One of the two labels, with how much of the log was fitted of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FittedLabel {
    /// The label, as the log writes it.
    pub label: String,
    /// Fitted runs.
    pub runs: usize,
    /// Sessions with them.
    pub sessions: usize,
}

/// The answer. Lengths m.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Of every interval and of the verdict.
    pub level: Level,
    /// What the two differ in.
    pub by: By,
    /// The rig or rigs that were compared, for a sentence.
    pub rig: String,
    /// The first of the two, as asked.
    pub a: FittedLabel,
    /// The second of the two, as asked.
    pub b: FittedLabel,
    /// Sessions in which both have fitted runs.
    pub sessions_shared: usize,
    /// The part of a day's shift that both share, along; `None` without a shared session.
    pub common: Option<Interval>,
    /// Distance per turn, m.
    pub distance_per_turn_m: Compared,
    /// Overshoot at the same lead and, where both had it, the same build, m.
    pub overshoot_m: Compared,
    /// κ of the same trim, where both had one, 1/m; `None` where one was not measured across.
    pub curvature_per_m: Option<Compared>,
    /// SD from one run to the next, m.
    pub run_to_run_m: ComparedSpreads,
    /// SD from one session to the next, m.
    pub between_sessions_m: ComparedSpreads,
    /// Mean miss of the first run of a new session at a perfect setting, averaged over the targets, m.
    pub event_miss_m: Compared,
    /// Distribution of the two misses, for a figure: quantiles at [`Comparison::SHARES`].
    pub miss_quantiles_m: [Vec<f64>; 2],
    /// Mean run time to the middle target, s; `None` where one of the two has fewer than six timed runs.
    pub time_s: Option<Compared>,
    /// Mean score of that first run; `None` where it is just the miss, or a run time is missing.
    pub score: Option<Compared>,
    /// Chance that b's event miss is smaller.
    pub chance_b_better: f64,
    /// Which lands nearer.
    pub verdict: Better,
    /// Runs of each that should settle it; `None` when settled, or beyond 500.
    pub runs_to_settle: Option<usize>,
    /// How far the days alone leave the difference in overshoot open (SD), m.
    pub days_m: f64,
    /// Runs the program did not fit.
    pub set_aside: Vec<SetAside>,
    /// In words.
    pub warnings: Vec<String>,
}

impl Comparison {
    /// Shares below the quantiles of [`Comparison::miss_quantiles_m`].
    pub const SHARES: [f64; 9] = [0.025, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975];
}

/// Compares what two labels stand for.
///
/// # Errors
/// [`Error::Input`] for a label that the log does not have; [`Error::CannotAnswer`] where one has too few runs, or the two
/// never ran in comparable states.
pub fn compare(
    season: &Season,
    setup: &Setup,
    level: Level,
    by: By,
    a: &str,
    b: &str,
) -> Result<Comparison, Error> {
    sides::known(season, by, a, b)?;
    // One order inside, whichever way round it was asked, so that the two answers mirror each other to the last digit.
    if a <= b {
        ordered(season, setup, level, by, [a, b])
    } else {
        ordered(season, setup, level, by, [b, a]).map(mirrored)
    }
}

/// The comparison of two labels in the order given.
fn ordered(
    season: &Season,
    setup: &Setup,
    level: Level,
    by: By,
    labels: [&str; 2],
) -> Result<Comparison, Error> {
    let Both {
        seasons,
        rig,
        mut warnings,
    } = sides::both(season, by, labels)?;
    let mut of_both = seasons[0].clone();
    of_both.runs.extend_from_slice(&seasons[1].runs);
    let range = EventRange::from_setup(setup, range::logged_targets_m(&of_both))?;
    let side = |k: usize| Side::fit(&seasons[k], labels[k], setup, level, range);
    let sides = [side(0)?, side(1)?];
    let states = sides::same_states(&of_both, &sides, by, &mut warnings);

    let along = along(&sides, &states)?;
    let across = across(&sides, &states)?;
    let straight_distance = setup.score.measure == Measure::Point;
    if straight_distance && across.is_none() {
        warnings.push(
            "one of the two was not measured to the right and left: the miss counts along the line only".to_string(),
        );
    }
    let counted_across = across.as_ref().filter(|_| straight_distance);
    let misses = miss::misses(&along, counted_across, range);
    let chance_b_better = misses.chance_second_less();
    let verdict = Better::from_chance(chance_b_better, level);
    let runs_to_settle = (verdict == Better::Undecided)
        .then(|| settle::runs_to_settle(&sides, &misses, chance_b_better, level, range))
        .flatten();
    let times = RunTimes::from_lines(sides.each_ref().map(Side::time_line), range);
    let score = miss::score(&misses, &times, setup, level, &mut warnings);
    let [a, b] = [0, 1].map(|k| sides[k].fitted_label(labels[k]));
    let run_to_run = [0, 1].map(|k| sides[k].run_to_run_m(level));
    let between = [0, 1].map(|k| sides[k].between_sessions_m(level));
    Ok(Comparison {
        level,
        by,
        rig,
        sessions_shared: along.shared,
        common: common(&along, level),
        distance_per_turn_m: contrasted(&along, 0, level),
        overshoot_m: contrasted(&along, 1, level),
        curvature_per_m: across.as_ref().map(|pair| contrasted(pair, 0, level)),
        run_to_run_m: spreads(run_to_run, &along, |p| p.sigma, level),
        between_sessions_m: spreads(between, &along, |p| p.tau, level),
        event_miss_m: misses.compared(|m| m.miss_m, level),
        miss_quantiles_m: misses.quantiles(&Comparison::SHARES),
        time_s: times.compared(level),
        score,
        chance_b_better,
        verdict,
        runs_to_settle,
        days_m: days_m(&along, [a.sessions, b.sessions]),
        a,
        b,
        set_aside: (sides.iter())
            .flat_map(|side| side.settled.set_aside.iter().cloned())
            .collect(),
        warnings,
    })
}

/// Both travel fits together, with contrasts for distance per turn and for overshoot in the common state.
fn along(sides: &[Side; 2], states: &SameStates) -> Result<Pair, Numerical> {
    let member = |k: usize| {
        let fit = &sides[k].settled.fits.travel;
        Member {
            rows: &fit.rows,
            design: &fit.design,
            posterior: &fit.posterior,
        }
    };
    let turn = |k: usize| sides[k].travel_row(None, 1.0, None);
    let overshoot = |k: usize| sides[k].travel_row(Some(states.build[k]), 0.0, states.lead_turns);
    let contrasts = [
        Contrast {
            a: turn(0),
            b: turn(1),
        },
        Contrast {
            a: overshoot(0),
            b: overshoot(1),
        },
    ];
    Pair::new(member(0), member(1), &contrasts, 0)
}

/// Both heading fits together, with a contrast for the curvature of the common trim; `None` where one of the two has no
/// heading fit.
fn across(sides: &[Side; 2], states: &SameStates) -> Result<Option<Pair>, Numerical> {
    let [Some(a), Some(b)] = sides
        .each_ref()
        .map(|side| side.settled.fits.heading.as_ref())
    else {
        return Ok(None);
    };
    let curvature = |fit: &HeadingFit, trim: usize| {
        let mut row = vec![0.0; 2 * fit.trims.len()];
        row[2 * trim + 1] = 1.0;
        row
    };
    let contrast = Contrast {
        a: curvature(a, states.trim[0]),
        b: curvature(b, states.trim[1]),
    };
    Pair::new(
        heading_member(a),
        heading_member(b),
        &[contrast],
        pair::AXES,
    )
    .map(Some)
}

fn heading_member(fit: &HeadingFit) -> Member<'_> {
    Member {
        rows: &fit.rows,
        design: &fit.design,
        posterior: &fit.posterior,
    }
}

/// ρ; `None` without a shared session.
fn common(pair: &Pair, level: Level) -> Option<Interval> {
    let known = pair.points.iter().map(|p| (p.weight, p.common));
    (pair.shared > 0).then(|| Weighted::new(known).central(level))
}

fn contrasted(pair: &Pair, index: usize, level: Level) -> Compared {
    let of = |part: fn(&Contrasted) -> Normal| {
        let all = pair
            .points
            .iter()
            .map(|p| (p.weight, part(&p.contrasts[index])));
        Normals::new(all).central(level)
    };
    Compared {
        a: of(|c| c.a),
        b: of(|c| c.b),
        difference: of(|c| c.difference),
    }
}

/// The ratio's estimate is that of the estimates, where a's is above 0; its interval comes from the points.
fn spreads(
    [a, b]: [Interval; 2],
    pair: &Pair,
    of: fn(&pair::SamplePoint) -> [f64; 2],
    level: Level,
) -> ComparedSpreads {
    let known = Weighted::new(pair.points.iter().map(|p| {
        let [a, b] = of(p);
        (p.weight, (b / a).ln())
    }))
    .central(level);
    let estimate = if a.estimate > 0.0 && b.estimate > 0.0 {
        b.estimate / a.estimate
    } else {
        known.estimate.exp()
    };
    ComparedSpreads {
        a,
        b,
        ratio: Interval::holding(estimate, known.low.exp(), known.high.exp()),
    }
}

/// SD of the difference of the two means of day shifts, if no part of them were common: √(τ_a²/S_a + τ_b²/S_b): the median over the
/// points.
fn days_m(pair: &Pair, sessions: [usize; 2]) -> f64 {
    let all = Weighted::new(pair.points.iter().map(|p| {
        let square = |k: usize| p.tau[k].powi(2) / sessions[k].max(1) as f64;
        (p.weight, (square(0) + square(1)).sqrt())
    }));
    all.quantile(0.5)
}

/// The answer to the same question asked the other way round.
fn mirrored(c: Comparison) -> Comparison {
    let minus = |i: Interval| Interval {
        estimate: 0.0 - i.estimate,
        low: 0.0 - i.high,
        high: 0.0 - i.low,
    };
    let compared = |c: Compared| Compared {
        a: c.b,
        b: c.a,
        difference: minus(c.difference),
    };
    let spreads = |s: ComparedSpreads| ComparedSpreads {
        a: s.b,
        b: s.a,
        ratio: Interval {
            estimate: 1.0 / s.ratio.estimate,
            low: 1.0 / s.ratio.high,
            high: 1.0 / s.ratio.low,
        },
    };
    let [first, second] = c.miss_quantiles_m;
    Comparison {
        a: c.b,
        b: c.a,
        distance_per_turn_m: compared(c.distance_per_turn_m),
        overshoot_m: compared(c.overshoot_m),
        curvature_per_m: c.curvature_per_m.map(compared),
        run_to_run_m: spreads(c.run_to_run_m),
        between_sessions_m: spreads(c.between_sessions_m),
        event_miss_m: compared(c.event_miss_m),
        miss_quantiles_m: [second, first],
        time_s: c.time_s.map(compared),
        score: c.score.map(compared),
        chance_b_better: 1.0 - c.chance_b_better,
        verdict: c.verdict.mirrored(),
        ..c
    }
}
