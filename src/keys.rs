//! Set-up and truth files: their keys are described once, and read, checked and printed from that description.
//!
//! A struct that stands for a table is [`Keyed`]: it goes through its keys, each with a name, the field it fills and a
//! [`KeySpec`]: unit, range, and the words beside it. A visitor of the keys, [`Keys`], either takes the values from a
//! file, collecting every fault with its place ([`read`]), or lists the values there are ([`listing()`]). What a key
//! means is the business of [`crate::setup`] and [`crate::simulate`]; TOML, places and the wording of faults are known
//! here only.

mod listing;
mod nearest;
mod reader;
mod spec;
mod table;
mod value;

pub use listing::{KeyLine, listing, page, text};
pub use nearest::{is_a_slip, misspelt, nearest};
pub use reader::{read, read_over};
pub use spec::KeySpec;
pub(crate) use table::keyed;
pub use table::{Keyed, Keys};
pub use value::{Value, Word, quoted};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fault::FaultPlace;
    use crate::units::LengthUnit;
    use crate::units::Unit::{Length, Plain};
    use std::collections::BTreeMap;

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
            "a.toml, line 3, character 8, key days: read \"2031-02-30\"; expected a date like 2031-10-04, or a list of them",
            "a.toml, line 4, character 17, key columns.a: read \"3\"; expected a text in quotes",
            "a.toml, line 5, character 1, key lane.right_cm: expected right_cm",
            "a.toml, line 6, character 8, key lane.pass: read \"over\"; expected one of left, right",
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
    fn a_decimal_comma_is_answered_with_the_line_as_it_should_be() {
        for text in [
            "gates = 1\nwidth_cm = 17,5\n",
            "\nwidth_cm=17,5 # wide",
            "gates = 1\nwidth_cm = -17,5",
        ] {
            let told = faults(text);
            let [told] = told.as_slice() else {
                panic!("{told:?}")
            };
            assert!(told.starts_with("a.toml, line 2"), "{told}");
            assert!(
                told.contains("write a point: ") && told.ends_with("17.5"),
                "{told}"
            );
        }
        assert!(!faults("days = [1,5")[0].contains("a point"));
    }

    #[test]
    fn keys_below_a_heading_that_is_a_comment_are_one_fault_that_names_it() {
        let text = "width_cm = 1\n# [lane] # none\nright_cm = 2\npass = \"left\"\n";
        let told = faults(text);
        let [told] = told.as_slice() else {
            panic!("{told:?}")
        };
        assert!(told.contains("line 3"), "{told}");
        assert!(told.contains("right_cm belongs under [lane]"), "{told}");
        assert!(
            told.contains("take the # away before [lane] in line 2"),
            "{told}"
        );
        // Under a heading that is none of the file's the advice would be wrong, as it would be far below.
        assert!(faults("# [thoughts]\nrihgt = 2\n")[0].contains("no such key"));
        let far = faults("# [obstacle]\n[lane]\nright_cm = 1\nquite = 2\n");
        assert!(far[0].contains("no such key"), "{far:?}");
    }

    #[test]
    fn an_entry_that_cannot_be_read_is_one_fault() {
        assert_eq!(faults("[columns]\na = 3\n").len(), 1);
    }

    #[test]
    fn a_far_off_word_has_no_nearest() {
        assert_eq!(nearest("colour", ["lead_turns", "build"]), None);
        assert_eq!(nearest("fti", ["dial", "fit"]), Some("fit"));
        assert_eq!(nearest("zzz", ["dial", "fit"]), None);
        assert_eq!(misspelt("recoli", ["ok", "recoil"]), Some("recoil"));
        assert_eq!(misspelt("bounced", ["recoil", "touched"]), None);
        assert_eq!(
            nearest("Lead_turn", ["lead_turns", "build"]),
            Some("lead_turns")
        );
    }
}
