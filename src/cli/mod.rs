//! The command line: arguments in, one command run, an exit status out.

pub mod args;
mod beside;
mod commands;
mod exit;
mod input;
#[cfg(unix)]
mod interrupt;
mod output;
mod progress;
mod when;

pub use args::Args;
pub use exit::{Error, Exit};
#[cfg(unix)]
pub use interrupt::end_in_order;

use args::Command;

/// Runs the command.
///
/// # Errors
/// When the arguments make no sense together, nothing usable could be read, or a file cannot be written.
pub fn run(args: &Args) -> Result<Exit, Error> {
    match &args.command {
        Command::Report(args) => commands::report::run(args),
        Command::Compare(args) => commands::compare::run(args),
        Command::Learn(args) => commands::learn::run(args),
        Command::Verify(args) => commands::verify::run(args),
        Command::Explain(args) => commands::explain::run(args),
        Command::Scrub(args) => commands::scrub::run(args),
        Command::Demo(args) => commands::demo::run(args),
        Command::Completions(args) => commands::completions::run(args),
        Command::Manual(args) => commands::manual::run(args),
    }
}
