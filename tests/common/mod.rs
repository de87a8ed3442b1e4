//! Builds logs, reads them, and runs the program in a fresh folder.
#![allow(dead_code)] // Each test file uses its own part.

pub mod browser;
pub mod devtools;
pub mod packed;

use std::path::{Path, PathBuf};

use haltmark::calibration::{Calibration, file};
use haltmark::error::Error;
use haltmark::fault::{Fault, Faults, Severity};
use haltmark::log::{self, run::Season};
use haltmark::setup::Setup;

/// A season as a log with nothing measured across.
pub fn along_only(season: &Season) -> String {
    let rows = season.runs.iter().filter_map(|r| {
        Some(format!(
            "{},{},{},{}\n",
            r.session, r.target_m?, r.turns?, r.rest_m?
        ))
    });
    format!(
        "session,target_m,turns,rest_m\n{}",
        rows.collect::<String>()
    )
}

/// A folder of its own for one test, gone with it.
pub struct Folder(tempfile::TempDir);

impl Folder {
    /// An empty one.
    pub fn new() -> Self {
        Folder(tempfile::tempdir().expect("a fresh folder can be made"))
    }

    /// The folder's path.
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Puts a file into it, with the folders above it.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a file has a folder"))
            .expect("the folder can be made");
        std::fs::write(&path, content).expect("the file can be written");
        path
    }

    /// Text of a file in it.
    pub fn text(&self, name: &str) -> String {
        let path = self.path().join(name);
        std::fs::read_to_string(&path).unwrap_or_else(|cause| panic!("{}: {cause}", path.display()))
    }

    /// Names of everything in it, sorted; folders end in a slash.
    pub fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        list(self.path(), "", &mut names);
        names.sort();
        names
    }

    /// Runs the program there. Splits `arguments` at spaces.
    pub fn run(&self, arguments: &str) -> Ran {
        self.run_with(&arguments.split_whitespace().collect::<Vec<_>>())
    }

    /// Runs the program there.
    pub fn run_with(&self, arguments: &[&str]) -> Ran {
        let output = assert_cmd::cargo::cargo_bin_cmd!("haltmark")
            .args(arguments)
            .current_dir(self.path())
            .output()
            .expect("the program can be started");
        Ran {
            command: format!("haltmark {}", arguments.join(" ")),
            folder: self.names(),
            status: output.status.code(),
            stdout: String::from_utf8(output.stdout).expect("standard output is UTF-8"),
            stderr: String::from_utf8(output.stderr).expect("standard error is UTF-8"),
        }
    }
}

fn list(folder: &Path, above: &str, names: &mut Vec<String>) {
    for entry in std::fs::read_dir(folder).expect("the folder can be read") {
        let entry = entry.expect("an entry can be read");
        let name = format!("{above}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            list(&entry.path(), &format!("{name}/"), names);
            names.push(format!("{name}/"));
        } else {
            names.push(name);
        }
    }
}

/// How a run of the program ended.
pub struct Ran {
    command: String,
    folder: Vec<String>,
    /// Exit status; `None` when it was killed.
    pub status: Option<i32>,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
}

impl Ran {
    /// The same, if it ended with this status; else everything there is to know.
    #[track_caller]
    pub fn ended_with(self, status: i32) -> Self {
        assert!(
            self.status == Some(status),
            "expected status {status}\n{self}"
        );
        self
    }

    /// Standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("{error}\n{self}"))
    }
}

impl std::fmt::Display for Ran {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "$ {}\nstatus {:?}\nfolder {:?}\n--- standard output\n{}\n--- standard error\n{}",
            self.command, self.status, self.folder, self.stdout, self.stderr
        )
    }
}

/// A text as a log in a fresh folder, read with the default set-up.
pub fn try_read(text: &[u8]) -> Result<(Season, Faults), Error> {
    try_read_as(
        "runs.csv",
        text,
        &Setup::default(),
        &log::ReadOptions::default(),
    )
}

/// The same under a name, which says what kind of file it is, and with a set-up.
pub fn try_read_as(
    name: &str,
    content: &[u8],
    setup: &Setup,
    options: &log::ReadOptions,
) -> Result<(Season, Faults), Error> {
    let folder = Folder::new();
    let path = folder.write(name, content);
    log::read(&[path], setup, options)
}

/// The same for a text that must be a sound log.
#[track_caller]
pub fn read(text: &str) -> (Season, Faults) {
    try_read(text.as_bytes()).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

/// The same for a text that must not be.
#[track_caller]
pub fn read_err(text: &str) -> Faults {
    faults_of(try_read(text.as_bytes()))
}

/// The faults of a reading that must fail.
#[track_caller]
pub fn faults_of(read: Result<(Season, Faults), Error>) -> Faults {
    match read {
        Err(Error::Input(faults)) => faults,
        other => panic!("expected faults, got {other:?}"),
    }
}

/// The faults that stop a command.
pub fn errors(faults: &Faults) -> Vec<&Fault> {
    of(faults, Severity::Error)
}

/// The faults that do not.
pub fn warnings(faults: &Faults) -> Vec<&Fault> {
    of(faults, Severity::Warning)
}

fn of(faults: &Faults, severity: Severity) -> Vec<&Fault> {
    faults.0.iter().filter(|f| f.severity == severity).collect()
}

/// A season fitted in a folder of its own: card and calibration below `out`.
pub fn fitted(log: &str, setup: &str) -> (Folder, Calibration) {
    let folder = Folder::new();
    folder.write("s.csv", log);
    folder.write("setup.toml", setup);
    folder
        .run("fit s.csv --setup setup.toml --out out")
        .ended_with(0);
    let calibration = file::read("calibration.json", &folder.text("out/calibration.json"))
        .expect("a calibration just written");
    (folder, calibration)
}
