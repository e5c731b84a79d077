//! Exit statuses and the errors behind them.

use crate::boat::BoatError;
use crate::compare::side::SideError;
use crate::recording::RecordingError;
use crate::report::escape::plain;
use std::io;
use std::process::ExitCode;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// 0: it ran.
    Ran,
    /// 1: `--fail-on` was met, or `verify` found what is not as it should be.
    Met,
    /// 2: nothing usable could be read, or wrong usage.
    Unusable,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Ran => 0,
            Exit::Met => 1,
            Exit::Unusable => 2,
        })
    }
}

/// Why a run could not end well. All of them exit with 2.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The boat file cannot be used.
    #[error(transparent)]
    Boat(#[from] BoatError),
    /// A recording could not be opened or read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The recordings were read and hold nothing.
    #[error("no frame could be read from {0}; the report says what was found")]
    NothingRead(String),
    /// The recordings were read and hold nothing of the time that was asked for.
    #[error(
        "nothing in {0} lies in the time between --from and --to; without them the report says from when to when it runs"
    )]
    NothingWithin(String),
    /// As above, where no report is written.
    #[error("no frame could be read from {0}; leadsman report says what was found there")]
    NothingHeard(String),
    /// A report of an earlier run could not be taken.
    #[error("cannot compare {path}")]
    Side {
        /// The path as it was given.
        path: String,
        /// What is wrong with it.
        source: SideError,
    },
    /// The arguments make no sense together.
    #[error("{0}")]
    Usage(String),
    /// A file or the output could not be written.
    #[error("cannot write {what}")]
    Write {
        /// What was being written.
        what: String,
        /// What the system said.
        source: io::Error,
    },
}

impl Error {
    /// For `map_err`: the system refused to write `what`.
    pub(super) fn write(what: &str) -> impl Fn(io::Error) -> Self + use<> {
        let what = what.to_owned();
        move |source| Self::Write { what: what.clone(), source }
    }

    /// The error in words that are safe for a terminal; the mistakes of a boat file stand on a line each.
    #[must_use]
    pub fn told(&self) -> String {
        match self {
            Self::Boat(error @ BoatError::Mistakes { .. }) => error.to_string(),
            other => format!("leadsman: {}", other.why()),
        }
    }

    /// The error and its causes in one line, safe for a terminal.
    pub(super) fn why(&self) -> String {
        chain(self)
    }

    /// Whether the reader of the output went away (`leadsman ... | head`), which is no error.
    #[must_use]
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, Self::Write { source, .. } if source.kind() == io::ErrorKind::BrokenPipe)
    }
}

/// The error and its causes in one line, each said once, safe for a terminal.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let said = cause.to_string();
        // Many messages already end with the cause's own words.
        if !text.ends_with(&said) {
            text.push_str(": ");
            text.push_str(&said);
        }
        next = cause.source();
    }
    plain(&text).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_says_each_cause_once() {
        let source = || io::Error::other("the disk\x1b[2J is gone");
        let read = Error::from(RecordingError::Io { path: String::from("a.log"), source: source() });
        assert_eq!(chain(&read), "cannot read a.log: the disk\\u{1b}[2J is gone");
        let write = Error::write("b.txt")(source());
        assert_eq!(chain(&write), "cannot write b.txt: the disk\\u{1b}[2J is gone");
    }

    #[test]
    fn only_a_closed_pipe_is_quiet() {
        assert!(Error::write("x")(io::ErrorKind::BrokenPipe.into()).is_closed_pipe());
        assert!(!Error::write("x")(io::ErrorKind::StorageFull.into()).is_closed_pipe());
    }
}
