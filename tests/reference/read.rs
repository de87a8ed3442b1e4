//! Reading cases and tables, and a check that goes through all rows before it fails.

use serde_json::Value;
use std::path::PathBuf;

fn path(name: &str) -> PathBuf {
    [env!("CARGO_MANIFEST_DIR"), "tests/reference/data", name]
        .iter()
        .collect()
}

/// The case of this name in a group file.
pub fn case(group: &str, name: &str) -> Value {
    cases(group)
        .into_iter()
        .find(|case| case["name"] == name)
        .unwrap_or_else(|| panic!("{group} has no case {name}"))
}

/// All cases of a group file.
pub fn cases(group: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(path(group)).expect(group);
    let file: Value = serde_json::from_str(&text).expect(group);
    file["cases"].as_array().expect("cases").clone()
}

/// A table of text cells with a header.
pub struct Table {
    pub names: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

/// The table that a case names as its data.
pub fn data_of(case: &Value) -> Table {
    table(case["data"].as_str().expect("data"))
}

pub fn table(name: &str) -> Table {
    let mut reader = csv::Reader::from_path(path(name)).expect(name);
    let cells = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
    Table {
        names: cells(reader.headers().expect(name)),
        rows: reader
            .records()
            .map(|record| cells(&record.expect(name)))
            .collect(),
    }
}

impl Table {
    pub fn text(&self, name: &str) -> Vec<&str> {
        let at = self.names.iter().position(|column| column == name);
        let at = at.unwrap_or_else(|| panic!("no column {name} in {:?}", self.names));
        self.rows.iter().map(|row| row[at].as_str()).collect()
    }

    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.text(name).into_iter().map(number).collect()
    }
}

pub fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("no number: {text}"))
}

/// A number of a case, which may be written as text where it has more digits than fit.
pub fn value(json: &Value) -> f64 {
    match json {
        Value::String(text) => number(text),
        _ => json.as_f64().unwrap_or_else(|| panic!("no number: {json}")),
    }
}

pub fn values(json: &Value) -> Vec<f64> {
    let list = json.as_array().unwrap_or_else(|| panic!("no list: {json}"));
    list.iter().map(value).collect()
}

/// Collects the rows that are off, so that one failure does not hide the next.
pub struct Check {
    what: String,
    rows: usize,
    failures: Vec<String>,
}

impl Check {
    pub fn new(what: &str) -> Check {
        Check {
            what: what.to_owned(),
            rows: 0,
            failures: Vec::new(),
        }
    }

    /// Off by no more than `tolerance` times the wanted value.
    pub fn relative(&mut self, row: impl std::fmt::Display, got: f64, wanted: f64, tolerance: f64) {
        self.absolute(row, got, wanted, tolerance * wanted.abs());
    }

    /// Off by no more than `tolerance`.
    pub fn absolute(&mut self, row: impl std::fmt::Display, got: f64, wanted: f64, tolerance: f64) {
        self.rows += 1;
        let off = (got - wanted).abs();
        // A NaN is off.
        if off.is_nan() || off > tolerance {
            self.failures.push(format!(
                "{row}: got {got:e}, wanted {wanted:e}, off by {off:e}, allowed {tolerance:e}"
            ));
        }
    }

    pub fn holds(&mut self, row: impl std::fmt::Display, holds: bool) {
        self.rows += 1;
        if !holds {
            self.failures.push(row.to_string());
        }
    }

    pub fn finish(self) {
        assert!(self.rows > 0, "{}: nothing was checked", self.what);
        let count = self.failures.len();
        let list = self.failures.join("\n");
        assert!(
            count == 0,
            "{}: {count} of {} rows\n{list}",
            self.what,
            self.rows
        );
    }
}
