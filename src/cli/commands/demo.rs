//! `leadsman demo`: recordings with known faults to try the program on.

use crate::cli::args::DemoArgs;
use crate::cli::beside::BesideFolder;
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::demo::{self, Written};
use crate::report::figures;
use crate::report::page::Page;
use crate::report::table::{self, Column, Row};
use std::fs;
use std::io;
use std::path::Path;

const COLUMNS: [Column; 3] = [
    Column { head: "File", right: false, least: 20, rank: 0 },
    Column { head: "Size", right: true, least: 8, rank: 1 },
    Column { head: "Shows", right: false, least: 12, rank: 0 },
];

/// Writes the recordings and says what they show.
pub(in crate::cli) fn run(args: &DemoArgs) -> Result<Exit, Error> {
    let written = write(&args.dir, args.force)?;
    let output = Output::Standard;
    let (width, colour) = (output.width(), output.colour());
    output.write(|out| table(&mut Page::new(out, width, colour), &args.dir, &written))?;
    Ok(Exit::Ran)
}

/// Writes into a folder beside the files first: a failure leaves nothing half written, and what would be written over
/// is known before.
fn write(dir: &Path, force: bool) -> Result<Vec<Written>, Error> {
    let name = dir.display().to_string();
    let refused = Error::write(&name);
    fs::create_dir_all(dir).map_err(&refused)?;
    let beside = BesideFolder::new(dir).map_err(&refused)?;
    let written = demo::write(beside.path()).map_err(&refused)?;
    if !force {
        let there: Vec<&str> =
            written.iter().map(|w| w.file.as_str()).filter(|file| dir.join(file).exists()).collect();
        if !there.is_empty() {
            let message = format!("{name} already holds {}; --force writes over them", there.join(", "));
            return Err(Error::Usage(message));
        }
    }
    beside
        .place(written.iter().map(|w| w.file.as_str()))
        .map_err(|(path, source)| Error::write(&path.display().to_string())(source))?;
    Ok(written)
}

fn table(page: &mut Page<'_>, dir: &Path, written: &[Written]) -> io::Result<()> {
    let row = |w: &Written| Row::Cells(vec![w.file.clone(), figures::bytes(w.bytes), w.shows.to_owned()]);
    table::write(page, &COLUMNS, &written.iter().map(row).collect::<Vec<_>>())?;
    if let Some(first) = written.first() {
        page.blank()?;
        page.text(0, &format!("Next: leadsman report {}", dir.join(&first.file).display()))?;
    }
    Ok(())
}
