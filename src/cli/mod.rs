//! The front door: arguments to answers. Each command has its file; `output.rs` alone prints and writes.

pub mod args;
mod changed;
mod check;
mod compare;
mod dial;
mod fit;
mod inputs;
mod no_calibration;
pub mod output;
mod plan;
mod progress;
mod review;
mod sheet;
mod shell;
mod simulate;
mod start;

use std::ffi::OsString;

use clap::Parser;

use crate::error::Error;
use args::{Arguments, Command};
use output::{Answer, Wanted};

/// Runs the program.
///
/// * `arguments` — the command line, the program's own name first
/// * returns the exit status: 0 done, 1 the data cannot answer, 2 bad input or usage
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> u8 {
    let arguments = match shell::help(arguments.into_iter().collect()) {
        Ok(arguments) => arguments,
        Err(error) => {
            let plain = Wanted {
                json: false,
                quiet: false,
            };
            return output::deliver(Err(error), plain);
        }
    };
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version go to standard output with status 0, usage errors to standard error with 2.
            let _ = error.print();
            return if error.exit_code() == 0 { 0 } else { 2 };
        }
    };
    let wanted = Wanted {
        json: arguments.common.json,
        quiet: arguments.common.quiet,
    };
    output::deliver(answer(&arguments), wanted)
}

fn answer(arguments: &Arguments) -> Result<Answer, Error> {
    let common = &arguments.common;
    match &arguments.command {
        Command::Check(args) => check::run(args, common),
        Command::Fit(args) => fit::run(args, common),
        Command::Dial(args) => dial::run(args, common),
        Command::Correct(args) => dial::correct(args, common),
        Command::Plan(args) => plan::run(args, common),
        Command::Compare(args) => compare::run(args, common),
        Command::Review(args) => review::run(args, common),
        Command::Sheet(args) => sheet::run(args, common),
        Command::Start(args) => start::run(args, common),
        Command::Completions(args) => Ok(shell::completions(args)),
        Command::Man(args) => shell::man(args),
        Command::Simulate(args) => simulate::run(args, common),
    }
}
