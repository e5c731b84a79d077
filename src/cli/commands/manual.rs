//! `leadsman manual`: the manual page.

use crate::cli::args::{Args, ManualArgs};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::standard;
use clap::CommandFactory;

/// Writes the page of the whole, or of one command, to standard output.
pub(in crate::cli) fn run(args: &ManualArgs) -> Result<Exit, Error> {
    let mut whole = Args::command();
    whole.build();
    let page = match &args.command {
        None => whole,
        Some(name) => whole.find_subcommand(name).cloned().ok_or_else(|| {
            let names: Vec<&str> = whole.get_subcommands().map(clap::Command::get_name).collect();
            Error::Usage(format!("there is no command {name}; there are {}", names.join(", ")))
        })?,
    };
    standard(|out| clap_mangen::Man::new(page).render(out))?;
    Ok(Exit::Ran)
}
