//! How many more runs and sessions until the event's miss is small enough, and where to make them (`model.md` §8).
//!
//! For each state of the spreads that the log leaves possible, long and right are normal and centred with variance
//! σ²(h + r² + 1) + step²/12; chances are averages over those states and over the targets that can be announced. What
//! counts at the event (the best, the last or the sum of its runs, corrected in between) comes first, the first run of a
//! new day second.

mod chance;
mod way;

use super::parts;
use super::practice::Practice;
use super::{Situation, dial};
use crate::calibration::EventRange;
use crate::error::Error;
use crate::setup::{EventRule, Measure};
use crate::stats::exchange;
use crate::stats::optimise;
use chance::{Day, Known, Place};
use std::collections::BTreeMap;
use way::{NewRuns, Spot, Way};

/// Sessions and runs of each that are offered without being asked for.
pub const OPTION_SESSIONS: std::ops::RangeInclusive<u32> = 1..=8;
/// Runs in each of these sessions.
pub const OPTION_RUNS: [u32; 4] = [4, 6, 8, 12];
/// How many more sessions anybody would look at.
pub const REACH_SESSIONS: u32 = 20;
/// The chance is averaged over this many targets spread evenly over the range where more can be announced: it changes
/// smoothly with the target.
const TARGETS_MAX: usize = 12;
/// Places offered for new runs: the ends, the middle and half way between.
const PLACES: usize = 5;
/// One run in this many is kept at the middle of the range, so that a bend can be seen.
const ONE_IN_THE_MIDDLE: usize = 4;
/// Runs of a session where neither the question nor the answer says how many.
pub const USUAL_RUNS: u32 = 8;
/// How often what counts at the event is to be within a distance that nobody gave.
pub const OFTEN: f64 = 0.9;
/// Runs on the day before the one that counts that are looked at.
const DAY_RUNS: usize = 2;
/// No miss is looked for beyond this, m.
const FARTHEST_M: f64 = 1e6;
/// Where the search for the miss of what counts begins, m.
const EVENT_GUESS_M: f64 = 0.2;
/// That miss is said in whole centimetres, for every rig of a report.
const EVENT_TOLERANCE: f64 = 2e-3;
const CM: f64 = 100.0;
/// A miss is given to this part of it.
const MISS_TOLERANCE: f64 = 1e-4;
/// One in a hundred: a smaller gain of a chance is nobody's to see, and less than the chances themselves are good to
/// (`model.md`, section 11). A day that gains less is not worth asking for.
pub const POINT: f64 = 0.01;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// The miss to stay within, m, above 0.
    pub within_m: f64,
    /// How often, between 0 and 1.
    pub chance: f64,
    /// Sessions and runs of each, where asked for.
    pub asked: Option<(u32, u32)>,
}

/// How a first run of a new day comes out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// Chance of stopping within the distance asked for.
    pub chance: f64,
    /// The miss not exceeded with the chance asked for, m.
    pub miss_m: f64,
}

/// More sessions, and the outlook after them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanOption {
    /// How many more sessions.
    pub sessions: u32,
    /// Runs in each.
    pub runs_per_session: u32,
    /// What they would bring for the first run of a new day.
    pub outlook: Outlook,
    /// Chance that what counts at the event is then within the distance asked for.
    pub event_chance: f64,
}

impl PlanOption {
    /// Whether each of its days gains a [`POINT`] at the event, on average.
    ///
    /// * `now` — chance at the event as things stand
    pub fn is_worth_its_days(&self, now: f64) -> bool {
        self.event_chance - now >= POINT * f64::from(self.sessions)
    }

    fn runs(&self) -> u32 {
        self.sessions * self.runs_per_session
    }

    fn is(&self, other: Option<&PlanOption>) -> bool {
        let size = |o: &PlanOption| (o.sessions, o.runs_per_session);
        other.is_some_and(|other| size(other) == size(self))
    }
}

/// Whether a chance is as good as one asked for: both are the same number of runs in a hundred, as chances are said. Above
/// 99.5 in 100 that says too little, and it must be reached.
pub fn is_as_good_as(chance: f64, asked: f64) -> bool {
    let in_100 = |p: f64| (100.0 * p).round();
    chance >= asked || (asked < 1.0 - 0.5 * POINT && in_100(chance) >= in_100(asked))
}

/// A row of the table of options.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanRow {
    /// The option.
    pub option: PlanOption,
    /// Whether it was asked for.
    pub is_asked: bool,
    /// Whether it is the least that brings what counts at the event to the chance asked for.
    pub is_enough: bool,
    /// Whether it is all that is worth its days where what is enough is not.
    pub is_worthwhile: bool,
}

/// What sessions to come gain at the event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// How many sessions.
    pub sessions: u32,
    /// Runs in each.
    pub runs_per_session: u32,
    /// The distance to stay within, m.
    pub within_m: f64,
    /// Whether nobody gave that distance: it is the one kept [`OFTEN`] as things stand, in whole centimetres.
    pub is_usual: bool,
    /// What counts.
    pub rule: EventRule,
    /// Chance that what counts is within, as things stand.
    pub now: f64,
    /// That chance after the sessions.
    pub then: f64,
}

/// Sessions and runs of each that bring a chance to what is asked: (0, 0) when it is there already, `None` when no number
/// of runs in up to [`REACH_SESSIONS`] sessions does.
pub type Reach = Option<(u32, u32)>;

/// What counts at the event, with `correct` used between its runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtEvent {
    /// Which runs count, and how.
    pub rule: EventRule,
    /// Chance that what counts is within; a sum counts as its mean.
    pub chance: f64,
    /// That chance with the calibration perfectly known.
    pub limit: f64,
    /// The least that brings it to the chance asked for.
    pub reach: Reach,
    /// Whether it is as good as there ([`is_as_good_as`]) as things stand.
    pub is_there: bool,
    /// What that least brings; `None` where it is as good as there, or nothing brings it there.
    pub enough: Option<PlanOption>,
    /// As many usual sessions as each gain a [`POINT`] or more over those before them, where it is not as good as there and
    /// what is enough is not worth its days or is not to be had.
    pub worthwhile: Option<PlanOption>,
}

/// Root mean squares of the miss's parts over the targets, m: straight distance, or along where only that counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MissParts {
    /// Whether left and right are in them; else along only.
    pub across: bool,
    /// From one run to the next.
    pub run_to_run_m: f64,
    /// From one day to the next.
    pub between_sessions_m: f64,
    /// What is not known of the calibration.
    pub calibration_m: f64,
    /// Rounding of dial and aim mark.
    pub steps_m: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The question.
    pub question: Question,
    /// With the calibration as it is.
    pub now: Outlook,
    /// With the calibration perfectly known.
    pub limit: Outlook,
    /// Chance after 0, 1, 2 … runs made and corrected for on the day.
    pub event_day: Vec<f64>,
    /// What counts at the event.
    pub at_event: AtEvent,
    /// Every option of [`OPTION_SESSIONS`] × [`OPTION_RUNS`].
    pub options: Vec<PlanOption>,
    /// The one that was asked for.
    pub asked: Option<PlanOption>,
    /// The least that gets the first run of a new day there.
    pub reach: Reach,
    /// What the miss is made of.
    pub parts: MissParts,
    /// The runs to make: of what was asked for; else of the least that gets what counts there, where it is worth its days;
    /// else of one usual session.
    pub practice: Practice,
}

/// The event's targets on both lines, and what is known of these: what every answer of a plan is made from.
pub struct Prospects {
    known: Known,
    /// What counts at the event.
    rule: EventRule,
    /// Targets the chance is averaged over.
    places: Vec<Place>,
    /// Where new runs may be made.
    candidates: Vec<Place>,
}

/// Answers the question for a situation without runs of today.
///
/// # Errors
/// Any error of [`dial::plain_setting`]; [`Error::CannotAnswer`] when the miss is a straight distance and the log does not tell
/// left from right.
pub fn plan(situation: &Situation, range: EventRange, question: Question) -> Result<Plan, Error> {
    let prospects = Prospects::new(situation, range)?;
    let now = prospects.now(&question)?;
    let perfectly = prospects.known.limit();
    let limit = prospects.outlook(&prospects.days(&perfectly), &question)?;
    let mut options = Vec::new();
    for sessions in OPTION_SESSIONS {
        for runs in OPTION_RUNS {
            options.push(prospects.option(sessions, runs, &question)?);
        }
    }
    let asked = question
        .asked
        .map(|(sessions, runs)| prospects.option(sessions, runs, &question))
        .transpose()?;
    let mut ahead = Ahead::new(&prospects, &question, &options);
    let reach = ahead.reach(|c| c.first_run, now.chance, limit.chance);
    let chance = prospects.event_chance(prospects.rule, question.within_m);
    let event_limit = chance::event_chance(
        &prospects.days(&perfectly),
        prospects.rule,
        question.within_m,
    );
    let event_reach = ahead.reach(|c| c.event, chance, event_limit);
    let is_there = is_as_good_as(chance, question.chance);
    let enough = event_reach
        .filter(|_| !is_there)
        .map(|(sessions, runs)| prospects.option(sessions, runs, &question))
        .transpose()?;
    let worth = enough.filter(|o| o.is_worth_its_days(chance));
    let worthwhile = match is_there || worth.is_some() {
        true => None,
        false => worthwhile(&options, chance),
    };
    let at_event = AtEvent {
        rule: prospects.rule,
        chance,
        limit: event_limit,
        reach: event_reach,
        is_there,
        enough,
        worthwhile,
    };
    let advised = asked.or(worth);
    let (sessions, runs) = advised.map_or((1, USUAL_RUNS), |o| (o.sessions, o.runs_per_session));
    Ok(Plan {
        question,
        now,
        limit,
        event_day: prospects.event_day(question.within_m),
        at_event,
        options,
        asked,
        reach,
        parts: miss_parts(situation, &prospects)?,
        practice: prospects.practice(situation, sessions, runs),
    })
}

/// The most usual sessions each of which gains a [`POINT`] or more at the event over those before it.
fn worthwhile(options: &[PlanOption], now: f64) -> Option<PlanOption> {
    let mut last = None;
    let mut reached = now;
    let usual = options.iter().filter(|o| o.runs_per_session == USUAL_RUNS);
    for option in usual {
        if option.event_chance - reached < POINT {
            break;
        }
        reached = option.event_chance;
        last = Some(*option);
    }
    last
}

/// Chances of what is asked after more sessions.
#[derive(Debug, Clone, Copy)]
struct Chances {
    /// For the first run of a new day.
    first_run: f64,
    /// For what counts at the event.
    event: f64,
}

/// Chances after any number of sessions, each worked out once.
struct Ahead<'p> {
    prospects: &'p Prospects,
    question: &'p Question,
    known: BTreeMap<(u32, u32), Chances>,
}

impl<'p> Ahead<'p> {
    fn new(prospects: &'p Prospects, question: &'p Question, options: &[PlanOption]) -> Self {
        let chances = |o: &PlanOption| Chances {
            first_run: o.outlook.chance,
            event: o.event_chance,
        };
        let of = |o: &PlanOption| ((o.sessions, o.runs_per_session), chances(o));
        Ahead {
            prospects,
            question,
            known: options.iter().map(of).collect(),
        }
    }

    fn after(&mut self, sessions: u32, runs: u32) -> Chances {
        let Ahead {
            prospects,
            question,
            ..
        } = *self;
        *self.known.entry((sessions, runs)).or_insert_with(|| {
            let days = prospects.days(&prospects.known_after(sessions, runs));
            Chances {
                first_run: first_run(&days)(question.within_m),
                event: chance::event_chance(&days, prospects.rule, question.within_m),
            }
        })
    }

    /// The fewest runs in all, then the fewest sessions, with which a chance is reached.
    ///
    /// * `of` — which chance; `now` and `limit` — as things stand and with the calibration perfectly known
    fn reach(&mut self, of: fn(Chances) -> f64, now: f64, limit: f64) -> Reach {
        let wanted = self.question.chance;
        if now >= wanted {
            return Some((0, 0));
        }
        let most = OPTION_RUNS[OPTION_RUNS.len() - 1];
        // No number of runs beats the limit, and no fewer runs beat the most that is looked at.
        if limit < wanted || of(self.after(REACH_SESSIONS, most)) < wanted {
            return None;
        }
        let mut all: Vec<(u32, u32)> = (1..=REACH_SESSIONS)
            .flat_map(|s| OPTION_RUNS.iter().map(move |&r| (s, r)))
            .collect();
        all.sort_by_key(|&(sessions, runs)| (sessions * runs, sessions));
        all.into_iter()
            .find(|&(sessions, runs)| of(self.after(sessions, runs)) >= wanted)
    }
}

/// Chance that the first run of a new day stops within a distance, a mean over the targets: to be asked for any.
fn first_run(days: &[Day]) -> impl Fn(f64) -> f64 + use<> {
    let days: Vec<Day> = days.iter().map(Day::first_run).collect();
    move |within_m| {
        let sum: f64 = days.iter().map(|day| day.chance(0, within_m)).sum();
        sum / days.len() as f64
    }
}

/// The distance within which a chance that rises with it reaches `wanted`, m.
///
/// * `settled` — to this part of the farthest distance that is looked at
fn distance(
    chance: impl Fn(f64) -> f64,
    wanted: f64,
    guess_m: f64,
    settled: f64,
) -> Result<f64, Error> {
    // A miss is never farther than the place the run started from; the bound only ends a hopeless search.
    let mut high = guess_m;
    while chance(high) < wanted && high < FARTHEST_M {
        high *= 2.0;
    }
    let excess = |within: f64| chance(within) - wanted;
    Ok(optimise::root(excess, 0.0, high, settled * high)?)
}

impl Plan {
    /// The options for a program: the one asked for, else all.
    pub fn listed(&self) -> &[PlanOption] {
        self.asked
            .as_ref()
            .map_or(&self.options, std::slice::from_ref)
    }

    /// The options for a person, fewest runs first: each gains a [`POINT`] or more at the event over the row before it (the
    /// first over things as they stand), was asked for, is enough, or is all that is worth its days.
    pub fn rows(&self) -> Vec<PlanRow> {
        let AtEvent {
            enough, worthwhile, ..
        } = &self.at_event;
        let mut all = self.options.clone();
        let besides = [self.asked, self.at_event.enough].into_iter().flatten();
        for option in besides {
            if !all.iter().any(|o| o.is(Some(&option))) {
                all.push(option);
            }
        }
        all.sort_by_key(|o| (o.runs(), o.sessions));
        let mut rows = Vec::new();
        let mut reached = self.at_event.chance;
        for option in all {
            let row = PlanRow {
                option,
                is_asked: option.is(self.asked.as_ref()),
                is_enough: option.is(enough.as_ref()),
                is_worthwhile: option.is(worthwhile.as_ref()),
            };
            let is_named = row.is_asked || row.is_enough || row.is_worthwhile;
            if is_named || option.event_chance - reached >= POINT {
                reached = reached.max(option.event_chance);
                rows.push(row);
            }
        }
        rows
    }

    /// Whether runs were asked for, or some are worth their days at the event.
    pub fn is_worth_a_day(&self) -> bool {
        let event = &self.at_event;
        let enough = || event.enough.filter(|o| o.is_worth_its_days(event.chance));
        self.asked.is_some() || event.worthwhile.is_some() || enough().is_some()
    }

    /// What was asked for gains at the event.
    pub fn gain(&self) -> Option<Gain> {
        self.asked.map(|o| Gain {
            sessions: o.sessions,
            runs_per_session: o.runs_per_session,
            within_m: self.question.within_m,
            is_usual: false,
            rule: self.at_event.rule,
            now: self.at_event.chance,
            then: o.event_chance,
        })
    }
}

impl Known {
    fn limit(&self) -> Known {
        Known {
            along: self.along.perfectly_known(),
            across: self.across.as_ref().map(Way::perfectly_known),
            dial_variance: 0.0,
            aim_variance: 0.0,
        }
    }
}

/// A line's z from its own quantity (turns, or half the arc): 0 at the middle of the range, ±1 at its ends, or less
/// where the range is so narrow that `least` is more than half of it.
fn scale(low: f64, high: f64, least: f64) -> (f64, f64) {
    (0.5 * (low + high), (0.5 * (high - low).abs()).max(least))
}

/// Middles of at most so many equal blocks of the announced targets, m, each of which is as likely as the others.
fn spread_m(range: EventRange, most: usize) -> Vec<f64> {
    let targets_m = range.targets_m();
    let blocks = most.min(targets_m.len());
    if blocks == targets_m.len() {
        return targets_m;
    }
    let width_m = targets_m.len() as f64 * range.step_m / blocks as f64;
    let middle = |i: usize| targets_m[0] - 0.5 * range.step_m + (i as f64 + 0.5) * width_m;
    (0..blocks).map(middle).collect()
}

/// Targets at which practice runs may be made, m: evenly spaced, the range's middle among them.
fn candidates_m(range: EventRange) -> Vec<f64> {
    let targets_m = range.targets_m();
    let last = targets_m.len() - 1;
    let mut candidates: Vec<f64> = (0..PLACES)
        .map(|i| targets_m[(i * last + (PLACES - 1) / 2) / (PLACES - 1)])
        .collect();
    candidates[PLACES / 2] = range.middle_m();
    candidates.dedup();
    candidates
}

impl Prospects {
    /// What is known of a situation without runs of today.
    ///
    /// # Errors
    /// Any error of [`plan`].
    pub fn new(situation: &Situation, range: EventRange) -> Result<Self, Error> {
        let setup = situation.setup;
        let point = setup.score.measure == Measure::Point;
        if point && situation.known_heading().is_none() {
            return Err(Error::cannot_answer(
                "the log does not tell how far to the right or left runs come to rest, so nothing can be said of the straight distance to the target",
                "write right_cm for some runs, or set measure = \"line\" under [score] if only the distance along counts",
            ));
        }
        let turns_at = |target: f64| dial::plain_setting(situation, target).map(|(turns, _)| turns);
        let half_arc = |target: f64| 0.5 * situation.arc_to_m(target);
        let (low, high) = (range.shortest_m, range.longest_m);
        let (turns_mid, turns_unit) = scale(turns_at(low)?, turns_at(high)?, 1.0);
        let (arc_mid, arc_unit) = scale(half_arc(low), half_arc(high), 0.1);
        let place = |target_m: f64| -> Result<Place, Error> {
            let turns = turns_at(target_m)?;
            Ok(Place {
                target_m,
                along: Spot {
                    z: (turns - turns_mid) / turns_unit,
                    size: situation.travel_row(turns).size,
                },
                across: Spot {
                    z: (half_arc(target_m) - arc_mid) / arc_unit,
                    size: 1.0,
                },
            })
        };
        let middle = situation.travel_row(turns_mid).x;
        let unit = difference(&situation.travel_row(turns_mid + turns_unit).x, &middle);
        let along = Way::new(&situation.known_travel().posterior, &middle, &unit);
        let across = situation
            .known_heading()
            .filter(|_| point)
            .map(|(known, trim, _)| {
                let middle = known.row(trim, 2.0 * arc_mid).x;
                let unit = difference(&known.row(trim, 2.0 * (arc_mid + arc_unit)).x, &middle);
                Way::new(&known.posterior, &middle, &unit)
            });
        let travel = situation.known_travel();
        let tick_m = travel.posterior.coefficient(travel.turns_column)
            / f64::from(setup.dial.ticks_per_turn);
        Ok(Prospects {
            known: Known {
                along,
                across,
                dial_variance: tick_m * tick_m / 12.0,
                aim_variance: setup.aim.step_m * setup.aim.step_m / 12.0,
            },
            rule: setup.event.rule(),
            places: spread_m(range, TARGETS_MAX)
                .into_iter()
                .map(place)
                .collect::<Result<_, _>>()?,
            candidates: candidates_m(range)
                .into_iter()
                .map(place)
                .collect::<Result<_, _>>()?,
        })
    }

    /// How many runs of a session to make at each candidate: the worst variance of the line over the event's range is
    /// least (G-optimality), with some kept in the middle.
    fn counts(&self, sessions: usize, runs: usize) -> Vec<usize> {
        let mut least = vec![0; self.candidates.len()];
        // The middle is worth a run as soon as both ends have one.
        least[(self.candidates.len() - 1) / 2] = if runs < 3 {
            0
        } else {
            (runs / ONE_IN_THE_MIDDLE).max(1)
        };
        exchange::share_out(runs, &least, |counts| {
            let known = self.after(sessions, counts);
            self.candidates
                .iter()
                .map(|p| {
                    let across = known.across.as_ref().map_or(0.0, |way| {
                        p.target_m * p.target_m * way.line_variance(p.across.z)
                    });
                    known.along.line_variance(p.along.z) + across
                })
                .fold(0.0, f64::max)
        })
    }

    /// What is known after new sessions with these counts at the candidates.
    fn after(&self, sessions: usize, counts: &[usize]) -> Known {
        let at = |spot: &dyn Fn(&Place) -> Spot| -> Vec<(Spot, usize)> {
            self.candidates
                .iter()
                .map(spot)
                .zip(counts.iter().copied())
                .collect()
        };
        let mut known = self.known.clone();
        known.along = known.along.with(NewRuns {
            sessions,
            spots: &at(&|p| p.along),
        });
        known.across = known.across.map(|way| {
            way.with(NewRuns {
                sessions,
                spots: &at(&|p| p.across),
            })
        });
        known
    }

    fn known_after(&self, sessions: u32, runs: u32) -> Known {
        let counts = self.counts(sessions as usize, runs as usize);
        self.after(sessions as usize, &counts)
    }

    /// The event's runs at every target.
    fn days(&self, known: &Known) -> Vec<Day> {
        let runs = self.rule.runs as usize;
        self.places.iter().map(|p| known.day(*p, runs)).collect()
    }

    fn outlook(&self, days: &[Day], question: &Question) -> Result<Outlook, Error> {
        let chance = first_run(days);
        Ok(Outlook {
            chance: chance(question.within_m),
            miss_m: distance(&chance, question.chance, question.within_m, MISS_TOLERANCE)?,
        })
    }

    /// The outlook as things stand.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when a search does not end.
    pub fn now(&self, question: &Question) -> Result<Outlook, Error> {
        self.outlook(&self.days(&self.known), question)
    }

    /// Chance of the next run of a new day after 0, 1, 2 … runs made and corrected for.
    fn event_day(&self, within_m: f64) -> Vec<f64> {
        let day = |p: &Place| self.known.day(*p, DAY_RUNS + 1);
        let days: Vec<Day> = self.places.iter().map(day).collect();
        let mean = |k: usize| {
            let sum: f64 = days.iter().map(|day| day.chance(k, within_m)).sum();
            sum / days.len() as f64
        };
        (0..=DAY_RUNS).map(mean).collect()
    }

    /// Chance that what counts by a rule is within a distance (above 0), with `correct` used between its runs.
    pub fn event_chance(&self, rule: EventRule, within_m: f64) -> f64 {
        let day = |p: &Place| self.known.day(*p, rule.runs as usize);
        let days: Vec<Day> = self.places.iter().map(day).collect();
        chance::event_chance(&days, rule, within_m)
    }

    /// The distance within which what counts at the event is with a chance, m.
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when the search does not end.
    pub fn event_miss_m(&self, chance: f64) -> Result<f64, Error> {
        let days = self.days(&self.known);
        let within = |d: f64| match d > 0.0 {
            true => chance::event_chance(&days, self.rule, d),
            false => 0.0,
        };
        distance(within, chance, EVENT_GUESS_M, EVENT_TOLERANCE)
    }

    /// More sessions, with their runs at the best targets.
    ///
    /// # Errors
    /// Any error of [`Prospects::now`].
    pub fn option(
        &self,
        sessions: u32,
        runs: u32,
        question: &Question,
    ) -> Result<PlanOption, Error> {
        let days = self.days(&self.known_after(sessions, runs));
        Ok(PlanOption {
            sessions,
            runs_per_session: runs,
            outlook: self.outlook(&days, question)?,
            event_chance: chance::event_chance(&days, self.rule, question.within_m),
        })
    }

    /// What sessions to come gain at the event, their runs made at the best targets.
    ///
    /// * `within_m` — above 0; without it the whole centimetres within which what counts is [`OFTEN`] as things stand, which
    ///   the report leads with
    ///
    /// # Errors
    /// [`Error::CannotAnswer`] when the search for those does not end.
    pub fn gain(&self, sessions: u32, runs: u32, within_m: Option<f64>) -> Result<Gain, Error> {
        let usual = || -> Result<f64, Error> {
            Ok(crate::units::whole_cm_within(self.event_miss_m(OFTEN)?).max(1.0) / CM)
        };
        let is_usual = within_m.is_none();
        let within_m = within_m.map_or_else(usual, Ok)?;
        let days = self.days(&self.known_after(sessions, runs));
        Ok(Gain {
            sessions,
            runs_per_session: runs,
            within_m,
            is_usual,
            rule: self.rule,
            now: self.event_chance(self.rule, within_m),
            then: chance::event_chance(&days, self.rule, within_m),
        })
    }

    /// The runs of sessions to come, at the best targets and leads.
    pub fn practice(&self, situation: &Situation, sessions: u32, runs: u32) -> Practice {
        let targets_m = self.targets_m(sessions as usize, runs as usize);
        Practice::new(situation, sessions, &targets_m)
    }

    /// Where to make the runs of a session, shortest first.
    pub fn targets_m(&self, sessions: usize, runs: usize) -> Vec<f64> {
        self.candidates
            .iter()
            .zip(self.counts(sessions, runs))
            .flat_map(|(place, count)| std::iter::repeat_n(place.target_m, count))
            .collect()
    }
}

fn difference(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}

pub(super) fn miss_parts(situation: &Situation, prospects: &Prospects) -> Result<MissParts, Error> {
    let mut sums = [0.0; 4];
    for place in &prospects.places {
        let (turns, _) = dial::plain_setting(situation, place.target_m)?;
        let along = parts::along(situation, turns);
        let across =
            parts::across(situation, place.target_m).filter(|_| prospects.known.across.is_some());
        for p in [Some(along), across].into_iter().flatten() {
            let each = [
                p.run_to_run_m,
                p.between_sessions_m,
                p.calibration_m,
                p.step_m,
            ];
            for (sum, part) in sums.iter_mut().zip(each) {
                *sum += part * part;
            }
        }
    }
    let [run_to_run_m, between_sessions_m, calibration_m, steps_m] =
        sums.map(|s| (s / prospects.places.len() as f64).sqrt());
    Ok(MissParts {
        across: prospects.known.across.is_some(),
        run_to_run_m,
        between_sessions_m,
        calibration_m,
        steps_m,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn option(sessions: u32, event_chance: f64) -> PlanOption {
        PlanOption {
            sessions,
            runs_per_session: USUAL_RUNS,
            outlook: Outlook {
                chance: 0.5,
                miss_m: 0.2,
            },
            event_chance,
        }
    }

    /// Five days from 0.80: worth it from 0.85 on; one day: from 0.81 on.
    #[test]
    fn days_are_worth_a_point_each() {
        for (sessions, below, above) in [(1, 0.8099, 0.8101), (5, 0.8499, 0.8501)] {
            assert!(!option(sessions, below).is_worth_its_days(0.8));
            assert!(option(sessions, above).is_worth_its_days(0.8));
        }
    }

    #[test]
    fn days_that_each_gain_a_point_are_counted_until_one_does_not() {
        let sessions = |chances: &[f64]| {
            let options: Vec<PlanOption> = (1..).zip(chances).map(|(n, &p)| option(n, p)).collect();
            worthwhile(&options, 0.8).map(|o| o.sessions)
        };
        assert_eq!(sessions(&[0.8099, 0.83]), None);
        assert_eq!(sessions(&[0.8101, 0.8199, 0.84]), Some(1));
        assert_eq!(sessions(&[0.82, 0.831, 0.842, 0.851]), Some(3));
    }

    #[test]
    fn chances_that_are_said_alike_are_alike() {
        assert!(is_as_good_as(0.8961, 0.9));
        assert!(!is_as_good_as(0.8949, 0.9));
        assert!(is_as_good_as(0.9, 0.9));
        // Both are said to be nearly always.
        assert!(!is_as_good_as(0.9961, 0.999));
    }
}
