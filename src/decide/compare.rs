//! Which of two is better, by how much, and how sure: wheel sets, vehicles, builds, trims, floors. (`model.md` §9.)
//!
//! Each has its own line and its own spreads; where both ran on the same day the part of the day's shift that both share
//! cancels, and only that part ([`crate::stats::mixed::pair`]). Better is whichever lands nearer on average at a perfect
//! setting: by what counts at the event, with the correction between its runs, and by the first run of a new day.

mod by;
mod comparison;
mod miss;
mod named;
mod settle;
mod sides;

use crate::calibration::heading::HeadingFit;
use crate::calibration::{EventRange, fit, range};
use crate::error::Error;
use crate::log::run::Season;
use crate::setup::{EventRule, Measure, Setup};
use crate::stats::Numerical;
use crate::stats::interval::{Interval, Level};
use crate::stats::mixed::pair::{self, Contrast, Contrasted, Member, Pair};
use crate::stats::weighted::{Normal, Normals, Weighted};
pub use by::By;
use comparison::mirrored;
pub use comparison::{
    Better, Compared, ComparedSpreads, Comparison, CountedAnswer, EventComparison, FittedLabel,
    Open,
};
use miss::{Misses, PointMiss, RunTimes};
use named::Named;
use settle::OpenSpreads;
use sides::{SameStates, Side};

/// Compares what two labels stand for; of vehicles and wheels, each may be a whole rig, `VEHICLE/WHEELS`.
///
/// # Errors
/// [`Error::Input`] for a name that the log does not have; [`Error::CannotAnswer`] where one has too few runs, or the two
/// never ran in comparable states.
pub fn compare(
    season: &Season,
    setup: &Setup,
    level: Level,
    by: By,
    a: &str,
    b: &str,
) -> Result<Comparison, Error> {
    let [a, b] = named::both(season, by, a, b)?;
    // One order inside, whichever way round it was asked, so that the two answers mirror each other to the last digit.
    if a.name <= b.name {
        ordered(season, setup, level, by, [a, b])
    } else {
        ordered(season, setup, level, by, [b, a]).map(mirrored)
    }
}

/// The comparison of what two names stand for, in the order given.
fn ordered(
    season: &Season,
    setup: &Setup,
    level: Level,
    by: By,
    named: [Named; 2],
) -> Result<Comparison, Error> {
    let mut both = sides::both(season, by, &named)?;
    let (seasons, by, warnings) = (&both.seasons, both.by, &mut both.warnings);
    warnings.extend(setup.for_log(season.ticks_seen).dial.caution());
    let labels = named.each_ref().map(|n| n.name.as_str());
    let mut of_both = seasons[0].clone();
    of_both.runs.extend_from_slice(&seasons[1].runs);
    let range = EventRange::from_setup(setup, range::logged_targets_m(&of_both))?;
    let side = |k: usize| Side::fit(&seasons[k], labels[k], setup, level, range);
    let sides = [side(0)?, side(1)?];
    let left_in = sides.iter().map(|side| &side.settled.left_in);
    warnings.extend(left_in.flat_map(|runs| fit::still_count(runs)));
    let states = sides::same_states(&of_both, &sides, by, warnings);

    let along = along(&sides, &states)?;
    let across = across(&sides, &states)?;
    let counted_across = counted_across(across.as_ref(), setup, warnings);
    let rule = setup.event.rule();
    let asked = miss::States {
        along: &along,
        across: counted_across,
        targets: [0, 1].map(|k| miss::States::sized(range, |t| sides[k].size_at(t, &states, k))),
        rule,
        long_limit_m: setup.score.long_limit_m,
    };
    let misses = asked.misses();
    let judged = |rule: EventRule, of: fn(&PointMiss) -> f64| {
        answered(&misses, of, &OpenSpreads::new(&sides, range, rule), level)
    };
    let first_run = judged(EventRule { runs: 1, ..rule }, |m| m.first_m);
    let at_event = at_event(&asked, &misses, judged(rule, |m| m.event_m), level);
    let times = RunTimes::from_lines(sides.each_ref().map(Side::time_line), range);
    let score = miss::score(&misses, &times, setup, level, warnings);
    let [a, b] = [0, 1].map(|k| sides[k].fitted_label(labels[k]));
    let run_to_run = [0, 1].map(|k| sides[k].run_to_run_m(level));
    let between = [0, 1].map(|k| sides[k].between_sessions_m(level));
    Ok(Comparison {
        level,
        by,
        vehicle_and_wheels: both.vehicle_and_wheels,
        rig: both.rig,
        newest: both.newest,
        days: of_both.days(),
        sessions_shared: along.shared,
        common: common(&along, level),
        distance_per_turn_m: contrasted(&along, 0, level),
        overshoot_m: contrasted(&along, 1, level),
        curvature_per_m: across.as_ref().map(|pair| contrasted(pair, 0, level)),
        run_to_run_m: spreads(run_to_run, &along, |p| p.sigma, level),
        between_sessions_m: spreads(between, &along, |p| p.tau, level),
        at_event,
        event_miss_m: misses.compared(|m| m.first_m, level),
        time_s: times.compared(level),
        score,
        first_run,
        days_m: days_m(&along, [a.sessions, b.sessions]),
        a,
        b,
        set_aside: (sides.iter())
            .flat_map(|side| side.settled.set_aside.iter().cloned())
            .collect(),
        warnings: both.warnings,
    })
}

/// What left and right add to the miss: nothing along a line, or where one of the two was not measured across.
fn counted_across<'p>(
    across: Option<&'p Pair>,
    setup: &Setup,
    warnings: &mut Vec<String>,
) -> Option<&'p Pair> {
    let straight_distance = setup.score.measure == Measure::Point;
    if straight_distance && across.is_none() {
        warnings.push(
            "one of the two was not measured to the right and left: the miss counts along the line only".to_string(),
        );
    }
    across.filter(|_| straight_distance)
}

/// Which of the two is better by one way of counting.
fn answered(
    misses: &Misses,
    of: fn(&PointMiss) -> f64,
    evidence: &OpenSpreads,
    level: Level,
) -> CountedAnswer {
    let chance_b_better = misses.chance_second_less(of);
    let verdict = Better::from_chance(chance_b_better, level);
    let open = misses.ln_variances(of);
    CountedAnswer {
        chance_b_better,
        verdict,
        runs_to_settle: (verdict == Better::Undecided)
            .then(|| evidence.runs_to_settle(open, chance_b_better, level))
            .flatten(),
        open: evidence.open(open),
    }
}

/// What counts at the event, with a distance at which the two can be told apart.
fn at_event(
    asked: &miss::States,
    misses: &Misses,
    answer: CountedAnswer,
    level: Level,
) -> EventComparison {
    let miss_m = misses.compared(|m| m.event_m, level);
    let better = usize::from(miss_m.b.estimate < miss_m.a.estimate);
    let (within_m, chance_within) = asked.chances_within(better);
    EventComparison {
        rule: asked.rule,
        miss_m,
        answer,
        within_m,
        chance_within,
    }
}

/// Both travel fits together, with contrasts for distance per turn and for overshoot in the common state.
fn along(sides: &[Side; 2], states: &SameStates) -> Result<Pair, Numerical> {
    let member = |k: usize| {
        let fit = &sides[k].settled.fits.travel;
        Member {
            growths: &fit.growths,
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
        growths: &fit.growths,
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
