//! The `leadsman` program.

use clap::Parser;
use leadsman::cli::{Args, Exit, run};
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    #[cfg(unix)]
    leadsman::cli::end_in_order();
    match run(&Args::parse()) {
        Ok(exit) => exit.into(),
        Err(error) if error.is_closed_pipe() => Exit::Ran.into(),
        Err(error) => {
            // When even standard error is closed, the status alone has to say it.
            let _ = writeln!(std::io::stderr(), "{}", error.told());
            Exit::Unusable.into()
        }
    }
}
