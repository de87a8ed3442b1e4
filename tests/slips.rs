//! Slips of the pencil, in small numbers (how they are planted and counted: `tests/simulations/slips.rs`), and how they are
//! told.

mod common;
mod simulations;

use common::{Folder, read};
use simulations::slips::{FOUND, Log, PLANTS, false_alarms, hits, truth};

#[test]
fn a_season_without_slips_is_left_in_peace() {
    let (counts, any) = false_alarms(truth, 0..60, false);
    // Fewer than 1 in 50 is promised; 60 seasons with that rate have more than 4 once in 150 times.
    assert!(any <= 4, "{counts:?}");
}

#[test]
fn planted_slips_are_found() {
    for (name, least) in FOUND {
        let plant = PLANTS
            .iter()
            .position(|(n, ..)| *n == name)
            .expect("the name is in the list");
        let (planted, found) = hits(plant, 0..12);
        assert!(
            found as f64 >= least * planted as f64,
            "{name}: {found} of {planted}"
        );
    }
}

#[test]
fn slips_are_told_by_check_and_by_fit_and_stop_neither() {
    let folder = Folder::new();
    let mut log = Log::simulated(4);
    let row = log.ok_rows()[3];
    log.set(row, "target_m", 10.0 * log.number(row, "target_m"));
    folder.write("runs.csv", log.text());
    let told = format!("runs.csv, line {}, column target_m: ", row + 2);
    for command in ["check runs.csv", "fit runs.csv --json --out out"] {
        let ran = folder.run(command).ended_with(0);
        assert!(
            ran.stderr.contains(&told) && ran.stderr.contains("about 10 times"),
            "{ran}"
        );
    }
}

#[test]
fn many_warnings_of_one_kind_are_told_in_a_few_lines() {
    let rows: String = (0..40)
        .map(|i| format!("A,8,36,{},{i}\n", 20 + i % 7))
        .collect();
    let (_, faults) = read(&format!("session,target_m,turns,ticks,long_cm\n{rows}"));
    let ticks: Vec<String> = faults.0.iter().map(ToString::to_string).collect();
    let ticks: Vec<&String> = ticks
        .iter()
        .filter(|t| t.contains("never shows this"))
        .collect();
    assert_eq!(ticks.len(), 4, "{ticks:?}");
    assert!(ticks[3].contains("37 more"), "{ticks:?}");
    assert!(ticks[3].contains("line 41"), "{ticks:?}");
}
