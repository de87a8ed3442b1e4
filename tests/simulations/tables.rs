//! Prints tables counted on many simulated seasons, and says which figures lie outside their bounds:
//! `cargo run --release --example simulations -- TABLE [SEASONS]`. Minutes each.

#[path = "mod.rs"]
mod simulations;

use simulations::bounds::Bounds;
use simulations::{
    bands, checks, chronicle, comparisons, event_day, priors, promises, reviews, slips,
};

/// Name, seasons where no number is given, and what prints it.
type Table = (&'static str, u64, fn(u64) -> Bounds);

const TABLES: [Table; 9] = [
    ("priors", 1000, priors::table),
    ("bands", 1000, bands::table),
    ("event_day", 400, event_day::table),
    ("comparisons", 1000, comparisons::table),
    ("promises", 1000, promises::table),
    ("reviews", 1000, reviews::table),
    ("slips", 500, slips::table),
    ("checks", 400, checks::table),
    ("chronicle", 300, chronicle::table),
];

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let wanted = words.first();
    let table = TABLES
        .iter()
        .find(|(name, ..)| Some(*name) == wanted.map(String::as_str));
    let seasons = words
        .get(1)
        .map(|word| word.parse().ok().filter(|n| *n > 0));
    let (Some((_, usual, table)), true) = (table, seasons != Some(None)) else {
        let names = TABLES.map(|(name, ..)| name).join(", ");
        eprintln!("expected one of {names}, and how many seasons if not the usual number");
        std::process::exit(2);
    };
    let bounds = table(seasons.flatten().unwrap_or(*usual));
    if !bounds.0.is_empty() {
        eprintln!("outside their bounds:\n{}", bounds.0.join("\n"));
        std::process::exit(1);
    }
}
