//! The answer of a comparison.

use super::by::By;
use crate::calibration::SetAside;
use crate::setup::EventRule;
use crate::stats::interval::{Interval, Level};
use jiff::civil::Date;

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

    pub(super) fn from_chance(chance_b_better: f64, level: Level) -> Self {
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

/// One of the two, with how much of the log was fitted of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FittedLabel {
    /// The label as the log writes it, or the name of a whole rig.
    pub label: String,
    /// Fitted runs.
    pub runs: usize,
    /// Sessions with them.
    pub sessions: usize,
}

/// Which of two misses less on average, by one way of counting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountedAnswer {
    /// Chance that b's mean is smaller.
    pub chance_b_better: f64,
    /// Which lands nearer.
    pub verdict: Better,
    /// Runs of each that should settle it; `None` when settled, or beyond 500.
    pub runs_to_settle: Option<usize>,
    /// What most of it hangs on that is not known.
    pub open: Open,
}

/// What is not known of how far two land from the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Open {
    /// Anything of the days: one of the two has fewer than three.
    TooFewSessions,
    /// How much days differ.
    Days,
    /// How much runs of one day differ.
    Runs,
}

/// What counts at the event, with `correct` used between its runs and a perfect setting. Lengths m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventComparison {
    /// Which runs count, and how.
    pub rule: EventRule,
    /// Mean of what counts (of a sum, of the sum), averaged over the targets.
    pub miss_m: Compared,
    /// Which of the two is better.
    pub answer: CountedAnswer,
    /// A distance in whole centimetres at which the two can be told apart,
    pub within_m: f64,
    /// and the chance of each that what counts is within it (a sum of n: within n times it).
    pub chance_within: [f64; 2],
}

/// The answer. Lengths m.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Of every interval and of the verdict.
    pub level: Level,
    /// What the two differ in.
    pub by: By,
    /// Whether vehicle and wheels both differ, so that what each does is not told apart.
    pub vehicle_and_wheels: bool,
    /// The rig or rigs that were compared, for a sentence.
    pub rig: String,
    /// The rigs on which two vehicles made their newest runs, first and second as asked; `None` where these are what is
    /// compared, where no vehicles are, or where one has too few runs.
    pub newest: Option<[String; 2]>,
    /// Days of the first and the last of the runs compared, where any is dated.
    pub days: Option<(Date, Date)>,
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
    /// What counts at the event, which the answer leads with.
    pub at_event: EventComparison,
    /// Mean miss of the first run of a new session at a perfect setting, averaged over the targets, m.
    pub event_miss_m: Compared,
    /// Mean run time to the middle target, s; `None` where one of the two has fewer than six timed runs.
    pub time_s: Option<Compared>,
    /// Mean score of that first run; `None` where it is just the miss, or a run time is missing.
    pub score: Option<Compared>,
    /// Which of the two misses less on that first run.
    pub first_run: CountedAnswer,
    /// How far the days alone leave the difference in overshoot open (SD), m.
    pub days_m: f64,
    /// Runs the program did not fit.
    pub set_aside: Vec<SetAside>,
    /// In words.
    pub warnings: Vec<String>,
}

/// The answer to the same question asked the other way round.
pub(super) fn mirrored(c: Comparison) -> Comparison {
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
    let answer = |a: CountedAnswer| CountedAnswer {
        chance_b_better: 1.0 - a.chance_b_better,
        verdict: a.verdict.mirrored(),
        ..a
    };
    let [first, second] = c.at_event.chance_within;
    Comparison {
        a: c.b,
        b: c.a,
        newest: c.newest.map(|[first, second]| [second, first]),
        distance_per_turn_m: compared(c.distance_per_turn_m),
        overshoot_m: compared(c.overshoot_m),
        curvature_per_m: c.curvature_per_m.map(compared),
        run_to_run_m: spreads(c.run_to_run_m),
        between_sessions_m: spreads(c.between_sessions_m),
        event_miss_m: compared(c.event_miss_m),
        at_event: EventComparison {
            miss_m: compared(c.at_event.miss_m),
            answer: answer(c.at_event.answer),
            chance_within: [second, first],
            ..c.at_event
        },
        time_s: c.time_s.map(compared),
        score: c.score.map(compared),
        first_run: answer(c.first_run),
        ..c
    }
}
