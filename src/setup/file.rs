//! Reading of the set-up file, and the set-up in force as lines of such a file; its keys are in `tables.rs`.

use std::path::Path;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};

use super::tables::{Setup, TicksSource};
use crate::error::Error;
use crate::fault::{FaultPlace, Faults, read_text};
use crate::keys::{self, KeyLine};

/// The largest set-up file that is read; a real one has a hundred lines.
const LARGEST_FILE_BYTES: u64 = 1 << 20;

/// Reads a set-up file.
///
/// # Errors
/// [`Error::Input`] with every fault of the file: unknown keys with the nearest known one, values out of range,
/// keys that need one another.
pub fn read(path: &Path) -> Result<Setup, Error> {
    read_over(path, Setup::default())
}

/// Reads a set-up file over another set-up: what the file does not say is that of `base`.
///
/// # Errors
/// Those of [`read`].
pub fn read_over(path: &Path, base: Setup) -> Result<Setup, Error> {
    let name = path.display().to_string();
    let text = read_text(path, LARGEST_FILE_BYTES, "a set-up file")?;
    Ok(keys::read_over(&name, &text, base)?)
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

/// Key beside `ticks_per_turn`, in a calibration only, of a number that was assumed.
const ASSUMED: &str = "assumed";

/// The set-up that was in force, with the file's tables, keys and units and every default written out; under `dial` also
/// whether the number of ticks was `assumed`, and no such table where nothing knows of ticks.
///
/// [`Deserialize`] gives back an equal set-up.
impl Serialize for Setup {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut table: toml::Table =
            toml::from_str(&keys::text(self)).map_err(ser::Error::custom)?;
        match (self.dial.source, table.get_mut("dial")) {
            (TicksSource::Unknown, _) => {
                table.remove("dial");
            }
            (TicksSource::Assumed, Some(toml::Value::Table(dial))) => {
                dial.insert(ASSUMED.to_string(), true.into());
            }
            _ => {}
        }
        table.serialize(serializer)
    }
}

/// Reads what [`Serialize`] wrote, with the checks of a set-up file.
impl<'de> Deserialize<'de> for Setup {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let mut value = serde_json::Value::deserialize(deserializer)?;
        let dial = value.get_mut("dial").and_then(|dial| dial.as_object_mut());
        let assumed = dial.and_then(|dial| dial.remove(ASSUMED));
        let text = toml::to_string(&value).map_err(de::Error::custom)?;
        let mut setup = from_toml("setup", &text).map_err(|mut faults| {
            for fault in &mut faults.0 {
                // The lines are those of a text made here, which no reader has seen.
                fault.place = FaultPlace::File;
            }
            let each: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
            de::Error::custom(each.join("; "))
        })?;
        if assumed == Some(true.into()) {
            setup.dial.source = TicksSource::Assumed;
        }
        Ok(setup)
    }
}

/// What stands at the top of the set-up file to fill in.
const HEAD: &str = "\
# Set-up file: what the log cannot say. Give it to every command that reads the log:
#   haltmark fit LOG --setup THIS-FILE
# Behind each setting stands what it is; settings without a # in front hold as they stand.
# A line that starts with # is not read: where it holds a setting, nobody but you knows its value. Measure it, write it
# down, and take the # away (in front of the [name] above it too).
# A length may be in any unit that its name says: width_in instead of width_cm.
";

/// A set-up file to fill in: every setting with what it is, those that only the user can tell as comments with an example.
/// Reading it gives the defaults.
pub fn page() -> String {
    let usual = Setup::default();
    let mut example = usual.clone();
    example
        .columns
        .insert("long_cm".to_string(), "Past the target".to_string());
    example.wheels_diameter_m.insert("foam".to_string(), 0.071);
    HEAD.to_string() + &keys::page(&example, &usual)
}

/// What a set-up says that is not the default, by name: keys, and tables that stand for something there may be none of.
pub fn told(setup: &Setup) -> Vec<String> {
    let usual = keys::listing(&Setup::default());
    let mut told: Vec<String> = Vec::new();
    for line in keys::listing(setup).into_iter().filter(|l| l.in_force) {
        let same = |usual: &&KeyLine| (&usual.head, &usual.key) == (&line.head, &line.key);
        let by_default = usual.iter().find(same).filter(|usual| usual.in_force);
        let name = match by_default {
            None => line.head,
            Some(_) if line.key == "ticks_per_turn" && setup.dial.is_told() => line.key,
            Some(usual) if usual.value != line.value => line.key,
            Some(_) => continue,
        };
        if !told.contains(&name) {
            told.push(name);
        }
    }
    told
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
            Some(value) if head == "[dial]" && setup.dial.is_assumed() => {
                lines.push(format!("{key} = {value}  # assumed"));
            }
            Some(_) if head == "[dial]" && !setup.dial.is_told() => {
                lines.push(format!(
                    "# {key}: not given; without ticks settings are decimal turns"
                ));
            }
            Some(value) => {
                let by_default = usual.iter().any(|usual| {
                    usual.in_force
                        && (&usual.head, &usual.key) == (head, key)
                        && usual.value.as_ref() == Some(value)
                });
                let remark = if by_default { "  # the default" } else { "" };
                lines.push(format!("{key} = {value}{remark}"));
            }
        }
    }
    lines
}
