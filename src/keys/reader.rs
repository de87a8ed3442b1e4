//! Reads a TOML file into a struct, with every fault of the file in one pass.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::nearest::nearest;
use super::spec::KeySpec;
use super::table::{Keyed, Keys};
use super::value::Value;
use crate::fault::{Fault, FaultPlace, Faults};

/// Reads a struct from the text of a file; a key that the file lacks keeps its default.
///
/// * `file` — its name, for faults
///
/// # Errors
/// Every fault of the text, by line: what is not TOML, unknown keys with the nearest known one, values of the wrong
/// type or out of range, keys that are missing or do not go together.
pub fn read<T: Keyed + Default>(file: &str, text: &str) -> Result<T, Faults> {
    read_over(file, text, T::default())
}

/// Reads the text of a file over a struct: a key that the file lacks keeps the value that it has in `value`. A table that
/// may be left out and stands in the file begins with its defaults.
///
/// # Errors
/// Those of [`read`].
pub fn read_over<T: Keyed + Default>(file: &str, text: &str, mut value: T) -> Result<T, Faults> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let document = DeTable::parse(text).map_err(|error| {
        let at = error.span().map_or(0, |span| span.start);
        if let Some(fault) = decimal_comma(file, text, at) {
            return Faults(vec![fault]);
        }
        let said = format!("this is not TOML: {}", error.message());
        Faults(vec![Fault::error(file, said).at(place(text, at))])
    })?;
    let nothing = DeTable::new();
    let mut all = Reader::root(file, text, &nothing, &[]);
    T::default().keys(&mut all);
    let commented = commented_heads(text, &all.known);
    let mut root = Reader::root(file, text, document.get_ref(), &commented);
    value.keys(&mut root);
    let mut faults = root.finish();
    faults.sort_by(|a, b| a.place.cmp(&b.place));
    if faults.is_empty() {
        Ok(value)
    } else {
        Err(Faults(faults))
    }
}

/// The fault of a line that TOML cannot read since its number has a decimal comma; `None` of any other line.
fn decimal_comma(file: &str, text: &str, at: usize) -> Option<Fault> {
    let start = text.get(..at)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..)?.lines().next()?;
    let (key, value) = line.split('#').next()?.split_once('=')?;
    let value = value.trim();
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    let (whole, part) = value.split_once(',')?;
    if !digits(whole.trim_start_matches(['+', '-'])) || !digits(part) {
        return None;
    }
    let why = format!("a number has a point here, no comma; write a point: {whole}.{part}");
    let fault = Fault::error(file, why).at(place(text, start + line.find(value)?));
    Some(fault.column(key.trim()).read(value))
}

/// A heading of a table that stands in the file as a comment.
struct CommentedHead {
    name: String,
    line: usize,
    /// The bytes from it to the next heading.
    reach: Range<usize>,
    /// Whether a fault was told of a key below it.
    is_told: Cell<bool>,
}

/// The headings of tables that stand in a file as comments.
///
/// * `known` — names that a file of its kind may have outside of tables, those of the tables among them
fn commented_heads(text: &str, known: &[String]) -> Vec<CommentedHead> {
    let mut heads: Vec<CommentedHead> = Vec::new();
    let (mut start, mut last_is_comment) = (0, false);
    for (at, line) in text.split_inclusive('\n').enumerate() {
        let is_comment = line.trim_start().starts_with('#');
        let bare = line.trim_start().trim_start_matches(['#', ' ', '\t']);
        let name = bare.strip_prefix('[').and_then(|rest| rest.split_once(']'));
        let is_known = |name: &str| known.iter().any(|k| name.split('.').next() == Some(k));
        let name = name.map(|(name, _)| name.trim());
        if let Some(name) = name.filter(|name| !is_comment || is_known(name)) {
            if let (true, Some(last)) = (last_is_comment, heads.last_mut()) {
                last.reach.end = start;
            }
            last_is_comment = is_comment;
            if is_comment {
                heads.push(CommentedHead {
                    name: name.to_string(),
                    line: at + 1,
                    reach: start..text.len(),
                    is_told: Cell::new(false),
                });
            }
        }
        start += line.len();
    }
    heads
}

/// Line and character of a byte, both counted from 1.
fn place(text: &str, byte: usize) -> FaultPlace {
    let before = text.get(..byte).unwrap_or(text);
    let start_of_line = before.rfind('\n').map_or(0, |end| end + 1);
    FaultPlace::Character {
        line: 1 + before.matches('\n').count(),
        character: 1 + before[start_of_line..].chars().count(),
    }
}

/// One table of the file being read.
struct Reader<'a> {
    file: &'a str,
    text: &'a str,
    /// Headings of tables that stand in it as comments.
    commented: &'a [CommentedHead],
    table: &'a DeTable<'a>,
    /// Dotted name of the table; empty for the outermost.
    path: String,
    /// Byte at which the table begins.
    at: usize,
    /// Names of keys and tables that may stand here.
    known: Vec<String>,
    /// Names that do stand here: as they are known, and as they are spelt.
    given: Vec<String>,
    faults: Vec<Fault>,
}

impl<'a> Reader<'a> {
    /// A reader of what stands outside of tables.
    fn root(
        file: &'a str,
        text: &'a str,
        table: &'a DeTable<'a>,
        commented: &'a [CommentedHead],
    ) -> Self {
        Reader {
            file,
            text,
            commented,
            table,
            path: String::new(),
            at: 0,
            known: Vec::new(),
            given: Vec::new(),
            faults: Vec::new(),
        }
    }

    /// The table under a name, where the file has one.
    fn open(&mut self, name: &str) -> Option<Reader<'a>> {
        let item = self.take(name)?;
        let inner = self.open_item(name, item);
        if inner.is_none() {
            self.misread(name, item, format!("a table, [{}]", self.full(name)));
        }
        inner
    }

    fn open_item(&self, name: &str, item: &'a Spanned<DeValue<'a>>) -> Option<Reader<'a>> {
        Some(Reader {
            table: item.get_ref().as_table()?,
            path: self.full(name),
            at: item.span().start,
            known: Vec::new(),
            given: Vec::new(),
            faults: Vec::new(),
            ..*self
        })
    }

    fn take(&mut self, name: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.known.push(name.to_string());
        let item = self.table.get(name)?;
        self.given.push(name.to_string());
        Some(item)
    }

    /// Every fault of the table, unknown keys with them.
    fn finish(mut self) -> Vec<Fault> {
        let mut keys: Vec<_> = self.table.keys().collect();
        keys.sort_by_key(|key| key.span().start);
        for key in keys {
            let name: &str = key.get_ref();
            if self.given.iter().any(|given| given == name) {
                continue;
            }
            let at = key.span().start;
            let head = self.commented.iter().find(|head| head.reach.contains(&at));
            if let Some(head) = head {
                // One fault for all keys below it.
                if !head.is_told.replace(true) {
                    let expected = format!(
                        "{name} belongs under [{table}], and that heading is still a comment; take the # away before \
                         [{table}] in line {line}",
                        table = head.name,
                        line = head.line
                    );
                    self.fault(name, at, expected);
                }
                continue;
            }
            let expected = match nearest(name, self.known.iter().map(String::as_str)) {
                Some(near) => format!("there is no such key; nearest is {}", self.full(near)),
                None => {
                    let known = self.known.join(", ");
                    format!("there is no such key; known here: {known}")
                }
            };
            self.fault(name, at, expected);
        }
        self.faults
    }

    fn fault(&mut self, name: &str, at: usize, expected: impl Into<String>) -> &mut Fault {
        let fault = Fault::error(self.file, expected)
            .at(place(self.text, at))
            .column(self.full(name));
        self.faults.push(fault);
        self.faults.last_mut().expect("one was pushed just now")
    }

    /// A fault of a value that is not what was expected.
    fn misread(&mut self, name: &str, item: &Spanned<DeValue>, expected: String) {
        let span = item.span();
        let read = self.text.get(span.clone()).unwrap_or_default().to_string();
        self.fault(name, span.start, format!("expected {expected}"))
            .read = Some(read);
    }

    fn full(&self, name: &str) -> String {
        match self.path.as_str() {
            "" => name.to_string(),
            path => format!("{path}.{name}"),
        }
    }
}

impl Keys for Reader<'_> {
    fn key<V: Value>(&mut self, name: &str, value: &mut V, spec: KeySpec) {
        self.known.push(name.to_string());
        let mut found = Vec::new();
        for (spelt, spec) in spec.spellings(name) {
            if let Some(item) = self.table.get(spelt.as_str()) {
                self.given.extend([name.to_string(), spelt.clone()]);
                found.push((spelt, spec, item));
            }
        }
        match found.as_slice() {
            [] if spec.needed.is_empty() => {}
            [] => _ = self.fault(name, self.at, spec.needed),
            [(spelt, spec, item)] => match V::from_toml(item.get_ref(), spec) {
                Some(read) => *value = read,
                None if spec.expected.is_empty() => self.misread(spelt, item, V::expected(spec)),
                None => self.misread(spelt, item, spec.expected.to_string()),
            },
            [(one, ..), (other, _, item), ..] => {
                self.misread(other, item, format!("{one} or {other}, not both"));
            }
        }
    }

    fn table<T: Keyed>(&mut self, name: &str, value: &mut T, _: &'static str) {
        if let Some(mut inner) = self.open(name) {
            value.keys(&mut inner);
            self.faults.extend(inner.finish());
        }
    }

    fn optional_table<T: Keyed>(
        &mut self,
        name: &str,
        value: &mut Option<T>,
        mut blank: T,
        says: &'static str,
    ) {
        self.table(name, &mut blank, says);
        if self.is_given(name) {
            *value = Some(blank);
        }
    }

    fn tables<T: Keyed + Default>(&mut self, name: &str, list: &mut Vec<T>, _: T, _: &'static str) {
        let Some(item) = self.take(name) else { return };
        let tables = item.get_ref().as_array().map(|items| {
            let open = |item| self.open_item(name, item);
            items.iter().map(open).collect::<Option<Vec<_>>>()
        });
        let Some(Some(tables)) = tables else {
            return self.misread(name, item, format!("tables, each headed [[{name}]]"));
        };
        for mut inner in tables {
            let mut entry = T::default();
            entry.keys(&mut inner);
            self.faults.extend(inner.finish());
            list.push(entry);
        }
    }

    fn map<T: Default>(
        &mut self,
        name: &str,
        map: &mut BTreeMap<String, T>,
        entry: impl Fn(&mut Self, &str, &mut T),
    ) {
        let Some(mut inner) = self.open(name) else {
            return;
        };
        for key in inner.table.keys() {
            let mut value = T::default();
            let faults_before = inner.faults.len();
            entry(&mut inner, key.get_ref(), &mut value);
            // A value that could not be read has its fault, and is no part of what is checked as a whole.
            if inner.faults.len() == faults_before {
                map.insert(key.get_ref().trim().to_string(), value);
            }
        }
        self.faults.extend(inner.finish());
    }

    fn is_given(&self, name: &str) -> bool {
        self.given.iter().any(|given| given == name)
    }

    fn check(&mut self, faults: impl FnOnce() -> Vec<(String, String)>) {
        for (name, expected) in faults() {
            // The place of the key; where it is missing, of the innermost table above it that is there.
            let (mut at, mut table) = (self.at, Some(self.table));
            for part in name.split('.') {
                if let Some((key, item)) = table.and_then(|table| table.get_key_value(part)) {
                    at = key.span().start;
                    table = item.get_ref().as_table();
                }
            }
            self.fault(&name, at, expected);
        }
    }
}
