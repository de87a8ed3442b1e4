//! The README's steps, word for word: every `haltmark …` command of its shell blocks is run, in order, in a copy of the example.
//! (`cargo …` lines build, install and test; the binary under test stands in for them.)

mod common;

use common::Folder;
use std::fs;
use std::path::Path;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// The lines of the README's shell blocks.
fn commands(readme: &str) -> Vec<String> {
    let mut inside = false;
    let mut commands = Vec::new();
    for line in readme.lines() {
        match line {
            "```sh" => inside = true,
            "```" => inside = false,
            line if inside => commands.push(line.to_string()),
            _ => {}
        }
    }
    commands
}

#[test]
fn every_step_of_the_readme_runs_as_it_stands() {
    let readme = fs::read_to_string(Path::new(ROOT).join("README.md")).expect("the README");
    let folder = Folder::new();
    fs::create_dir(folder.path().join("data")).expect("a folder");
    for file in fs::read_dir(Path::new(ROOT).join("data")).expect("the data") {
        let file = file.expect("a file");
        let to = folder.path().join("data").join(file.file_name());
        fs::copy(file.path(), to).expect("a copy");
    }
    let mut run = 0;
    for command in commands(&readme) {
        let arguments = command
            .strip_prefix("haltmark ")
            .or(command.strip_prefix("cargo run --release -- "));
        let Some(arguments) = arguments else {
            assert!(command.starts_with("cargo "), "{command}");
            continue;
        };
        folder.run(arguments).ended_with(0);
        run += 1;
    }
    assert!(run >= 9, "{run} steps");
    for made in ["reports/bramble/report.html", "sheet.html", "invented.csv"] {
        assert!(folder.path().join(made).exists(), "{made}");
    }
}

/// The rows that the README shows are a log that can be read.
#[test]
fn the_rows_of_the_readme_are_a_log() {
    let readme = fs::read_to_string(Path::new(ROOT).join("README.md")).expect("the README");
    let from = readme.find("session,target_m,turns").expect("rows");
    let rows = &readme[from..];
    let rows = &rows[..rows.find("```").expect("an end")];
    let folder = Folder::new();
    folder.write("rows.csv", rows);
    let checked = folder.run("check rows.csv").ended_with(0);
    assert!(checked.stdout.contains("5 runs"), "{checked}");
}
