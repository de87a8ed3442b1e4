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
    assert!(ran.stderr.is_empty(), "said once: {ran}");
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
    let is_setting = |line: &&str| !line.starts_with("next:");
    let printed: Vec<&str> = printed.lines().skip(1).filter(is_setting).collect();
    folder.write("again.toml", printed.join("\n"));
    let again = folder
        .run("check season.csv --setup again.toml")
        .ended_with(0);
    assert_eq!(
        first.stdout.replace("mine.toml", "again.toml"),
        again.stdout
    );
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
        ran.stderr.starts_with("none.toml: there is no such file"),
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

const COMMANDS: [&str; 12] = [
    "start",
    "check",
    "fit",
    "dial",
    "correct",
    "plan",
    "compare",
    "review",
    "simulate",
    "sheet",
    "completions",
    "man",
];

#[test]
fn help_of_a_command_is_asked_for_either_way() {
    let folder = Folder::new();
    let of = |arguments: &str| folder.run(arguments).ended_with(0).stdout;
    assert_eq!(of("help fit"), of("fit --help"));
    for asked in ["help", "help --help", "help help"] {
        assert_eq!(of(asked), of("--help"), "{asked}");
    }
    let ran = folder.run("help fti").ended_with(2);
    assert!(ran.stderr.contains("the nearest is fit"), "{ran}");
}

#[test]
fn nothing_is_written_to_a_file_called_minus() {
    let folder = Folder::new();
    folder.write("t.toml", "[season]\nsessions = 1\n");
    for command in ["simulate --truth t.toml --out -", "sheet -o -"] {
        folder.run(command).ended_with(2);
    }
    assert_eq!(folder.names(), ["t.toml"]);
    let ran = folder.run("sheet --out sheets/").ended_with(0);
    assert!(ran.stdout.contains("sheets/sheet.html"), "{ran}");
    assert!(folder.path().join("sheets/sheet.html").is_file());
}

#[test]
fn help_and_version_are_answers() {
    let folder = Folder::new();
    let ran = folder.run("--help").ended_with(0);
    assert_eq!(ran.stderr, "");
    insta::assert_snapshot!("help", ran.stdout);
    for command in COMMANDS {
        let help = folder.run(&format!("{command} --help")).ended_with(0);
        insta::assert_snapshot!(format!("help_{command}"), help.stdout);
        let (_, example) = help.stdout.rsplit_once("Example:\n").expect("an example");
        assert!(
            example.contains(&format!("  haltmark {command} "))
                || example.contains("  haltmark simulate"),
            "{example}"
        );
        assert_eq!(
            folder.run(&format!("help {command}")).ended_with(0).stdout,
            help.stdout
        );
    }
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

/// Runs the program with a text on its standard input.
fn with_input(folder: &Folder, arguments: &str, input: &str) -> (Option<i32>, String, String) {
    let output = assert_cmd::cargo::cargo_bin_cmd!("haltmark")
        .args(arguments.split_whitespace())
        .current_dir(folder.path())
        .write_stdin(input)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

#[test]
fn a_log_may_come_from_standard_input() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let (status, said, _) = with_input(&folder, "check -", GOOD);
    assert_eq!(status, Some(0));
    let from_file = folder.run("check season.csv").ended_with(0).stdout;
    assert_eq!(
        said.replace("standard input", "season.csv")
            // Standard input cannot be read a second time.
            .replace("fit LOG", "fit season.csv"),
        from_file
    );
    let (status, _, said) = with_input(&folder, "check -", BAD);
    assert_eq!(status, Some(2));
    assert!(said.starts_with("standard input, line 1"), "{said}");
    let (status, _, said) = with_input(&folder, "check - -", GOOD);
    assert_eq!(status, Some(2));
    assert!(said.contains("given twice"), "{said}");
    // It has no name for a folder.
    let (status, _, said) = with_input(&folder, "fit -", GOOD);
    assert_eq!(status, Some(2));
    assert!(said.contains("--out"), "{said}");
    assert_eq!(with_input(&folder, "fit - -o out -q", GOOD).0, Some(0));
    assert!(folder.path().join("out/card.html").exists());
}

#[test]
fn a_folder_is_its_calibration_and_a_part_names_a_rig() {
    let folder = Folder::new();
    folder.write("season.csv", format!("{GOOD}Sun 2,,Thistle,rubber,6,26,1,0,-18,1,0,\n,,,,8,35,2,1,-24,1,0,\n,,,,7,31,2,1,-24,1,0,\n"));
    folder.run("fit season.csv -o out").ended_with(0);
    let whole = folder
        .run("dial out/calibration.json --target 7 --rig Thistle/foam")
        .ended_with(0);
    for part in ["foam", "FOAM", "thistle/foam", "oa"] {
        let ran = folder
            .run(&format!("dial out --target 7 --rig {part}"))
            .ended_with(0);
        assert_eq!(ran.stdout.lines().next(), whole.stdout.lines().next());
    }
    let ran = folder
        .run("dial out --target 7 --rig thistle")
        .ended_with(2);
    assert!(ran.stderr.contains("Thistle/foam, Thistle/rubber"), "{ran}");
    let ran = folder.run("dial out --target 7 --rig Heron").ended_with(2);
    assert!(
        ran.stderr.contains("holds Thistle/foam, Thistle/rubber"),
        "{ran}"
    );
    let ran = folder.run("dial . --target 7").ended_with(2);
    assert!(ran.stderr.contains("calibration.json"), "{ran}");
}

#[test]
fn answers_end_with_the_next_command() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    folder.write(
        "today.csv",
        "target_m,turns,long_cm,right_cm,aim_right_cm\n7,31,4,2,-21\n",
    );
    folder.write("truth.toml", folder.run("simulate").ended_with(0).stdout);
    for (command, next) in [
        (
            "start spring",
            "haltmark check spring.xlsx --setup spring-setup.toml",
        ),
        ("check season.csv", "haltmark fit season.csv"),
        ("fit season.csv -o out", "haltmark dial out --target 7.00"),
        (
            "dial out --target 7",
            "haltmark correct out TODAY.csv --target 7, after the first run",
        ),
        (
            "correct out today.csv --target 7",
            "haltmark review out today.csv, when the day is over",
        ),
        (
            "plan out --within 15",
            "haltmark sheet out --out sheet.html, for the next session",
        ),
        (
            "review out today.csv",
            "haltmark fit season.csv today.csv, so that these runs count too",
        ),
        (
            "simulate --truth truth.toml -o made.csv",
            "haltmark check made.csv",
        ),
        (
            "sheet out -o sheet.html",
            "haltmark check LOG, when the sheet is typed in",
        ),
    ] {
        let ran = folder.run(command).ended_with(0);
        assert_eq!(
            ran.stdout.lines().last(),
            Some(format!("next: {next}").as_str()),
            "{ran}"
        );
        for flag in ["--quiet", "--json"] {
            // start writes over nothing.
            let again = command.replace("spring", &format!("spring{flag}"));
            let ran = folder.run(&format!("{again} {flag}")).ended_with(0);
            assert!(!ran.stdout.contains("next:"), "{ran}");
        }
    }
}

#[test]
fn nothing_is_coloured_in_a_pipe() {
    let folder = Folder::new();
    folder.write("season.csv", BAD);
    folder.write("good.csv", GOOD);
    for arguments in ["check season.csv", "check good.csv", "--help", "chek"] {
        let output = assert_cmd::cargo::cargo_bin_cmd!("haltmark")
            .args(arguments.split_whitespace())
            .current_dir(folder.path())
            .env_remove("NO_COLOR")
            .env("TERM", "xterm-256color")
            .output()
            .unwrap();
        let has_escape = |bytes: &[u8]| bytes.contains(&0x1b);
        assert!(
            !has_escape(&output.stdout) && !has_escape(&output.stderr),
            "{arguments}"
        );
    }
}

#[test]
fn mistyped_commands_and_flags_are_answered_with_the_nearest() {
    let folder = Folder::new();
    for (arguments, near) in [
        ("chek season.csv", "'check'"),
        ("fit season.csv --setpu x", "'--setup'"),
        ("man chek", "check"),
        ("completions bsh", "'bash'"),
    ] {
        let ran = folder.run(arguments).ended_with(2);
        assert!(ran.stderr.contains(near), "{ran}");
    }
}

#[test]
fn completions_and_man_pages_are_printed() {
    let folder = Folder::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let ran = folder.run(&format!("completions {shell}")).ended_with(0);
        assert!(
            COMMANDS.iter().all(|command| ran.stdout.contains(command)),
            "{ran}"
        );
    }
    let ran = folder.run("man").ended_with(0);
    assert!(ran.stdout.contains(".TH haltmark 1"), "{ran}");
    let ran = folder.run("man fit").ended_with(0);
    assert!(
        ran.stdout.contains(".TH haltmark-fit 1") && ran.stdout.contains("keep"),
        "{ran}"
    );
}

#[test]
fn a_fit_without_the_set_up_that_is_there_says_what_it_lacks() {
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let set_up = "[dial]\nticks_per_turn = 24\n[lane]\nhalf_width_m = 2\n";
    folder.write("season-setup.toml", set_up);
    let ran = folder.run("fit season.csv -o out").ended_with(0);
    let says = "warning: season-setup.toml: stands beside the log and was not used, so the fit knows nothing of its \
                ticks_per_turn, [lane]; give it with --setup season-setup.toml";
    assert!(ran.stderr.contains(says), "{ran}");
    let ran = folder
        .run("fit season.csv -o out --setup season-setup.toml")
        .ended_with(0);
    assert_eq!(ran.stderr, "");
    // Not beside the log any more, but the calibration that is replaced had it.
    std::fs::remove_file(folder.path().join("season-setup.toml")).unwrap();
    let ran = folder.run("fit season.csv -o out").ended_with(0);
    assert!(
        ran.stderr.contains("replaces was made with a set-up") && ran.stderr.contains("[lane]"),
        "{ran}"
    );
    let ran = folder.run("fit season.csv -o out").ended_with(0);
    assert_eq!(ran.stderr, "");
    // One that is not filled in yet has nothing to say.
    folder.run("start other").ended_with(0);
    folder.write("other.csv", GOOD);
    let ran = folder.run("fit other.csv -o other").ended_with(0);
    assert_eq!(ran.stderr, "");
}

/// A stand-in for the system's opener, which writes down what it was asked to open.
#[cfg(target_os = "linux")]
#[test]
fn the_report_is_opened_when_asked_for_and_a_failure_is_a_warning() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new();
    folder.write("season.csv", GOOD);
    let opener = folder.write("bin/xdg-open", "#!/bin/sh\necho \"$1\" > opened.txt\n");
    std::fs::set_permissions(&opener, std::fs::Permissions::from_mode(0o755)).unwrap();
    let fit = |path: &str| {
        let output = assert_cmd::cargo::cargo_bin_cmd!("haltmark")
            .args(["fit", "season.csv", "-o", "out", "--open"])
            .current_dir(folder.path())
            .env("PATH", path)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stderr).unwrap()
    };
    let with_opener = format!("{}:/usr/bin:/bin", folder.path().join("bin").display());
    assert_eq!(fit(&with_opener), "");
    assert_eq!(folder.text("opened.txt"), "out/report.html\n");
    let said = fit("");
    assert!(
        said.starts_with("warning: out/report.html: could not be opened (xdg-open"),
        "{said}"
    );
}

#[test]
fn compare_holds_the_vehicle_fixed() {
    let folder = Folder::new();
    let mut log = "session,vehicle,wheels,target_m,turns,long_cm\n".to_string();
    for (vehicle, off) in [("Thistle", 0.0), ("Heron", 30.0)] {
        for (wheels, more) in [("foam", 0.0), ("rubber", 5.0)] {
            for (day, turns, long) in [
                ("A", 26.0, 1.0),
                ("A", 35.0, -2.0),
                ("A", 31.0, 2.0),
                ("B", 26.0, -1.0),
                ("B", 35.0, 3.0),
                ("B", 31.0, 0.0),
            ] {
                let target = turns * 0.225 + 0.3;
                log += &format!(
                    "{day},{vehicle},{wheels},{target:.2},{turns},{}\n",
                    long + off + more
                );
            }
        }
    }
    folder.write("both.csv", &log);
    let thistle: Vec<&str> = log.lines().filter(|line| !line.contains("Heron")).collect();
    folder.write("thistle.csv", thistle.join("\n") + "\n");
    let compare = "--by wheels --a foam --b rubber --json";
    let held = folder
        .run(&format!("compare both.csv {compare} --rig thist"))
        .ended_with(0)
        .json();
    let alone = folder
        .run(&format!("compare thistle.csv {compare}"))
        .ended_with(0)
        .json();
    assert_eq!(held["overshoot_cm"], alone["overshoot_cm"]);
    let ran = folder
        .run(&format!("compare both.csv {compare} --rig t"))
        .ended_with(0);
    assert_eq!(ran.json()["overshoot_cm"], alone["overshoot_cm"]);
    let ran = folder
        .run(&format!("compare both.csv {compare} --rig x"))
        .ended_with(2);
    assert!(ran.stderr.contains("Thistle, Heron"), "{ran}");
}

/// Something else in the place of a log or of a calibration: the answer is what is meant.
#[test]
fn what_was_given_instead_is_answered_with_the_next_step() {
    let folder = Folder::new();
    folder.write("spring.csv", GOOD);
    folder.write("logs/autumn.csv", GOOD);
    folder.write("empty/note.md", "");
    folder.run("fit spring.csv --out of/spring").ended_with(0);
    for (command, says) in [
        (
            "check of/spring",
            "of/spring: this is the folder of a fit; expected a log,",
        ),
        (
            "compare of/spring --by wheels --a x --b y",
            "this is the folder of a fit",
        ),
        (
            "check logs",
            "this is a folder; expected a log in it, such as logs/autumn.csv",
        ),
        ("check empty", "this is a folder; name the file in it"),
        (
            "check spring",
            "there is no such file; did you mean spring.csv?",
        ),
        ("fit logs/autum.csv", "did you mean logs/autumn.csv?"),
        (
            "check nowhere.csv",
            "there is no such file: look at how it is spelt",
        ),
        (
            "dial spring.csv --target 7",
            "spring.csv: this is a log, not a calibration; fit it first (haltmark fit spring.csv), then give the folder that the fit writes, reports/spring",
        ),
        (
            "dial spring --target 7",
            "there is no such file or folder; spring.csv is a log",
        ),
        (
            "plan of/spring/report.html --within 15",
            "not a calibration; give the folder that it lies in, of/spring",
        ),
        (
            "dial of/spring/settings.csv --target 7",
            "give the folder that it lies in, of/spring",
        ),
        (
            "dial empty --target 7",
            "empty: no calibration.json in this folder",
        ),
        (
            "dial nowhere --target 7",
            "nowhere: there is no such file: look at how it is spelt",
        ),
    ] {
        let ran = folder.run(command).ended_with(2);
        assert!(ran.stderr.contains(says), "{says}\n{ran}");
    }
    folder.run("fit spring.csv").ended_with(0);
    let ran = folder.run("dial spring.csv --target 7").ended_with(2);
    assert!(
        ran.stderr
            .contains("give the folder of its fit, reports/spring"),
        "{ran}"
    );
}
