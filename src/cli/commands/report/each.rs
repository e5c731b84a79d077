//! Many recordings, each a boat of its own: one line a recording.

use super::tables::Tables;
use super::{check_within, is_met, options};
use crate::cli::args::{Format, ReportArgs};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::report::Renderer as _;
use crate::report::brief;
use crate::report::json::JsonLine;
use crate::report::model::Report;
use crate::survey;
use std::fs;
use std::io::{self, Write};
use std::ops::ControlFlow;
use std::path::Path;

/// Folders in folders are looked into to this depth: a link may lead back to where it stands.
const MAX_DEPTH: usize = 16;

/// How the run went.
#[derive(Default)]
struct Tally {
    read: u64,
    outside: bool,
    met: bool,
    failed: Option<Error>,
}

pub(super) fn run(args: &ReportArgs) -> Result<Exit, Error> {
    if !matches!(args.format, Format::Text | Format::Json) {
        return Err(Error::Usage(String::from(
            "of many recordings there are lines: take --format text or json, or one recording at a time",
        )));
    }
    if args.boat.is_some() {
        return Err(Error::Usage(String::from(
            "--boat names the devices of one boat: take the recordings of one boat at a time",
        )));
    }
    let paths = found(&args.recordings, args.tables.as_deref())?;
    let mut tables = args.tables.as_deref().map(Tables::open).transpose()?;
    let output = Output::open(args.output.as_deref(), &paths)?;
    let mut tally = Tally::default();
    let written = output.write(|out| {
        let mut refused = None;
        survey::each(&paths, &options(args), |path, result| {
            let result = result.map_err(Error::from);
            match tell(args, path, result, &mut tables, &mut tally, out) {
                Ok(()) => ControlFlow::Continue(()),
                Err(error) => {
                    refused = Some(error);
                    ControlFlow::Break(())
                }
            }
        });
        match refused {
            Some(error) => Err(error),
            None if tally.read == 0 => Err(not_kept()),
            None => Ok(()),
        }
    });
    if let Some(error) = tally.failed {
        return Err(error);
    }
    if tally.read == 0 && tally.outside {
        return Err(Error::NothingWithin(args.recordings.join(", ")));
    }
    if tally.read == 0 {
        return Err(Error::NothingRead(args.recordings.join(", ")));
    }
    match written {
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    Ok(if tally.met { Exit::Met } else { Exit::Ran })
}

/// Says that the output is not to be kept; why, is told otherwise.
fn not_kept() -> io::Error {
    io::ErrorKind::BrokenPipe.into()
}

/// Writes the line of one recording, and its tables.
fn tell(
    args: &ReportArgs,
    path: &str,
    result: Result<Report, Error>,
    tables: &mut Option<Tables>,
    tally: &mut Tally,
    out: &mut dyn Write,
) -> io::Result<()> {
    let json = args.format == Format::Json;
    let within = |report: Report| check_within(args, &report, path).map(|()| report);
    let result = result.and_then(within);
    tally.outside |= matches!(result, Err(Error::NothingWithin(_)));
    let report = match result {
        Ok(report) => report,
        Err(error) if json => return JsonLine::unread(path, &error.why(), out),
        Err(error) => return writeln!(out, "{}", brief::unread(path, &error.why())),
    };
    tally.read += u64::from(report.recordings.iter().any(|recording| recording.frames > 0));
    tally.met |= is_met(args, &report);
    if let Some(tables) = tables
        && let Err(error) = tables.write(path, &report)
    {
        // The other recordings would fail alike.
        tally.failed = Some(error);
        return Err(not_kept());
    }
    if json {
        JsonLine.render(&report, out)
    } else {
        writeln!(out, "{}", brief::line(path, &report, args.complaint))
    }
}

/// The files to read: those that were named, and those in the folders that were, in the order of their names. Hidden ones
/// are left out, and so are the tables of an earlier run.
fn found(named: &[String], tables: Option<&Path>) -> Result<Vec<String>, Error> {
    let mut paths = Vec::new();
    let skipped = tables.and_then(|dir| fs::canonicalize(dir).ok());
    for path in named {
        if Path::new(path).is_dir() {
            walk(Path::new(path), 0, skipped.as_deref(), &mut paths)
                .map_err(|source| Error::Usage(format!("cannot look into {path}: {source}")))?;
        } else {
            paths.push(path.clone());
        }
    }
    if paths.is_empty() {
        return Err(Error::Usage(format!("there is no file in {}", named.join(", "))));
    }
    Ok(paths)
}

fn walk(dir: &Path, depth: usize, skipped: Option<&Path>, paths: &mut Vec<String>) -> io::Result<()> {
    let mut entries = fs::read_dir(dir)?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let path = entry.path();
        if entry.file_name().to_string_lossy().starts_with('.') {
            continue;
        }
        if path.is_dir() {
            let is_skipped = skipped.is_some() && fs::canonicalize(&path).ok().as_deref() == skipped;
            if depth < MAX_DEPTH && !is_skipped {
                walk(&path, depth + 1, skipped, paths)?;
            }
        } else if path.is_file() {
            paths.push(path.to_string_lossy().into_owned());
        }
    }
    Ok(())
}
