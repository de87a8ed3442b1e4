//! The keys of the truth file: name, unit, range and one line on each, in the order of the page.

use super::truth::*;
use crate::keys::{KeySpec, Keyed, Keys, Word};
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

impl Keyed for Truth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("vehicle", &mut self.vehicle, TEXT.says("label of the vehicle"));
        keys.key("wheels", &mut self.wheels, TEXT.says("label of its wheel set"));
        keys.key("build", &mut self.build, TEXT.says("label of its first build"));
        keys.key("trim", &mut self.trim, TEXT.says("label of its first trim"));
        keys.key("floor", &mut self.floor, TEXT.says("label of the floor"));
        keys.table("travel", &mut self.travel, "how far it goes");
        keys.table("heading", &mut self.heading, "where it goes; right is positive");
        keys.table("recoil", &mut self.recoil, "when it rolls back");
        keys.table("season", &mut self.season, "how many runs, and which; a list is gone through again when it ends");
        keys.table("settings", &mut self.settings, "how dial and aim mark are set");
        keys.table("measuring", &mut self.measuring, "what is measured, and how finely");
        keys.table("effects", &mut self.effects, "what a calibration takes to be nothing");
        keys.table("wrong", &mut self.wrong, "what goes wrong by chance");
        keys.table("hand_rolls", &mut self.hand_rolls, "slow pushes with the brake free");
        keys.optional_table("load", &mut self.load, LoadTruth::default(), "the fragile load");
        keys.optional_table("time", &mut self.time, TimeTruth::default(), "the run time");
        keys.optional_table("obstacle", &mut self.obstacle, ObstacleTruth::default(), "an obstacle beside the line");
        // Shown where there are none.
        let rig = RigTruth {
            wheels: Some("other".to_string()),
            distance_per_turn_m: Some(0.232),
            ..RigTruth::default()
        };
        let build = BuildTruth {
            build: "longer string".to_string(),
            from_session: 4,
            overshoot_m: Some(0.35),
        };
        let trim = TrimTruth {
            trim: "re-trimmed".to_string(),
            from_session: 5,
            straight_rad: Some(-0.03),
            curvature_per_m: Some(1.2 / 50.0),
        };
        let floor = FloorTruth {
            floor: "hall".to_string(),
            sessions: vec![2, 4],
            long_m: 0.05,
            right_rad: 0.0,
        };
        let row = PlantedRow {
            session: 2,
            run: 3,
            column: Some("turns".to_string()),
            add: 10.0,
            note: "the pencil slips".to_string(),
            ..PlantedRow::default()
        };
        keys.tables("rigs", &mut self.rigs, rig, "a further wheel set or vehicle; what is left out is as for the first");
        keys.tables("builds", &mut self.builds, build, "a later build; further rigs change by as much as the first");
        keys.tables("trims", &mut self.trims, trim, "a later trim; further rigs change by as much as the first");
        keys.tables("floors", &mut self.floors, floor, "a floor of some sessions");
        keys.tables("rows", &mut self.rows, row, "one row of the log to which something happens");
        keys.check(|| self.faults());
    }
}

impl Keyed for TravelTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("distance_per_turn_cm", &mut self.distance_per_turn_m, LENGTH_CM.says("covered by one turn of the wheels"));
        keys.key("overshoot_cm", &mut self.overshoot_m, SIGNED_CM.says("roll-on after the turns are used up"));
        keys.key("run_to_run_cm", &mut self.run_to_run_m, CM.says("spread (SD) from one run to the next"));
        keys.key("between_sessions_cm", &mut self.between_sessions_m, CM.says("spread (SD) from one session to the next"));
        keys.key("lead_cm_per_turn", &mut self.lead_m_per_turn, SIGNED_CM_PER.says("roll-on gained by a turn of lead"));
        keys.key("overshoot_at_lead_turns", &mut self.overshoot_at_lead_turns, TURNS.without("1.5").says("lead that overshoot_cm is for; left out: the mean of leads_turns"));
    }
}

impl Keyed for HeadingTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("straight_cm_per_m", &mut self.straight_rad, SIGNED_CM_PER_M.says("points off by this for each metre"));
        keys.key("curve_cm_per_m2", &mut self.curvature_per_m, CURVE.says("bends off by this for each metre squared"));
        keys.key("run_to_run_cm_per_m", &mut self.run_to_run_rad, CM_PER_M.says("spread (SD) from one run to the next"));
        keys.key("between_sessions_cm_per_m", &mut self.between_sessions_rad, CM_PER_M.says("spread (SD) from one session to the next"));
    }
}

impl Keyed for RecoilTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("half_lead_turns", &mut self.half_lead_turns, NUMBER.says("brake lead with an even chance"));
        keys.key("per_turn", &mut self.per_turn, NUMBER.says("log-odds gained by a turn of lead"));
        keys.key("roll_back_cm", &mut self.roll_back_m, CM.says("how far back, half of the times more"));
        keys.key("short_cm", &mut self.short_m, CM.says("how far before the hard stop it turns, half of the times more"));
        keys.key("watched", &mut self.watched, SHARE.says("share of the runs watched for it"));
    }
}

impl Keyed for PlannedSeason {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("sessions", &mut self.sessions, COUNT.says("days, or launchers laid down afresh"));
        keys.key("runs_per_session", &mut self.runs_per_session, COUNT.says("launches of the first rig; one number or a list"));
        keys.key("targets_m", &mut self.targets_m, KeySpec::number(Length(M), 0.1, 1000.0).says("shared out over the runs of a session"));
        keys.key("leads_turns", &mut self.leads_turns, TURNS.says("brake leads, shared out likewise"));
        keys.key("seed", &mut self.seed, plain(0.0, f64::INFINITY).says("another number, another season of the same truth"));
        keys.key("first_date", &mut self.first_date, TEXT.without("2031-10-04").says("day of the first session; left out: no dates"));
        keys.key("days_between", &mut self.days_between, plain(0.0, 3660.0).says("from one session to the next"));
        keys.key("dates", &mut self.dates, TEXT.says("days of the sessions, one by one"));
        keys.key("session_labels", &mut self.session_labels, TEXT.says("1, 2, ... where there is none"));
        keys.key("shared_shift", &mut self.shared_shift, SHARE.says("part of a day's shift (of its variance) that all rigs share"));
        keys.key("comments", &mut self.comments, TEXT.says("lines at the top of the log"));
    }
}

impl Keyed for Settings {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("ticks_per_turn", &mut self.ticks_per_turn, plain(1.0, 1000.0).says("divisions of the wheel dial"));
        keys.key("aim_step_cm", &mut self.aim_step_m, CM.says("how finely the aim mark is placed"));
        keys.key("believed_distance_per_turn_cm", &mut self.believed_distance_per_turn_m, LENGTH_CM.without("23").says("what they divide by; left out: the truth"));
        keys.key("believed_overshoot_cm", &mut self.believed_overshoot_m, SIGNED_CM.without("0").says("what they take off first; left out: the truth"));
        keys.key("aim_right_cm", &mut self.aim_right_m, SIGNED_CM.without("0").says("one aim for all targets; left out: what brings it to the target"));
        keys.key("vary_turns", &mut self.vary_turns, TURNS.says("spread (SD) added to the turns on purpose"));
        keys.key("vary_aim_cm", &mut self.vary_aim_m, CM.says("spread (SD) added to the aim on purpose"));
        keys.key("chase", &mut self.chase, SHARE.says("share of each miss by which they move dial and mark"));
    }
}

impl Keyed for Measuring {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("tape_step_cm", &mut self.tape_step_m, CM.says("the tape is read to this"));
        keys.key("miss_noted", &mut self.miss_noted, SHARE.says("share of the runs with the straight distance taped"));
        keys.key("right_noted", &mut self.right_noted, SHARE.says("share of the runs measured across"));
    }
}

impl Keyed for Effects {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("first_run_long_cm", &mut self.first_run_long_m, SIGNED_CM.says("the first launch of a session goes this much longer"));
        keys.key("drift_long_cm_per_run", &mut self.drift_long_m_per_run, SIGNED_CM_PER.says("each launch goes this much longer than the one before"));
        keys.key("drift_long_cm_per_session", &mut self.drift_long_m_per_session, SIGNED_CM_PER.says("and each session than the one before"));
        keys.key("stretch_percent", &mut self.stretch, PERCENT.says("spread (SD) of distance per turn between sessions"));
        keys.key("spread_cm_per_m", &mut self.spread_m_per_m, CM_PER_M.says("run-to-run spread (SD) that grows with distance"));
        keys.key("bend_cm_per_turn2", &mut self.bend_m_per_turn2, SIGNED_CM_PER.says("distance is not quite straight in turns"));
        keys.key("first_run_right_cm_per_m", &mut self.first_run_right_rad, SIGNED_CM_PER_M.says("the first launch of a session heads this much further right"));
        keys.key("drift_right_cm_per_m_per_run", &mut self.drift_right_rad_per_run, SIGNED_CM_PER_M.says("each launch heads this much further right than the one before"));
        keys.key("drift_right_cm_per_m_per_session", &mut self.drift_right_rad_per_session, SIGNED_CM_PER_M.says("and each session than the one before"));
        keys.key("long_with_right", &mut self.long_with_right, CORRELATION.says("how far long runs also head right (correlation, -1 to 1)"));
        keys.key("lopsided", &mut self.lopsided, plain(-10.0, 10.0).says("above 0 a few runs go far too long, below 0 too short"));
        keys.key("wild", &mut self.wild, SHARE.says("chance of a run with a larger spread along"));
        keys.key("wild_right", &mut self.wild_right, SHARE.says("chance of a run with a larger spread across"));
        keys.key("wild_times", &mut self.wild_times, plain(0.0, 100.0).says("how many times as large"));
    }
}

impl Keyed for Mishaps {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("void", &mut self.void, SHARE.says("chance that a run is void, said before measuring"));
        keys.key("void_long_cm", &mut self.void_long_m, CM.says("spread (SD) that adds along; a tenth of it across"));
        keys.key("slip", &mut self.slip, SHARE.says("chance that the turns are written ten too many or too few"));
    }
}

impl Keyed for HandRollsTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("runs_per_session", &mut self.runs_per_session, COUNT.says("for each rig"));
        keys.key("sessions", &mut self.sessions, ORDINAL.says("in these sessions; none: in all"));
        keys.key("turns", &mut self.turns, plain(1.0, 1000.0).says("turns rolled, in turn"));
        keys.key("launch_slip_percent", &mut self.launch_slip, PERCENT.says("a launch covers this much less in a turn"));
        keys.key("run_to_run_cm", &mut self.run_to_run_m, CM.says("spread (SD) from one roll to the next"));
    }
}

impl Keyed for LoadTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("half_lead_turns", &mut self.half_lead_turns, NUMBER.says("lead with an even chance to break"));
        keys.key("per_turn", &mut self.per_turn, NUMBER.says("log-odds gained by a turn of lead"));
        keys.key("noted", &mut self.noted, SHARE.says("share of the runs with a load"));
    }
}

impl Keyed for TimeTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("start_s", &mut self.start_s, SECONDS.says("time at no distance"));
        keys.key("s_per_m", &mut self.s_per_m, SECONDS.says("and for each metre"));
        keys.key("run_to_run_s", &mut self.run_to_run_s, SECONDS.says("spread (SD) from one run to the next"));
        keys.key("step_s", &mut self.step_s, SECONDS.says("the watch is read to this"));
        keys.key("noted", &mut self.noted, SHARE.says("share of the runs timed"));
    }
}

impl Keyed for ObstacleTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("at", &mut self.at, SHARE.says("along, as a fraction of the target"));
        keys.key("right_cm", &mut self.right_m, SIGNED_CM.says("across"));
        keys.key("diameter_cm", &mut self.diameter_m, CM.says("how thick it is"));
        keys.key("width_cm", &mut self.width_m, CM.says("width of the vehicle"));
        keys.key("pass", &mut self.pass_left, KeySpec::words(&["left", "right"]).says("the side of it to go by: left or right"));
        keys.key("gap_noted", &mut self.gap_noted, SHARE.says("share of the runs with the gap measured"));
    }
}

impl Keyed for RigTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("vehicle", &mut self.vehicle, TEXT.without("\"other\"").says("label of the vehicle"));
        keys.key("wheels", &mut self.wheels, TEXT.without("\"other\"").says("label of its wheel set"));
        keys.key("distance_per_turn_cm", &mut self.distance_per_turn_m, LENGTH_CM.without("23.2").says("as in [travel], like the next three"));
        keys.key("overshoot_cm", &mut self.overshoot_m, SIGNED_CM.without("28"));
        keys.key("run_to_run_cm", &mut self.run_to_run_m, CM.without("5"));
        keys.key("between_sessions_cm", &mut self.between_sessions_m, CM.without("6"));
        keys.key("straight_cm_per_m", &mut self.straight_rad, SIGNED_CM_PER_M.without("-2").says("as in [heading], like the next three"));
        keys.key("curve_cm_per_m2", &mut self.curvature_per_m, CURVE.without("0.9"));
        keys.key("run_to_run_cm_per_m", &mut self.run_to_run_rad, CM_PER_M.without("0.6"));
        keys.key("between_sessions_cm_per_m", &mut self.between_sessions_rad, CM_PER_M.without("0.5"));
        keys.key("runs_per_session", &mut self.runs_per_session, COUNT.without("8").says("its launches; one number or a list"));
        // An empty list is as none: it launches as the first does.
        self.runs_per_session = self.runs_per_session.take().filter(|runs| !runs.is_empty());
        keys.key("sessions", &mut self.sessions, ORDINAL.says("sessions it takes part in; none: all"));
    }
}

impl Keyed for BuildTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("build", &mut self.build, TEXT.says("its label"));
        keys.key("from_session", &mut self.from_session, ORDINAL.says("first session with it"));
        keys.key("overshoot_cm", &mut self.overshoot_m, SIGNED_CM.without("35").says("the first rig's roll-on with it"));
    }
}

impl Keyed for TrimTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("trim", &mut self.trim, TEXT.says("its label"));
        keys.key("from_session", &mut self.from_session, ORDINAL.says("first session with it"));
        keys.key("straight_cm_per_m", &mut self.straight_rad, SIGNED_CM_PER_M.without("-3").says("the first rig's, as in [heading]"));
        keys.key("curve_cm_per_m2", &mut self.curvature_per_m, CURVE.without("1.2").says("the first rig's, as in [heading]"));
    }
}

impl Keyed for FloorTruth {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("floor", &mut self.floor, TEXT.says("its label"));
        keys.key("sessions", &mut self.sessions, ORDINAL.says("sessions held on it"));
        keys.key("long_cm", &mut self.long_m, SIGNED_CM.says("runs go this much longer on it"));
        keys.key("right_cm_per_m", &mut self.right_rad, SIGNED_CM_PER_M.says("and this much further right"));
    }
}

impl Keyed for PlantedRow {
    fn keys(&mut self, keys: &mut impl Keys) {
        keys.key("session", &mut self.session, ORDINAL.says("its session, from 1"));
        keys.key("run", &mut self.run, ORDINAL.says("its row in the session, from 1"));
        keys.key("status", &mut self.status, KeySpec::words(&["ok", "recoil", "touched", "void"]).without("\"void\"").says("ok, recoil, touched or void; left out: as chance has it"));
        keys.key("long_cm", &mut self.long_m, SIGNED_CM.says("happens to the vehicle: goes this much longer"));
        keys.key("measured", &mut self.measured, KeySpec::words(&["yes", "no"]).says("whether its rest is measured: yes or no"));
        keys.key("column", &mut self.column, TEXT.without("\"turns\"").says("happens to the pencil: turns, ticks, aim_right_cm, long_cm or right_cm ..."));
        keys.key("add", &mut self.add, NUMBER.says("... is written with this added"));
        keys.key("times", &mut self.times, NUMBER.says("... or times this"));
        keys.key("note", &mut self.note, TEXT.says("what stands in the note"));
    }
}
