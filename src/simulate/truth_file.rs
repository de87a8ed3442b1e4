//! Reads a truth file. Every key has a default; an unknown one is an error that names the nearest.

use std::ops::RangeInclusive;

use jiff::civil::Date;

use super::truth::Truth;
use super::truth_keys::{self, Kind, MOST, Visitor};
use super::write::status_word;
use crate::fault::Faults;
use crate::keys::{Keys, Source};
use crate::log::run::Status;

impl Truth {
    /// The truth that a file says.
    ///
    /// * `file` — its name, for messages
    /// * `text` — what stands in it
    ///
    /// # Errors
    /// Every fault of the file, with its line.
    pub fn from_toml(file: &str, text: &str) -> Result<Truth, Faults> {
        let source = Source::new(file, text);
        let document = source.parse()?;
        let mut truth = Truth::default();
        let mut reader = Reader {
            open: vec![Keys::root(&source, &document)],
        };
        truth_keys::truth(&mut reader, &mut truth);
        let root = reader.open.pop().expect("the root was opened first");
        for (table, expected) in truth.faults() {
            root.refuse(table, expected);
        }
        root.finish();
        drop(document);
        let faults = source.into_faults();
        if faults.any_error() {
            Err(faults)
        } else {
            Ok(truth)
        }
    }

    /// The truth as a file to edit, with a word on every key; reading it gives the truth again.
    pub fn to_toml(&self) -> String {
        super::truth_page::page(self)
    }
}

/// Takes what the file says; what it does not say stays as it is.
struct Reader<'s, 't, 'd> {
    /// The tables being read, the innermost last.
    open: Vec<Keys<'s, 't, 'd>>,
}

impl<'s, 't, 'd> Reader<'s, 't, 'd> {
    fn keys(&mut self) -> &mut Keys<'s, 't, 'd> {
        self.open
            .last_mut()
            .expect("a table is open while its keys are read")
    }

    fn within<T>(&mut self, keys: Keys<'s, 't, 'd>, value: &mut T, visit: fn(&mut Self, &mut T)) {
        self.open.push(keys);
        visit(self, value);
        if let Some(keys) = self.open.pop() {
            keys.finish();
        }
    }
}

fn between(range: &RangeInclusive<f64>) -> String {
    format!("a number from {} to {}", range.start(), range.end())
}

fn assign<T>(value: &mut T, read: Option<T>) {
    if let Some(read) = read {
        *value = read;
    }
}

impl Visitor for Reader<'_, '_, '_> {
    fn number(&mut self, key: &'static str, value: &mut f64, kind: Kind, _says: &str) {
        let what = between(&kind.range);
        let read = self.keys().number(key, kind.range, &what);
        assign(value, read.map(|read| kind.unit.inward(read)));
    }

    fn maybe(
        &mut self,
        key: &'static str,
        value: &mut Option<f64>,
        _example: f64,
        kind: Kind,
        _says: &str,
    ) {
        let what = between(&kind.range);
        let read = self.keys().number(key, kind.range, &what);
        assign(value, read.map(|read| Some(kind.unit.inward(read))));
    }

    fn numbers(&mut self, key: &'static str, value: &mut Vec<f64>, kind: Kind, _says: &str) {
        let what = format!("a list of numbers, each {}", between(&kind.range));
        let read = self.keys().numbers(key, kind.range, &what);
        let inward = |read: Vec<f64>| read.into_iter().map(|one| kind.unit.inward(one)).collect();
        assign(value, read.map(inward));
    }

    fn whole(
        &mut self,
        key: &'static str,
        value: &mut usize,
        range: RangeInclusive<i64>,
        _says: &str,
    ) {
        let what = match *range.end() {
            i64::MAX => format!("a whole number, {} or above", range.start()),
            end => format!("a whole number from {} to {end}", range.start()),
        };
        let read = self.keys().whole(key, range, &what);
        assign(value, read.and_then(|read| usize::try_from(read).ok()));
    }

    fn wholes(&mut self, key: &'static str, value: &mut Vec<usize>, least: i64, _says: &str) {
        let what = format!("a whole number from {least} to {MOST}, or a list of them");
        let read = self.keys().wholes(key, least..=MOST, &what);
        let sized = |read: Vec<i64>| read.into_iter().map(|one| one as usize).collect();
        assign(value, read.map(sized));
    }

    fn maybe_wholes(&mut self, key: &'static str, value: &mut Option<Vec<usize>>, says: &str) {
        let mut list = Vec::new();
        self.wholes(key, &mut list, 0, says);
        if !list.is_empty() {
            *value = Some(list);
        }
    }

    fn text(&mut self, key: &'static str, value: &mut String, _says: &str) {
        let read = self.keys().text(key);
        assign(value, read);
    }

    fn maybe_text(
        &mut self,
        key: &'static str,
        value: &mut Option<String>,
        _example: &str,
        _says: &str,
    ) {
        let read = self.keys().text(key);
        assign(value, read.map(Some));
    }

    fn texts(&mut self, key: &'static str, value: &mut Vec<String>, _says: &str) {
        let read = self.keys().texts(key);
        assign(value, read);
    }

    fn maybe_date(&mut self, key: &'static str, value: &mut Option<Date>, _says: &str) {
        let read = self.keys().dates(key);
        assign(value, read.map(|dates| dates.first().copied()));
    }

    fn dates(&mut self, key: &'static str, value: &mut Vec<Date>, _says: &str) {
        let read = self.keys().dates(key);
        assign(value, read);
    }

    fn either(&mut self, key: &'static str, value: &mut bool, words: (&str, &str), _says: &str) {
        let read = self
            .keys()
            .choice(key, &[(words.0, true), (words.1, false)]);
        assign(value, read);
    }

    fn status(&mut self, key: &'static str, value: &mut Option<Status>, _says: &str) {
        let all = [Status::Ok, Status::Recoil, Status::Touched, Status::Void];
        let read = self
            .keys()
            .choice(key, &all.map(|status| (status_word(status), status)));
        assign(value, read.map(Some));
    }

    fn table<T>(
        &mut self,
        key: &'static str,
        value: &mut T,
        visit: fn(&mut Self, &mut T),
        _says: &str,
    ) {
        let keys = self.keys().table(key);
        self.within(keys, value, visit);
    }

    fn maybe_table<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Option<T>,
        visit: fn(&mut Self, &mut T),
        _says: &str,
    ) {
        let keys = self.keys().table(key);
        if keys.is_given() {
            let mut inner = T::default();
            self.within(keys, &mut inner, visit);
            *value = Some(inner);
        }
    }

    fn tables<T: Default>(
        &mut self,
        key: &'static str,
        value: &mut Vec<T>,
        _example: T,
        visit: fn(&mut Self, &mut T),
        _says: &str,
    ) {
        for keys in self.keys().tables(key) {
            let mut entry = T::default();
            self.within(keys, &mut entry, visit);
            value.push(entry);
        }
    }
}
