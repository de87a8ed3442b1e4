//! What a key may hold, and the words beside it.

use crate::units::{LengthUnit, Unit};

/// What a key may hold, in which unit, and the words beside it.
#[derive(Debug, Clone, Copy)]
pub struct KeySpec {
    /// Unit of the number in the file.
    pub unit: Unit,
    /// Least and greatest number, in the unit of the file.
    pub range: (f64, f64),
    /// The words of a key that holds one of some words, in the order of [`Word::ALL`](super::Word::ALL).
    pub words: &'static [&'static str],
    /// What a fault says was expected; empty: made from the type, the range and the words.
    pub expected: &'static str,
    /// What a fault says where the key is missing from a table that is there; empty: it may be.
    pub needed: &'static str,
    /// One line on the key, for a page that explains it.
    pub says: &'static str,
    /// What a page shows where there is no value: words, or an example as TOML has it.
    pub without: &'static str,
    /// A value as TOML has it, for a key whose value nobody but the user knows: a file to fill in shows the key with it, as
    /// a comment. Empty for keys with a default that will do.
    pub example: &'static str,
}

impl KeySpec {
    /// The spec of any text, date or list of them.
    pub const TEXT: KeySpec = KeySpec::number(Unit::Plain, f64::NEG_INFINITY, f64::INFINITY);

    /// The spec of a number in a unit, from `least` to `most` (both in that unit).
    pub const fn number(unit: Unit, least: f64, most: f64) -> KeySpec {
        KeySpec {
            unit,
            range: (least, most),
            words: &[],
            expected: "",
            needed: "",
            says: "",
            without: "",
            example: "",
        }
    }

    /// The spec of one of some words, which stand for the values of [`Word::ALL`](super::Word::ALL) in its order.
    pub const fn words(words: &'static [&'static str]) -> KeySpec {
        KeySpec {
            words,
            ..KeySpec::TEXT
        }
    }

    /// The spec with words of its own for what is expected.
    pub const fn expected(self, expected: &'static str) -> KeySpec {
        KeySpec { expected, ..self }
    }

    /// The spec of a key that its table must have, with what is said when it is missing.
    pub const fn needed(self, needed: &'static str) -> KeySpec {
        KeySpec { needed, ..self }
    }

    /// The spec with one line that explains the key.
    pub const fn says(self, says: &'static str) -> KeySpec {
        KeySpec { says, ..self }
    }

    /// The spec with what is shown where there is no value.
    pub const fn without(self, without: &'static str) -> KeySpec {
        KeySpec { without, ..self }
    }

    /// The spec of a key that only the user can tell, with a value that shows how it is written.
    pub const fn example(self, example: &'static str) -> KeySpec {
        KeySpec { example, ..self }
    }

    /// Every name the key may have, each with the range in its unit: a length may be written in any unit of length
    /// that the name says, `width_cm` also as `width_in`.
    pub(super) fn spellings(self, name: &str) -> Vec<(String, KeySpec)> {
        if let Unit::Length(own) = self.unit
            && let Some(stem) = name.strip_suffix(own.suffix())
            && stem.ends_with('_')
        {
            let spelt = |unit: LengthUnit| {
                let other = |bound| unit.from_m(own.to_m(bound));
                let range = match unit == own {
                    true => self.range,
                    false => (other(self.range.0), other(self.range.1)),
                };
                let spec = KeySpec {
                    unit: Unit::Length(unit),
                    range,
                    ..self
                };
                (format!("{stem}{}", unit.suffix()), spec)
            };
            LengthUnit::ALL.into_iter().map(spelt).collect()
        } else {
            vec![(name.to_string(), self)]
        }
    }
}
