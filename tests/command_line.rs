//! What the program says, where it says it, and how it ends.

mod common;

use common::Folder;

/// Two sessions, everything filled in.
const GOOD: &str = "\
session,date,vehicle,wheels,target_m,turns,long_cm,right_cm,aim_right_cm,lead_turns,recoil_cm,load
Sat 1,2026-03-14,Thistle,foam,6,26.5,-4,2,-18,1,0,whole
,,,,8,35.5,6.5,-3,-24,1.5,0,whole
,,,,7,31,3,1,-21,2,1.5,broken
Sun 2,2026-03-22,,,6,26.5,2,0,-18,1,0,whole
,,,,8,35.5,9,4,-24,1.5,0,whole
,,,,7,31,5,-2,-21,1.5,0,whole
";

const BAD: &str = "\
session,target_m,turns,lon_cm,date
A,8,\"36,5\",1,2026-03-14
A,8,36,2,14/3/2026
";

#[test]
fn check_says_what_was_understood() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let ran = folder.run("check season.csv").ended_with(0);
    assert_eq!(ran.stderr, "");
    insta::assert_snapshot!("check_understood", ran.stdout);
    assert_eq!(folder.names(), ["season.csv"], "check writes nothing");
}

#[test]
fn check_names_every_fault_and_ends_with_2() {
    let folder = Folder::new();
    folder.write("season.csv", BAD);
    let ran = folder.run("check season.csv").ended_with(2);
    assert_eq!(ran.stdout, "");
    insta::assert_snapshot!("check_faults", ran.stderr);
}

#[test]
fn check_as_json_is_json_and_nothing_else() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let json = folder.run("check season.csv --json").ended_with(0).json();
    assert_eq!(json["faults"], serde_json::json!([]));
    let rig = &json["understood"]["rigs"][0];
    assert_eq!(rig["rig"], "Thistle/foam");
    assert_eq!((&rig["ok"], &rig["recoiled"]), (&5.into(), &1.into()));
    assert_eq!(json["understood"]["repeated_labels"], 18);
    // Neither log nor set-up knows of ticks.
    assert_eq!(json["setup"]["dial"], serde_json::Value::Null);
    assert_eq!(json["setup"]["brake"]["recoil_from_cm"], 1.0);

    folder.write("season.csv", BAD);
    let ran = folder.run("--json check season.csv").ended_with(2);
    let json = ran.json();
    assert_eq!(json["understood"], serde_json::Value::Null);
    let faults = json["faults"].as_array().unwrap();
    assert!(
        faults
            .iter()
            .any(|f| f["line"] == 2 && f["column"] == "turns" && f["read"] == "36,5")
    );
    assert!(!ran.stderr.is_empty());
}

#[test]
fn quiet_leaves_errors_only() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD.replace("load\n", "lode\n"));
    let ran = folder.run("check season.csv --quiet").ended_with(0);
    assert_eq!((ran.stdout.as_str(), ran.stderr.as_str()), ("", ""));
    let ran = folder.run("check season.csv").ended_with(0);
    assert!(ran.stderr.contains("warning"), "{ran}");
    folder.write("season.csv", BAD);
    let ran = folder.run("check season.csv -q").ended_with(2);
    assert!(ran.stderr.contains("line 2"), "{ran}");
    assert!(!ran.stderr.contains("warning"), "{ran}");
}

#[test]
fn the_set_up_in_force_is_printed_and_can_be_used_again() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    folder.write("mine.toml", "[dial]\nticks_per_turn = 24\n[obstacle]\nat_m = 3\nright_cm = 28\ndiameter_cm = 24\npass = \"left\"\n");
    let first = folder
        .run("check season.csv --setup mine.toml")
        .ended_with(0);
    let printed = first.stdout.split("Set-up in force").nth(1).unwrap();
    let printed: Vec<&str> = printed.lines().skip(1).collect();
    folder.write("again.toml", printed.join("\n"));
    let again = folder
        .run("check season.csv --setup again.toml")
        .ended_with(0);
    assert_eq!(first.stdout, again.stdout);
    assert!(first.stdout.contains("ticks_per_turn = 24"), "{first}");
    assert!(first.stdout.contains("width_cm under [vehicle]"), "{first}");
}

#[test]
fn a_faulty_set_up_is_bad_input() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    folder.write("mine.toml", "[dial]\ntick_per_turn = 24\n");
    let ran = folder
        .run("check season.csv --setup mine.toml")
        .ended_with(2);
    assert_eq!(
        ran.stderr,
        "mine.toml, line 2, character 1, key dial.tick_per_turn: there is no such key; nearest is dial.ticks_per_turn\n"
    );
    let ran = folder
        .run("check season.csv --setup none.toml")
        .ended_with(2);
    assert!(
        ran.stderr.starts_with("none.toml: could not be read: "),
        "{ran}"
    );
}

#[test]
fn files_that_cannot_be_read_are_named_together() {
    let folder = Folder::new();
    folder.write("empty.csv", "");
    folder.write("season.csv", GOOD);
    std::fs::create_dir(folder.path().join("folder")).unwrap();
    let ran = folder
        .run("check none.csv empty.csv folder season.csv ./season.csv")
        .ended_with(2);
    for name in [
        "none.csv: ",
        "empty.csv: ",
        "folder: ",
        "./season.csv: given twice",
    ] {
        assert!(ran.stderr.contains(name), "{name}\n{ran}");
    }
}

#[test]
fn several_logs_are_one_season() {
    let folder = Folder::new();
    folder.write("one.csv", GOOD);
    folder.write(
        "two.csv",
        "session;vehicle;wheels;target_m;turns;long_cm\nSat 1;Thistle;foam;6,5;28,5;1,5\n",
    );
    let json = folder
        .run("check one.csv two.csv --json")
        .ended_with(0)
        .json();
    assert_eq!(json["understood"]["runs"], 7);
    assert_eq!(json["understood"]["sessions"], 2);
    assert_eq!(json["understood"]["rigs"][0]["sessions"][0]["runs"], 4);
}

#[test]
fn usage_errors_end_with_2_on_standard_error() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    for arguments in [
        "",
        "check",
        "chek season.csv",
        "check season.csv --wrong",
        "check season.csv --level 95",
        "check season.csv --level -1",
        "check season.csv --seed x",
    ] {
        let ran = folder.run(arguments).ended_with(2);
        assert_eq!(ran.stdout, "", "{ran}");
        assert!(!ran.stderr.is_empty(), "{ran}");
    }
}

#[test]
fn help_and_version_are_answers() {
    let folder = Folder::new();
    let ran = folder.run("--help").ended_with(0);
    assert_eq!(ran.stderr, "");
    insta::assert_snapshot!("help", ran.stdout);
    let ran = folder.run("check --help").ended_with(0);
    insta::assert_snapshot!("help_check", ran.stdout);
    let ran = folder.run("--version").ended_with(0);
    assert_eq!(
        ran.stdout,
        format!("haltmark {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[cfg(unix)]
#[test]
fn a_reader_that_stops_reading_is_no_fault() {
    use std::process::{Command, Stdio};
    let folder = Folder::new();
    let mut log = GOOD.to_string();
    for i in 0..4000 {
        log.push_str(&format!("S{i},,,,7,31.{i},5,-2,-21,1.5,0,whole\n"));
    }
    folder.write("season.csv", log);
    let mut child = Command::new(assert_cmd::cargo::cargo_bin!("haltmark"))
        .args(["check", "season.csv", "--json"])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let full = std::fs::File::options()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("haltmark"))
        .args(["check", "season.csv"])
        .current_dir(folder.path())
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("standard output"), "{said}");
}
