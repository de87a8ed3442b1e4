//! The set-up reader, on any text.

use haltmark::setup::{Setup, from_toml, in_force};

use super::faults_are_sound;

/// Reads a set-up, and again what it says is in force.
pub fn check(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    read(text);
}

/// The set-up of a text, if it is one.
pub fn read(text: &str) -> Option<Setup> {
    match from_toml("setup.toml", text) {
        Err(faults) => {
            assert!(faults.any_error());
            faults_are_sound(&faults, "setup.toml");
            None
        }
        Ok(setup) => {
            let printed = in_force(&setup).join("\n");
            let mut again = from_toml("again.toml", &printed)
                .unwrap_or_else(|faults| panic!("{faults}\n{printed}"));
            // What was assumed is printed as a key of the file.
            again.dial.source = setup.dial.source;
            assert_eq!(in_force(&again).join("\n"), printed);
            Some(setup)
        }
    }
}
