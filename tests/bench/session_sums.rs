//! A log streamed by the csv crate into the sums of each session, and nothing else.

use std::collections::HashMap;
use std::path::Path;

/// Sums of a session that a straight line needs.
#[derive(Debug, Default)]
pub struct Sums {
    /// Rows.
    pub runs: f64,
    /// Of turns.
    pub turns: f64,
    /// Of rests, m.
    pub rest: f64,
    /// Of squared turns.
    pub turns_turns: f64,
    /// Of turns times rest.
    pub turns_rest: f64,
    /// Of headings.
    pub heading: f64,
}

/// The sums of every session of a log.
///
/// # Errors
/// A file that cannot be read, or cells that are no numbers.
pub fn stream(path: &Path) -> Result<HashMap<String, Sums>, Box<dyn std::error::Error>> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)?;
    let header = reader.headers()?.clone();
    let at = |name: &str| {
        header
            .iter()
            .position(|cell| cell == name)
            .ok_or_else(|| format!("no column {name}"))
    };
    let session = at("session")?;
    let columns = [
        at("target_m")?,
        at("turns")?,
        at("ticks")?,
        at("long_cm")?,
        at("right_cm")?,
        at("aim_right_cm")?,
    ];
    let mut sums: HashMap<String, Sums> = HashMap::new();
    let mut record = csv::StringRecord::new();
    while reader.read_record(&mut record)? {
        let mut numbers = [0.0; 6];
        for (number, column) in numbers.iter_mut().zip(columns) {
            let cell = &record[column];
            if !cell.is_empty() {
                *number = cell.parse()?;
            }
        }
        let [target, turns, ticks, long, right, aim] = numbers;
        let turns = turns + ticks / 20.0;
        let rest = target + long / 100.0;
        let label = &record[session];
        let own = match sums.get_mut(label) {
            Some(own) => own,
            None => sums.entry(label.to_string()).or_default(),
        };
        own.runs += 1.0;
        own.turns += turns;
        own.rest += rest;
        own.turns_turns += turns * turns;
        own.turns_rest += turns * rest;
        own.heading += (right - aim) / 100.0 / target;
    }
    Ok(sums)
}
