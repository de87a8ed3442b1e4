//! The tables of the set-up file: what they may say, and the defaults.
//!
//! SI units inside (m, rad, turns): each field stands beside the key it has in the file, in the file's unit.

use std::collections::BTreeMap;

use crate::columns::mapping_faults;
use crate::keys::{KeySpec, Keyed, Keys, Word, keyed};
use crate::units::LengthUnit::{Cm, M};
use crate::units::Unit::{Curve, Hundredths, Length, Plain};

/// Longest length that a set-up may hold, in m and in cm: a kilometre, as in the log.
const KM_IN_M: f64 = 1_000.0;
const KM_IN_CM: f64 = 100_000.0;
/// The smallest length above 0 that anybody sets, cm.
const TENTH_MM_IN_CM: f64 = 0.01;
/// Largest weight or penalty of the score.
const LARGEST_WEIGHT: f64 = 1e6;

const CHANCE: KeySpec = KeySpec::number(Plain, 0.0, 1.0).expected("a chance from 0 to 1");
const WHEEL: KeySpec = KeySpec::number(Length(Cm), 0.5, 200.0)
    .expected("a wheel's diameter in cm, 0.5 to 200")
    .without("not given")
    .says("the wheels on the braked axle, across, with the load in; tape round the wheel / 3.14");
const TARGET: KeySpec =
    KeySpec::number(Length(M), 0.1, KM_IN_M).expected("a target's distance in m, at least 0.1");
const WEIGHT: KeySpec = KeySpec::number(Plain, 0.0, LARGEST_WEIGHT).expected("a number, 0 or more");

const HEADING: &str = "the heading that stands in the log, in quotes";

/// The key of an obstacle that stands at one distance for every target.
pub const OBSTACLE_AT_KEY: &str = "obstacle.at_m";
/// What is expected of that key: a vehicle that stops before the obstacle does not pass it.
pub const OBSTACLE_BEFORE: &str = "expected the obstacle before the shortest target";

const fn cm(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Length(Cm), least, most).expected(expected)
}

const fn m(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Length(M), least, most).expected(expected)
}

const fn plain(least: f64, most: f64, expected: &'static str) -> KeySpec {
    KeySpec::number(Plain, least, most).expected(expected)
}

/// Everything the set-up can say. [`Setup::default`] is the contract's defaults.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Setup {
    /// Headings of the log in words of the user's own, by the contract's name of the column; their unit stands in
    /// that name, or in brackets in the heading.
    pub columns: BTreeMap<String, String>,
    /// The wheel dial.
    pub dial: Dial,
    /// Sizes of the vehicle.
    pub vehicle: Vehicle,
    /// Diameter of a wheel set where it differs, by label.
    pub wheels_diameter_m: BTreeMap<String, f64>,
    /// When a roll-back counts, and how often it may happen.
    pub brake: Brake,
    /// How finely the aim mark can be placed.
    pub aim: Aim,
    /// What can be announced and what counts.
    pub event: Event,
    /// The obstacle, if there is one.
    pub obstacle: Option<Obstacle>,
    /// The lane, if something is in the way.
    pub lane: Option<Lane>,
    /// What a miss costs.
    pub score: Score,
    /// Guesses that stand in while the log is short.
    pub prior: Prior,
}

impl Keyed for Setup {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.map("columns", &mut self.columns, |keys, name, heading| {
            let spec = KeySpec::TEXT.expected(HEADING);
            keys.key(
                name,
                heading,
                spec.says("a heading of your own: the program's name = what stands in the log"),
            );
        });
        keys.table(
            "dial",
            &mut self.dial,
            "the wheel that the turns are counted on",
        );
        keys.table("vehicle", &mut self.vehicle, "its sizes");
        let wheels = &mut self.wheels_diameter_m;
        keys.map("wheels", wheels, |keys, label, diameter_m| {
            let says = "one such table for each wheel set that differs, under its name in the log";
            keys.table(label, &mut WheelSet { diameter_m }, says);
        });
        keys.table("brake", &mut self.brake, "rolling back after the stop");
        keys.table(
            "aim",
            &mut self.aim,
            "the mark that the launcher is sighted on",
        );
        keys.table("event", &mut self.event, "what its rule book says");
        // Needed keys have no default: what stands for them here is never kept.
        let obstacle = Obstacle {
            at: ObstacleAt::Fraction(0.5),
            right_m: 0.0,
            diameter_m: 0.0,
            pass: PassSide::Left,
            touch_accept: 0.02,
        };
        keys.optional_table(
            "obstacle",
            &mut self.obstacle,
            obstacle,
            "leave the table out when there is none",
        );
        keys.optional_table(
            "lane",
            &mut self.lane,
            Lane { half_width_m: 0.0 },
            "leave the table out when nothing is in the way",
        );
        keys.table(
            "score",
            &mut self.score,
            "what a run costs; lower is better",
        );
        keys.table(
            "prior",
            &mut self.prior,
            "guesses that stand in while the log is short",
        );
        keys.check(|| self.faults());
    }
}

impl Setup {
    /// The set-up in force for a log.
    ///
    /// * `ticks_seen` — whether the log has ticks, by which [`Dial::source`] is decided where the set-up does not tell
    pub fn for_log(&self, ticks_seen: bool) -> Setup {
        Setup {
            dial: self.dial.for_log(ticks_seen),
            ..self.clone()
        }
    }

    /// Whether a vehicle on its way to a target comes by where the obstacle stands; true without one.
    pub fn obstacle_is_before(&self, target_m: f64) -> bool {
        let at_m = self.obstacle.as_ref().map(|o| o.at.distance_m(target_m));
        at_m.is_none_or(|at_m| at_m < target_m)
    }

    /// What does not go together, each as the key concerned and what was expected of it.
    fn faults(&self) -> Vec<(String, String)> {
        let of_column = |(name, expected)| (format!("columns.{name}"), expected);
        let mut faults: Vec<(String, String)> = mapping_faults(&self.columns)
            .into_iter()
            .map(of_column)
            .collect();
        if let Some(shortest_m) = self.event.shortest_m {
            if self
                .event
                .longest_m
                .is_some_and(|longest_m| shortest_m > longest_m)
            {
                let expected = "expected a distance that is not below shortest_m";
                faults.push(("event.longest_m".to_string(), expected.to_string()));
            }
            if !self.obstacle_is_before(shortest_m) {
                faults.push((OBSTACLE_AT_KEY.to_string(), OBSTACLE_BEFORE.to_string()));
            }
        }
        faults
    }
}

/// `[wheels.NAME]`
struct WheelSet<'a> {
    diameter_m: &'a mut f64,
}

impl Keyed for WheelSet<'_> {
    fn keys(&mut self, keys: &mut impl Keys) {
        let spec = WHEEL
            .needed("expected diameter_cm in this table")
            .example("7.1");
        keys.key("diameter_cm", self.diameter_m, spec);
    }
}

/// How it is known into how many ticks the dial divides a turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TicksSource {
    /// The set-up says so.
    Told,
    /// The log has ticks, and no set-up says how many make a turn: the default is taken.
    Assumed,
    /// Neither set-up nor log knows of ticks: settings are decimal turns, in steps of one part in
    /// [`Dial::ticks_per_turn`].
    #[default]
    Unknown,
}

/// `[dial]`
#[derive(Debug, Clone, PartialEq)]
pub struct Dial {
    /// Divisions of the wheel dial.
    pub ticks_per_turn: u32,
    /// How that number is known.
    pub source: TicksSource,
}

impl Default for Dial {
    fn default() -> Self {
        Dial {
            ticks_per_turn: 20,
            source: TicksSource::Unknown,
        }
    }
}

impl Dial {
    /// Whether the set-up gave the number of ticks.
    pub fn is_told(&self) -> bool {
        self.source == TicksSource::Told
    }

    /// Whether settings are made in ticks on a number that nobody gave.
    pub fn is_assumed(&self) -> bool {
        self.source == TicksSource::Assumed
    }

    /// Divisions of the dial; `None` where neither set-up nor log knows of ticks.
    pub fn ticks(&self) -> Option<u32> {
        (self.source != TicksSource::Unknown).then_some(self.ticks_per_turn)
    }

    /// The dial that settings for a log are made on.
    ///
    /// * `ticks_seen` — whether the log has ticks
    pub fn for_log(&self, ticks_seen: bool) -> Dial {
        let source = match (self.is_told(), ticks_seen) {
            (true, _) => TicksSource::Told,
            (false, true) => TicksSource::Assumed,
            (false, false) => TicksSource::Unknown,
        };
        Dial {
            source,
            ..self.clone()
        }
    }

    /// A sentence for every page and answer that gives settings in ticks nobody counted; `None` where none is needed.
    pub fn caution(&self) -> Option<String> {
        self.is_assumed().then(|| {
            format!(
                "{} ticks to a turn are assumed: no set-up says how many the dial has. If yours has another number, these \
                 settings are wrong: write ticks_per_turn under [dial] in a set-up file and fit again.",
                self.ticks_per_turn
            )
        })
    }
}

impl Keyed for Dial {
    fn keys(&mut self, keys: &mut impl Keys) {
        let ticks = plain(1.0, 1000.0, "a whole number of dial divisions, 1 to 1000")
            .example("20")
            .says(
                "marks once round the dial: count them; a wrong number makes every setting wrong",
            );
        keys.key("ticks_per_turn", &mut self.ticks_per_turn, ticks);
        if keys.is_given("ticks_per_turn") {
            self.source = TicksSource::Told;
        }
    }
}

keyed! {
    /// `[vehicle]`
    pub struct Vehicle {
        /// Overall width.
        width_m: Option<f64> = None, "width_cm",
            cm(0.1, KM_IN_CM, "the vehicle's width in cm, above 0")
                .without("not given")
                .example("18.0")
                .says("over everything; needed where there is an obstacle or a lane");
        /// Diameter of the wheels on the braked axle.
        wheel_diameter_m: Option<f64> = None, "wheel_diameter_cm", WHEEL.example("7.4");
    }
}

keyed! {
    /// `[brake]`
    pub struct Brake {
        /// Rolled back by at least this much counts as a recoil.
        recoil_from_m: f64 = 0.01, "recoil_from_cm",
            cm(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm above 0: how far it must roll back to count")
                .says("rolled back by at least this much counts as a recoil");
        /// Recoil chance that a lead in use may carry.
        recoil_accept: f64 = 0.10, "recoil_accept",
            CHANCE.says("the chance of rolling back that a brake lead may carry");
    }
}

keyed! {
    /// `[aim]`
    pub struct Aim {
        /// Step of the aim mark.
        step_m: f64 = 0.005, "step_cm", cm(TENTH_MM_IN_CM, 1000.0, "a length in cm, 0.01 to 1000")
            .says("how finely the mark can be placed");
    }
}

/// Which of the event's runs count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Counts {
    /// The best run.
    #[default]
    Best,
    /// The sum of all runs.
    Sum,
    /// The last run.
    Last,
}

impl Word for Counts {
    const ALL: &'static [Counts] = &[Counts::Best, Counts::Sum, Counts::Last];
}

impl Counts {
    /// The contract's word.
    pub fn name(self) -> &'static str {
        match self {
            Counts::Best => "best",
            Counts::Sum => "sum",
            Counts::Last => "last",
        }
    }
}

keyed! {
    /// `[event]`
    pub struct Event {
        /// Shortest target that can be announced; `None`: the log's shortest.
        shortest_m: Option<f64> = None, "shortest_m", TARGET
            .without("the shortest target in the log")
            .example("5.5")
            .says("the nearest target that can be announced; else the log's nearest");
        /// Longest target that can be announced; `None`: the log's longest.
        longest_m: Option<f64> = None, "longest_m", TARGET
            .without("the longest target in the log")
            .example("9.5")
            .says("the farthest one");
        /// Step it is announced in.
        step_m: f64 = 0.10, "step_m", m(0.001, KM_IN_M, "a step in m, at least 0.001")
            .says("the step it is announced in");
        /// How many runs count; `None`: the set-up does not say.
        runs: Option<u32> = None, "runs",
            plain(1.0, 20.0, "a whole number of runs, 1 to 20")
                .without("2, assumed")
                .example("2")
                .says("how many runs count at the event ...");
        /// How they count together; `None`: the set-up does not say.
        counts: Option<Counts> = None, "counts",
            KeySpec::words(&["best", "sum", "last"])
                .without("best, assumed")
                .example("\"best\"")
                .says("... and how: best, sum or last");
    }
}

/// Runs that are assumed to count where the set-up does not say.
const RUNS_ASSUMED: u32 = 2;

/// What counts at the event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EventRule {
    /// How many runs, at least 1.
    pub runs: u32,
    /// How they count together.
    pub counts: Counts,
    /// Whether the set-up says neither of the two.
    pub assumed: bool,
}

impl Event {
    /// The rule in force: the best of 2 runs where the set-up does not say.
    pub fn rule(&self) -> EventRule {
        EventRule {
            runs: self.runs.unwrap_or(RUNS_ASSUMED),
            counts: self.counts.unwrap_or_default(),
            assumed: self.runs.is_none() && self.counts.is_none(),
        }
    }
}

/// Where along the line the obstacle stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ObstacleAt {
    /// A fraction of the target's distance.
    Fraction(f64),
    /// A fixed distance from the start mark, m.
    Distance(f64),
}

impl ObstacleAt {
    /// Distance from the start mark along the line for a target, m.
    pub fn distance_m(self, target_m: f64) -> f64 {
        match self {
            ObstacleAt::Fraction(fraction) => fraction * target_m,
            ObstacleAt::Distance(distance_m) => distance_m,
        }
    }
}

/// Two keys of the obstacle's table, of which one must be given.
impl Keyed for ObstacleAt {
    fn keys(&mut self, keys: &mut impl Keys) {
        let (mut at, mut at_m) = match *self {
            ObstacleAt::Fraction(fraction) => (Some(fraction), None),
            ObstacleAt::Distance(at_m) => (None, Some(at_m)),
        };
        let fraction = "a fraction of the target's distance, 0.01 to 0.99; or at_m, in m";
        let fraction = plain(0.01, 0.99, fraction)
            .example("0.45")
            .says("where along the line, as a part of the target's distance ...");
        keys.key("at", &mut at, fraction);
        let distance = "a distance from the start mark in m, above 0";
        let distance = m(0.01, KM_IN_M, distance)
            .example("3.0")
            .says("... or instead of it: how far from the start mark");
        keys.key("at_m", &mut at_m, distance);
        let given = (keys.is_given("at"), keys.is_given("at_m"));
        keys.check(|| match given {
            (true, true) => vec![("at_m".to_string(), "expected at or at_m, not both".to_string())],
            (false, false) => {
                let needed = "expected where along the line it stands: at, a fraction of the target, or at_m";
                vec![("at".to_string(), needed.to_string())]
            }
            _ => Vec::new(),
        });
        if let Some(at_m) = at_m {
            *self = ObstacleAt::Distance(at_m);
        } else if let Some(fraction) = at {
            *self = ObstacleAt::Fraction(fraction);
        }
    }
}

/// A side of the line, as seen from the start mark looking at the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PassSide {
    /// Left of the line.
    Left,
    /// Right of the line.
    Right,
}

impl Word for PassSide {
    const ALL: &'static [PassSide] = &[PassSide::Left, PassSide::Right];
}

/// `[obstacle]`
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// Where along the line it stands.
    pub at: ObstacleAt,
    /// Where across the line its centre stands, m, right positive.
    pub right_m: f64,
    /// Diameter, m.
    pub diameter_m: f64,
    /// The side on which the vehicle must pass it.
    pub pass: PassSide,
    /// Chance of a touch that a trim may carry.
    pub touch_accept: f64,
}

impl Keyed for Obstacle {
    fn keys(&mut self, keys: &mut impl Keys) {
        self.at.keys(keys);
        let right = cm(
            -KM_IN_CM,
            KM_IN_CM,
            "a length in cm: + right of the line, - left of it",
        )
        .needed("expected right_cm: where across the line it stands")
        .example("28.0")
        .says("where across the line its middle stands, seen from the start mark: right +, left -");
        keys.key("right_cm", &mut self.right_m, right);
        let diameter = cm(TENTH_MM_IN_CM, KM_IN_CM, "a diameter in cm, above 0")
            .needed("expected diameter_cm")
            .example("24.0")
            .says("how thick it is");
        keys.key("diameter_cm", &mut self.diameter_m, diameter);
        let pass = KeySpec::words(&["left", "right"])
            .needed("expected pass: the side of it that the vehicle must go by, left or right")
            .example("\"left\"")
            .says("the side of it that the vehicle must go by");
        keys.key("pass", &mut self.pass, pass);
        keys.key(
            "touch_accept",
            &mut self.touch_accept,
            CHANCE.says("the chance of a touch that a trim may carry"),
        );
    }
}

/// `[lane]`
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// Free width on either side of the line.
    pub half_width_m: f64,
}

impl Keyed for Lane {
    fn keys(&mut self, keys: &mut impl Keys) {
        let half_width = m(0.01, KM_IN_M, "a width in m, above 0")
            .needed("expected half_width_m: the free width on either side of the line")
            .example("2.0")
            .says("free on either side of the line");
        keys.key("half_width_m", &mut self.half_width_m, half_width);
    }
}

/// What is measured as the miss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Measure {
    /// Straight distance.
    #[default]
    Point,
    /// Along the line only.
    Line,
}

impl Word for Measure {
    const ALL: &'static [Measure] = &[Measure::Point, Measure::Line];
}

keyed! {
    /// `[score]`; lower is better.
    pub struct Score {
        /// What is measured.
        measure: Measure = Measure::Point, "measure", KeySpec::words(&["point", "line"])
            .says("point: straight distance; line: along only, left and right do not count");
        /// Cost of each cm of miss. At 0 every setting would be as good as any other.
        per_cm: f64 = 1.0, "per_cm", plain(1e-6, LARGEST_WEIGHT, "a number above 0")
            .says("for each cm of miss");
        /// Cost of each second of run time.
        per_s: f64 = 0.0, "per_s", WEIGHT.says("for each second of run time");
        /// How far past the target a run may go before it costs `long_penalty` more.
        long_limit_m: f64 = 0.5, "long_limit_cm", cm(0.0, KM_IN_CM, "a length in cm, 0 or more")
            .says("past the target by more than this ...");
        /// Extra cost of a run that went past the target by more than `long_limit_m`.
        long_penalty: f64 = 0.0, "long_penalty", WEIGHT.says("... costs this much more");
        /// Cost of touching the obstacle.
        touch_penalty: f64 = 0.0, "touch_penalty", WEIGHT.says("for touching the obstacle");
    }
}

impl Score {
    /// Whether the least expected score is just the least miss: no penalty and no price on time.
    pub fn is_plain(&self) -> bool {
        self.per_s == 0.0 && self.long_penalty == 0.0 && self.touch_penalty == 0.0
    }
}

keyed! {
    /// `[prior]`
    pub struct Prior {
        /// Guess for how far sessions differ along.
        between_sessions_m: f64 = 0.10, "between_sessions_cm",
            cm(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm, above 0")
            .says("how far days differ along");
        /// Guess for how far sessions differ in heading, rad.
        between_sessions_rad: f64 = 0.006, "between_sessions_cm_per_m",
            KeySpec::number(Hundredths, 0.001, 100.0).expected("cm to the side for each m ahead, 0.001 to 100")
            .says("how far days differ in direction");
        /// Guess for how far runs of one session differ along at mid-range, worth one run.
        run_to_run_m: f64 = 0.05, "run_to_run_cm",
            cm(TENTH_MM_IN_CM, KM_IN_CM, "a length in cm, above 0")
            .says("how far runs of one day differ along, at a middle distance; worth one run");
        /// Guess for how far the headings of one session's runs differ, rad, worth one run.
        run_to_run_rad: f64 = 0.004, "run_to_run_cm_per_m",
            KeySpec::number(Hundredths, 0.001, 100.0).expected("cm to the side for each m ahead, 0.001 to 100")
            .says("how far runs of one day differ in direction");
        /// How spreads along grow with distance, a power; `None`: the log decides between 0, 0.5 and 1.
        spread_growth: Option<f64> = None, "spread_growth",
            plain(0.0, 3.0, "a power of the distance, 0 to 3").without("the log decides between 0, 0.5 and 1")
            .example("0.5")
            .says("how spreads along grow with distance, a power; else the log decides between 0, 0.5 and 1");
        /// Guess (SD) for a trim's curvature κ, 1/m. The file's `curve_cm_per_m2` is 100·κ/2.
        curvature_per_m: f64 = 0.03, "curve_cm_per_m2",
            KeySpec::number(Curve, 0.001, 100.0).expected("cm per m², 0.001 to 100")
            .says("how strongly a trim bends the path, either way");
    }
}
