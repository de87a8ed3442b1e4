//! Which of two is better, by how much, and how sure: wheel sets, vehicles, builds, trims, floors. (`model.md` §9.)
//!
//! Each has its own line and its own spreads; where both ran on the same day the part of the day's shift that both share
//! cancels, and only that part ([`crate::stats::mixed::pair`]). Better is whichever lands nearer on the first run of a new
//! day at a perfect setting.

mod miss;
mod settle;
mod sides;

use crate::calibration::fit::Settled;
use crate::calibration::heading::HeadingFit;
use crate::calibration::{EventRange, SetAside, range, time};
use crate::error::Error;
use crate::log::run::Season;
use crate::setup::{Measure, Setup};
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::pair::{self, Contrast, Contrasted, Member, Pair};
use crate::stats::weighted::{Normal, Normals, Weighted};
pub use sides::By;
use sides::{Both, Side};

/// The verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The first lands nearer.
    A,
    /// The second does.
    B,
    /// The runs do not tell.
    Undecided,
}

impl Verdict {
    /// The contract's word.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::A => "a",
            Verdict::B => "b",
            Verdict::Undecided => "undecided",
        }
    }

    fn of(chance_b_better: f64, level: Level) -> Self {
        if chance_b_better >= level.probability() {
            Verdict::B
        } else if chance_b_better <= 1.0 - level.probability() {
            Verdict::A
        } else {
            Verdict::Undecided
        }
    }

    fn mirrored(self) -> Self {
        match self {
            Verdict::A => Verdict::B,
            Verdict::B => Verdict::A,
            Verdict::Undecided => Verdict::Undecided,
        }
    }
}

/// A number of each, and b − a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// Of a.
    pub a: Interval,
    /// Of b.
    pub b: Interval,
    /// b − a.
    pub difference: Interval,
}

/// A spread of each, and b / a.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spreads {
    /// Of a.
    pub a: Interval,
    /// Of b.
    pub b: Interval,
    /// b / a.
    pub ratio: Interval,
}

/// What was fitted of one of the two.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Its label.
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
    /// The one.
    pub a: Told,
    /// The other.
    pub b: Told,
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
    pub run_to_run_m: Spreads,
    /// SD from one session to the next, m.
    pub between_sessions_m: Spreads,
    /// Mean miss of the first run of a new session at a perfect setting, averaged over the targets, m.
    pub event_miss_m: Compared,
    /// Distribution of the two misses, for a figure: quantiles at [`Comparison::SHARES`].
    pub miss_quantiles_m: [Vec<f64>; 2],
    /// Mean run time to the middle target, s; `None` where one of the two has fewer than six timed runs.
    pub time_s: Option<Compared>,
    /// Mean score of that first run; `None` where it is just the miss, or cannot be told.
    pub score: Option<Compared>,
    /// Chance that b's event miss is smaller.
    pub chance_b_better: f64,
    /// Verdict.
    pub verdict: Verdict,
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
    let log_targets_m = range::of_log(&of_both);
    let range = EventRange::of(setup, log_targets_m)?;
    let side = |k: usize| Side::fit(&seasons[k], labels[k], setup, level, range);
    let sides = [side(0)?, side(1)?];
    let states = sides::same_states(&of_both, &sides, by, &mut warnings);

    let travel = [0, 1].map(|k| &sides[k].settled.fits.travel);
    let member = |k: usize| Member {
        rows: &travel[k].rows,
        design: &travel[k].design,
        posterior: &travel[k].posterior,
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
    let along = Pair::new(member(0), member(1), &contrasts, 0)?;
    let headings = [0, 1].map(|k| sides[k].settled.fits.heading.as_ref());
    let across = match headings {
        [Some(first), Some(second)] => {
            let curve = |k: usize, columns: usize| {
                let mut row = vec![0.0; columns];
                row[2 * states.trim[k] + 1] = 1.0;
                row
            };
            let contrast = Contrast {
                a: curve(0, 2 * first.trims.len()),
                b: curve(1, 2 * second.trims.len()),
            };
            Some(Pair::new(
                heading_member(first),
                heading_member(second),
                &[contrast],
                pair::AXES,
            )?)
        }
        _ => {
            if setup.score.measure == Measure::Point {
                warnings.push(
                    "one of the two was not measured to the right and left: the miss counts along the line only".to_string(),
                );
            }
            None
        }
    };
    let counted = across
        .as_ref()
        .filter(|_| setup.score.measure == Measure::Point);
    let misses = miss::misses(&along, counted, range);
    let event_miss_m = misses.compared(|m| m.miss_m, level);
    let chance_b_better = misses.chance_second_less();
    let verdict = Verdict::of(chance_b_better, level);
    let time = [0, 1].map(|k| {
        let Settled { fits, excluded, .. } = &sides[k].settled;
        time::line(&sides[k].runs, &fits.travel, excluded)
    });
    let (time_s, score) = miss::time_and_score(&misses, &time, setup, range, level, &mut warnings);
    let runs_to_settle = (verdict == Verdict::Undecided)
        .then(|| settle::runs_to_settle(&sides, &misses, chance_b_better, level, range))
        .flatten();
    let told = |k: usize| Told {
        label: labels[k].to_string(),
        runs: travel[k].launches.len(),
        sessions: travel[k].design.groups(),
    };
    let mut set_aside = Vec::new();
    for side in &sides {
        set_aside.extend(side.settled.set_aside.iter().cloned());
    }
    let run_to_run = [0, 1].map(|k| sides[k].run_to_run_m(level));
    let between = [0, 1].map(|k| sides[k].between_sessions_m(level));
    Ok(Comparison {
        level,
        by,
        rig,
        a: told(0),
        b: told(1),
        sessions_shared: along.shared,
        common: (along.shared > 0).then(|| {
            Weighted::new(along.points.iter().map(|p| (p.weight, p.common))).central(level)
        }),
        distance_per_turn_m: contrasted(&along, 0, level),
        overshoot_m: contrasted(&along, 1, level),
        curvature_per_m: across.as_ref().map(|pair| contrasted(pair, 0, level)),
        run_to_run_m: spreads(run_to_run, &along, |p| p.sigma, level),
        between_sessions_m: spreads(between, &along, |p| p.tau, level),
        event_miss_m,
        miss_quantiles_m: misses.quantiles(&Comparison::SHARES),
        time_s,
        score,
        chance_b_better,
        verdict,
        runs_to_settle,
        days_m: days_m(&along, [0, 1].map(|k| travel[k].design.groups())),
        set_aside,
        warnings,
    })
}

fn heading_member(fit: &HeadingFit) -> Member<'_> {
    Member {
        rows: &fit.rows,
        design: &fit.design,
        posterior: &fit.posterior,
    }
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
    of: fn(&pair::Point) -> [f64; 2],
    level: Level,
) -> Spreads {
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
    Spreads {
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
    let spreads = |s: Spreads| Spreads {
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
