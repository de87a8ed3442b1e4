//! `haltmark start`: an empty log and a set-up file to fill in, for the first evening.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::{Common, StartArgs};
use super::inputs;
use super::output::{self, Answer, Output};
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::report::{File, notebook};
use crate::setup;

/// Endings of a log that may be typed with its name.
const ENDINGS: [&str; 2] = ["xlsx", "csv"];

/// Makes the empty log, and a set-up file unless one was given.
///
/// # Errors
/// Faults of the set-up file; a name that is none.
pub fn run(args: &StartArgs, common: &Common) -> Result<Answer, Error> {
    let setup = inputs::setup(common)?;
    let (stem, is_csv) = stem(&args.name, args.csv)?;
    let ending = if is_csv { "csv" } else { "xlsx" };
    let log = PathBuf::from(format!("{stem}.{ending}"));
    let mut files = vec![match is_csv {
        true => notebook::csv(log.clone(), &setup),
        false => notebook::workbook(log.clone(), &setup)?,
    }];
    let folder = args.name.parent().unwrap_or(Path::new(""));
    let setup_name = format!("{stem}-setup.toml");
    let setup_file = match &common.setup {
        Some(given) => given.clone(),
        None => {
            files.push(File::from_text(&setup_name, setup::page()));
            folder.join(setup_name)
        }
    };
    let log = folder.join(log);
    Ok(Answer {
        text: match common.quiet {
            true => String::new(),
            false => text(&log, &setup_file, common.setup.is_some()),
        },
        next: format!(
            "haltmark check {} --setup {}",
            inputs::typed(&log),
            inputs::typed(&setup_file)
        ),
        json: Some(output::json(&Started {
            log: log.display().to_string(),
            setup: setup_file.display().to_string(),
        })),
        output: Some(Output::new_files(folder, files)),
        ..Answer::default()
    })
}

/// The name without the ending of a log, and whether the log is to be text.
fn stem(name: &Path, csv: bool) -> Result<(String, bool), Error> {
    let no_name = || {
        let fault = Fault::error("NAME", "expected a name for the log, such as season");
        Error::Input(Faults::from(fault.read(name.display().to_string())))
    };
    let whole = name
        .file_name()
        .and_then(|name| name.to_str())
        .ok_or_else(no_name)?;
    match whole.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() && ENDINGS.contains(&ending) => {
            Ok((stem.to_string(), csv || ending == "csv"))
        }
        _ => Ok((whole.to_string(), csv)),
    }
}

fn text(log: &Path, setup: &Path, is_given: bool) -> String {
    let mut lines = vec![format!(
        "Empty log: {}\n  one row a run; it says itself what each column means and where plus and minus lie",
        log.display()
    )];
    if is_given {
        lines.push(format!("Set-up in use: {}", setup.display()));
    } else {
        lines.push(format!(
            "Set-up file: {}\n  measure first what stands there behind a # (ticks on the dial, wheels across, width), write it in and \
             take the # away",
            setup.display()
        ));
    }
    lines.push(
        "A log sheet to print and write on by hand: haltmark sheet --out sheet.html".to_string(),
    );
    lines.join("\n")
}

#[derive(Serialize)]
struct Started {
    log: String,
    setup: String,
}
