//! `leadsman report`: the main job.

mod each;
mod inputs;
mod tables;

use crate::boat::{self, Boat};
use crate::cli::args::{Format, ReportArgs};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::cli::progress::Bar;
use crate::report::Renderer;
use crate::report::html::Html;
use crate::report::json::Json;
use crate::report::markdown::Markdown;
use crate::report::model::Report;
use crate::report::text::Text;
use crate::survey::{self, Options, When};
use inputs::Inputs;
use std::path::Path;
use tables::Tables;

/// Reads the recordings and writes the report.
pub(in crate::cli) fn run(args: &ReportArgs) -> Result<Exit, Error> {
    check(args)?;
    if args.each || args.recordings.iter().any(|path| Path::new(path).is_dir()) {
        return each::run(args);
    }
    let boat = args.boat.as_deref().map(boat::load).transpose()?;
    let tables = args.tables.as_deref().map(Tables::open).transpose()?;
    let boat_file = args.boat.iter().map(|path| path.display().to_string());
    let inputs: Vec<String> = args.recordings.iter().cloned().chain(boat_file).collect();
    let output = Output::open(args.output.as_deref(), &inputs)?;
    let read = Inputs::of(&args.recordings)?;
    let names = boat.as_ref().map(Boat::names).unwrap_or_default();
    let options = Options { names, ..options(args) };
    let mut report = {
        let mut bar = Bar::new();
        survey::report(&read.paths, &options, &mut |progress| bar.show(progress))?
    };
    read.tell(&mut report);
    // A report of nothing would say that there was no clock, and that nothing is wrong.
    check_within(args, &report, &args.recordings.join(", "))?;
    if let Some(boat) = &boat {
        boat::advise(boat, &mut report);
    }
    if let Some(mut tables) = tables {
        tables.write(read.paths.first().map_or("", String::as_str), &report)?;
    }
    let text = Text { width: output.width(), colour: output.colour(), asked: args.complaint };
    let renderer: &dyn Renderer = match args.format {
        Format::Text => &text,
        Format::Json => &Json,
        Format::Html => &Html { asked: args.complaint },
        Format::Markdown => &Markdown { asked: args.complaint },
    };
    match output.write(|out| renderer.render(&report, out)) {
        // The reader has seen enough; the status still tells what was found.
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    verdict(args, &report)
}

/// What is asked of each run.
fn options(args: &ReportArgs) -> Options {
    Options {
        from: args.from,
        to: args.to,
        complaint: args.complaint,
        without_plots: args.format != Format::Html,
        ..Options::default()
    }
}

/// Whether a finding is so grave that the run fails.
fn is_met(args: &ReportArgs, report: &Report) -> bool {
    args.fail_on
        .is_some_and(|fail_on| report.findings.iter().any(|finding| finding.severity >= fail_on.least()))
}

/// Refuses arguments that make no sense together.
fn check(args: &ReportArgs) -> Result<(), Error> {
    if args.recordings.iter().filter(|path| *path == "-").count() > 1 {
        return Err(Error::Usage(String::from("standard input (-) can be read only once")));
    }
    if args.each && args.recordings.iter().any(|path| path == "-") {
        return Err(Error::Usage(String::from("--each takes files and folders, not standard input (-)")));
    }
    match (args.from, args.to) {
        (Some(When::Moment(from)), Some(When::Moment(to))) if from > to => {
            Err(Error::Usage(format!("--from {from} lies after --to {to}; nothing is left between them")))
        }
        _ => Ok(()),
    }
}

/// Refuses a time window that holds nothing of what could be read.
fn check_within(args: &ReportArgs, report: &Report, names: &str) -> Result<(), Error> {
    let asked = args.from.is_some() || args.to.is_some();
    let read = report.recordings.iter().any(|recording| recording.frames > 0);
    if asked && read && report.frames_heard() == 0 {
        return Err(Error::NothingWithin(names.to_owned()));
    }
    Ok(())
}

fn verdict(args: &ReportArgs, report: &Report) -> Result<Exit, Error> {
    if report.recordings.iter().all(|recording| recording.frames == 0) {
        return Err(Error::NothingRead(args.recordings.join(", ")));
    }
    Ok(if is_met(args, report) { Exit::Met } else { Exit::Ran })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::{Args, Command};
    use crate::report::fixture;
    use clap::Parser;

    fn args(more: &[&str]) -> ReportArgs {
        let typed = ["leadsman", "report", "a.log"].iter().chain(more);
        match Args::try_parse_from(typed).unwrap().command {
            Command::Report(args) => args,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn findings_decide_the_status_when_asked_to() {
        let mut report = fixture::troubled();
        let status = |more: &[&str], report: &Report| verdict(&args(more), report).unwrap();
        assert_eq!(status(&[], &report), Exit::Ran);
        assert_eq!(status(&["--fail-on", "fault"], &report), Exit::Met);
        report.findings.remove(0);
        assert_eq!(status(&["--fail-on", "fault"], &report), Exit::Ran, "a warning is left");
        assert_eq!(status(&["--fail-on", "warning"], &report), Exit::Met);
        report.findings.remove(0);
        assert_eq!(status(&["--fail-on", "warning"], &report), Exit::Ran, "a note is left");
    }

    #[test]
    fn recordings_without_a_frame_are_unusable() {
        let mut report = fixture::healthy();
        report.recordings[0].frames = 0;
        assert!(matches!(verdict(&args(&[]), &report), Err(Error::NothingRead(_))));
        assert!(verdict(&args(&[]), &fixture::empty()).is_err());
    }

    #[test]
    fn a_window_must_hold_something() {
        let mut report = fixture::troubled();
        report.wires.iter_mut().for_each(|wire| wire.frames = 0);
        let late = check_within(&args(&["--from", "09:00"]), &report, "a.log");
        assert!(matches!(late, Err(Error::NothingWithin(_))), "{late:?}");
        assert!(check_within(&args(&[]), &report, "a.log").is_ok());
        assert!(check(&args(&["--from", "2026-05-02T00:00:00Z", "--to", "2026-05-01T00:00:00Z"])).is_err());
        assert!(check(&args(&["--from", "23:00", "--to", "01:00"])).is_ok(), "over midnight");
        assert!(check(&args(&["-", "-"])).is_err());
    }
}
