//! What a decision is made from: one rig, one build, one trim, one lead, and what today's runs have said so far.

use crate::calibration::rig_name::{NameMeant, did_you_mean, meant};
use crate::calibration::{Build, Calibration, Heading, Rig, Travel, Trim};
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::geometry;
use crate::setup::Setup;
use crate::stats::mixed::Row;
use crate::stats::mixed::update::Group;

/// What was asked for on the command line; `None` leaves the choice to the calibration.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Choice {
    /// `VEHICLE/WHEELS`, or a part of it.
    pub rig: Option<String>,
    /// Build label.
    pub build: Option<String>,
    /// Trim label.
    pub trim: Option<String>,
    /// Brake lead, turns.
    pub lead_turns: Option<f64>,
}

#[cfg(test)]
impl Choice {
    /// A rig, all else left to the calibration.
    pub(crate) fn of_rig(rig: &str) -> Self {
        Choice {
            rig: Some(rig.to_string()),
            ..Choice::default()
        }
    }
}

/// One rig as it stands before its next run.
#[derive(Debug, Clone)]
pub struct Situation<'a> {
    /// The set-up in force.
    pub setup: &'a Setup,
    /// The rig.
    pub rig: &'a Rig,
    /// Index of the build.
    pub build: usize,
    /// Index of the trim; `None` where nothing is known across.
    pub trim: Option<usize>,
    /// Lead of the next run.
    pub lead_turns: Option<f64>,
    /// Travel with today's runs (none yet: a new session).
    pub travel: Group,
    /// Heading with today's runs.
    pub heading: Option<Group>,
}

/// A rig of a calibration by its name or a part of it.
///
/// # Errors
/// [`Error::Input`] for an unknown name, a part that several have, or no name where there are several rigs.
pub fn rig_of<'a>(calibration: &'a Calibration, name: Option<&str>) -> Result<&'a Rig, Error> {
    let names = || {
        calibration
            .rigs
            .iter()
            .map(|r| r.name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    match name {
        Some(asked) => match meant(calibration.rigs.iter().map(|r| r.name.as_str()), asked) {
            NameMeant::One(rig) => Ok(&calibration.rigs[rig]),
            NameMeant::Several(rigs) => {
                let several: Vec<&str> = rigs
                    .iter()
                    .map(|&rig| calibration.rigs[rig].name.as_str())
                    .collect();
                let expected = format!(
                    "several rigs have that in their names; expected one of {}",
                    several.join(", ")
                );
                Err(usage("--rig", Some(asked), expected))
            }
            NameMeant::None => Err(no_such_rig("--rig", asked, calibration)),
        },
        None if calibration.rigs.len() == 1 => Ok(&calibration.rigs[0]),
        None => Err(usage(
            "--rig",
            None,
            format!(
                "the calibration holds several rigs; expected one of {}",
                names()
            ),
        )),
    }
}

/// That a calibration holds no rig of a name.
///
/// * `place` — where the name stands: an option, a log
pub fn no_such_rig(place: &str, asked: &str, calibration: &Calibration) -> Error {
    let names = calibration.rigs.iter().map(|r| r.name.as_str());
    let named: Vec<&str> = names.clone().filter(|name| !name.is_empty()).collect();
    let expected = match named.is_empty() {
        true => "no run of that rig was fitted: the log named neither vehicle nor wheels; leave --rig out, or fit a log that \
                 names them"
            .to_string(),
        false => format!(
            "no run of that rig was fitted; the calibration holds {}{}",
            named.join(", "),
            did_you_mean(asked, names)
        ),
    };
    usage(place, Some(asked), expected)
}

fn usage(option: &str, read: Option<&str>, expected: String) -> Error {
    let mut fault = Fault::error(option, expected);
    fault.read = read.map(str::to_string);
    Error::Input(Faults(vec![fault]))
}

/// The index of a label, or an error that names those there are.
fn label_index<'l>(
    option: &str,
    asked: &str,
    labels: impl Iterator<Item = &'l str> + Clone,
) -> Result<usize, Error> {
    labels.clone().position(|l| l == asked).ok_or_else(|| {
        let known: Vec<String> = labels.clone().map(|l| format!("\"{l}\"")).collect();
        usage(
            option,
            Some(asked),
            format!(
                "expected one of {}{}",
                known.join(", "),
                did_you_mean(asked, labels)
            ),
        )
    })
}

impl<'a> Situation<'a> {
    /// A new session with the chosen rig, build, trim and lead.
    ///
    /// # Errors
    /// [`Error::Input`] for a label or lead that cannot be meant.
    pub fn new(calibration: &'a Calibration, choice: &Choice) -> Result<Self, Error> {
        let rig = rig_of(calibration, choice.rig.as_deref())?;
        Self::from_rig(&calibration.setup, rig, choice)
    }

    /// A new session of a rig at hand with the chosen build, trim and lead.
    ///
    /// # Errors
    /// Any error of [`Situation::new`].
    pub fn from_rig(setup: &'a Setup, rig: &'a Rig, choice: &Choice) -> Result<Self, Error> {
        let build = match &choice.build {
            Some(asked) => label_index(
                "--build",
                asked,
                rig.travel.builds.iter().map(|b| b.label.as_str()),
            )?,
            None => rig.travel.newest_build,
        };
        let trim = match (&rig.heading, &choice.trim) {
            (None, _) => None,
            (Some(h), Some(asked)) => Some(label_index(
                "--trim",
                asked,
                h.trims.iter().map(|t| t.label.as_str()),
            )?),
            (Some(h), None) => Some(h.newest_trim),
        };
        if let Some(lead) = choice.lead_turns
            && !(lead.is_finite() && lead >= 0.0)
        {
            return Err(usage(
                "--lead",
                Some(&lead.to_string()),
                "expected turns of 0 or more".to_string(),
            ));
        }
        Ok(Situation {
            setup,
            rig,
            build,
            trim,
            lead_turns: choice.lead_turns.or(rig.travel.builds[build].lead_turns),
            travel: rig.travel.posterior.group(&[]),
            heading: rig.heading.as_ref().map(|h| h.posterior.group(&[])),
        })
    }

    /// What is known of travel.
    pub fn known_travel(&self) -> &'a Travel {
        &self.rig.travel
    }

    /// The build in use.
    pub fn build(&self) -> &'a Build {
        &self.rig.travel.builds[self.build]
    }

    /// The largest lead that was tried below a lead; `None` where there is none.
    pub fn tried_lead_below(&self, lead_turns: f64) -> Option<f64> {
        let tried = self.build().recoil.by_lead.iter().map(|l| l.lead_turns);
        tried.filter(|&tried| tried < lead_turns).reduce(f64::max)
    }

    /// What is known of heading, with the trim in use and today's runs.
    pub fn known_heading(&self) -> Option<(&'a Heading, usize, &Group)> {
        let heading = self.rig.heading.as_ref()?;
        Some((heading, self.trim?, self.heading.as_ref()?))
    }

    /// The trim in use.
    pub fn trim(&self) -> Option<&'a Trim> {
        Some(&self.rig.heading.as_ref()?.trims[self.trim?])
    }

    /// κ̂ of the trim in use, 1/m; 0 where nothing is known across.
    pub fn curvature_per_m(&self) -> f64 {
        self.trim().map_or(0.0, |t| t.curvature_point_per_m)
    }

    /// Arc to a target on the line, m.
    pub fn arc_to_m(&self, target_m: f64) -> f64 {
        geometry::arc_of_chord(target_m, self.curvature_per_m())
    }

    /// Design row of travel at a number of turns.
    pub fn travel_row(&self, turns: f64) -> Row {
        self.rig.travel.row(self.build, turns, self.lead_turns)
    }

    /// Expected arc at a number of turns, m.
    pub fn arc_mean_m(&self, turns: f64) -> f64 {
        self.travel.mean(&self.travel_row(turns))
    }

    /// Expected heading excess at an arc, rad; 0 where nothing is known across.
    pub fn heading_mean(&self, arc_m: f64) -> f64 {
        self.known_heading()
            .map_or(0.0, |(h, trim, today)| today.mean(&h.row(trim, arc_m)))
    }
}
