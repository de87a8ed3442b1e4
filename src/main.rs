//! Arguments in, exit status out; everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(haltmark::cli::run(std::env::args_os()))
}
