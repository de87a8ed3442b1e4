//! What the two names mean that a comparison is asked for.

use super::by::By;
use crate::calibration::rig_name::did_you_mean;
use crate::error::Error;
use crate::fault::{self, Fault, Faults};
use crate::log::group;
use crate::log::run::{Label, Run, Season};

/// One of the two that are compared: a label, or a whole rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Named {
    /// The label as the log writes it, or the rig's name.
    pub name: String,
    /// What it stands for.
    pub meant: Meant,
}

/// Whose runs a name stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meant {
    /// Those with this label of the column.
    Label(Label),
    /// Those of a vehicle on one wheel set.
    Rig {
        /// The vehicle.
        vehicle: Label,
        /// The wheels.
        wheels: Label,
    },
}

impl Named {
    /// Whether it names a whole rig.
    pub fn is_rig(&self) -> bool {
        matches!(self.meant, Meant::Rig { .. })
    }

    /// Whether a run is one of its own.
    pub fn is_of(&self, run: &Run, by: By) -> bool {
        match self.meant {
            Meant::Label(label) => by.label(run) == label,
            Meant::Rig { vehicle, wheels } => (run.vehicle, run.wheels) == (vehicle, wheels),
        }
    }
}

/// The two that are meant: a label of the column first, also one with a slash in it; else, of vehicles and wheels, a rig by
/// its whole name, in any case.
///
/// # Errors
/// [`Error::Input`] for a name that the log does not have, or one name twice.
pub(super) fn both(season: &Season, by: By, a: &str, b: &str) -> Result<[Named; 2], Error> {
    let used: Vec<(Label, &str)> = (by.labels(season).iter().enumerate())
        .map(|(i, label)| (i as Label, label.as_str()))
        .filter(|(i, _)| season.runs.iter().any(|run| by.label(run) == *i))
        .collect();
    let mut faults = Faults::default();
    let mut named = |option: &str, asked: &str| {
        let labelled = used.iter().find(|(_, label)| *label == asked);
        let found = labelled.map_or_else(
            || rig(season, by, asked),
            |(label, name)| {
                Some(Named {
                    name: name.to_string(),
                    meant: Meant::Label(*label),
                })
            },
        );
        if found.is_none() {
            let labels: Vec<&str> = used.iter().map(|(_, label)| *label).collect();
            let expected = expected(season, by, &labels, asked);
            faults.push(Fault::error(option, expected).read(asked));
        }
        found
    };
    let (first, second) = (named("--a", a), named("--b", b));
    if first.is_some() && first == second {
        let fault = Fault::error("--b", "expected another label than that of --a").read(b);
        faults.push(fault);
    }
    match first.zip(second) {
        Some((first, second)) if !faults.any_error() => Ok([first, second]),
        _ => Err(faults.into()),
    }
}

/// Whether a rig can be named by its vehicle and wheels.
fn takes_rigs(by: By) -> bool {
    matches!(by, By::Wheels | By::Vehicle)
}

/// The rig of this name.
fn rig(season: &Season, by: By, asked: &str) -> Option<Named> {
    let rigs = group::rigs(season);
    let lower = asked.trim().to_lowercase();
    let is_exact = |rig: &&group::RigIndices| rig.name == asked;
    let is_meant = |rig: &&group::RigIndices| rig.name.to_lowercase() == lower;
    let meant = (rigs.iter().find(is_exact)).or_else(|| rigs.iter().find(is_meant));
    meant
        .filter(|rig| takes_rigs(by) && !rig.name.is_empty())
        .map(|rig| Named {
            name: rig.name.clone(),
            meant: Meant::Rig {
                vehicle: rig.vehicle,
                wheels: rig.wheels,
            },
        })
}

/// The end of the message about a name that nothing has.
///
/// * `used` — labels of the column
fn expected(season: &Season, by: By, used: &[&str], asked: &str) -> String {
    let column = by.column();
    let rigs = group::rigs(season);
    let differ = |of: fn(&group::RigIndices) -> Label| rigs.iter().any(|r| of(r) != of(&rigs[0]));
    // Of one vehicle, or on one wheel set, labels say it all.
    let offers_rigs = takes_rigs(by) && differ(|r| r.vehicle) && differ(|r| r.wheels);
    let spoken_all = |names: &[&str]| {
        let all: Vec<String> = names.iter().map(|name| spoken(name)).collect();
        all.join(", ")
    };
    let mut out = match used {
        [only] => format!(
            "the log has only {} in the column {column}; two are needed to compare",
            spoken(only)
        ),
        _ => format!(
            "expected one of the labels of the column {column}: {}",
            spoken_all(used)
        ),
    };
    if let ([_], false) = (used, offers_rigs) {
        return out;
    }
    let mut near: Vec<&str> = used.to_vec();
    if offers_rigs {
        let names: Vec<&str> = rigs.iter().map(|rig| rig.name.as_str()).collect();
        out += &format!(", or whole rigs: {}", spoken_all(&names));
        near.extend(names);
    }
    out + &did_you_mean(asked, near)
}

fn spoken(label: &str) -> String {
    format!("\"{}\"", fault::shown(label))
}
