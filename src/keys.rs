//! Set-up and truth files: their keys are described once, and read, checked and printed from that description.
//!
//! A struct that stands for a table is [`Keyed`]: it goes through its keys, each with a name, the field it fills and a
//! [`KeySpec`]: unit, range, and the words beside it. A visitor of the keys, [`Keys`], either takes the values from a
//! file, collecting every fault with its place ([`read`]), or lists the values there are ([`listing()`]). What a key
//! means is the business of [`crate::setup`] and [`crate::simulate`]; TOML, places and the wording of faults are known
//! here only.

mod listing;
mod reader;
mod value;

use std::collections::BTreeMap;

pub use listing::{KeyLine, listing, text};
pub use reader::read;
pub use value::{Value, Word, quoted};

use crate::units::{LengthUnit, Unit};

/// The known name most like `name`, when it is near enough to have been meant: a Jaro–Winkler similarity of at least
/// 0.7 (0 nothing in common, 1 equal), which a slip of the pen reaches and a different word does not.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for candidate in known {
        let likeness = strsim::jaro_winkler(&name, &candidate.to_lowercase());
        if likeness >= 0.7 && best.is_none_or(|(so_far, _)| likeness > so_far) {
            best = Some((likeness, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// A struct that stands for a table of a file.
pub trait Keyed {
    /// Goes through every key of the table, in the order in which they are printed.
    fn keys(&mut self, keys: &mut impl Keys);
}

/// Defines a struct that stands for a table: for each field its default, its key and the key's [`KeySpec`].
macro_rules! keyed {
    (
        $(#[$about:meta])*
        pub struct $table:ident {
            $($(#[$doc:meta])* $field:ident: $of:ty = $default:expr, $key:literal, $spec:expr;)*
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $table {
            $($(#[$doc])* pub $field: $of,)*
        }

        impl Default for $table {
            fn default() -> Self {
                $table { $($field: $default,)* }
            }
        }

        impl $crate::keys::Keyed for $table {
            fn keys(&mut self, keys: &mut impl $crate::keys::Keys) {
                $(keys.key($key, &mut self.$field, $spec);)*
            }
        }
    };
}
pub(crate) use keyed;

/// A visitor of the keys of a table: the reader of a file, or the list of what a file would say.
///
/// `says` is one line on a table, for a page that explains it.
pub trait Keys: Sized {
    /// Visits a key with a value.
    fn key<V: Value>(&mut self, name: &str, value: &mut V, spec: KeySpec);

    /// Visits a table, `[name]`. Where the file has none, the value stays as it is.
    fn table<T: Keyed>(&mut self, name: &str, value: &mut T, says: &'static str);

    /// Visits a table that may be left out and then is `None`. Where there is one, keys that it lacks are those of
    /// `blank`.
    fn optional_table<T: Keyed>(
        &mut self,
        name: &str,
        value: &mut Option<T>,
        blank: T,
        says: &'static str,
    );

    /// Visits any number of tables, each headed `[[name]]`; `example` is listed where there is none.
    fn tables<T: Keyed + Default>(
        &mut self,
        name: &str,
        list: &mut Vec<T>,
        example: T,
        says: &'static str,
    );

    /// Visits a table with names of the user's own; `entry` visits one of them, as a key or a table of that name.
    fn map<T: Default>(
        &mut self,
        name: &str,
        map: &mut BTreeMap<String, T>,
        entry: impl Fn(&mut Self, &str, &mut T),
    );

    /// Whether the file being read has `name`, whatever its value.
    fn is_given(&self, _name: &str) -> bool {
        false
    }

    /// Checks several keys together when a file is read: `faults` gives each key concerned (dotted, from this table)
    /// and what was expected of it.
    fn check(&mut self, _faults: impl FnOnce() -> Vec<(&'static str, String)>) {}
}

/// What a key may hold, in which unit, and the words beside it.
#[derive(Debug, Clone, Copy)]
pub struct KeySpec {
    /// Unit of the number in the file.
    pub unit: Unit,
    /// Least and greatest number, in the unit of the file.
    pub range: (f64, f64),
    /// The words of a key that holds one of some words, in the order of [`Word::ALL`].
    pub words: &'static [&'static str],
    /// What a fault says was expected; empty: made from the type, the range and the words.
    pub expected: &'static str,
    /// What a fault says where the key is missing from a table that is there; empty: it may be.
    pub needed: &'static str,
    /// One line on the key, for a page that explains it.
    pub says: &'static str,
    /// What a page shows where there is no value: words, or an example as TOML has it.
    pub without: &'static str,
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
        }
    }

    /// The spec of one of some words, which stand for the values of [`Word::ALL`] in its order.
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

    /// Every name the key may have, each with the range in its unit: a length may be written in any unit of length
    /// that the name says, `width_cm` also as `width_in`.
    fn spellings(self, name: &str) -> Vec<(String, KeySpec)> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fault::FaultPlace;
    use crate::units::Unit::{Length, Plain};

    /// A file with everything that a set-up or a truth may have, now or later.
    #[derive(Debug, Clone, Default, PartialEq)]
    struct Course {
        width_m: f64,
        gates: u32,
        days: Vec<jiff::civil::Date>,
        columns: BTreeMap<String, String>,
        lane: Option<Post>,
        obstacles: Vec<Post>,
    }

    #[derive(Debug, Clone, Default, PartialEq)]
    struct Post {
        right_m: f64,
        left: bool,
    }

    const CM: KeySpec = KeySpec::number(Length(LengthUnit::Cm), -50.0, 50.0);

    impl Keyed for Course {
        fn keys(&mut self, keys: &mut impl Keys) {
            keys.key("width_cm", &mut self.width_m, CM);
            let gates = KeySpec::number(Plain, 0.0, 99.0).expected("gates, 0 to 99");
            keys.key("gates", &mut self.gates, gates);
            keys.key("days", &mut self.days, KeySpec::TEXT);
            keys.map("columns", &mut self.columns, |keys, name, heading| {
                keys.key(name, heading, KeySpec::TEXT);
            });
            keys.optional_table("lane", &mut self.lane, Post::default(), "");
            keys.tables("obstacle", &mut self.obstacles, Post::default(), "posts");
        }
    }

    impl Keyed for Post {
        fn keys(&mut self, keys: &mut impl Keys) {
            let right = CM.needed("expected right_cm").says("across");
            keys.key("right_cm", &mut self.right_m, right);
            keys.key("pass", &mut self.left, KeySpec::words(&["left", "right"]));
        }
    }

    fn course(text: &str) -> Course {
        read("a.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
    }

    fn faults(text: &str) -> Vec<String> {
        let faults = read::<Course>("a.toml", text).expect_err(text);
        faults.0.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn lists_of_tables_and_maps_are_read_and_written() {
        let written = "width_cm = 7.1\ngates = 3\ndays = [2031-10-04, 2031-10-05]\n\
            [columns]\n\"long_cm\" = \"Abweichung längs\"\n\
            [[obstacle]]\nright_cm = 28\npass = \"left\"\n[[obstacle]]\nright_cm = -3\npass = \"right\"\n";
        let read = course(written);
        assert_eq!(read.columns["long_cm"], "Abweichung längs");
        let rights: Vec<f64> = read.obstacles.iter().map(|post| post.right_m).collect();
        assert_eq!(
            (rights.as_slice(), read.lane.is_none()),
            (&[0.28, -0.03][..], true)
        );
        assert_eq!(text(&read), written);
    }

    #[test]
    fn a_list_without_tables_is_listed_by_its_example() {
        let lines = listing(&Course::default());
        let head = lines.iter().find(|line| line.head == "[[obstacle]]");
        assert!(head.is_some_and(|head| !head.in_force && head.spec.says == "posts"));
        // Words are said of the first entry only.
        let lines = listing(&course(
            "[[obstacle]]\nright_cm = 1\n[[obstacle]]\nright_cm = 2\n",
        ));
        let words = lines
            .iter()
            .filter(|line| line.spec.says == "across" && line.in_force);
        assert_eq!(words.count(), 1);
    }

    #[test]
    fn every_fault_is_told_by_line_with_its_place() {
        let told = faults(
            "gates = -1\nwidth_cm = inf\ndays = \"2031-02-30\"\ncolumns = { a = 3 }\n[lane]\npass = \"over\"\n\
             [[obstacle]]\nright_cm = 3\n[[obstacle]]\n  rihgt_cm = 3\n[quite]\n",
        );
        for (told, start) in told.iter().zip([
            "a.toml, line 1, character 9, key gates: read \"-1\"; expected gates, 0 to 99",
            "a.toml, line 2, character 12, key width_cm: read \"inf\"; expected a number from -50 to 50",
            "a.toml, line 3, character 8, key days: read \"\"2031-02-30\"\"; expected a date like 2031-10-04, or a list of them",
            "a.toml, line 4, character 17, key columns.a: read \"3\"; expected a text in quotes",
            "a.toml, line 5, character 1, key lane.right_cm: expected right_cm",
            "a.toml, line 6, character 8, key lane.pass: read \"\"over\"\"; expected one of left, right",
            "a.toml, line 9, character 1, key obstacle.right_cm: expected right_cm",
            "a.toml, line 10, character 3, key obstacle.rihgt_cm: there is no such key; nearest is obstacle.right_cm",
            "a.toml, line 11, character 2, key quite: there is no such key; known here: width_cm, gates, days",
        ]) {
            assert!(told.starts_with(start), "{told}");
        }
        assert_eq!(told.len(), 9, "{told:#?}");
        assert!(faults("lane = 3")[0].contains("expected a table, [lane]"));
        assert!(faults("obstacle = [1]")[0].contains("each headed [[obstacle]]"));
    }

    #[test]
    fn a_length_may_be_written_in_any_unit() {
        for same in [
            "width_m = 0.0254",
            "width_mm = 25.4",
            "width_in = 1",
            "width_cm = 2.54",
        ] {
            assert_eq!(course(same).width_m, 0.0254, "{same}");
        }
        assert!(faults("width_ft = 2")[0].contains("a number from -1.6404 to 1.6404"));
        assert!(faults("width_cm = 1\nwidth_in = 2")[0].contains("width_cm or width_in, not both"));
    }

    #[test]
    fn a_whole_number_will_do_for_a_number_but_not_the_other_way_round() {
        let read = course("width_cm = 2\ngates = 0x10");
        assert_eq!((read.width_m, read.gates), (0.02, 16));
        assert_eq!(faults("gates = 2.5").len(), 1);
    }

    #[test]
    fn text_that_is_not_toml_is_placed() {
        let faults = read::<Course>("a.toml", "gates = 1\nb = = 2\n").expect_err("two equal signs");
        let (line, character) = (2, 5);
        assert_eq!(faults.0[0].place, FaultPlace::Character { line, character });
    }

    #[test]
    fn a_far_off_word_has_no_nearest() {
        assert_eq!(nearest("colour", ["lead_turns", "build"]), None);
        assert_eq!(
            nearest("Lead_turn", ["lead_turns", "build"]),
            Some("lead_turns")
        );
    }
}
