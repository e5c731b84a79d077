//! `leadsman verify`: a boat against its boat file.

use crate::boat::sheet::Sheet;
use crate::boat::show::{html, json, markdown, text};
use crate::boat::{self, Boat};
use crate::cli::args::{SheetFormat, VerifyArgs};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::cli::progress::Bar;
use crate::survey::{self, Options};

/// Checks the boat and writes the sheet.
pub(in crate::cli) fn run(args: &VerifyArgs) -> Result<Exit, Error> {
    let boat = boat::load(&args.boat)?;
    let mut inputs = args.recordings.clone();
    inputs.push(args.boat.display().to_string());
    let output = Output::open(args.output.as_deref(), &inputs)?;
    let sheet = sheet(args, &boat)?;
    let (width, colour) = (output.width(), output.colour());
    let written = output.write(|out| match args.format {
        SheetFormat::Text => text::write(&sheet, width, colour, out),
        SheetFormat::Json => json::write(&sheet, out),
        SheetFormat::Markdown => markdown::write(&sheet, out),
        SheetFormat::Html => html::write(&sheet, out),
    });
    match written {
        // The reader has seen enough; the status still tells what was found.
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    Ok(if sheet.passed() { Exit::Ran } else { Exit::Met })
}

fn sheet(args: &VerifyArgs, boat: &Boat) -> Result<Sheet, Error> {
    if args.recordings.is_empty() {
        return Ok(boat::desk_check(boat));
    }
    if args.recordings.iter().filter(|path| *path == "-").count() > 1 {
        return Err(Error::Usage(String::from("standard input (-) can be read only once")));
    }
    let options = Options { names: boat.names(), without_plots: true, ..Options::default() };
    let mut report = {
        let mut bar = Bar::new();
        survey::report(&args.recordings, &options, &mut |progress| bar.show(progress))?
    };
    if report.recordings.iter().all(|recording| recording.frames == 0) {
        return Err(Error::NothingHeard(args.recordings.join(", ")));
    }
    boat::advise(boat, &mut report);
    Ok(boat::verify(boat, &report))
}
