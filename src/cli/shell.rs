//! `haltmark completions` and `haltmark man`, made from the definitions of the commands.

use std::ffi::OsString;

use clap::CommandFactory;

use super::args::{Arguments, CompletionsArgs, ManArgs};
use super::output::Answer;
use crate::error::Error;
use crate::fault::{Fault, Faults};
use crate::keys;

const PROGRAM: &str = "haltmark";

/// The completions of a shell, to be put where it looks for them.
pub fn completions(args: &CompletionsArgs) -> Answer {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Arguments::command(), PROGRAM, &mut text);
    file(text)
}

/// A command line whose `help COMMAND` is written as `COMMAND --help`, and `help` alone as `--help`; any other as it is.
///
/// # Errors
/// A command that there is none of, with the nearest.
pub fn help(arguments: Vec<OsString>) -> Result<Vec<OsString>, Error> {
    let [own, word, rest @ ..] = arguments.as_slice() else {
        return Ok(arguments);
    };
    if word != "help" {
        return Ok(arguments);
    }
    let program = Arguments::command();
    let asked = rest.first().map(|name| name.to_string_lossy());
    let of = match asked.as_deref() {
        None | Some("help") => None,
        Some(flag) if flag.starts_with('-') => None,
        Some(name) if program.find_subcommand(name).is_some() => Some(OsString::from(name)),
        Some(name) => return Err(unknown(name, &program)),
    };
    let flag = Some(OsString::from("--help"));
    Ok([Some(own.clone()), of, flag]
        .into_iter()
        .flatten()
        .collect())
}

/// The man page of the program, or of one of its commands.
///
/// # Errors
/// A command that there is none of.
pub fn man(args: &ManArgs) -> Result<Answer, Error> {
    let mut program = Arguments::command();
    program.build();
    let command = match &args.command {
        None => program,
        Some(name) => {
            let found = program.find_subcommand(name).cloned();
            found.ok_or_else(|| unknown(name, &program))?
        }
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(command)
        .render(&mut text)
        .map_err(|cause| Error::internal("making the man page", cause))?;
    Ok(file(text))
}

fn unknown(name: &str, program: &clap::Command) -> Error {
    let names: Vec<&str> = program.get_subcommands().map(|c| c.get_name()).collect();
    let expected = match keys::nearest(name, names.iter().copied()) {
        Some(near) => format!("there is no such command; the nearest is {near}"),
        None => format!(
            "there is no such command; expected one of {}",
            names.join(", ")
        ),
    };
    Error::Input(Faults::from(Fault::error("COMMAND", expected).read(name)))
}

fn file(text: Vec<u8>) -> Answer {
    Answer {
        text: String::from_utf8_lossy(&text).trim_end().to_string(),
        is_a_file: true,
        ..Answer::default()
    }
}
