//! The keys of the truth file: name, unit, range and one line on each, in the order of the page.
//!
//! The only list of them. What goes through it, a [`Visitor`], either reads a file into a [`Truth`] or prints one.

use std::ops::RangeInclusive;

use super::truth::*;
use crate::log::run::Status;

/// Most sessions, and most runs in one, that a truth may ask for: more than any season, less than a full disk.
pub const MOST: i64 = 2000;

/// How a value in the file becomes the one inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unit {
    /// The same.
    Same,
    /// cm to m; and cm per m to rad, 100 × rad.
    Hundredths,
    /// cm/m² of sideways offset to the curvature that makes it, 1/m: 100·κ/2.
    Curve,
}

impl Unit {
    /// From the file.
    pub fn inward(self, value: f64) -> f64 {
        match self {
            Unit::Same => value,
            Unit::Hundredths => value / 100.0,
            Unit::Curve => value / 50.0,
        }
    }

    /// To the file.
    pub fn outward(self, value: f64) -> f64 {
        match self {
            Unit::Same => value,
            Unit::Hundredths => value * 100.0,
            Unit::Curve => value * 50.0,
        }
    }
}

/// A number's unit and range, in the unit of the file.
#[derive(Debug, Clone)]
pub struct Kind {
    /// How it comes in.
    pub unit: Unit,
    /// What it may be in the file.
    pub range: RangeInclusive<f64>,
}

const fn kind(unit: Unit, low: f64, high: f64) -> Kind {
    Kind {
        unit,
        range: low..=high,
    }
}

/// A length either way, cm.
const SIGNED_CM: Kind = kind(Unit::Hundredths, -10_000.0, 10_000.0);
/// A length or a spread, cm.
const CM: Kind = kind(Unit::Hundredths, 0.0, 10_000.0);
/// A length that cannot be nothing, cm.
const LENGTH_CM: Kind = kind(Unit::Hundredths, 0.1, 10_000.0);
/// A heading either way, cm per m: up to an eighth of a turn.
const SIGNED_CM_PER_M: Kind = kind(Unit::Hundredths, -75.0, 75.0);
/// A spread of headings, cm per m.
const CM_PER_M: Kind = kind(Unit::Hundredths, 0.0, 75.0);
/// A curve either way, cm per m².
const CURVE: Kind = kind(Unit::Curve, -100.0, 100.0);
/// A share or a chance.
const SHARE: Kind = kind(Unit::Same, 0.0, 1.0);
/// A correlation.
const CORRELATION: Kind = kind(Unit::Same, -1.0, 1.0);
/// A share in percent.
const PERCENT: Kind = kind(Unit::Hundredths, 0.0, 50.0);
/// A number of turns.
const TURNS: Kind = kind(Unit::Same, 0.0, 1000.0);
/// A number either way.
const PLAIN: Kind = kind(Unit::Same, -1000.0, 1000.0);
/// A time, s.
const SECONDS: Kind = kind(Unit::Same, 0.0, 1000.0);

/// Something that goes through every key of a truth.
pub trait Visitor: Sized {
    /// A number.
    fn number(&mut self, key: &'static str, value: &mut f64, kind: Kind, says: &str);
    /// A number that may be left out; `example` (in the file's unit) is shown in its place.
    fn maybe(
        &mut self,
        key: &'static str,
        value: &mut Option<f64>,
        example: f64,
        kind: Kind,
        says: &str,
    );
    /// A list of numbers.
    fn numbers(&mut self, key: &'static str, value: &mut Vec<f64>, kind: Kind, says: &str);
    /// A whole number.
    fn whole(
        &mut self,
        key: &'static str,
        value: &mut usize,
        range: RangeInclusive<i64>,
        says: &str,
    );
    /// A list of whole numbers from 1 on; a list of one may be written as the number.
    fn wholes(&mut self, key: &'static str, value: &mut Vec<usize>, least: i64, says: &str);
    /// The same, where it may be left out.
    fn maybe_wholes(&mut self, key: &'static str, value: &mut Option<Vec<usize>>, says: &str);
    /// A text.
    fn text(&mut self, key: &'static str, value: &mut String, says: &str);
    /// A text that may be left out.
    fn maybe_text(
        &mut self,
        key: &'static str,
        value: &mut Option<String>,
        example: &str,
        says: &str,
    );
    /// A list of texts.
    fn texts(&mut self, key: &'static str, value: &mut Vec<String>, says: &str);
    /// A day that may be left out.
    fn maybe_date(&mut self, key: &'static str, value: &mut Option<jiff::civil::Date>, says: &str);
    /// Days.
    fn dates(&mut self, key: &'static str, value: &mut Vec<jiff::civil::Date>, says: &str);
    /// True or false, by two words.
    fn either(&mut self, key: &'static str, value: &mut bool, words: (&str, &str), says: &str);
    /// A status that may be left out.
    fn status(&mut self, key: &'static str, value: &mut Option<Status>, says: &str);
    /// A table.
    fn table<T>(
        &mut self,
        key: &'static str,
        value: &mut T,
        visit: fn(&mut Self, &mut T),
        says: &str,
    );
    /// A table that may be missing.
    fn maybe_table<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Option<T>,
        visit: fn(&mut Self, &mut T),
        says: &str,
    );
    /// Any number of tables, with an example to show where there are none.
    fn tables<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Vec<T>,
        example: T,
        visit: fn(&mut Self, &mut T),
        says: &str,
    );
}

/// Every key, in order.
// Left unformatted, here and below: a key, a line.
#[rustfmt::skip]
pub fn truth<V: Visitor>(v: &mut V, t: &mut Truth) {
    v.text("vehicle", &mut t.vehicle, "label of the vehicle");
    v.text("wheels", &mut t.wheels, "label of its wheel set");
    v.text("build", &mut t.build, "label of its first build");
    v.text("trim", &mut t.trim, "label of its first trim");
    v.text("floor", &mut t.floor, "label of the floor");
    v.table("travel", &mut t.travel, travel, "how far it goes");
    v.table("heading", &mut t.heading, heading, "where it goes; right is positive");
    v.table("recoil", &mut t.recoil, recoil, "when it rolls back");
    v.table("season", &mut t.season, season, "how many runs, and which; a list is gone through again when it ends");
    v.table("settings", &mut t.settings, settings, "how dial and aim mark are set");
    v.table("measuring", &mut t.measuring, measuring, "what is measured, and how finely");
    v.table("effects", &mut t.effects, effects, "what a calibration takes to be nothing");
    v.table("wrong", &mut t.wrong, wrong, "what goes wrong by chance");
    v.table("hand_rolls", &mut t.hand_rolls, hand_rolls, "slow pushes with the brake free");
    v.maybe_table("load", &mut t.load, load, "the fragile load");
    v.maybe_table("time", &mut t.time, time, "the run time");
    v.maybe_table("obstacle", &mut t.obstacle, obstacle, "an obstacle beside the line");
    v.tables(
        "rigs",
        &mut t.rigs,
        Rig {
            wheels: Some("other".to_string()),
            distance_per_turn_m: Some(0.232),
            ..Rig::default()
        },
        rig,
        "a further wheel set or vehicle; what is left out is as for the first",
    );
    v.tables(
        "builds",
        &mut t.builds,
        Build {
            build: "longer string".to_string(),
            from_session: 4,
            overshoot_m: Some(0.35),
        },
        build,
        "a later build; further rigs change by as much as the first",
    );
    v.tables(
        "trims",
        &mut t.trims,
        Trim {
            trim: "re-trimmed".to_string(),
            from_session: 5,
            straight_rad: Some(-0.03),
            curvature_per_m: Some(1.2 / 50.0),
        },
        trim,
        "a later trim; further rigs change by as much as the first",
    );
    v.tables(
        "floors",
        &mut t.floors,
        Floor {
            floor: "hall".to_string(),
            sessions: vec![2, 4],
            long_m: 0.05,
            right_rad: 0.0,
        },
        floor,
        "a floor of some sessions",
    );
    v.tables(
        "rows",
        &mut t.rows,
        Row {
            session: 2,
            run: 3,
            column: Some("turns".to_string()),
            add: 10.0,
            note: "the pencil slips".to_string(),
            ..Row::default()
        },
        row,
        "one row of the log to which something happens",
    );
}

#[rustfmt::skip]
fn travel<V: Visitor>(v: &mut V, t: &mut Travel) {
    v.number("distance_per_turn_cm", &mut t.distance_per_turn_m, LENGTH_CM, "covered by one turn of the wheels");
    v.number("overshoot_cm", &mut t.overshoot_m, SIGNED_CM, "roll-on after the turns are used up");
    v.number("run_to_run_cm", &mut t.run_to_run_m, CM, "spread (SD) from one run to the next");
    v.number("between_sessions_cm", &mut t.between_sessions_m, CM, "spread (SD) from one session to the next");
    v.number("lead_cm_per_turn", &mut t.lead_m_per_turn, SIGNED_CM, "roll-on gained by a turn of lead");
    v.maybe("overshoot_at_lead_turns", &mut t.overshoot_at_lead_turns, 1.5, TURNS, "lead that overshoot_cm is for; left out: the mean of leads_turns");
}

#[rustfmt::skip]
fn heading<V: Visitor>(v: &mut V, t: &mut Heading) {
    v.number("straight_cm_per_m", &mut t.straight_rad, SIGNED_CM_PER_M, "points off by this for each metre");
    v.number("curve_cm_per_m2", &mut t.curvature_per_m, CURVE, "bends off by this for each metre squared");
    v.number("run_to_run_cm_per_m", &mut t.run_to_run_rad, CM_PER_M, "spread (SD) from one run to the next");
    v.number("between_sessions_cm_per_m", &mut t.between_sessions_rad, CM_PER_M, "spread (SD) from one session to the next");
}

#[rustfmt::skip]
fn recoil<V: Visitor>(v: &mut V, t: &mut Recoil) {
    v.number("half_lead_turns", &mut t.half_lead_turns, PLAIN, "brake lead with an even chance");
    v.number("per_turn", &mut t.per_turn, PLAIN, "log-odds gained by a turn of lead");
    v.number("roll_back_cm", &mut t.roll_back_m, CM, "how far back, half of the times more");
    v.number("short_cm", &mut t.short_m, CM, "how far before the hard stop it turns, half of the times more");
    v.number("watched", &mut t.watched, SHARE, "share of the runs watched for it");
}

#[rustfmt::skip]
fn season<V: Visitor>(v: &mut V, t: &mut PlannedSeason) {
    v.whole("sessions", &mut t.sessions, 0..=MOST, "days, or launchers laid down afresh");
    v.wholes("runs_per_session", &mut t.runs_per_session, 0, "launches of the first rig; one number or a list");
    v.numbers("targets_m", &mut t.targets_m, kind(Unit::Same, 0.1, 1000.0), "shared out over the runs of a session");
    v.numbers("leads_turns", &mut t.leads_turns, TURNS, "brake leads, shared out likewise");
    let mut seed = usize::try_from(t.seed).unwrap_or(usize::MAX);
    v.whole("seed", &mut seed, 0..=i64::MAX, "another number, another season of the same truth");
    t.seed = seed as u64;
    v.maybe_date("first_date", &mut t.first_date, "day of the first session; left out: no dates");
    let mut days = usize::try_from(t.days_between).unwrap_or(0);
    v.whole("days_between", &mut days, 0..=3660, "from one session to the next");
    t.days_between = days as i64;
    v.dates("dates", &mut t.dates, "days of the sessions, one by one");
    v.texts("session_labels", &mut t.session_labels, "1, 2, ... where there is none");
    v.number("shared_shift", &mut t.shared_shift, SHARE, "part of a day's shift (of its variance) that all rigs share");
    v.texts("comments", &mut t.comments, "lines at the top of the log");
}

#[rustfmt::skip]
fn settings<V: Visitor>(v: &mut V, t: &mut Settings) {
    let mut ticks = t.ticks_per_turn as usize;
    v.whole("ticks_per_turn", &mut ticks, 1..=1000, "divisions of the wheel dial");
    t.ticks_per_turn = ticks as u32;
    v.number("aim_step_cm", &mut t.aim_step_m, CM, "how finely the aim mark is placed");
    v.maybe("believed_distance_per_turn_cm", &mut t.believed_distance_per_turn_m, 23.0, LENGTH_CM, "what they divide by; left out: the truth");
    v.maybe("believed_overshoot_cm", &mut t.believed_overshoot_m, 0.0, SIGNED_CM, "what they take off first; left out: the truth");
    v.maybe("aim_right_cm", &mut t.aim_right_m, 0.0, SIGNED_CM, "one aim for all targets; left out: what brings it to the target");
    v.number("vary_turns", &mut t.vary_turns, TURNS, "spread (SD) added to the turns on purpose");
    v.number("vary_aim_cm", &mut t.vary_aim_m, CM, "spread (SD) added to the aim on purpose");
    v.number("chase", &mut t.chase, SHARE, "share of each miss by which they move dial and mark");
}

#[rustfmt::skip]
fn measuring<V: Visitor>(v: &mut V, t: &mut Measuring) {
    v.number("tape_step_cm", &mut t.tape_step_m, CM, "the tape is read to this");
    v.number("miss_noted", &mut t.miss_noted, SHARE, "share of the runs with the straight distance taped");
    v.number("right_noted", &mut t.right_noted, SHARE, "share of the runs measured across");
}

#[rustfmt::skip]
fn effects<V: Visitor>(v: &mut V, t: &mut Effects) {
    v.number("first_run_long_cm", &mut t.first_run_long_m, SIGNED_CM, "the first launch of a session goes this much longer");
    v.number("drift_long_cm_per_run", &mut t.drift_long_m_per_run, SIGNED_CM, "each launch goes this much longer than the one before");
    v.number("drift_long_cm_per_session", &mut t.drift_long_m_per_session, SIGNED_CM, "and each session than the one before");
    v.number("stretch_percent", &mut t.stretch, PERCENT, "spread (SD) of distance per turn between sessions");
    v.number("spread_cm_per_m", &mut t.spread_m_per_m, CM_PER_M, "run-to-run spread (SD) that grows with distance");
    v.number("bend_cm_per_turn2", &mut t.bend_m_per_turn2, SIGNED_CM, "distance is not quite straight in turns");
    v.number("first_run_right_cm_per_m", &mut t.first_run_right_rad, SIGNED_CM_PER_M, "the first launch of a session heads this much further right");
    v.number("drift_right_cm_per_m_per_run", &mut t.drift_right_rad_per_run, SIGNED_CM_PER_M, "each launch heads this much further right than the one before");
    v.number("drift_right_cm_per_m_per_session", &mut t.drift_right_rad_per_session, SIGNED_CM_PER_M, "and each session than the one before");
    v.number("long_with_right", &mut t.long_with_right, CORRELATION, "how far long runs also head right (correlation, -1 to 1)");
    v.number("lopsided", &mut t.lopsided, kind(Unit::Same, -10.0, 10.0), "above 0 a few runs go far too long, below 0 too short");
    v.number("wild", &mut t.wild, SHARE, "chance of a run with a larger spread along");
    v.number("wild_right", &mut t.wild_right, SHARE, "chance of a run with a larger spread across");
    v.number("wild_times", &mut t.wild_times, kind(Unit::Same, 0.0, 100.0), "how many times as large");
}

#[rustfmt::skip]
fn wrong<V: Visitor>(v: &mut V, t: &mut Wrong) {
    v.number("void", &mut t.void, SHARE, "chance that a run is void, said before measuring");
    v.number("void_long_cm", &mut t.void_long_m, CM, "spread (SD) that adds along; a tenth of it across");
    v.number("slip", &mut t.slip, SHARE, "chance that the turns are written ten too many or too few");
}

#[rustfmt::skip]
fn hand_rolls<V: Visitor>(v: &mut V, t: &mut HandRolls) {
    v.whole("runs_per_session", &mut t.runs_per_session, 0..=MOST, "for each rig");
    v.wholes("sessions", &mut t.sessions, 1, "in these sessions; none: in all");
    v.numbers("turns", &mut t.turns, kind(Unit::Same, 1.0, 1000.0), "turns rolled, in turn");
    v.number("launch_slip_percent", &mut t.launch_slip, PERCENT, "a launch covers this much less in a turn");
    v.number("run_to_run_cm", &mut t.run_to_run_m, CM, "spread (SD) from one roll to the next");
}

#[rustfmt::skip]
fn load<V: Visitor>(v: &mut V, t: &mut LoadTruth) {
    v.number("half_lead_turns", &mut t.half_lead_turns, PLAIN, "lead with an even chance to break");
    v.number("per_turn", &mut t.per_turn, PLAIN, "log-odds gained by a turn of lead");
    v.number("noted", &mut t.noted, SHARE, "share of the runs with a load");
}

#[rustfmt::skip]
fn time<V: Visitor>(v: &mut V, t: &mut TimeTruth) {
    v.number("start_s", &mut t.start_s, SECONDS, "time at no distance");
    v.number("s_per_m", &mut t.s_per_m, SECONDS, "and for each metre");
    v.number("run_to_run_s", &mut t.run_to_run_s, SECONDS, "spread (SD) from one run to the next");
    v.number("step_s", &mut t.step_s, SECONDS, "the watch is read to this");
    v.number("noted", &mut t.noted, SHARE, "share of the runs timed");
}

#[rustfmt::skip]
fn obstacle<V: Visitor>(v: &mut V, t: &mut ObstacleTruth) {
    v.number("at", &mut t.at, SHARE, "along, as a fraction of the target");
    v.number("right_cm", &mut t.right_m, SIGNED_CM, "across");
    v.number("diameter_cm", &mut t.diameter_m, CM, "how thick it is");
    v.number("width_cm", &mut t.width_m, CM, "width of the vehicle");
    v.either("pass", &mut t.pass_left, ("left", "right"), "the side of it to go by: left or right");
    v.number("gap_noted", &mut t.gap_noted, SHARE, "share of the runs with the gap measured");
}

#[rustfmt::skip]
fn rig<V: Visitor>(v: &mut V, t: &mut Rig) {
    v.maybe_text("vehicle", &mut t.vehicle, "other", "label of the vehicle");
    v.maybe_text("wheels", &mut t.wheels, "other", "label of its wheel set");
    v.maybe("distance_per_turn_cm", &mut t.distance_per_turn_m, 23.2, LENGTH_CM, "as in [travel], like the next three");
    v.maybe("overshoot_cm", &mut t.overshoot_m, 28.0, SIGNED_CM, "");
    v.maybe("run_to_run_cm", &mut t.run_to_run_m, 5.0, CM, "");
    v.maybe("between_sessions_cm", &mut t.between_sessions_m, 6.0, CM, "");
    v.maybe("straight_cm_per_m", &mut t.straight_rad, -2.0, SIGNED_CM_PER_M, "as in [heading], like the next three");
    v.maybe("curve_cm_per_m2", &mut t.curvature_per_m, 0.9, CURVE, "");
    v.maybe("run_to_run_cm_per_m", &mut t.run_to_run_rad, 0.6, CM_PER_M, "");
    v.maybe("between_sessions_cm_per_m", &mut t.between_sessions_rad, 0.5, CM_PER_M, "");
    v.maybe_wholes("runs_per_session", &mut t.runs_per_session, "its launches; one number or a list");
    v.wholes("sessions", &mut t.sessions, 1, "sessions it takes part in; none: all");
}

#[rustfmt::skip]
fn build<V: Visitor>(v: &mut V, t: &mut Build) {
    v.text("build", &mut t.build, "its label");
    v.whole("from_session", &mut t.from_session, 1..=MOST, "first session with it");
    v.maybe("overshoot_cm", &mut t.overshoot_m, 35.0, SIGNED_CM, "the first rig's roll-on with it");
}

#[rustfmt::skip]
fn trim<V: Visitor>(v: &mut V, t: &mut Trim) {
    v.text("trim", &mut t.trim, "its label");
    v.whole("from_session", &mut t.from_session, 1..=MOST, "first session with it");
    v.maybe("straight_cm_per_m", &mut t.straight_rad, -3.0, SIGNED_CM_PER_M, "the first rig's, as in [heading]");
    v.maybe("curve_cm_per_m2", &mut t.curvature_per_m, 1.2, CURVE, "the first rig's, as in [heading]");
}

#[rustfmt::skip]
fn floor<V: Visitor>(v: &mut V, t: &mut Floor) {
    v.text("floor", &mut t.floor, "its label");
    v.wholes("sessions", &mut t.sessions, 1, "sessions held on it");
    v.number("long_cm", &mut t.long_m, SIGNED_CM, "runs go this much longer on it");
    v.number("right_cm_per_m", &mut t.right_rad, SIGNED_CM_PER_M, "and this much further right");
}

#[rustfmt::skip]
fn row<V: Visitor>(v: &mut V, t: &mut Row) {
    v.whole("session", &mut t.session, 1..=MOST, "its session, from 1");
    v.whole("run", &mut t.run, 1..=MOST, "its row in the session, from 1");
    v.status("status", &mut t.status, "ok, recoil, touched or void; left out: as chance has it");
    v.number("long_cm", &mut t.long_m, SIGNED_CM, "happens to the vehicle: goes this much longer");
    v.either("measured", &mut t.measured, ("yes", "no"), "whether its rest is measured: yes or no");
    v.maybe_text("column", &mut t.column, "turns", "happens to the pencil: turns, ticks, aim_right_cm, long_cm or right_cm ...");
    v.number("add", &mut t.add, PLAIN, "... is written with this added");
    v.number("times", &mut t.times, PLAIN, "... or times this");
    v.text("note", &mut t.note, "what stands in the note");
}
