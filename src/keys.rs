//! Reads a TOML file key by key: values checked as they are taken, unknown keys named with the nearest known one.
//!
//! What a key means is the caller's business ([`crate::setup`], [`crate::simulate`]); this file knows TOML,
//! places and wording. Every fault of a file is collected, so that one pass reports them all.

use std::cell::RefCell;
use std::ops::RangeInclusive;

use jiff::civil::Date;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::fault::{Fault, Faults, Place};

/// The known name most like `name`, when it is near enough to have been meant.
///
/// Near enough: a Jaro–Winkler likeness of at least 0.7 (0 nothing in common, 1 the same), so that a slip of the
/// pen is recognised and a different word is not.
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

/// A file being read: its name, its text and the faults found so far.
pub struct Source<'t> {
    file: &'t str,
    text: &'t str,
    faults: RefCell<Vec<Fault>>,
}

impl<'t> Source<'t> {
    /// A file of that name (as given on the command line) holding that text.
    pub fn new(file: &'t str, text: &'t str) -> Self {
        Source {
            file,
            text: text.strip_prefix('\u{feff}').unwrap_or(text),
            faults: RefCell::new(Vec::new()),
        }
    }

    /// The file as a table.
    ///
    /// # Errors
    /// What is not TOML, with line and the parser's reason.
    pub fn parse(&self) -> Result<Spanned<DeTable<'t>>, Faults> {
        DeTable::parse(self.text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let why = format!("this is not TOML: {}", error.message());
            Fault::error(self.file, why).at(self.place(at)).into()
        })
    }

    /// All faults so far, by line.
    pub fn into_faults(self) -> Faults {
        let mut faults = self.faults.into_inner();
        faults.sort_by(|a, b| a.place.cmp(&b.place));
        Faults(faults)
    }

    /// Line and character of a byte, both counted from 1.
    fn place(&self, byte: usize) -> Place {
        let before = self.text.get(..byte).unwrap_or(self.text);
        let start_of_line = before.rfind('\n').map_or(0, |end| end + 1);
        Place::Character {
            line: 1 + before.matches('\n').count(),
            character: 1 + before[start_of_line..].chars().count(),
        }
    }
}

/// One table of the file. Keys are asked for by name; [`Keys::finish`] reports those nobody asked for.
pub struct Keys<'s, 't, 'd> {
    source: &'s Source<'t>,
    table: Option<&'d DeTable<'t>>,
    path: String,
    at: usize,
    asked: Vec<&'static str>,
}

impl<'s, 't, 'd> Keys<'s, 't, 'd> {
    /// The outermost table.
    pub fn root(source: &'s Source<'t>, document: &'d Spanned<DeTable<'t>>) -> Self {
        Keys {
            source,
            table: Some(document.get_ref()),
            path: String::new(),
            at: 0,
            asked: Vec::new(),
        }
    }

    /// Whether the table stands in the file at all.
    pub fn is_given(&self) -> bool {
        self.table.is_some()
    }

    /// Every key of the table, for tables whose keys are the user's own labels.
    pub fn names(&self) -> Vec<&'d str> {
        self.table
            .map(|table| table.keys().map(|key| key.get_ref().as_ref()).collect())
            .unwrap_or_default()
    }

    /// Whether the table has `key`, whatever its value.
    pub fn has(&self, key: &str) -> bool {
        self.table.is_some_and(|table| table.contains_key(key))
    }

    fn take(&mut self, key: &'static str) -> Option<&'d Spanned<DeValue<'t>>> {
        self.asked.push(key);
        self.table?.get(key)
    }

    /// The table under `key`; one without keys where the file has none.
    pub fn table(&mut self, key: &'static str) -> Keys<'s, 't, 'd> {
        let value = self.take(key);
        self.inner(key, value)
    }

    /// The table under a label of the user's own.
    pub fn labelled_table(&self, label: &str) -> Keys<'s, 't, 'd> {
        let value = self.table.and_then(|table| table.get(label));
        self.inner(label, value)
    }

    fn inner(&self, key: &str, value: Option<&'d Spanned<DeValue<'t>>>) -> Keys<'s, 't, 'd> {
        let table = value.and_then(|value| {
            let table = value.get_ref().as_table();
            if table.is_none() {
                self.fault(
                    key,
                    value,
                    format!("expected a table, [{}]", self.full(key)),
                );
            }
            table
        });
        Keys {
            source: self.source,
            table,
            path: self.full(key),
            at: value.map_or(self.at, |value| value.span().start),
            asked: Vec::new(),
        }
    }

    /// The tables of `[[key]]`, in the order of the file.
    pub fn tables(&mut self, key: &'static str) -> Vec<Keys<'s, 't, 'd>> {
        let Some(value) = self.take(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            self.fault(
                key,
                value,
                format!("expected tables, each headed [[{key}]]"),
            );
            return Vec::new();
        };
        array
            .iter()
            .map(|item| self.inner(key, Some(item)))
            .collect()
    }

    /// A number within `range`; `what` words the expectation ("a length in cm above 0").
    pub fn number(
        &mut self,
        key: &'static str,
        range: RangeInclusive<f64>,
        what: &str,
    ) -> Option<f64> {
        let value = self.take(key)?;
        let number = as_number(value.get_ref()).filter(|number| range.contains(number));
        if number.is_none() {
            self.fault(key, value, format!("expected {what}"));
        }
        number
    }

    /// A whole number within `range`.
    pub fn whole(
        &mut self,
        key: &'static str,
        range: RangeInclusive<i64>,
        what: &str,
    ) -> Option<i64> {
        let value = self.take(key)?;
        let whole = as_whole(value.get_ref()).filter(|whole| range.contains(whole));
        if whole.is_none() {
            self.fault(key, value, format!("expected {what}"));
        }
        whole
    }

    /// A list of numbers, each within `range`; a single number is a list of one.
    pub fn numbers(
        &mut self,
        key: &'static str,
        range: RangeInclusive<f64>,
        what: &str,
    ) -> Option<Vec<f64>> {
        self.list(key, what, |item| {
            as_number(item).filter(|number| range.contains(number))
        })
    }

    /// A list of whole numbers, each within `range`; a single one is a list of one.
    pub fn wholes(
        &mut self,
        key: &'static str,
        range: RangeInclusive<i64>,
        what: &str,
    ) -> Option<Vec<i64>> {
        self.list(key, what, |item| {
            as_whole(item).filter(|whole| range.contains(whole))
        })
    }

    /// A list of texts without spaces round them; a single text is a list of one.
    pub fn texts(&mut self, key: &'static str) -> Option<Vec<String>> {
        self.list(key, "a text, or a list of texts", |item| {
            Some(item.as_str()?.trim().to_string())
        })
    }

    fn list<T>(
        &mut self,
        key: &'static str,
        what: &str,
        read: impl Fn(&DeValue) -> Option<T>,
    ) -> Option<Vec<T>> {
        let value = self.take(key)?;
        let list = match value.get_ref().as_array() {
            Some(array) => array.iter().map(|item| read(item.get_ref())).collect(),
            None => read(value.get_ref()).map(|only| vec![only]),
        };
        if list.is_none() {
            self.fault(key, value, format!("expected {what}"));
        }
        list
    }

    /// A list of ISO 8601 dates, in quotes or not; a single one is a list of one.
    pub fn dates(&mut self, key: &'static str) -> Option<Vec<Date>> {
        self.list(key, "a date like 2031-10-04", |item| {
            match item {
                DeValue::Datetime(datetime) => datetime.to_string(),
                _ => item.as_str()?.trim().to_string(),
            }
            .parse()
            .ok()
        })
    }

    /// A text without the spaces round it.
    pub fn text(&mut self, key: &'static str) -> Option<String> {
        let value = self.take(key)?;
        let text = value.get_ref().as_str().map(|text| text.trim().to_string());
        if text.is_none() {
            self.fault(key, value, "expected a text in quotes".to_string());
        }
        text
    }

    /// `true` or `false`.
    pub fn flag(&mut self, key: &'static str) -> Option<bool> {
        let value = self.take(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.fault(key, value, "expected true or false".to_string());
        }
        flag
    }

    /// One of the `choices`, by its word.
    pub fn choice<T: Copy>(&mut self, key: &'static str, choices: &[(&str, T)]) -> Option<T> {
        let value = self.take(key)?;
        let word = value.get_ref().as_str().unwrap_or_default().trim();
        let chosen = choices.iter().find(|(name, _)| *name == word);
        if chosen.is_none() {
            let names: Vec<_> = choices.iter().map(|(name, _)| *name).collect();
            self.fault(key, value, format!("expected one of {}", names.join(", ")));
        }
        chosen.map(|&(_, meaning)| meaning)
    }

    /// Reports the keys that nobody asked for.
    pub fn finish(self) {
        let Some(table) = self.table else { return };
        for key in table.keys() {
            let name: &str = key.get_ref();
            if self.asked.contains(&name) {
                continue;
            }
            let expected = match nearest(name, self.asked.iter().copied()) {
                Some(near) => format!("there is no such key; nearest is {}", self.full(near)),
                None => format!(
                    "there is no such key; known here: {}",
                    self.asked.join(", ")
                ),
            };
            let place = self.source.place(key.span().start);
            self.push(place, name, None, expected);
        }
    }

    /// Reports something wrong with `key` that only its meaning tells, e.g. two keys that exclude each other.
    pub fn refuse(&self, key: &str, expected: impl Into<String>) {
        let entry = self.table.and_then(|table| table.get_key_value(key));
        let at = entry.map_or(self.at, |(key, _)| key.span().start);
        let place = self.source.place(at);
        self.push(place, key, None, expected.into());
    }

    fn fault(&self, key: &str, value: &Spanned<DeValue<'t>>, expected: String) {
        let span = value.span();
        let place = self.source.place(span.start);
        let read = self.source.text.get(span).unwrap_or_default();
        self.push(place, key, Some(read.to_string()), expected);
    }

    fn push(&self, place: Place, key: &str, read: Option<String>, expected: String) {
        let fault = Fault::error(self.source.file, expected).at(place);
        let fault = fault.column(self.full(key));
        let mut faults = self.source.faults.borrow_mut();
        faults.push(Fault { read, ..fault });
    }

    fn full(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_string()
        } else {
            format!("{}.{key}", self.path)
        }
    }
}

/// A finite number, written with or without a point.
fn as_number(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Float(float) => float.as_str().parse().ok(),
        DeValue::Integer(_) => as_whole(value).map(|whole| whole as f64),
        _ => None,
    }
    .filter(|number: &f64| number.is_finite())
}

fn as_whole(value: &DeValue) -> Option<i64> {
    let integer = value.as_integer()?;
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults_of(text: &str, read: impl Fn(&mut Keys)) -> Vec<String> {
        let source = Source::new("a.toml", text);
        let document = source.parse().expect("the text of this test is TOML");
        let mut keys = Keys::root(&source, &document);
        read(&mut keys);
        keys.finish();
        drop(document);
        let faults = source.into_faults();
        faults.0.iter().map(|fault| fault.to_string()).collect()
    }

    #[test]
    fn an_unknown_key_is_named_with_line_and_nearest() {
        let faults = faults_of("[dial]\n\ntick_per_turn = 20\n", |keys| {
            let mut dial = keys.table("dial");
            dial.whole("ticks_per_turn", 1..=1000, "a whole number");
            dial.finish();
        });
        assert_eq!(faults.len(), 1);
        assert!(faults[0].contains("line 3"), "{}", faults[0]);
        assert!(faults[0].contains("dial.ticks_per_turn"), "{}", faults[0]);
    }

    #[test]
    fn every_fault_is_reported_in_order_of_lines() {
        let faults = faults_of("b = -1\na = inf\nc = \"x\"\n", |keys| {
            assert_eq!(keys.number("a", 0.0..=9.0, "a number"), None);
            assert_eq!(keys.number("b", 0.0..=9.0, "a number"), None);
            assert_eq!(keys.flag("c"), None);
        });
        assert_eq!(faults.len(), 3);
        for (fault, line) in faults.iter().zip(["line 1", "line 2", "line 3"]) {
            assert!(fault.contains(line), "{fault}");
        }
    }

    #[test]
    fn a_whole_number_will_do_for_a_number_but_not_the_other_way_round() {
        let faults = faults_of("a = 2\nb = 2.5\nc = 0x10", |keys| {
            assert_eq!(keys.number("a", 0.0..=9.0, "a number"), Some(2.0));
            assert_eq!(keys.whole("b", 0..=9, "a whole number"), None);
            assert_eq!(keys.whole("c", 0..=99, "a whole number"), Some(16));
        });
        assert_eq!(faults.len(), 1);
    }

    #[test]
    fn a_date_may_stand_in_quotes_or_not() {
        let faults = faults_of(
            "a = [2031-10-04, \"2031-10-05\"]\nb = \"2031-02-30\"\n",
            |keys| {
                let dates = keys.dates("a").expect("two dates");
                assert_eq!(
                    dates[1],
                    dates[0].tomorrow().expect("not the last day of time")
                );
            },
        );
        assert_eq!(faults.len(), 1, "{faults:?}");
    }

    #[test]
    fn text_that_is_not_toml_is_placed() {
        let source = Source::new("a.toml", "a = 1\nb = = 2\n");
        let faults = source.parse().expect_err("two equal signs").0;
        assert_eq!(
            faults[0].place,
            Place::Character {
                line: 2,
                character: 5
            }
        );
    }

    #[test]
    fn a_table_may_be_missing_or_not_a_table() {
        let faults = faults_of("event = 3", |keys| {
            assert!(!keys.table("lane").is_given());
            assert!(!keys.table("event").is_given());
        });
        assert_eq!(faults.len(), 1);
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
