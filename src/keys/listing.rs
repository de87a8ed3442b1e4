//! A struct as the lines of a file that gives it.

use std::collections::BTreeMap;

use super::spec::KeySpec;
use super::table::{Keyed, Keys};
use super::value::{Value, quoted};

/// A line of a file: the head of a table, or a key.
#[derive(Debug, Clone)]
pub struct KeyLine {
    /// Head of the table, in its brackets; empty outside of tables.
    pub head: String,
    /// Name of the key; empty where the line is the head itself.
    pub key: String,
    /// Value of the key as TOML has it; `None` where there is none.
    pub value: Option<String>,
    /// Whether the table is there; else it stands as an example.
    pub in_force: bool,
    /// What the key may hold, and the words beside it; of a head the words only.
    pub spec: KeySpec,
}

/// Every table and key of a struct, in order.
pub fn listing<T: Keyed + Clone>(value: &T) -> Vec<KeyLine> {
    let mut lister = Lister {
        lines: Vec::new(),
        path: String::new(),
        head: String::new(),
        in_force: true,
    };
    value.clone().keys(&mut lister);
    lister.lines
}

/// A struct as the text of a file; reading it gives the struct again.
pub fn text<T: Keyed + Clone>(value: &T) -> String {
    let (mut text, mut head) = (String::new(), String::new());
    for line in listing(value).into_iter().filter(|line| line.in_force) {
        if line.key.is_empty() {
            head = line.head + "\n";
        } else if let Some(value) = line.value {
            // A head only where a key follows: an empty table says nothing.
            text += &std::mem::take(&mut head);
            text += &format!("{} = {value}\n", line.key);
        }
    }
    text
}

/// Column at which the words beside the keys begin.
const WORDS_AT: usize = 40;

/// A struct as a file to edit, with the words beside every table and key.
///
/// What `usual` lacks stands as a comment, as does a key that only the user can tell ([`KeySpec::example`]): what is read
/// back is `usual`, as long as nothing is filled in.
pub fn page<T: Keyed + Clone>(value: &T, usual: &T) -> String {
    let usual = listing(usual);
    let in_use = |line: &KeyLine| {
        let is_there = |usual: &KeyLine| {
            usual.in_force && (&usual.head, &usual.key) == (&line.head, &line.key)
        };
        let has_value = line.key.is_empty() || line.value.is_some();
        has_value && line.spec.example.is_empty() && usual.iter().any(is_there)
    };
    let mut page = String::new();
    for line in listing(value) {
        let mark = if in_use(&line) { "" } else { "# " };
        let value = match line.spec.example {
            "" => line.value.as_deref().unwrap_or(line.spec.without),
            example => example,
        };
        // Of a list on several lines, words stand beside the first.
        let (first, rest) = match value.strip_prefix("[\n") {
            _ if line.key.is_empty() => (format!("\n{mark}{}", line.head), String::new()),
            Some(items) => (format!("{mark}{} = [", line.key), format!("{items}\n")),
            None => (format!("{mark}{} = {value}", line.key), String::new()),
        };
        page += &first;
        if !line.spec.says.is_empty() {
            let wide = first.trim_start().chars().count();
            let gap = " ".repeat(WORDS_AT.saturating_sub(wide).max(2));
            page += &format!("{gap}# {}", line.spec.says);
        }
        page.push('\n');
        page += &rest;
    }
    page
}

/// The visitor that lists the keys of a struct with their values.
struct Lister {
    lines: Vec<KeyLine>,
    /// Dotted name of the table.
    path: String,
    head: String,
    in_force: bool,
}

impl Lister {
    /// Goes through a table, or an entry of a list of them, with its head first.
    fn inside(
        &mut self,
        name: &str,
        brackets: (&str, &str),
        says: &'static str,
        keys: impl FnOnce(&mut Self),
    ) {
        let path = match self.path.as_str() {
            "" => name.to_string(),
            path => format!("{path}.{name}"),
        };
        let head = format!("{}{path}{}", brackets.0, brackets.1);
        let path = std::mem::replace(&mut self.path, path);
        let head = std::mem::replace(&mut self.head, head);
        self.line(String::new(), None, KeySpec::TEXT.says(says));
        keys(self);
        (self.path, self.head) = (path, head);
    }

    fn line(&mut self, key: String, value: Option<String>, spec: KeySpec) {
        self.lines.push(KeyLine {
            head: self.head.clone(),
            key,
            value,
            in_force: self.in_force,
            spec,
        });
    }
}

impl Keys for Lister {
    fn key<V: Value>(&mut self, name: &str, value: &mut V, spec: KeySpec) {
        self.line(name.to_string(), value.to_toml(&spec), spec);
    }

    fn table<T: Keyed>(&mut self, name: &str, value: &mut T, says: &'static str) {
        self.inside(name, ("[", "]"), says, |lister| value.keys(lister));
    }

    fn optional_table<T: Keyed>(
        &mut self,
        name: &str,
        value: &mut Option<T>,
        mut blank: T,
        says: &'static str,
    ) {
        let outside = self.in_force;
        self.in_force &= value.is_some();
        self.table(name, value.as_mut().unwrap_or(&mut blank), says);
        self.in_force = outside;
    }

    fn tables<T: Keyed + Default>(
        &mut self,
        name: &str,
        list: &mut Vec<T>,
        example: T,
        says: &'static str,
    ) {
        let outside = self.in_force;
        self.in_force &= !list.is_empty();
        if list.is_empty() {
            list.push(example);
        }
        for (i, entry) in list.iter_mut().enumerate() {
            let start = self.lines.len();
            let says = if i == 0 { says } else { "" };
            self.inside(name, ("[[", "]]"), says, |lister| entry.keys(lister));
            if i > 0 {
                // The words beside the keys of the first table explain the others too.
                for line in &mut self.lines[start..] {
                    line.spec.says = "";
                }
            }
        }
        self.in_force = outside;
    }

    fn map<T: Default>(
        &mut self,
        name: &str,
        map: &mut BTreeMap<String, T>,
        entry: impl Fn(&mut Self, &str, &mut T),
    ) {
        let start = self.lines.len();
        self.inside(name, ("[", "]"), "", |lister| {
            for (label, value) in map {
                entry(lister, &quoted(label), value);
            }
        });
        // Tables with heads of their own need none round them.
        if self
            .lines
            .get(start + 1)
            .is_none_or(|line| line.key.is_empty())
        {
            self.lines.remove(start);
        }
    }
}
