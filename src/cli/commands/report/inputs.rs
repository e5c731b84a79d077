//! Which of the recordings that were named are read: each once, and none that cannot be.

use crate::cli::exit::Error;
use crate::recording;
use crate::report::escape::plain;
use crate::report::model::{RecordingRow, Report};
use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;

/// The recordings to read, and what is to be said of the others.
#[derive(Debug, Default)]
pub(super) struct Inputs {
    /// Paths as they were given.
    pub(super) paths: Vec<String>,
    /// Recordings that cannot be read, with why.
    left_out: Vec<String>,
    /// Paths of those that were named once more.
    again: BTreeSet<String>,
}

impl Inputs {
    /// Looks at what was named, when it is more than one; devices, pipes and standard input are taken as they are.
    ///
    /// # Errors
    /// When nothing of it can be read.
    pub(super) fn of(named: &[String]) -> Result<Self, Error> {
        if named.len() < 2 {
            return Ok(Self { paths: named.to_vec(), ..Self::default() });
        }
        let mut inputs = Self::default();
        let mut first_refusal = None;
        for path in named {
            let known = fs::canonicalize(path).ok().filter(|target| target.is_file());
            let same = known.as_ref().and_then(|target| {
                inputs.paths.iter().find(|taken| fs::canonicalize(taken).is_ok_and(|taken| taken == *target))
            });
            if let Some(taken) = same.cloned() {
                inputs.again.insert(taken);
                continue;
            }
            // Opening takes the first bytes of a pipe away.
            let is_stream = path == "-" || (known.is_none() && fs::metadata(path).is_ok());
            match if is_stream { Ok(()) } else { recording::open(path).map(drop) } {
                Ok(()) => inputs.paths.push(path.clone()),
                Err(error) => {
                    let error = Error::from(error);
                    inputs.left_out.push(error.why());
                    first_refusal.get_or_insert(error);
                }
            }
        }
        match first_refusal {
            Some(error) if inputs.paths.is_empty() => Err(error),
            _ => Ok(inputs),
        }
    }

    /// Says on standard error and in the report what was left out, and in the report what was named twice.
    pub(super) fn tell(&self, report: &mut Report) {
        for why in &self.left_out {
            // When standard error is closed, the report still says it.
            let _ = writeln!(std::io::stderr(), "leadsman: left out: {why}");
        }
        if let Some(first) = report.recordings.first_mut() {
            first
                .problems
                .extend(self.left_out.iter().map(|why| format!("named beside it and left out: {why}")));
        }
        for row in report.recordings.iter_mut().filter(|row| self.again.contains(&row.path)) {
            row.problems.push(String::from("it was named more than once, and is counted once"));
        }
        tell_copies(report);
    }
}

/// Says of recordings with the same times and as many frames that they may be copies of one (as a comparison does).
fn tell_copies(report: &mut Report) {
    let facts = |row: &RecordingRow| row.first.zip(row.last).map(|times| (times, row.frames));
    let known: Vec<_> = report.recordings.iter().map(|row| (row.path.clone(), facts(row))).collect();
    for (n, row) in report.recordings.iter_mut().enumerate() {
        let own = facts(row);
        let twin = known.iter().take(n).find(|(_, other)| own.is_some() && *other == own);
        if let Some((path, _)) = twin {
            row.problems.push(format!(
                "it has the same times and as many frames as {}: when they are copies of one, name only one of them, as \
                 all is counted twice",
                plain(path)
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_is_read_once_and_none_that_cannot_be() {
        let dir = tempfile::tempdir().unwrap();
        let file = |name: &str, content: &str| {
            let path = dir.path().join(name);
            fs::write(&path, content).unwrap();
            path.display().to_string()
        };
        let good = file("good.log", "$HCHDG,12.0,,,,*74\r\n");
        let other = file("other.log", "$HCHDG,13.0,,,,*75\r\n");
        let empty = file("empty.log", "");
        let gone = dir.path().join("gone.log").display().to_string();
        let same = format!("{}/./good.log", dir.path().display());
        let named = [&good, &empty, &same, &other, &gone].map(Clone::clone);
        let inputs = Inputs::of(&named).unwrap();
        assert_eq!(inputs.paths, [good.clone(), other]);
        assert_eq!(inputs.again, BTreeSet::from([good]));
        assert_eq!(inputs.left_out.len(), 2);
        assert!(inputs.left_out[0].contains("an empty file"), "{:?}", inputs.left_out);
        assert!(Inputs::of(&[empty.clone(), gone]).unwrap_err().to_string().contains("empty"));
        // One alone is left to whoever reads it.
        assert_eq!(Inputs::of(std::slice::from_ref(&empty)).unwrap().paths, [empty]);
    }
}
