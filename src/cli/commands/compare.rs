//! `leadsman compare`: what changed between two visits.

use crate::cli::args::{CompareArgs, CompareFormat, FailOn};
use crate::cli::exit::{Error, Exit};
use crate::cli::input::{self, Input};
use crate::cli::output::Output;
use crate::cli::progress::Bar;
use crate::compare::model::{Comparison, Standing};
use crate::compare::side::Side;
use crate::compare::{self, Html, Json, Markdown, Renderer, Text};
use crate::survey::{self, Options};

/// Reads both sides and writes what changed.
pub(in crate::cli) fn run(args: &CompareArgs) -> Result<Exit, Error> {
    let (before, after) = sides(args)?;
    let output = Output::open(args.output.as_deref(), &[before, after].concat())?;
    let comparison = compare::compare(&read(before)?, &read(after)?);
    let text = Text { width: output.width(), colour: output.colour() };
    let renderer: &dyn Renderer = match args.format {
        CompareFormat::Text => &text,
        CompareFormat::Json => &Json,
        CompareFormat::Markdown => &Markdown,
        CompareFormat::Html => &Html,
    };
    match output.write(|out| renderer.render(&comparison, out)) {
        // The reader has seen enough; the status still tells what was found.
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    Ok(verdict(args.fail_on, &comparison))
}

/// The paths of both sides.
fn sides(args: &CompareArgs) -> Result<(&[String], &[String]), Error> {
    let (before, after) = match args.sides.split_at_checked(1) {
        Some((before, after)) => (before, after),
        None => (args.before.as_slice(), args.after.as_slice()),
    };
    if before.iter().chain(after).filter(|path| *path == "-").count() > 1 {
        return Err(Error::Usage(String::from("standard input (-) can be read only once")));
    }
    Ok((before, after))
}

/// One side: recordings of one boat, or the report of an earlier run.
fn read(paths: &[String]) -> Result<Side, Error> {
    let inputs = paths.iter().map(|path| input::open(path)).collect::<Result<Vec<_>, _>>()?;
    let mut recordings = Vec::new();
    let not_alone = inputs.len() > 1;
    for (input, path) in inputs.into_iter().zip(paths) {
        match input {
            Input::Recording(recording) => recordings.push(recording),
            Input::Report(_) if not_alone => {
                return Err(Error::Usage(format!(
                    "{path} is a report: a report stands for a whole side, and cannot be joined with others"
                )));
            }
            Input::Report(json) => {
                return filled(
                    Side::read(json).map_err(|source| Error::Side { path: path.clone(), source })?,
                    paths,
                );
            }
        }
    }
    let report = {
        let mut bar = Bar::new();
        survey::report_on(recordings, &Options::default(), &mut |progress| bar.show(progress))?
    };
    filled(Side::of(&report).map_err(|source| Error::Side { path: paths.join(", "), source })?, paths)
}

/// A side without a frame says nothing.
fn filled(side: Side, paths: &[String]) -> Result<Side, Error> {
    if side.frames() == 0 {
        return Err(Error::NothingHeard(paths.join(", ")));
    }
    Ok(side)
}

fn verdict(fail_on: Option<FailOn>, comparison: &Comparison) -> Exit {
    let came = |standing| matches!(standing, Standing::New | Standing::FirstSeen);
    let met = fail_on.is_some_and(|fail_on| {
        comparison.findings.iter().any(|f| came(f.standing) && f.severity >= fail_on.least())
    });
    if met { Exit::Met } else { Exit::Ran }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::{Args, Command};
    use crate::report::fixture;
    use clap::Parser;

    fn args(typed: &[&str]) -> Result<CompareArgs, clap::Error> {
        match Args::try_parse_from(["leadsman", "compare"].iter().chain(typed))?.command {
            Command::Compare(args) => Ok(args),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn sides_are_named_either_way() {
        let both = |typed: &[&str]| {
            let args = args(typed).unwrap();
            let (before, after) = sides(&args).map(|(b, a)| (b.join(" "), a.join(" "))).unwrap();
            format!("{before} | {after}")
        };
        assert_eq!(both(&["a", "b"]), "a | b");
        assert_eq!(both(&["--before", "a", "b", "--after", "c"]), "a b | c");
        for wrong in [
            &["a"][..],
            &["a", "b", "c"],
            &["--before", "a"],
            &["a", "b", "--before", "c", "--after", "d"],
            &[],
        ] {
            assert!(args(wrong).is_err(), "{wrong:?}");
        }
        assert!(sides(&args(&["-", "-"]).unwrap()).is_err());
    }

    #[test]
    fn only_what_is_new_fails_a_run() {
        let (troubled, healthy) =
            (Side::of(&fixture::troubled()).unwrap(), Side::of(&fixture::healthy()).unwrap());
        let status = |before, after| verdict(Some(FailOn::Fault), &compare::compare(before, after));
        assert_eq!(status(&healthy, &troubled), Exit::Met);
        assert_eq!(status(&troubled, &troubled), Exit::Ran);
        assert_eq!(status(&troubled, &healthy), Exit::Ran);
        assert_eq!(verdict(None, &compare::compare(&healthy, &troubled)), Exit::Ran);
    }
}
