//! What two labels may differ in.

use crate::log::run::{Label, Run, Season};

/// What two labels differ in: a column of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// Two wheel sets of one vehicle.
    Wheels,
    /// Two vehicles.
    Vehicle,
    /// Two builds of one rig.
    Build,
    /// Two trims of one rig.
    Trim,
    /// Two floors under one rig.
    Floor,
}

impl By {
    /// The column's name.
    pub fn column(self) -> &'static str {
        match self {
            By::Wheels => "wheels",
            By::Vehicle => "vehicle",
            By::Build => "build",
            By::Trim => "trim",
            By::Floor => "floor",
        }
    }

    pub(super) fn label(self, run: &Run) -> Label {
        match self {
            By::Wheels => run.wheels,
            By::Vehicle => run.vehicle,
            By::Build => run.build,
            By::Trim => run.trim,
            By::Floor => run.floor,
        }
    }

    pub(super) fn labels(self, season: &Season) -> &[String] {
        match self {
            By::Wheels => &season.wheels,
            By::Vehicle => &season.vehicles,
            By::Build => &season.builds,
            By::Trim => &season.trims,
            By::Floor => &season.floors,
        }
    }
}
