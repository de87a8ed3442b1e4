//! The tables of the truth file: each field in SI units, its default, its key, what the key may hold, and one line on
//! it.

use jiff::civil::Date;

use crate::keys::{KeySpec, Word, keyed};
use crate::log::run::Status;
use crate::units::LengthUnit::{Cm, M};
use crate::units::Unit::{Curve, Hundredths, Length, Plain};

/// Most sessions, and most runs in one, that a truth may ask for: more than any season, less than a full disk.
pub const MOST: u32 = 2000;

const TEXT: KeySpec = KeySpec::TEXT;
/// A length either way.
const SIGNED_CM: KeySpec = KeySpec::number(Length(Cm), -10_000.0, 10_000.0);
/// A length or a spread.
const CM: KeySpec = KeySpec::number(Length(Cm), 0.0, 10_000.0);
/// A length that cannot be nothing.
const LENGTH_CM: KeySpec = KeySpec::number(Length(Cm), 0.1, 10_000.0);
/// A length for each turn, run or session, either way.
const SIGNED_CM_PER: KeySpec = KeySpec::number(Hundredths, -10_000.0, 10_000.0);
/// A heading either way: up to an eighth of a turn.
const SIGNED_CM_PER_M: KeySpec = KeySpec::number(Hundredths, -75.0, 75.0);
/// A spread of headings.
const CM_PER_M: KeySpec = KeySpec::number(Hundredths, 0.0, 75.0);
/// A curve either way, cm per m².
const CURVE: KeySpec = KeySpec::number(Curve, -100.0, 100.0);
/// A share or a chance.
const SHARE: KeySpec = plain(0.0, 1.0);
const CORRELATION: KeySpec = plain(-1.0, 1.0);
/// A share in percent.
const PERCENT: KeySpec = KeySpec::number(Hundredths, 0.0, 50.0);
const TURNS: KeySpec = plain(0.0, 1000.0);
/// A number either way.
const NUMBER: KeySpec = plain(-1000.0, 1000.0);
/// A time, s.
const SECONDS: KeySpec = plain(0.0, 1000.0);
/// How many of something.
const COUNT: KeySpec = plain(0.0, MOST as f64);
/// Which of some, counted from 1.
const ORDINAL: KeySpec = plain(1.0, MOST as f64);

const fn plain(least: f64, most: f64) -> KeySpec {
    KeySpec::number(Plain, least, most)
}

impl Word for Status {
    const ALL: &'static [Status] = &[Status::Ok, Status::Recoil, Status::Touched, Status::Void];
}

keyed! {
    /// How far it goes: s = overshoot + distance per turn × turns + lead effect + day + run.
    ///
    /// A vehicle of the usual kind: 23–24 cm a turn (common practice, no source).
    pub struct TravelTruth {
        /// Distance per turn.
        distance_per_turn_m: f64 = 0.235, "distance_per_turn_cm", LENGTH_CM.says("covered by one turn of the wheels");
        /// Distance after the turns are used up, at `overshoot_at_lead_turns`.
        overshoot_m: f64 = 0.28, "overshoot_cm", SIGNED_CM.says("roll-on after the turns are used up");
        /// SD from one run to the next.
        run_to_run_m: f64 = 0.05, "run_to_run_cm", CM.says("spread (SD) from one run to the next");
        /// SD from one session to the next.
        between_sessions_m: f64 = 0.06, "between_sessions_cm", CM.says("spread (SD) from one session to the next");
        /// Power of the turns with which both spreads grow; they are those above at the turns for the middle target.
        spread_growth: f64 = 0.0, "spread_growth",
            KeySpec::number(Plain, 0.0, 3.0).expected("a power, 0 to 3").says("both spreads grow with the turns to this power");
        /// Overshoot gained by a turn of lead.
        lead_m_per_turn: f64 = 0.0, "lead_cm_per_turn", SIGNED_CM_PER.says("roll-on gained by a turn of lead");
        /// The lead at which the overshoot is the one above; `None`: the mean of the season's leads.
        overshoot_at_lead_turns: Option<f64> = None, "overshoot_at_lead_turns",
            TURNS.without("1.5").says("lead that overshoot_cm is for; left out: the mean of leads_turns");
    }
}

keyed! {
    /// Where it goes: chord heading = aim + straight + curvature·s/2 + day + run.
    ///
    /// Sighted a little left, bending gently right.
    pub struct HeadingTruth {
        /// Straight bias δ, right positive. The file's `straight_cm_per_m` is 100·δ.
        straight_rad: f64 = -0.02, "straight_cm_per_m", SIGNED_CM_PER_M.says("points off by this for each metre");
        /// Curvature κ, right positive. The file's `curve_cm_per_m2` is 100·κ/2.
        curvature_per_m: f64 = 0.9 / 50.0, "curve_cm_per_m2", CURVE.says("bends off by this for each metre squared");
        /// SD from one run to the next.
        run_to_run_rad: f64 = 0.006, "run_to_run_cm_per_m", CM_PER_M.says("spread (SD) from one run to the next");
        /// SD from one session to the next.
        between_sessions_rad: f64 = 0.005, "between_sessions_cm_per_m",
            CM_PER_M.says("spread (SD) from one session to the next");
    }
}

keyed! {
    /// Rolling back: chance = logistic(per_turn × (lead − half lead)).
    ///
    /// Rare with the usual lead of one to two turns, common beyond (common practice, no source).
    pub struct RecoilTruth {
        /// The lead with an even chance.
        half_lead_turns: f64 = 2.3, "half_lead_turns", NUMBER.says("brake lead with an even chance");
        /// Log-odds a turn.
        per_turn: f64 = 5.0, "per_turn", NUMBER.says("log-odds gained by a turn of lead");
        /// Median roll-back.
        roll_back_m: f64 = 0.06, "roll_back_cm", CM.says("how far back, half of the times more");
        /// How far before the hard stop such a run turns round, as a median.
        short_m: f64 = 0.05, "short_cm", CM.says("how far before the hard stop it turns, half of the times more");
        /// Share of the runs that are watched for it (a run that rolls back always is).
        watched: f64 = 1.0, "watched", SHARE.says("share of the runs watched for it");
    }
}

keyed! {
    /// How many sessions and runs, at which targets and leads.
    pub struct PlannedSeason {
        /// Number of sessions.
        sessions: usize = 6, "sessions", COUNT.says("days, or launchers laid down afresh");
        /// Launches of the first rig in each session; a list is gone through again when it ends.
        runs_per_session: Vec<usize> = vec![8], "runs_per_session",
            COUNT.says("launches of the first rig; one number or a list");
        /// Targets; each session takes them in turn and shuffles them.
        targets_m: Vec<f64> = vec![6.0, 7.0, 8.0, 9.0], "targets_m",
            KeySpec::number(Length(M), 0.1, 1000.0).says("shared out over the runs of a session");
        /// Leads, shared out like targets; one named twice is used twice as often.
        leads_turns: Vec<f64> = vec![1.5], "leads_turns", TURNS.says("brake leads, shared out likewise");
        /// Seed, where none is asked for.
        seed: u64 = 1, "seed", plain(0.0, f64::INFINITY).says("another number, another season of the same truth");
        /// Day of the first session; `None`: the log has no dates.
        first_date: Option<Date> = None, "first_date",
            TEXT.without("2031-10-04").says("day of the first session; left out: no dates");
        /// Days from one session to the next.
        days_between: i64 = 7, "days_between", plain(0.0, 3660.0).says("from one session to the next");
        /// Days of the sessions, in place of `first_date` and `days_between`.
        dates: Vec<Date> = Vec::new(), "dates", TEXT.says("days of the sessions, one by one");
        /// Labels of the sessions; `1`, `2`, ... where it is too short.
        session_labels: Vec<String> = Vec::new(), "session_labels", TEXT.says("1, 2, ... where there is none");
        /// Part of the variance between sessions that all rigs share on a day, 0–1.
        shared_shift: f64 = 0.5, "shared_shift",
            SHARE.says("part of a day's shift (of its variance) that all rigs share");
        /// Comment lines at the top of the log.
        comments: Vec<String> = vec!["invented runs, made from a truth file; no real vehicle".to_string()], "comments",
            TEXT.says("lines at the top of the log");
    }
}

keyed! {
    /// How the settings are chosen.
    pub struct Settings {
        /// Divisions of the wheel dial.
        ticks_per_turn: u32 = 20, "ticks_per_turn", plain(1.0, 1000.0).says("divisions of the wheel dial");
        /// Step of the aim mark.
        aim_step_m: f64 = 0.005, "aim_step_cm", CM.says("how finely the aim mark is placed");
        /// What whoever winds takes for the distance per turn; `None`: the truth.
        believed_distance_per_turn_m: Option<f64> = None, "believed_distance_per_turn_cm",
            LENGTH_CM.without("23").says("what they divide by; left out: the truth");
        /// What whoever winds takes for the overshoot; `None`: the truth.
        believed_overshoot_m: Option<f64> = None, "believed_overshoot_cm",
            SIGNED_CM.without("0").says("what they take off first; left out: the truth");
        /// One aim offset for all targets; `None`: what brings the mean run onto the line at the target.
        aim_right_m: Option<f64> = None, "aim_right_cm",
            SIGNED_CM.without("0").says("one aim for all targets; left out: what brings it to the target");
        /// SD of a deliberate variation of the turns.
        vary_turns: f64 = 0.0, "vary_turns", TURNS.says("spread (SD) added to the turns on purpose");
        /// SD of a deliberate variation of the aim offset.
        vary_aim_m: f64 = 0.0, "vary_aim_cm", CM.says("spread (SD) added to the aim on purpose");
        /// Share of each miss by which dial and mark are moved for the rest of the session; 1 is the common habit.
        chase: f64 = 0.0, "chase", SHARE.says("share of each miss by which they move dial and mark");
    }
}

keyed! {
    /// What the calibration's model leaves out, all 0 unless asked for.
    pub struct Effects {
        /// How much longer the first launch of a session goes.
        first_run_long_m: f64 = 0.0, "first_run_long_cm",
            SIGNED_CM.says("the first launch of a session goes this much longer");
        /// How much longer each launch of a session goes than the one before.
        drift_long_m_per_run: f64 = 0.0, "drift_long_cm_per_run",
            SIGNED_CM_PER.says("each launch goes this much longer than the one before");
        /// How much longer each session goes than the one before.
        drift_long_m_per_session: f64 = 0.0, "drift_long_cm_per_session",
            SIGNED_CM_PER.says("and each session than the one before");
        /// SD of a factor on the distance per turn from one session to the next.
        stretch: f64 = 0.0, "stretch_percent", PERCENT.says("spread (SD) of distance per turn between sessions");
        /// Run-to-run SD that grows with distance, m per m, added to the constant one in squares.
        spread_m_per_m: f64 = 0.0, "spread_cm_per_m",
            CM_PER_M.says("run-to-run spread (SD) that grows with distance");
        /// Bend of travel in turns: this times (turns − turns for the middle target)².
        bend_m_per_turn2: f64 = 0.0, "bend_cm_per_turn2",
            SIGNED_CM_PER.says("distance is not quite straight in turns");
        /// How much further right the first launch of a session heads, rad.
        first_run_right_rad: f64 = 0.0, "first_run_right_cm_per_m",
            SIGNED_CM_PER_M.says("the first launch of a session heads this much further right");
        /// How much further right each launch of a session heads than the one before, rad.
        drift_right_rad_per_run: f64 = 0.0, "drift_right_cm_per_m_per_run",
            SIGNED_CM_PER_M.says("each launch heads this much further right than the one before");
        /// How much further right each session heads than the one before, rad.
        drift_right_rad_per_session: f64 = 0.0, "drift_right_cm_per_m_per_session",
            SIGNED_CM_PER_M.says("and each session than the one before");
        /// Correlation of the run-to-run parts of long and right, −1 to 1.
        long_with_right: f64 = 0.0, "long_with_right",
            CORRELATION.says("how far long runs also head right (correlation, -1 to 1)");
        /// How lopsided runs scatter along: (z + a·(z² − 1))/√(1 + 2a²) in place of a normal z, which keeps mean and SD
        /// and has the skewness (6a + 8a³)/(1 + 2a²)^1.5; above 0 a few go far too long.
        lopsided: f64 = 0.0, "lopsided",
            plain(-10.0, 10.0).says("above 0 a few runs go far too long, below 0 too short");
        /// Chance that a run's spread along is `wild_times` as large.
        wild: f64 = 0.0, "wild", SHARE.says("chance of a run with a larger spread along");
        /// Chance that a run's spread across is `wild_times` as large.
        wild_right: f64 = 0.0, "wild_right", SHARE.says("chance of a run with a larger spread across");
        /// Factor on the spread of such a run.
        wild_times: f64 = 4.0, "wild_times", plain(0.0, 100.0).says("how many times as large");
    }
}

keyed! {
    /// What is measured and how finely.
    ///
    /// To the half centimetre, as two people with a tape do.
    pub struct Measuring {
        /// Tape readings are rounded to this; 0: written to a hundredth of a millimetre.
        tape_step_m: f64 = 0.005, "tape_step_cm", CM.says("the tape is read to this");
        /// Share of the runs with the straight distance taped.
        miss_noted: f64 = 0.0, "miss_noted", SHARE.says("share of the runs with the straight distance taped");
        /// Share of the runs measured across.
        right_noted: f64 = 1.0, "right_noted", SHARE.says("share of the runs measured across");
    }
}

keyed! {
    /// What goes wrong by chance.
    pub struct Mishaps {
        /// Chance that a run is called void before measuring.
        void: f64 = 0.0, "void", SHARE.says("chance that a run is void, said before measuring");
        /// SD that a void run adds along; across it adds a tenth of that.
        void_long_m: f64 = 0.8, "void_long_cm", CM.says("spread (SD) that adds along; a tenth of it across");
        /// Chance that whole turns are written ten too many or too few.
        slip: f64 = 0.0, "slip", SHARE.says("chance that the turns are written ten too many or too few");
    }
}

keyed! {
    /// Slow pushes with the brake free.
    ///
    /// A launched wheel covers about 2 % less in a turn than a slowly pushed one (`model.md` §2).
    pub struct HandRollsTruth {
        /// How many for each rig in a session.
        runs_per_session: usize = 0, "runs_per_session", COUNT.says("for each rig");
        /// In which sessions, counted from 1; empty: in all.
        sessions: Vec<usize> = Vec::new(), "sessions", ORDINAL.says("in these sessions; none: in all");
        /// Turns rolled, in turn.
        turns: Vec<f64> = vec![20.0, 30.0], "turns", plain(1.0, 1000.0).says("turns rolled, in turn");
        /// By how much a launch covers less in a turn than a hand roll, as a share.
        launch_slip: f64 = 0.02, "launch_slip_percent", PERCENT.says("a launch covers this much less in a turn");
        /// SD of a roll.
        run_to_run_m: f64 = 0.02, "run_to_run_cm", CM.says("spread (SD) from one roll to the next");
    }
}

keyed! {
    /// The fragile load: chance of breaking = logistic(per_turn × (lead − half lead)).
    pub struct LoadTruth {
        /// The lead with an even chance.
        half_lead_turns: f64 = 0.4, "half_lead_turns", NUMBER.says("lead with an even chance to break");
        /// Log-odds a turn; below 0, since a gentler stop breaks less.
        per_turn: f64 = -4.0, "per_turn", NUMBER.says("log-odds gained by a turn of lead");
        /// Share of the runs with a load that was looked at.
        noted: f64 = 1.0, "noted", SHARE.says("share of the runs with a load");
    }
}

keyed! {
    /// Run time: start + per metre × path + run.
    pub struct TimeTruth {
        /// Time that does not depend on the distance.
        start_s: f64 = 0.7, "start_s", SECONDS.says("time at no distance");
        /// Time for each metre of path.
        s_per_m: f64 = 0.32, "s_per_m", SECONDS.says("and for each metre");
        /// SD from one run to the next.
        run_to_run_s: f64 = 0.08, "run_to_run_s", SECONDS.says("spread (SD) from one run to the next");
        /// Step of the watch.
        step_s: f64 = 0.01, "step_s", SECONDS.says("the watch is read to this");
        /// Share of the runs timed.
        noted: f64 = 1.0, "noted", SHARE.says("share of the runs timed");
    }
}

keyed! {
    /// An obstacle beside the line, and who watches it.
    pub struct ObstacleTruth {
        /// Where along the line, as a fraction of the target.
        at: f64 = 0.5, "at", SHARE.says("along, as a fraction of the target");
        /// Where across it.
        right_m: f64 = 0.25, "right_cm", SIGNED_CM.says("across");
        /// Its diameter.
        diameter_m: f64 = 0.2, "diameter_cm", CM.says("how thick it is");
        /// Width of the vehicle.
        width_m: f64 = 0.18, "width_cm", CM.says("width of the vehicle");
        /// Whether the vehicle must go by on its left (else on its right).
        pass_left: bool = true, "pass",
            KeySpec::words(&["left", "right"]).says("the side of it to go by: left or right");
        /// Share of the runs whose gap is measured.
        gap_noted: f64 = 0.0, "gap_noted", SHARE.says("share of the runs with the gap measured");
    }
}

keyed! {
    /// A further rig. A value that is `None` is that of the first rig.
    pub struct RigTruth {
        /// Label of the vehicle.
        vehicle: Option<String> = None, "vehicle", TEXT.without("\"other\"").says("label of the vehicle");
        /// Label of the wheel set.
        wheels: Option<String> = None, "wheels", TEXT.without("\"other\"").says("label of its wheel set");
        /// Distance per turn.
        distance_per_turn_m: Option<f64> = None, "distance_per_turn_cm",
            LENGTH_CM.without("23.2").says("as in [travel], like the next three");
        /// Distance after the turns are used up.
        overshoot_m: Option<f64> = None, "overshoot_cm", SIGNED_CM.without("28");
        /// SD along from one run to the next.
        run_to_run_m: Option<f64> = None, "run_to_run_cm", CM.without("5");
        /// SD along from one session to the next.
        between_sessions_m: Option<f64> = None, "between_sessions_cm", CM.without("6");
        /// Straight bias, right positive.
        straight_rad: Option<f64> = None, "straight_cm_per_m",
            SIGNED_CM_PER_M.without("-2").says("as in [heading], like the next three");
        /// Curvature, right positive.
        curvature_per_m: Option<f64> = None, "curve_cm_per_m2", CURVE.without("0.9");
        /// SD of the heading from one run to the next.
        run_to_run_rad: Option<f64> = None, "run_to_run_cm_per_m", CM_PER_M.without("0.6");
        /// SD of the heading from one session to the next.
        between_sessions_rad: Option<f64> = None, "between_sessions_cm_per_m", CM_PER_M.without("0.5");
        /// Launches in each session it takes part in.
        runs_per_session: Option<Vec<usize>> = None, "runs_per_session",
            COUNT.without("8").says("its launches; one number or a list");
        /// The sessions it takes part in, counted from 1; empty: all.
        sessions: Vec<usize> = Vec::new(), "sessions", ORDINAL.says("sessions it takes part in; none: all");
    }
}

keyed! {
    /// A later build; other rigs' overshoot moves by as much as the first rig's.
    pub struct BuildTruth {
        /// Its label.
        build: String = String::new(), "build", TEXT.says("its label");
        /// First session with it, counted from 1.
        from_session: usize = 1, "from_session", ORDINAL.says("first session with it");
        /// The first rig's overshoot with it; `None`: as in [`TravelTruth`].
        overshoot_m: Option<f64> = None, "overshoot_cm",
            SIGNED_CM.without("35").says("the first rig's roll-on with it");
    }
}

keyed! {
    /// A later trim; other rigs' heading moves by as much as the first rig's.
    pub struct TrimTruth {
        /// Its label.
        trim: String = String::new(), "trim", TEXT.says("its label");
        /// First session with it, counted from 1.
        from_session: usize = 1, "from_session", ORDINAL.says("first session with it");
        /// The first rig's straight bias with it; `None`: as in [`HeadingTruth`].
        straight_rad: Option<f64> = None, "straight_cm_per_m",
            SIGNED_CM_PER_M.without("-3").says("the first rig's, as in [heading]");
        /// The first rig's curvature with it; `None`: as in [`HeadingTruth`].
        curvature_per_m: Option<f64> = None, "curve_cm_per_m2",
            CURVE.without("1.2").says("the first rig's, as in [heading]");
    }
}

keyed! {
    /// A floor with a shift of its own.
    pub struct FloorTruth {
        /// Its label.
        floor: String = String::new(), "floor", TEXT.says("its label");
        /// The sessions held on it, counted from 1.
        sessions: Vec<usize> = Vec::new(), "sessions", ORDINAL.says("sessions held on it");
        /// How much longer runs go on it.
        long_m: f64 = 0.0, "long_cm", SIGNED_CM.says("runs go this much longer on it");
        /// How much further right, rad.
        right_rad: f64 = 0.0, "right_cm_per_m", SIGNED_CM_PER_M.says("and this much further right");
    }
}

keyed! {
    /// One row of the log to which something happens.
    ///
    /// `long_m` happens to the vehicle; `column` with `add` and `times` happens to the pencil: the value written is
    /// `times` × what was read + `add`, in the column's own unit.
    pub struct PlantedRow {
        /// Session, counted from 1.
        session: usize = 1, "session", ORDINAL.says("its session, from 1");
        /// Row within the session, counted from 1 (hand rolls come first).
        run: usize = 1, "run", ORDINAL.says("its row in the session, from 1");
        /// What becomes of it; `None`: whatever chance made of it.
        status: Option<Status> = None, "status",
            KeySpec::words(&["ok", "recoil", "touched", "void"]).without("\"void\"")
                .says("ok, recoil, touched or void; left out: as chance has it");
        /// How much further it goes.
        long_m: f64 = 0.0, "long_cm", SIGNED_CM.says("happens to the vehicle: goes this much longer");
        /// Whether its rest is measured.
        measured: bool = true, "measured",
            KeySpec::words(&["yes", "no"]).says("whether its rest is measured: yes or no");
        /// Column miswritten: `turns`, `ticks`, `aim_right_cm`, `long_cm` or `right_cm`.
        column: Option<String> = None, "column",
            TEXT.without("\"turns\"").says("happens to the pencil: turns, ticks, aim_right_cm, long_cm or right_cm ...");
        /// Added to what is written.
        add: f64 = 0.0, "add", NUMBER.says("... is written with this added");
        /// Multiplies what is written.
        times: f64 = 1.0, "times", NUMBER.says("... or times this");
        /// What stands in the note.
        note: String = String::new(), "note", TEXT.says("what stands in the note");
    }
}

impl TravelTruth {
    /// The lead at which the overshoot is `overshoot_m`.
    pub fn reference_lead_turns(&self, leads_turns: &[f64]) -> f64 {
        self.overshoot_at_lead_turns.unwrap_or_else(|| {
            let n = leads_turns.len().max(1) as f64;
            leads_turns.iter().sum::<f64>() / n
        })
    }
}
