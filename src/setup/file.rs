//! Reading of the set-up file, and the set-up in force as lines of such a file; its keys are in `tables.rs`.

use std::path::Path;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};

use super::tables::Setup;
use crate::error::Error;
use crate::fault::{FaultPlace, Faults, read_text};
use crate::keys;

/// The largest set-up file that is read; a real one has a hundred lines.
const LARGEST_FILE_BYTES: u64 = 1 << 20;

/// Reads a set-up file.
///
/// # Errors
/// [`Error::Input`] with every fault of the file: unknown keys with the nearest known one, values out of range,
/// keys that need one another.
pub fn read(path: &Path) -> Result<Setup, Error> {
    let name = path.display().to_string();
    let text = read_text(path, LARGEST_FILE_BYTES, "a set-up file")?;
    Ok(from_toml(&name, &text)?)
}

/// A set-up from the text of its file.
///
/// * `file` — the name that faults carry
///
/// # Errors
/// Every fault of the text.
pub fn from_toml(file: &str, text: &str) -> Result<Setup, Faults> {
    keys::read(file, text)
}

/// The set-up that was in force, with the file's tables, keys and units and every default written out.
///
/// [`Deserialize`] gives back an equal set-up but for [`super::Dial::given`], which is then true.
impl Serialize for Setup {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let table: toml::Table = toml::from_str(&keys::text(self)).map_err(ser::Error::custom)?;
        table.serialize(serializer)
    }
}

/// Reads what [`Serialize`] wrote, with the checks of a set-up file.
impl<'de> Deserialize<'de> for Setup {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = serde_json::Value::deserialize(deserializer)?;
        let text = toml::to_string(&value).map_err(de::Error::custom)?;
        from_toml("setup", &text).map_err(|mut faults| {
            for fault in &mut faults.0 {
                // The lines are those of a text made here, which no reader has seen.
                fault.place = FaultPlace::File;
            }
            let each: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
            de::Error::custom(each.join("; "))
        })
    }
}

/// What is in force, as the lines of a set-up file that says it; remarks stand behind `#`.
pub fn in_force(setup: &Setup) -> Vec<String> {
    let usual = keys::listing(&Setup::default());
    let mut lines = Vec::new();
    for line in keys::listing(setup) {
        let (head, key) = (&line.head, &line.key);
        match &line.value {
            _ if key.is_empty() && line.in_force => lines.push(head.clone()),
            _ if key.is_empty() => lines.push(format!("# {head} is left out: there is none")),
            _ if !line.in_force => {}
            None if line.spec.without.is_empty() => {}
            None => lines.push(format!("# {key}: {}", line.spec.without)),
            Some(value) => {
                let by_default = usual.iter().any(|usual| {
                    usual.in_force
                        && (&usual.head, &usual.key) == (head, key)
                        && usual.value.as_ref() == Some(value)
                });
                let remark = match by_default {
                    _ if head == "[dial]" && !setup.dial.given => "  # assumed",
                    true => "  # the default",
                    false => "",
                };
                lines.push(format!("{key} = {value}{remark}"));
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::{Counts, Measure, ObstacleAt, PassSide};

    /// The example of the contract, word for word in its keys and numbers.
    const EXAMPLE: &str = r#"
[dial]
ticks_per_turn = 20
[vehicle]
width_cm = 18.0
wheel_diameter_cm = 7.4
[wheels.foam]
diameter_cm = 7.1
[brake]
recoil_from_cm = 1.0
recoil_accept = 0.10
[aim]
step_cm = 0.5
[event]
shortest_m = 5.5
longest_m = 9.5
step_m = 0.05
runs = 2
counts = "best"
[obstacle]
at = 0.45
right_cm = 28.0
diameter_cm = 24.0
pass = "left"
touch_accept = 0.02
[lane]
half_width_m = 2.0
[score]
measure = "point"
per_cm = 1.0
per_s = 0.0
long_limit_cm = 50.0
long_penalty = 0.0
touch_penalty = 0.0
[prior]
between_sessions_cm = 10.0
between_sessions_cm_per_m = 0.6
curve_cm_per_m2 = 1.5
"#;

    fn faults(text: &str) -> Vec<String> {
        let faults = from_toml("s.toml", text).expect_err(text);
        faults.0.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn the_example_of_the_contract_is_read_in_metres() {
        let setup = from_toml("s.toml", EXAMPLE).unwrap();
        assert!(setup.dial.given);
        assert_eq!(setup.vehicle.width_m, Some(0.18));
        assert_eq!(setup.wheels_diameter_m["foam"], 0.071);
        assert_eq!(setup.event.step_m, 0.05);
        let obstacle = setup.obstacle.clone().unwrap();
        assert_eq!(obstacle.at, ObstacleAt::Fraction(0.45));
        assert_eq!((obstacle.right_m, obstacle.pass), (0.28, PassSide::Left));
        // κ such that 100·κ/2 is 1.5 cm per m².
        assert_eq!(setup.prior.curvature_per_m, 0.03);
    }

    #[test]
    fn the_defaults_are_those_of_the_contract() {
        let example = from_toml("s.toml", EXAMPLE).unwrap();
        let expected = Setup {
            dial: crate::setup::Dial {
                given: false,
                ..example.dial
            },
            vehicle: Default::default(),
            wheels_diameter_m: Default::default(),
            event: crate::setup::Event {
                shortest_m: None,
                longest_m: None,
                step_m: 0.10,
                ..example.event
            },
            obstacle: None,
            lane: None,
            ..example
        };
        assert_eq!(from_toml("s.toml", "").unwrap(), expected);
    }

    #[test]
    fn what_is_written_reads_back_as_the_same() {
        let other = EXAMPLE
            .replace("at = 0.45", "at_m = 3.1")
            .replace("\"best\"", "\"last\"")
            .replace("\"left\"", "\"right\"")
            .replace("\"point\"", "\"line\"")
            .replace("7.4", "7.123456789");
        for text in [EXAMPLE, &other] {
            let setup = from_toml("s.toml", text).unwrap();
            let json = serde_json::to_string(&setup).unwrap();
            assert_eq!(
                serde_json::from_str::<Setup>(&json).unwrap(),
                setup,
                "{json}"
            );
            let printed = in_force(&setup).join("\n");
            assert_eq!(from_toml("s.toml", &printed).unwrap(), setup, "{printed}");
        }
        let setup = from_toml("s.toml", &other).unwrap();
        assert_eq!(
            (setup.event.counts, setup.score.measure),
            (Counts::Last, Measure::Line)
        );
    }

    #[test]
    fn every_length_in_hundredths_survives_metres_and_back() {
        for hundredths in 50..20_000 {
            let text = format!(
                "[vehicle]\nwheel_diameter_cm = {}.{:02}",
                hundredths / 100,
                hundredths % 100
            );
            let Ok(setup) = from_toml("s.toml", &text) else {
                panic!("{text}");
            };
            let json = serde_json::to_string(&setup).unwrap();
            assert_eq!(
                serde_json::from_str::<Setup>(&json).unwrap().vehicle,
                setup.vehicle
            );
        }
    }

    #[test]
    fn an_unknown_key_names_the_nearest_and_its_place() {
        let told =
            faults("[dial]\nticks_per_turn = 20\n\n  tick_per_turn = 3\n[obstacl]\nat = 1\n");
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(
            told[0].starts_with("s.toml, line 4, character 3, key dial.tick_per_turn: "),
            "{}",
            told[0]
        );
        assert!(told[0].contains("dial.ticks_per_turn"));
        assert!(told[1].contains("obstacle"), "{}", told[1]);
    }

    #[test]
    fn values_out_of_range_are_told_all_at_once_with_the_reason() {
        let told = faults(
            "[dial]\nticks_per_turn = 0\n[brake]\nrecoil_accept = 10\n[event]\nshortest_m = 9\nlongest_m = 5\n\
             [score]\nper_cm = 0\nmeasure = \"area\"\n[wheels.foam]\nwidth = 3\n[prior]\ncurve_cm_per_m2 = nan\n",
        );
        for part in [
            "1 to 1000",
            "from 0 to 1",
            "no less than",
            "above 0",
            "point, line",
            "diameter_cm",
            "cm per m²",
        ] {
            assert!(told.iter().any(|t| t.contains(part)), "{part}: {told:#?}");
        }
    }

    #[test]
    fn an_obstacle_needs_its_place_its_size_and_its_side() {
        let told = faults("[obstacle]\nat = 0.4\nat_m = 3\n");
        assert_eq!(told.len(), 4, "{told:#?}");
        assert!(
            faults("[obstacle]\nright_cm = 1\ndiameter_cm = 3\npass = \"left\"\n")[0]
                .contains("at_m")
        );
        assert!(faults("[lane]\n")[0].contains("half_width_m"));
        let beyond = "[event]\nshortest_m = 3\n[obstacle]\nat_m = 3\nright_cm = 1\ndiameter_cm = 3\npass = \"left\"\n";
        assert!(faults(beyond)[0].contains("before the shortest"));
    }

    #[test]
    fn lengths_may_be_in_any_unit_of_length() {
        let obstacle = "right_mm = 20\ndiameter_in = 10\npass = \"left\"\n";
        let text = format!("[vehicle]\nwidth_in = 7\n[obstacle]\nat_ft = 10\n{obstacle}");
        let setup = from_toml("s.toml", &text).unwrap();
        assert_eq!(setup.vehicle.width_m, Some(0.1778));
        let obstacle = setup.obstacle.unwrap();
        assert_eq!(obstacle.at, ObstacleAt::Distance(3.048));
        assert_eq!((obstacle.right_m, obstacle.diameter_m), (0.02, 0.254));
    }

    #[test]
    fn a_setup_in_json_is_checked_like_the_file() {
        let error =
            serde_json::from_str::<Setup>(r#"{"dial": {"ticks_per_turn": 0}}"#).unwrap_err();
        assert!(error.to_string().contains("ticks_per_turn"), "{error}");
        assert!(serde_json::from_str::<Setup>("[]").is_err());
        assert!(serde_json::from_str::<Setup>(r#"{"dial": null}"#).is_err());
    }
}
