//! What is true of an invented vehicle and its season, in SI units; the defaults.
//!
//! The file it is written in has the names and units of `calibration.json`: `truth_keys.rs` lists them, `truth_file.rs`
//! reads and prints it.

use super::truth_keys::*;
use crate::keys::{KeySpec, Keyed, Keys};

/// Everything that decides a season but chance.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Truth {
    /// Label of the vehicle.
    pub vehicle: String,
    /// Label of its first wheel set.
    pub wheels: String,
    /// Label of its first build.
    pub build: String,
    /// Label of its first trim.
    pub trim: String,
    /// Label of the floor where no [`FloorTruth`] says otherwise.
    pub floor: String,
    /// Travel of the first rig.
    pub travel: TravelTruth,
    /// Heading of the first rig.
    pub heading: HeadingTruth,
    /// Recoil.
    pub recoil: RecoilTruth,
    /// How many sessions and runs, at which targets and leads.
    pub season: PlannedSeason,
    /// How the settings are chosen.
    pub settings: Settings,
    /// What the model of the calibration leaves out.
    pub effects: Effects,
    /// What is measured and how finely.
    pub measuring: Measuring,
    /// What goes wrong by chance.
    pub wrong: Mishaps,
    /// Slow pushes with the brake free.
    pub hand_rolls: HandRollsTruth,
    /// The fragile load, where one is watched.
    pub load: Option<LoadTruth>,
    /// The run time, where it is taken.
    pub time: Option<TimeTruth>,
    /// The obstacle, if there is one.
    pub obstacle: Option<ObstacleTruth>,
    /// Further rigs: other wheel sets, other vehicles.
    pub rigs: Vec<RigTruth>,
    /// Later builds.
    pub builds: Vec<BuildTruth>,
    /// Later trims.
    pub trims: Vec<TrimTruth>,
    /// Floors of some sessions.
    pub floors: Vec<FloorTruth>,
    /// Single rows to which something happens.
    pub rows: Vec<PlantedRow>,
}

// Left unformatted, here and below: a key, a line.
#[rustfmt::skip]
impl Keyed for Truth {
    fn keys(&mut self, keys: &mut impl Keys) {
        let label = KeySpec::TEXT;
        keys.key("vehicle", &mut self.vehicle, label.says("label of the vehicle"));
        keys.key("wheels", &mut self.wheels, label.says("label of its wheel set"));
        keys.key("build", &mut self.build, label.says("label of its first build"));
        keys.key("trim", &mut self.trim, label.says("label of its first trim"));
        keys.key("floor", &mut self.floor, label.says("label of the floor"));
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
        self.lists(keys);
        let owned = |(name, expected): (&str, String)| (name.to_string(), expected);
        keys.check(|| self.faults().into_iter().map(owned).collect());
    }
}

#[rustfmt::skip]
impl Truth {
    /// The lists of tables, each with an example for a page without one.
    fn lists(&mut self, keys: &mut impl Keys) {
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
    }
}
