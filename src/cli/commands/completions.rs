//! `leadsman completions`: the completion script of a shell.

use crate::cli::args::{Args, CompletionsArgs};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::standard;
use clap::CommandFactory;

/// Writes the script to standard output.
pub(in crate::cli) fn run(args: &CompletionsArgs) -> Result<Exit, Error> {
    // Made in memory: the generator panics when its output refuses, as a closed pipe does.
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), "leadsman", &mut script);
    standard(|out| out.write_all(&script))?;
    Ok(Exit::Ran)
}
