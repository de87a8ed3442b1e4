//! Prints a truth as a file to edit, with a word on every key.

use std::ops::RangeInclusive;

use jiff::civil::Date;

use super::truth::Truth;
use super::truth_keys::{self, Kind, Visitor};
use super::write::status_word;
use crate::log::run::Status;
use crate::units::at_most_decimals;

/// Column at which the words beside the keys begin.
const WORDS_AT: usize = 40;

/// What stands at the top of the page.
const HEAD: &str = "\
# A truth file: how an invented vehicle really behaves. Edit it, save it, and
#   haltmark simulate --truth FILE --out LOG
# writes a season of runs made from it. Any key may be left out; it then is what stands here.
# A line that starts with # is not read: take the # away to use it.

";

/// The file: reading it again gives `truth`.
pub fn page(truth: &Truth) -> String {
    let mut printer = Printer {
        text: HEAD.to_string(),
        only_example: false,
        in_list: false,
    };
    truth_keys::truth(&mut printer, &mut truth.clone());
    printer.text
}

struct Printer {
    text: String,
    /// Inside a table that is shown but not in force.
    only_example: bool,
    /// Inside an entry of a list of tables, where words would be said over and over.
    in_list: bool,
}

impl Printer {
    fn line(&mut self, in_force: bool, text: &str, says: &str) {
        let mark = if in_force && !self.only_example {
            ""
        } else {
            "# "
        };
        let text = format!("{mark}{text}");
        self.text.push_str(&text);
        if !says.is_empty() && !self.in_list {
            let wide = text.chars().count();
            self.text
                .push_str(&" ".repeat(WORDS_AT.saturating_sub(wide).max(2)));
            self.text.push_str("# ");
            self.text.push_str(says);
        }
        self.text.push('\n');
    }

    fn value(&mut self, key: &str, value: impl std::fmt::Display, says: &str) {
        self.line(true, &format!("{key} = {value}"), says);
    }

    fn heading(&mut self, text: &str, says: &str) {
        self.text.push('\n');
        self.line(true, text, says);
    }
}

/// A number as a person would write it. Twelve decimals: units turned out and in again give the same number, and
/// 0.235 × 100 is printed 23.5.
fn number(value: f64) -> String {
    at_most_decimals(value, 12)
}

fn list<T>(values: &[T], write: impl Fn(&T) -> String) -> String {
    let written: Vec<String> = values.iter().map(write).collect();
    format!("[{}]", written.join(", "))
}

/// A text in quotes, as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

fn one_or_list(values: &[usize]) -> String {
    match values {
        [only] => only.to_string(),
        _ => list(values, usize::to_string),
    }
}

impl Visitor for Printer {
    fn number(&mut self, key: &'static str, value: &mut f64, kind: Kind, says: &str) {
        self.value(key, number(kind.unit.outward(*value)), says);
    }

    fn maybe(
        &mut self,
        key: &'static str,
        value: &mut Option<f64>,
        example: f64,
        kind: Kind,
        says: &str,
    ) {
        let shown = value.map_or(example, |value| kind.unit.outward(value));
        let text = format!("{key} = {}", number(shown));
        self.line(value.is_some(), &text, says);
    }

    fn numbers(&mut self, key: &'static str, value: &mut Vec<f64>, kind: Kind, says: &str) {
        let text = list(value, |value| number(kind.unit.outward(*value)));
        self.value(key, text, says);
    }

    fn whole(
        &mut self,
        key: &'static str,
        value: &mut usize,
        _range: RangeInclusive<i64>,
        says: &str,
    ) {
        self.value(key, value, says);
    }

    fn wholes(&mut self, key: &'static str, value: &mut Vec<usize>, _least: i64, says: &str) {
        self.value(key, one_or_list(value), says);
    }

    fn maybe_wholes(&mut self, key: &'static str, value: &mut Option<Vec<usize>>, says: &str) {
        let shown = value.as_deref().unwrap_or(&[8]);
        let text = format!("{key} = {}", one_or_list(shown));
        self.line(value.is_some(), &text, says);
    }

    fn text(&mut self, key: &'static str, value: &mut String, says: &str) {
        self.value(key, quoted(value), says);
    }

    fn maybe_text(
        &mut self,
        key: &'static str,
        value: &mut Option<String>,
        example: &str,
        says: &str,
    ) {
        let text = format!("{key} = {}", quoted(value.as_deref().unwrap_or(example)));
        self.line(value.is_some(), &text, says);
    }

    fn texts(&mut self, key: &'static str, value: &mut Vec<String>, says: &str) {
        if value.len() < 2 {
            self.value(key, list(value, |text| quoted(text)), says);
            return;
        }
        self.line(true, &format!("{key} = ["), says);
        for text in value.iter() {
            self.line(true, &format!("  {},", quoted(text)), "");
        }
        self.line(true, "]", "");
    }

    fn maybe_date(&mut self, key: &'static str, value: &mut Option<Date>, says: &str) {
        let shown = value.map_or("2031-10-04".to_string(), |date| date.to_string());
        self.line(value.is_some(), &format!("{key} = {shown}"), says);
    }

    fn dates(&mut self, key: &'static str, value: &mut Vec<Date>, says: &str) {
        self.value(key, list(value, Date::to_string), says);
    }

    fn either(&mut self, key: &'static str, value: &mut bool, words: (&str, &str), says: &str) {
        let word = if *value { words.0 } else { words.1 };
        self.value(key, quoted(word), says);
    }

    fn status(&mut self, key: &'static str, value: &mut Option<Status>, says: &str) {
        let word = status_word(value.unwrap_or(Status::Void));
        self.line(value.is_some(), &format!("{key} = {}", quoted(word)), says);
    }

    fn table<T>(
        &mut self,
        key: &'static str,
        value: &mut T,
        visit: fn(&mut Self, &mut T),
        says: &str,
    ) {
        self.heading(&format!("[{key}]"), says);
        visit(self, value);
    }

    fn maybe_table<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Option<T>,
        visit: fn(&mut Self, &mut T),
        says: &str,
    ) {
        self.only_example = value.is_none();
        let mut shown = value.take().unwrap_or_default();
        self.table(key, &mut shown, visit, says);
        self.only_example = false;
    }

    fn tables<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Vec<T>,
        example: T,
        visit: fn(&mut Self, &mut T),
        says: &str,
    ) {
        let mut shown = std::mem::take(value);
        self.only_example = shown.is_empty();
        if shown.is_empty() {
            shown.push(example);
        }
        for mut entry in shown {
            self.heading(&format!("[[{key}]]"), says);
            visit(self, &mut entry);
            self.in_list = true;
        }
        self.only_example = false;
        self.in_list = false;
    }
}
