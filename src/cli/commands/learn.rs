//! `leadsman learn`: a draft of a boat file out of recordings.

use crate::boat;
use crate::cli::args::LearnArgs;
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::cli::progress::Bar;
use crate::report::escape::plain;
use crate::survey::{self, Options};
use std::io::Write as _;

/// Reads the recordings and writes the draft.
pub(in crate::cli) fn run(args: &LearnArgs) -> Result<Exit, Error> {
    if args.recordings.iter().filter(|path| *path == "-").count() > 1 {
        return Err(Error::Usage(String::from("standard input (-) can be read only once")));
    }
    if let Some(path) = args.output.as_ref().filter(|path| !args.force && path.is_file()) {
        return Err(Error::Usage(format!(
            "{} is there already, and what was filled in there would be lost; take another name, or --force",
            path.display()
        )));
    }
    let output = Output::open(args.output.as_deref(), &args.recordings)?;
    let report = {
        let mut bar = Bar::new();
        survey::report(&args.recordings, &Options::default(), &mut |progress| bar.show(progress))?
    };
    if report.recordings.iter().all(|recording| recording.frames == 0) {
        return Err(Error::NothingHeard(args.recordings.join(", ")));
    }
    let draft = boat::learn(&report);
    for fault in &draft.kept_out {
        // When standard error is closed, the draft's own comments still say it.
        let _ = writeln!(std::io::stderr(), "leadsman: not learnt, for it is a fault: {}", plain(fault));
    }
    match output.write(|out| out.write_all(draft.text.as_bytes())) {
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    Ok(Exit::Ran)
}
