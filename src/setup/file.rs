//! The set-up file to a [`Setup`] and back, by the list of keys in `fields.rs`.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::fields::{Check, FIELDS, Field, Value, WHEEL_DIAMETER_CM, wheels_diameter_cm};
use super::{ObstacleAt, Setup};
use crate::error::Error;
use crate::fault::{Faults, Place, read_text};
use crate::keys::{Keys, Source};
use crate::units::LengthUnit;

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
    let source = Source::new(file, text);
    let setup = {
        let document = source.parse()?;
        let mut root = Keys::root(&source, &document);
        let mut setup = Setup::default();
        let mut rest = FIELDS;
        while let Some(first) = rest.first() {
            let (fields, others) =
                rest.split_at(rest.iter().take_while(|f| f.table == first.table).count());
            let mut table = root.table(first.table);
            for field in fields {
                if let Some(value) = value(&mut table, field.key, &field.check) {
                    (field.set)(&mut setup, value);
                }
            }
            together(&table, first.table, &setup);
            table.finish();
            rest = others;
        }
        let wheels = root.table("wheels");
        for label in wheels.names() {
            let mut wheel = wheels.labelled_table(label);
            match value(&mut wheel, "diameter_cm", &WHEEL_DIAMETER_CM) {
                Some(Value::Number(cm)) => {
                    let label = label.trim().to_string();
                    setup
                        .wheels_diameter_m
                        .insert(label, LengthUnit::Cm.to_m(cm));
                }
                _ if wheel.has("diameter_cm") => {}
                _ => wheel.refuse("diameter_cm", "expected diameter_cm in this table"),
            }
            wheel.finish();
        }
        root.finish();
        setup
    };
    let faults = source.into_faults();
    if faults.any_error() {
        return Err(faults);
    }
    Ok(setup)
}

fn value(table: &mut Keys, key: &'static str, check: &Check) -> Option<Value> {
    match check {
        Check::Number(least, most, what) => {
            table.number(key, *least..=*most, what).map(Value::Number)
        }
        Check::Whole(least, most, what) => table
            .whole(key, *least..=*most, what)
            .map(|whole| Value::Number(whole as f64)),
        Check::Word(words) => {
            let choices: Vec<(&str, &'static str)> =
                words.iter().map(|word| (*word, *word)).collect();
            table.choice(key, &choices).map(Value::Word)
        }
    }
}

/// Faults of keys that need or exclude one another, once the table was read into `setup`.
fn together(table: &Keys, name: &str, setup: &Setup) {
    if !table.is_given() {
        return;
    }
    match name {
        "event" => {
            if let (Some(shortest), Some(longest)) = (setup.event.shortest_m, setup.event.longest_m)
                && shortest > longest
            {
                table.refuse("longest_m", "expected no less than shortest_m");
            }
        }
        "obstacle" => {
            match (table.has("at"), table.has("at_m")) {
                (true, true) => table.refuse("at_m", "expected at or at_m, not both"),
                (false, false) => table.refuse(
                    "at",
                    "expected where along the line it stands: at, a fraction of the target, or at_m",
                ),
                _ => {}
            }
            for (key, what) in [
                (
                    "right_cm",
                    "expected right_cm: where across the line it stands",
                ),
                ("diameter_cm", "expected diameter_cm"),
                (
                    "pass",
                    "expected pass: the side of it that the vehicle must go by, left or right",
                ),
            ] {
                if !table.has(key) {
                    table.refuse(key, what);
                }
            }
            if let (Some(ObstacleAt::Distance(at_m)), Some(shortest_m)) = (
                setup.obstacle.as_ref().map(|o| o.at),
                setup.event.shortest_m,
            ) && at_m >= shortest_m
            {
                table.refuse("at_m", "expected the obstacle before the shortest target");
            }
        }
        "lane" if !table.has("half_width_m") => {
            table.refuse(
                "half_width_m",
                "expected half_width_m: the free width on either side of the line",
            );
        }
        _ => {}
    }
}

impl Serialize for Value {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            // Whole numbers without a point, so that ticks read back as whole.
            Value::Number(x) if x.fract() == 0.0 => serializer.serialize_i64(*x as i64),
            Value::Number(x) => serializer.serialize_f64(*x),
            Value::Word(word) => serializer.serialize_str(word),
        }
    }
}

/// The tables of the file with every key that has a value, defaults included.
fn tables(setup: &Setup) -> BTreeMap<&'static str, BTreeMap<&str, serde_json::Value>> {
    let mut tables: BTreeMap<&'static str, BTreeMap<&str, serde_json::Value>> = BTreeMap::new();
    for field in FIELDS {
        if let Some(value) = (field.get)(setup) {
            tables
                .entry(field.table)
                .or_default()
                .insert(field.key, serde_json::json!(value));
        }
    }
    for (label, &diameter_m) in &setup.wheels_diameter_m {
        tables.entry("wheels").or_default().insert(
            label,
            serde_json::json!({"diameter_cm": wheels_diameter_cm(diameter_m)}),
        );
    }
    tables
}

/// Under the file's own tables, keys and units, with every default written out: what was in force.
///
/// What comes back by [`Deserialize`] is the same but for [`super::Dial::given`], which is then true.
impl Serialize for Setup {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        tables(self).serialize(serializer)
    }
}

/// With the checks of the file.
impl<'de> Deserialize<'de> for Setup {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = serde_json::Value::deserialize(deserializer)?;
        let text = toml::to_string(&value).map_err(serde::de::Error::custom)?;
        from_toml("setup", &text).map_err(|mut faults| {
            for fault in &mut faults.0 {
                // The lines are those of a text nobody has seen.
                fault.place = Place::File;
            }
            let each: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
            serde::de::Error::custom(each.join("; "))
        })
    }
}

/// What is in force, as the lines of a set-up file that says the same; remarks stand behind `#`.
pub fn in_force(setup: &Setup) -> Vec<String> {
    let default = Setup::default();
    let mut lines = Vec::new();
    let mut table = "";
    for field in FIELDS {
        let left_out = match field.table {
            "obstacle" => setup.obstacle.is_none(),
            "lane" => setup.lane.is_none(),
            _ => false,
        };
        if field.table != table {
            table = field.table;
            if left_out {
                lines.push(format!("# [{table}] is left out: there is none"));
            } else {
                lines.push(format!("[{table}]"));
            }
        }
        if !left_out {
            lines.extend(line(field, setup, &default));
        }
        if field.key == "wheel_diameter_cm" {
            for (label, &diameter_m) in &setup.wheels_diameter_m {
                lines.push(format!("[wheels.{}]", toml::Value::from(label.as_str())));
                lines.push(format!("diameter_cm = {}", wheels_diameter_cm(diameter_m)));
            }
        }
    }
    lines
}

fn line(field: &Field, setup: &Setup, default: &Setup) -> Option<String> {
    let key = field.key;
    let Some(value) = (field.get)(setup) else {
        return match (field.table, key) {
            ("event", "shortest_m") => Some(format!("# {key}: the shortest target in the log")),
            ("event", "longest_m") => Some(format!("# {key}: the longest target in the log")),
            ("obstacle", _) => None,
            _ => Some(format!("# {key}: not given")),
        };
    };
    let text = match value {
        Value::Number(number) => number.to_string(),
        Value::Word(word) => format!("\"{word}\""),
    };
    let remark = match (field.get)(default) {
        _ if field.table == "dial" && !setup.dial.given => "  # assumed",
        Some(usual) if usual == value => "  # the default",
        _ => "",
    };
    Some(format!("{key} = {text}{remark}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::{Counts, Measure, Side};

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
        assert_eq!((obstacle.right_m, obstacle.pass), (0.28, Side::Left));
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
    fn a_setup_in_json_is_checked_like_the_file() {
        let error =
            serde_json::from_str::<Setup>(r#"{"dial": {"ticks_per_turn": 0}}"#).unwrap_err();
        assert!(error.to_string().contains("ticks_per_turn"), "{error}");
        assert!(serde_json::from_str::<Setup>("[]").is_err());
        assert!(serde_json::from_str::<Setup>(r#"{"dial": null}"#).is_err());
    }
}
