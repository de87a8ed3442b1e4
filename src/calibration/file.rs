//! `calibration.json`, both ways: the only file that knows its keys.
//!
//! The contract's keys say what was found, in cm and at the file's level. They are written for people and scripts: what
//! is read back is `knows`, which is [`Rig`] itself, in SI units and with every digit, but for the rig's sentences, which
//! stand in the file once. `check` is a sum over all the rest: a file that was cut short or edited is refused, because
//! nobody could trust a setting made from it.

mod layout;

use super::fingerprint;
use super::known::{Calibration, Check, Heading, Rig, SetAside, Travel};
use super::recoil::Recoil;
use super::rig_name::{NameMeant, meant};
use crate::fault::{Fault, Faults, beginning, shown};
use crate::setup::Setup;
use crate::stats::interval::Level;
use serde::Deserialize;
use serde_json::{Value, json};

/// What `format` says.
pub const FORMAT: &str = "haltmark-calibration/2";
const CM: f64 = 100.0;
/// `curve_cm_per_m2` is 100·κ/2.
const CURVE_CM: f64 = 50.0;

/// The text of `calibration.json`.
pub fn write(calibration: &Calibration) -> String {
    sealed(&mut without_check(calibration))
}

/// The sum that the file of a calibration carries as `check`.
pub fn check_sum(calibration: &Calibration) -> String {
    sum(&without_check(calibration))
}

/// The text of a file that holds this JSON object, whose `check` becomes the sum over all the rest.
pub fn sealed(file: &mut Value) -> String {
    file["check"] = Value::Null;
    file["check"] = sum(file).into();
    layout::text(file)
}

/// The sum over a file without blanks, its `check` being `null`.
fn sum(file: &Value) -> String {
    format!("{:016x}", fingerprint::fnv1a(file.to_string().into_bytes()))
}

fn without_check(calibration: &Calibration) -> Value {
    json!({
        "format": FORMAT,
        "check": null,
        "level": calibration.level,
        "setup": calibration.setup,
        "warnings": calibration.warnings,
        "logs": calibration.logs,
        "log_targets_m": calibration.log_targets_m,
        "rigs": list(&calibration.rigs, rig),
    })
}

fn list<'t, T: 't>(of: impl IntoIterator<Item = &'t T>, each: impl FnMut(&T) -> Value) -> Value {
    of.into_iter().map(each).collect()
}

fn rig(rig: &Rig) -> Value {
    let newest = &rig.travel.builds[rig.travel.newest_build];
    json!({
        "rig": rig.name,
        "vehicle": rig.vehicle,
        "wheels": rig.wheels,
        "runs": rig.counts.fitted,
        "sessions": rig.counts.sessions,
        "void": rig.counts.void,
        "touched": rig.counts.touched,
        "recoiled": rig.counts.recoiled,
        "travel": travel(&rig.travel, rig.counts.rolled_back),
        "heading": rig.heading.as_ref().map_or(json!([]), trims),
        "lateral_bias": list(&rig.lateral_bias, |b| json!({
            "trim": b.trim,
            "distance_m": b.distance_m,
            "right_cm": b.right_m.scaled(CM),
        })),
        "bend_wanted_cm_per_m2": rig.bend_wanted_per_m.map(|(low, high)| json!({
            "low": CURVE_CM * low,
            "high": CURVE_CM * high,
        })),
        "recoil": recoil(&newest.recoil),
        "left_out": rig.left_out,
        "checks": rig.checks,
        "set_aside": rig.set_aside,
        "warnings": rig.warnings,
        "knows": rig,
    })
}

fn travel(travel: &Travel, rolled_back: usize) -> Value {
    json!({
        "distance_per_turn_cm": travel.distance_per_turn_m.scaled(CM),
        "overshoot_cm": travel.builds[travel.newest_build].overshoot_m.scaled(CM),
        "lead_cm_per_turn": travel.lead_m_per_turn.map(|i| i.scaled(CM)),
        "prior_share": travel.prior_share,
        "builds": list(&travel.builds, |b| json!({
            "build": b.label,
            "overshoot_cm": b.overshoot_m.scaled(CM),
        })),
        "run_to_run_cm": travel.run_to_run_m.scaled(CM),
        "between_sessions_cm": travel.between_sessions_m.scaled(CM),
        "spread_at_m": travel.spread_at_m,
        "spread_growth": travel.spread_growth,
        "rolled_back": rolled_back,
        "hand_rolls": travel.hand_rolls.as_ref().map(|h| json!({
            "runs": h.runs,
            "distance_per_turn_cm": h.distance_per_turn_m.scaled(CM),
            "overshoot_at": list(&h.overshoot_at_m, |&(target_m, overshoot_m)| json!({
                "target_m": target_m,
                "overshoot_cm": CM * overshoot_m,
            })),
        })),
    })
}

fn trims(heading: &Heading) -> Value {
    list(&heading.trims, |t| {
        json!({
            "trim": t.label,
            "straight_cm_per_m": t.straight_rad.scaled(CM),
            "curve_cm_per_m2": t.curvature_per_m.scaled(CURVE_CM),
            "prior_share": t.prior_share,
            "run_to_run_cm_per_m": heading.run_to_run_rad.scaled(CM),
            "between_sessions_cm_per_m": heading.between_sessions_rad.scaled(CM),
        })
    })
}

fn recoil(recoil: &Recoil) -> Value {
    let curve = recoil.curve.as_ref();
    let watched = recoil.by_lead.iter().filter(|_| recoil.watched > 0);
    json!({
        "lead_limit_turns": curve.and_then(|c| c.lead_limit_turns),
        "half_lead_turns": curve.and_then(|c| c.half_lead_turns),
        "per_turn": curve.map(|c| c.per_turn),
        "chance_at": list(watched, |l| json!({"lead_turns": l.lead_turns, "chance": l.chance})),
    })
}

/// What is read of a file whose sum is right.
#[derive(Deserialize)]
struct Known {
    level: Level,
    setup: Setup,
    warnings: Vec<String>,
    logs: Vec<String>,
    log_targets_m: (Option<f64>, Option<f64>),
    rigs: Vec<RigKnown>,
}

#[derive(Deserialize)]
struct RigKnown {
    checks: Vec<Check>,
    set_aside: Vec<SetAside>,
    warnings: Vec<String>,
    knows: Rig,
}

impl RigKnown {
    fn rig(self) -> Rig {
        Rig {
            checks: self.checks,
            set_aside: self.set_aside,
            warnings: self.warnings,
            ..self.knows
        }
    }
}

/// Reads a calibration back; `name` is the file's, for messages.
///
/// # Errors
/// What is wrong with it: another format or version, cut short, edited.
pub fn read(name: &str, text: &str) -> Result<Calibration, Faults> {
    read_for(name, text, None)
}

/// Reads one rig of a calibration back, by its name or a part of it, or all where that names none alone: a league's hundreds take a while.
///
/// # Errors
/// What is wrong with the file: another format or version, cut short, edited.
pub fn read_for(name: &str, text: &str, rig: Option<&str>) -> Result<Calibration, Faults> {
    let refused = |why| {
        let expected = format!("{why}; please make it again with haltmark fit");
        Faults(vec![Fault::error(name, expected)])
    };
    let mut file = unaltered(text).map_err(refused)?;
    if let Some(rigs) = file.get_mut("rigs").and_then(Value::as_array_mut) {
        let names = rigs.iter().map(|file| file["rig"].as_str().unwrap_or(""));
        if let Some(NameMeant::One(asked)) = rig.map(|rig| meant(names, rig)) {
            *rigs = vec![rigs.swap_remove(asked)];
        }
    }
    let odd = |what: &str| refused(format!("not as haltmark fit wrote it ({what})"));
    let known: Known = serde_json::from_value(file).map_err(|e| odd(&beginning(&e)))?;
    let (shortest_m, longest_m) = known.log_targets_m;
    let rigs: Vec<Rig> = known.rigs.into_iter().map(RigKnown::rig).collect();
    if rigs.is_empty() || !rigs.iter().all(fits_together) {
        return Err(odd("its rigs do not fit together"));
    }
    Ok(Calibration {
        level: known.level,
        setup: known.setup,
        warnings: known.warnings,
        logs: known.logs,
        log_targets_m: (
            shortest_m.unwrap_or(f64::NAN),
            longest_m.unwrap_or(f64::NAN),
        ),
        rigs,
        chronicle: None,
    })
}

/// What a file holds, or why it is not as this version of the program wrote it.
fn unaltered(text: &str) -> Result<Value, String> {
    const FOREIGN: &str = "not a calibration.json that haltmark fit wrote";
    let mut file: Value = match serde_json::from_str(text) {
        Ok(file) => file,
        Err(e) if e.is_eof() && text.starts_with('{') => {
            return Err(format!("the file is cut short (line {})", e.line()));
        }
        Err(_) => return Err(FOREIGN.to_string()),
    };
    let Some(format) = file["format"].as_str() else {
        return Err(FOREIGN.to_string());
    };
    if format != FORMAT {
        let format = shown(format);
        return Err(format!("its format is \"{format}\"; expected \"{FORMAT}\""));
    }
    // By lines, whose ends a copy may change.
    if !text.lines().eq(sealed(&mut file).lines()) {
        return Err("it was changed since haltmark fit wrote it".to_string());
    }
    Ok(file)
}

/// Whether a rig's builds and trims have the columns of its fits: the right sum may stand over anything.
fn fits_together(rig: &Rig) -> bool {
    let Travel {
        builds,
        newest_build,
        turns_column,
        lead_term,
        posterior,
        ..
    } = &rig.travel;
    let lead_column = lead_term.map(|term| term.column);
    let travel = *newest_build < builds.len()
        && *turns_column == builds.len()
        && lead_column.is_none_or(|column| column == turns_column + 1)
        && posterior.columns() == lead_column.unwrap_or(*turns_column) + 1;
    let heading = rig.heading.as_ref().is_none_or(|h| {
        h.newest_trim < h.trims.len() && h.posterior.columns() == 2 * h.trims.len()
    });
    travel && heading && rig.time.as_ref().is_none_or(|time| time.columns() == 2)
}

/// The text of the invented example's calibration, for tests.
#[cfg(test)]
const EXAMPLE: &str = include_str!(concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/reports/bramble/calibration.json"
));

/// The invented example's calibration, for tests.
#[cfg(test)]
pub(crate) fn example() -> Calibration {
    read("example", EXAMPLE).expect("what fit wrote")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_holds_for_the_season_is_read_as_it_was_written() {
        let mut calibration = example();
        calibration.warnings.push("Not fitted: Lone.".to_string());
        let text = write(&calibration);
        assert_eq!(read("again", &text).unwrap().warnings, calibration.warnings);
        assert!(text.contains(&check_sum(&calibration)));
    }

    #[test]
    fn what_was_found_about_each_rig_comes_back() {
        let calibration = example();
        let again = read("again", &write(&calibration)).unwrap();
        // The example's log has a slip on purpose.
        assert!(!calibration.rigs[0].set_aside.is_empty());
        for (rig, was) in again.rigs.iter().zip(&calibration.rigs) {
            assert_eq!(rig.set_aside, was.set_aside);
            assert_eq!(rig.checks, was.checks);
            assert_eq!(rig.warnings, was.warnings);
        }
    }

    #[test]
    fn ends_that_do_not_exist_come_back() {
        let mut calibration = example();
        calibration.log_targets_m = (f64::NAN, f64::NAN);
        calibration.rigs[0].bend_wanted_per_m = Some((f64::NEG_INFINITY, 0.1));
        calibration.rigs[0].travel.run_to_run_m.high = f64::INFINITY;
        let again = read("again", &write(&calibration)).unwrap();
        assert!(again.log_targets_m.0.is_nan() && again.log_targets_m.1.is_nan());
        let (rig, was) = (&again.rigs[0], &calibration.rigs[0]);
        assert_eq!(rig.bend_wanted_per_m, was.bend_wanted_per_m);
        assert_eq!(rig.travel.run_to_run_m, was.travel.run_to_run_m);
    }

    #[test]
    fn only_the_rig_asked_for_is_read() {
        let rigs = |asked| {
            let read = read_for("example", EXAMPLE, Some(asked)).unwrap().rigs;
            read.into_iter().map(|rig| rig.name).collect::<Vec<_>>()
        };
        assert_eq!(rigs("Bramble/wide"), ["Bramble/wide"]);
        assert_eq!(rigs("Heron/foam"), ["Bramble/narrow", "Bramble/wide"]);
    }
}
