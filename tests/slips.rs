//! Slips of the pencil, in small numbers (how they are planted and counted: `tests/simulations/slips.rs`), and how they are
//! told.

mod common;
mod simulations;

use common::{Folder, read};
use simulations::slips::{FOUND, Log, PLANTS, false_alarms, hits, truth, turns_apart};

#[test]
fn a_season_without_slips_is_left_in_peace() {
    let (counts, any) = false_alarms(truth, 0..60, false);
    // Fewer than 1 in 50 is promised; 60 seasons with that rate have more than 4 once in 150 times.
    assert!(any <= 4, "{counts:?}");
}

#[test]
fn settings_a_turn_apart_are_seldom_taken_for_a_miscount() {
    let (counts, _) = false_alarms(turns_apart, 0..60, false);
    let told = counts.get("a turn miscounted").copied().unwrap_or(0);
    // 3 in 100 of such seasons (13 of 400), which have a hundred pairs each; with that rate 60 have more than 6 once in
    // 300 times.
    assert!(told <= 6, "{counts:?}");
}

#[test]
fn a_turn_miscounted_shows_beside_a_run_of_the_right_setting() {
    // A careful vehicle: 3 cm from run to run, where a turn carries it 22 cm.
    let log = |miscounted: &str| {
        format!(
            "session,target_m,turns,ticks,long_cm,lead_turns\n\
             A,8,35,4,2,1\nA,8,35,4,-1,1\nA,8,35,4,3,1\nA,6,26,2,-2,1\nA,6,26,2,1,1\nA,8,{miscounted},1\n"
        )
    };
    let told = |log: &str| read(log).1.to_string();
    assert!(!told(&log("35,4,-3")).contains("miscounted"));
    // Wound to 35, written as 36.
    let said = told(&log("36,4,0.5"));
    assert!(
        said.contains("line 7, column turns: 36.2 turns came to rest within"),
        "{said}"
    );
    assert!(said.contains("was a turn miscounted"), "{said}");
    // A turn apart, and a turn's way apart.
    assert!(!told(&log("36,4,21")).contains("miscounted"));
    // With another lead, in another session or at another build it may well be so.
    let other_lead = log("36,4,0.5").replace("0.5,1\n", "0.5,2\n");
    assert!(!told(&other_lead).contains("miscounted"));
    let other_session = log("36,4,0.5").replace("A,8,36", "B,8,36");
    assert!(!told(&other_session).contains("miscounted"));
}

#[test]
fn a_log_without_a_minus_is_asked_about_once() {
    // 48 runs, none short, none left.
    let rows: String = (0..48)
        .map(|i| {
            format!(
                "S{},8,36,{},{}\n",
                i / 8,
                1 + (7 * i) % 13,
                1 + (5 * i) % 11
            )
        })
        .collect();
    let log = format!("session,target_m,turns,long_cm,right_cm\n{rows}");
    let (_, faults) = read(&log);
    let said = faults.to_string();
    assert_eq!(said.matches("minus signs").count(), 1, "{said}");
    assert!(
        said.contains("line 2, column long_cm: of 48 runs none is short, and none left"),
        "{said}"
    );
    // One minus, or a dozen runs, and nobody is asked.
    let (_, faults) = read(&log.replacen("S0,8,36,1,", "S0,8,36,-1,", 1));
    assert!(!faults.to_string().contains("minus signs"), "{faults}");
    let few: String = log
        .lines()
        .take(13)
        .map(|line| format!("{line}\n"))
        .collect();
    assert!(!read(&few).1.to_string().contains("minus signs"));
}

#[test]
fn metres_under_a_heading_of_centimetres_are_asked_about() {
    let rows = "A,8,36,0.14\nA,8,36,-0.06\nA,8,36,0.21\nA,8,36,0.02\n";
    let (_, faults) = read(&format!("session,target_m,turns,long_cm\n{rows}"));
    assert!(faults.to_string().contains("typed in metres"), "{faults}");
    let (_, faults) = read(&format!("session,target_m,turns,long_m\n{rows}"));
    assert!(!faults.to_string().contains("typed in metres"), "{faults}");
    // Nor where as many as others lie within a centimetre, read to half of one.
    let fine = "A,8,36,0.5\nA,8,36,-0.5\nA,8,36,0.5\nA,8,36,0.5\nA,8,36,3\n";
    let (_, faults) = read(&format!("session,target_m,turns,long_cm\n{fine}"));
    assert!(!faults.to_string().contains("typed in metres"), "{faults}");
}

/// What a log of so many rows is warned of.
fn told(rows: impl IntoIterator<Item = String>) -> String {
    let rows: String = rows.into_iter().collect();
    let header = "session,target_m,turns,lead_turns,long_cm,right_cm,status";
    read(&format!("{header}\n{rows}")).1.to_string()
}

/// Twenty runs of four days of a vehicle that goes 24 cm a turn and repeats to some centimetres; `long` writes where the
/// run of this number stopped, given the cm past the target.
fn twenty(long: impl Fn(usize, f64) -> String) -> Vec<String> {
    let row = |i: usize| {
        let target_m = 6 + i % 5;
        let past_cm = [4.5, -7.0, 11.0, -2.5, 0.5, -9.0, 6.5][i % 7];
        let turns = (100.0 * target_m as f64 - 20.0) / 24.0;
        let day = ["A", "B", "C", "D"][i / 5];
        let right = [3.5, -2.0, -5.5, 1.5][i % 4];
        format!(
            "{day},{target_m},{turns:.2},1.5,{},{right},\n",
            long(i, past_cm)
        )
    };
    (0..20).map(row).collect()
}

#[test]
fn metres_are_asked_about_though_a_run_touched_or_went_astray() {
    let sound = twenty(|_, cm| cm.to_string());
    assert!(!told(sound).contains("typed in metres"));
    let mut metres = twenty(|_, cm| (cm / 100.0).to_string());
    metres.push("D,8,32.5,1.5,-3.1,0.2,touched\n".to_string());
    metres.push("D,8,32.5,1.5,-1.13,0.2,void\n".to_string());
    metres.push("D,8,32.5,1.5,-1.4,0.2,\n".to_string());
    let said = told(metres);
    assert!(
        said.contains("line 2, column long_cm: 20 of 21 lengths in this column are below 1 cm"),
        "{said}"
    );
}

#[test]
fn a_session_in_metres_is_asked_about_by_name() {
    let said = told(twenty(|i, cm| match i / 5 {
        1 => (cm / 100.0).to_string(),
        _ => cm.to_string(),
    }));
    assert_eq!(said.matches("typed in metres").count(), 1, "{said}");
    assert!(
        said.contains("line 7, column long_cm: the lengths of session \"B\" are below 1 cm"),
        "{said}"
    );
    // As small, and read to half a centimetre.
    let said = told(twenty(|i, cm| match i / 5 {
        1 => (0.5 * cm.signum()).to_string(),
        _ => cm.to_string(),
    }));
    assert!(!said.contains("typed in metres"), "{said}");
}

#[test]
fn a_cell_in_metres_is_asked_about_unless_all_are_written_so_finely() {
    let said = told(twenty(|i, cm| match i {
        8 => "0.11".to_string(),
        _ => cm.to_string(),
    }));
    assert!(
        said.contains("line 10, column long_cm: 0.11 cm is finer than a tape is read"),
        "{said}"
    );
    assert!(said.contains("Then it is 11 cm"), "{said}");
    let said = told(twenty(|i, cm| match i {
        8 => "0.11".to_string(),
        _ => format!("{:.2}", cm + 0.03),
    }));
    assert!(!said.contains("typed in metres"), "{said}");
}

#[test]
fn a_session_in_millimetres_is_asked_about_as_such() {
    let said = told(twenty(|i, cm| match i / 5 {
        2 => (10.0 * cm).to_string(),
        _ => cm.to_string(),
    }));
    assert!(
        said.contains("line 12, column long_cm: in all 5 runs of session \"C\" the lengths look ten times too large"),
        "{said}"
    );
    // And one cell, by the units that were mixed up.
    let said = told(twenty(|i, cm| match i {
        8 => "155".to_string(),
        _ => cm.to_string(),
    }));
    assert!(
        said.contains("would fit; millimetres taken for centimetres?"),
        "{said}"
    );
}

#[test]
fn turns_lost_in_one_row_are_asked_about() {
    for (lost, told_of) in [(0.0, false), (5.0, true), (10.0, true), (20.0, true)] {
        let mut rows = twenty(|_, cm| cm.to_string());
        // 8 m from 32.5 turns.
        rows[12] = format!("C,8,{},1.5,7.9,-2,\n", 32.5 - lost);
        let said = told(rows);
        let what = format!("line 14, column turns: {} turns came to rest", 32.5 - lost);
        assert_eq!(said.contains(&what), told_of, "{lost}: {said}");
        assert_eq!(said.contains("miscounted"), told_of, "{lost}: {said}");
    }
}

#[test]
fn a_lead_without_its_point_is_asked_about() {
    let mut rows = twenty(|_, cm| cm.to_string());
    assert!(!told(rows.clone()).contains("brake lead"));
    rows[5] = rows[5].replace(",1.5,", ",15,");
    let said = told(rows);
    assert!(
        said.contains("line 7, column lead_turns: a brake lead of 15 turns"),
        "{said}"
    );
}

#[test]
fn a_label_that_is_the_date_of_another_year_is_asked_about() {
    let log = |label: &str| {
        format!("session,date,target_m,turns,long_cm\n{label},2025-09-12,8,36,4\n,,9,40,-6\n")
    };
    let said = read(&log("2026-09-12")).1.to_string();
    assert!(
        said.contains("line 2, column session: the session is called \"2026-09-12\""),
        "{said}"
    );
    assert_eq!(said.matches("which of the two years").count(), 1, "{said}");
    for label in ["2025-09-12", "12.9.2025", "12.9.", "Practice 2026"] {
        let said = read(&log(label)).1.to_string();
        assert!(!said.contains("years"), "{label}: {said}");
    }
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

/// A run number again in every row but the first.
#[test]
fn pages_keep_the_first_slips_by_row() {
    let lines = |rows: usize| -> Vec<u32> {
        let row = |i: usize| format!("A,1,{},{},{}\n", 6 + i % 4, 25 + 4 * (i % 4), (7 * i) % 11);
        let rows: String = (0..rows).map(row).collect();
        let (season, _) = read(&format!("session,run,target_m,turns,long_cm\n{rows}"));
        season.slips.iter().map(|slip| slip.line).collect()
    };
    assert_eq!(lines(3), [3, 4]);
    let first = lines(60);
    assert_eq!((first.len(), first[0]), (40, 3));
    assert!(first.is_sorted(), "{first:?}");
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

/// Rows of sums and means that a spreadsheet puts below the runs, without a word beside them.
#[test]
fn rows_of_sums_and_means_without_a_word_are_no_runs() {
    let rows = "A,8,36,2.5,1\n,7,31,-4,3.5\n,9,41,6,-2\n,6,27,3.5,-4.5\n";
    let log = |last: &str| format!("session,target_m,turns,long_cm,right_cm\n{rows}{last}\n");
    for last in [
        // As displayed, and as computed.
        ",7.5,33.75,2.0,-0.5",
        ",7.5,33.75,2,-0.500000000000000",
        ",,,2.00,-0.50",
        ",30,135,8.0,-2.0",
        ",30,135,8.0,",
        ",,135,8.0,-2.0",
    ] {
        let said = common::read_err(&log(last)).to_string();
        let looks =
            said.contains("sum or the mean of those above") || said.contains("looks like a total");
        assert!(said.contains("line 6") && looks, "{last}: {said}");
    }
    // A run like the others, though one of its numbers is the mean.
    for last in [
        ",7.5,35,2.0,-0.5",
        ",7.5,33.75,2.0,-4",
        "A,7.5,33.75,2.0,-0.5",
    ] {
        assert_eq!(read(&log(last)).0.runs.len(), 5, "{last}");
    }
}

#[test]
fn a_run_is_not_taken_for_a_row_of_means() {
    // 300 seasons with the session on the first of its rows alone, as people write lists.
    let mut rows = 0;
    for index in 0..300 {
        let mut log = Log::simulated(index);
        log.shorten();
        let (season, _) = read(&log.text());
        rows += season.runs.len();
    }
    assert!(rows > 10_000, "{rows}");
}
