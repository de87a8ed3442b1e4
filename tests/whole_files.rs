//! Files are written whole or not at all: the program killed at any moment, full disks, folders that cannot be
//! written, files of another version.

mod common;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use common::Folder;
use haltmark::simulate::{self, Truth};
use haltmark::stats::resample;

/// Every file below a folder, with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(at) = open.pop() {
        for entry in std::fs::read_dir(&at).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below it");
                let name = name.to_str().expect("a plain name").to_string();
                found.insert(name, std::fs::read(&path).expect("a file"));
            }
        }
    }
    found
}

fn put(folder: &Path, files: &BTreeMap<String, Vec<u8>>) {
    if folder.exists() {
        std::fs::remove_dir_all(folder).expect("it can be removed");
    }
    for (name, bytes) in files {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("it can be made");
        std::fs::write(path, bytes).expect("it can be written");
    }
}

fn small_season(seed: u64) -> String {
    let mut truth = Truth::default();
    truth.season.sessions = 3;
    // Some runs go wrong in each, so that both have the same figures.
    truth.wrong.void = 0.2;
    simulate::season(&truth, seed).to_csv()
}

/// A folder with `season.csv`, the report of an older one in `out`, and what both reports look like.
struct Refit {
    folder: Folder,
    old: BTreeMap<String, Vec<u8>>,
    new: BTreeMap<String, Vec<u8>>,
    /// How long a fit takes here.
    takes: Duration,
    /// A folder of the user's in the report.
    folder_inside: Option<&'static str>,
}

impl Refit {
    fn new(folder_inside: Option<&'static str>) -> Self {
        let folder = Folder::new();
        folder.write("season.csv", small_season(1));
        folder.run("fit season.csv --out old").ended_with(0);
        folder.write("season.csv", small_season(2));
        let start = Instant::now();
        folder.run("fit season.csv --out new").ended_with(0);
        let takes = start.elapsed();
        let [old, new] = ["old", "new"].map(|name| files(&folder.path().join(name)));
        for name in ["old", "new"] {
            std::fs::remove_dir_all(folder.path().join(name)).expect("it can be removed");
        }
        assert!(old.len() > 10 && old.keys().eq(new.keys()));
        assert!(
            ["report.html", "card.html", "calibration.json"]
                .iter()
                .all(|n| old[*n] != new[*n])
        );
        Refit {
            folder,
            old,
            new,
            takes,
            folder_inside,
        }
    }

    fn out(&self) -> std::path::PathBuf {
        self.folder.path().join("out")
    }

    fn start(&self) -> Child {
        Command::new(assert_cmd::cargo::cargo_bin!("haltmark"))
            .args(["fit", "season.csv", "--out", "out"])
            .current_dir(self.folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program can be started")
    }

    /// Whether something unfinished stands here or in the report.
    fn has_begun_to_write(&self) -> bool {
        let unfinished = |folder: &Path| {
            std::fs::read_dir(folder).is_ok_and(|mut entries| {
                entries.any(|e| {
                    e.is_ok_and(|e| e.file_name().to_string_lossy().starts_with(".haltmark-"))
                })
            })
        };
        unfinished(self.folder.path()) || unfinished(&self.out())
    }

    /// Moments to kill it at: anywhere from the start to a little after the end, and, as every second one, shortly
    /// after it began to write. Kills, and lets `look` see what is there; how often that was the old report.
    fn kill(&self, times: u64, mut look: impl FnMut() -> bool) -> u64 {
        let mut old = 0;
        for index in 0..times {
            put(&self.out(), &self.old);
            if let Some(other) = self.folder_inside {
                std::fs::create_dir(self.out().join(other)).expect("it can be made");
            }
            let wait = resample::uniform(&mut resample::replicate(41, index));
            let mut child = self.start();
            let deadline = Instant::now() + self.takes * 20;
            if index % 2 == 0 {
                std::thread::sleep(self.takes.mul_f64(1.3 * wait));
            } else {
                let is_over =
                    |child: &mut Child| child.try_wait().expect("it can be asked").is_some();
                while !self.has_begun_to_write()
                    && !is_over(&mut child)
                    && Instant::now() < deadline
                {
                    std::hint::spin_loop();
                }
                std::thread::sleep(Duration::from_micros((4000.0 * wait * wait) as u64));
            }
            child.kill().expect("it can be killed");
            child.wait().expect("it has ended");
            old += u64::from(look());
        }
        old
    }
}

/// Killed at any moment, the report is the old one or the new one, all of it; and the next run takes away what is
/// left beside it.
#[cfg(target_os = "linux")]
#[test]
fn a_killed_fit_leaves_the_old_report_or_the_new_one() {
    let refit = Refit::new(None);
    let times = 60;
    let old = refit.kill(times, || {
        let found = files(&refit.out());
        assert!(found.keys().eq(refit.old.keys()), "{:?}", found.keys());
        let changed: Vec<_> = found.iter().filter(|(n, b)| refit.old[*n] != **b).collect();
        assert!(
            found == refit.old || found == refit.new,
            "{} of {} files are new: {:?}",
            changed.len(),
            found.len(),
            changed.iter().map(|(n, _)| n).collect::<Vec<_>>()
        );
        found == refit.old
    });
    assert!(
        old > 0 && old < times,
        "{old} of {times} times the old one: nothing was tried"
    );
    refit.folder.run("fit season.csv --out out").ended_with(0);
    assert!(files(&refit.out()) == refit.new);
    let names = std::fs::read_dir(refit.folder.path())
        .expect("a folder")
        .count();
    assert_eq!(names, 2, "{:?}", refit.folder.names());
}

/// In a folder that cannot change places as a whole every file is the old one or the new one, and the calibration is
/// new only when all of them are.
#[cfg(target_os = "linux")]
#[test]
fn in_a_folder_of_folders_every_file_is_whole_and_the_calibration_comes_last() {
    let refit = Refit::new(Some("logs"));
    let times = 40;
    let old = refit.kill(times, || {
        let mut found = files(&refit.out());
        found.retain(|name, _| !name.contains(".haltmark-"));
        for (name, bytes) in &found {
            let is_whole = [&refit.old, &refit.new]
                .iter()
                .any(|r| r.get(name) == Some(bytes));
            assert!(is_whole, "{name} is neither the old nor the new one");
        }
        if found["calibration.json"] == refit.new["calibration.json"] {
            assert!(found == refit.new, "the calibration is new and not all is");
        }
        found == refit.old
    });
    assert!(
        old > 0 && old < times,
        "{old} of {times} times the old one: nothing was tried"
    );
    refit.folder.run("fit season.csv --out out").ended_with(0);
    let left = files(&refit.out());
    assert!(left == refit.new, "{:?}", left.keys());
}

/// Runs a shell line in the folder, with `$haltmark` for the program; its status and everything it said, in order.
fn shell(folder: &Folder, line: &str) -> (Option<i32>, String) {
    let output = Command::new("sh")
        .args(["-c", &format!("exec 2>&1; {line}")])
        .env("haltmark", assert_cmd::cargo::cargo_bin!("haltmark"))
        .current_dir(folder.path())
        .output()
        .expect("a shell");
    let said = [output.stdout, output.stderr].map(|s| String::from_utf8_lossy(&s).into_owned());
    (output.status.code(), said.concat())
}

/// Whether a disk of our own can be mounted here; said where it cannot, and the test left out.
fn can_mount(folder: &Folder) -> bool {
    std::fs::create_dir(folder.path().join("disk")).expect("it can be made");
    let (status, said) = shell(
        folder,
        "unshare -m sh -c 'mount -t tmpfs -o size=64k none disk'",
    );
    if status != Some(0) {
        eprintln!("left out: no disk can be mounted here ({})", said.trim());
    }
    status == Some(0)
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_and_leaves_what_was_there() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    if !can_mount(&folder) {
        return;
    }
    // A report does not fit into 64 kB, into a new folder as little as over an old one.
    for out in ["disk/report", "disk"] {
        let line = format!(
            "unshare -m sh -c 'mount -t tmpfs -o size=64k none disk; mkdir -p {out}; echo old > {out}/card.html; \
             $haltmark fit season.csv --quiet --out {out}; echo status $?; cat {out}/card.html; find disk'"
        );
        let (_, said) = shell(&folder, &line);
        assert!(
            said.contains("No space left on device") && said.contains("status 2\nold\n"),
            "{said}"
        );
        assert!(said.contains(&format!("writing {out}/")), "{said}");
        assert!(
            !said.contains("haltmark-") && !said.contains("calibration.json\n"),
            "{said}"
        );
    }
    let line = "unshare -m sh -c 'mount -t tmpfs -o size=64k none disk; $haltmark fit season.csv --quiet --out disk/a/b; \
                echo status $?; find disk'";
    let (_, said) = shell(&folder, line);
    assert!(said.ends_with("status 2\ndisk\n"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_limit_on_the_size_of_files_is_said_and_leaves_what_was_there() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    folder.write("out/card.html", "old");
    // 8 blocks; without the trap the system would end the program.
    let (status, said) = shell(
        &folder,
        "trap '' XFSZ; ulimit -f 8; exec $haltmark fit season.csv --quiet --out out",
    );
    assert_eq!(status, Some(2), "{said}");
    assert!(
        said.contains("writing out/") && said.contains("File too large"),
        "{said}"
    );
    assert_eq!(folder.names(), ["out/", "out/card.html", "season.csv"]);
    assert_eq!(folder.text("out/card.html"), "old");
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_be_written_is_said() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    // Even to the administrator /proc is closed.
    let ran = folder
        .run("fit season.csv --out /proc/report")
        .ended_with(2);
    assert!(
        ran.stderr.contains("making the folder /proc/report: "),
        "{ran}"
    );
    assert_eq!(ran.stdout, "");
    if !can_mount(&folder) {
        return;
    }
    for (out, doing) in [
        ("disk", "writing to the folder disk: "),
        ("disk/new", "making the folder disk/new: "),
    ] {
        let line = format!(
            "unshare -m sh -c 'mount -t tmpfs none disk; echo old > disk/card.html; mount -o remount,ro disk; \
             $haltmark fit season.csv --quiet --out {out}; echo status $?; cat disk/card.html'"
        );
        let (_, said) = shell(&folder, &line);
        assert!(
            said.contains(doing) && said.to_lowercase().contains("read-only file"),
            "{said}"
        );
        assert!(said.ends_with("status 2\nold\n"), "{said}");
    }
}

#[test]
fn a_missing_folder_is_made_and_a_file_in_its_place_is_said() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    folder.run("fit season.csv --out a/b/c").ended_with(0);
    assert!(folder.path().join("a/b/c/figures").is_dir());
    folder.write("taken", "mine");
    for out in ["taken", "taken/below", "season.csv"] {
        let ran = folder
            .run(&format!("fit season.csv --out {out}"))
            .ended_with(2);
        assert!(
            ran.stderr.contains("a file of that name is in the way"),
            "{ran}"
        );
        assert_eq!(ran.stdout, "", "{ran}");
    }
    assert_eq!(folder.text("taken"), "mine");
    // A folder where a file should be.
    std::fs::create_dir_all(folder.path().join("out/card.html")).expect("it can be made");
    let ran = folder.run("fit season.csv --out out").ended_with(2);
    assert!(
        ran.stderr
            .contains("out/card.html: a folder of that name is in the way"),
        "{ran}"
    );
    let below_out: Vec<_> = folder
        .names()
        .into_iter()
        .filter(|n| n.starts_with("out/"))
        .collect();
    assert_eq!(below_out, ["out/", "out/card.html/"]);
}

/// A sheet or an invented log never takes the place of another kind of file, only of one like it.
#[test]
fn a_sheet_and_an_invented_log_leave_other_files_alone() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    folder.run("fit season.csv --out out").ended_with(0);
    folder.run("start notes").ended_with(0);
    let truth = folder.run("simulate").ended_with(0).stdout;
    folder.write("truth.toml", &truth);
    let before = files(folder.path());
    for line in [
        "sheet --out season.csv",
        "sheet out --out notes.xlsx",
        "sheet out --out out/card.html",
        "sheet out --out notes-setup.toml",
        "simulate --truth truth.toml --out notes.xlsx",
        "simulate --truth truth.toml --out out/report.html",
    ] {
        let ran = folder.run(line).ended_with(2);
        assert!(
            ran.stderr.contains("another kind of file is there"),
            "{ran}"
        );
    }
    assert_eq!(files(folder.path()), before);
    for line in [
        "sheet out --out sheet.html",
        "sheet --out sheet.html",
        "simulate --truth truth.toml --out made.csv",
        "simulate --truth truth.toml --seed 3 --out made.csv",
    ] {
        folder.run(line).ended_with(0);
    }
}

/// Another version, cut short at any place, edited anywhere: refused, and said why.
#[test]
fn a_calibration_of_another_version_cut_short_or_edited_is_refused() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    folder.run("fit season.csv --out out").ended_with(0);
    let sound = folder.text("out/calibration.json");
    let refused = |text: &str, why: &str| {
        folder.write("c.json", text);
        let ran = folder.run("dial c.json --target 8").ended_with(2);
        assert!(
            ran.stderr.starts_with("c.json: ") && ran.stderr.contains(why),
            "{why}\n{ran}"
        );
        assert!(
            ran.stderr.contains("make it again with haltmark fit"),
            "{ran}"
        );
        assert_eq!(ran.stdout, "");
    };
    refused(
        &sound.replace("haltmark-calibration/2", "haltmark-calibration/1"),
        "its format is \"haltmark-calibration/1\"; expected \"haltmark-calibration/2\"",
    );
    for index in 0..12 {
        let share = resample::uniform(&mut resample::replicate(42, index));
        let mut at = (share * (sound.len() - 100) as f64) as usize + 90;
        while !sound.is_char_boundary(at) {
            at += 1;
        }
        refused(&sound[..at], "");
    }
    refused(&sound[..sound.len() - 3], "cut short");
    refused("", "not a calibration.json");
    refused("{}", "not a calibration.json");
    refused(&folder.text("out/settings.csv"), "not a calibration.json");
    // One digit of one number, here and there.
    let digits: Vec<usize> = sound
        .match_indices(|c: char| ('1'..='8').contains(&c))
        .map(|m| m.0)
        .collect();
    let from = sound.find("\"rigs\"").expect("the key");
    for index in 0..12 {
        let share = resample::uniform(&mut resample::replicate(43, index));
        let digits: Vec<usize> = digits.iter().copied().filter(|&at| at > from).collect();
        let at = digits[(share * digits.len() as f64) as usize];
        let mut bytes = sound.clone().into_bytes();
        bytes[at] += 1;
        let edited = String::from_utf8(bytes).expect("still text");
        refused(&edited, "");
    }
    refused(
        &sound.replacen("\"level\": 0.95", "\"level\": 0.9", 1),
        "it was changed",
    );
}

#[cfg(unix)]
#[test]
fn a_reader_that_has_seen_enough_is_no_fault() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    folder.run("fit season.csv --out out").ended_with(0);
    for command in [
        "--help",
        "fit --help",
        "--version",
        "simulate",
        "check season.csv",
        "check season.csv --json",
        "fit season.csv --json --out out",
        "dial out/calibration.json --target 6,7,8,9,10",
    ] {
        for reader in ["head -c 1", "true"] {
            // What the program itself ended with, told after the reader is gone.
            let line = format!("{{ $haltmark {command}; echo $? > status; }} 2> said | {reader}");
            let (status, _) = shell(&folder, &line);
            assert_eq!(status, Some(0), "{line}");
            assert_eq!(folder.text("status"), "0\n", "{command} | {reader}");
            let said = folder.text("said");
            assert!(
                !said.contains("panic") && !said.to_lowercase().contains("pipe"),
                "{command} | {reader}: {said}"
            );
        }
    }
}

/// The same bytes, whatever the number of threads, the locale, the time zone and the time of day.
#[test]
fn the_same_command_gives_the_same_bytes() {
    let folder = Folder::new();
    folder.write("season.csv", small_season(1));
    let made = |out: &str, environment: &[(&str, &str)]| {
        let output = Command::new(assert_cmd::cargo::cargo_bin!("haltmark"))
            .args(["fit", "season.csv", "--json", "--out", out])
            .envs(environment.iter().copied())
            .current_dir(folder.path())
            .output()
            .expect("the program can be started");
        assert!(output.status.success());
        let mut made = files(&folder.path().join(out));
        made.insert("standard output".to_string(), output.stdout);
        made.insert("standard error".to_string(), output.stderr);
        made
    };
    let first = made("first", &[]);
    for (index, environment) in [
        &[("RAYON_NUM_THREADS", "1"), ("LC_ALL", "de_DE.UTF-8")][..],
        &[
            ("RAYON_NUM_THREADS", "7"),
            ("LANG", "tr_TR.UTF-8"),
            ("TZ", "Pacific/Kiritimati"),
        ],
        &[
            ("LC_ALL", "ar_EG.UTF-8"),
            ("LC_NUMERIC", "fr_FR"),
            ("TZ", "America/St_Johns"),
            ("COLUMNS", "20"),
        ],
        &[
            ("LC_ALL", "C"),
            ("TERM", "dumb"),
            ("NO_COLOR", "1"),
            ("HOME", "/nowhere"),
            ("SOURCE_DATE_EPOCH", "0"),
        ],
    ]
    .into_iter()
    .enumerate()
    {
        let again = made(&format!("again{index}"), environment);
        assert!(again.keys().eq(first.keys()));
        for (name, bytes) in &first {
            assert!(again[name] == *bytes, "{name} differs with {environment:?}");
        }
    }
}
