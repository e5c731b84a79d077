//! `--tables DIR`: Parquet files, one a table and recording.

use crate::cli::beside::{Beside, Readers};
use crate::cli::exit::Error;
use crate::cli::output::place;
use crate::report::model::Report;
use crate::tables::TABLES;
use std::collections::HashSet;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Longest part of a recording's path that names its files.
const MAX_NAME: usize = 100;

/// The folder of the tables, with one folder a table in it.
pub(super) struct Tables {
    dir: PathBuf,
    taken: HashSet<String>,
}

impl Tables {
    /// Makes the folders that are missing.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn open(dir: &Path) -> Result<Self, Error> {
        for table in &TABLES {
            let folder = dir.join(table.name);
            fs::create_dir_all(&folder).map_err(Error::write(&folder.display().to_string()))?;
        }
        Ok(Self { dir: dir.to_owned(), taken: HashSet::new() })
    }

    /// Writes the tables of a recording, all of them or none. Files of an earlier run about the same recording are replaced.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn write(&mut self, recording: &str, report: &Report) -> Result<(), Error> {
        let name = self.name(recording);
        let mut files = Vec::new();
        for table in &TABLES {
            let path = self.dir.join(table.name).join(&name);
            let refused = Error::write(&path.display().to_string());
            let mut bytes = Vec::new();
            table.write(recording, report, &mut bytes).map_err(|error| refused(io::Error::other(error)))?;
            // A link is followed, as it is by `-o`.
            let target = fs::canonicalize(&path).unwrap_or(path);
            let mut file = Beside::new(&target, Readers::All).map_err(&refused)?;
            file.file().write_all(&bytes).map_err(&refused)?;
            files.push(file);
        }
        place(files)
    }

    /// A file name for a recording: its path with everything but letters, digits, dots and hyphens replaced, and a number
    /// when another recording of this run has it already.
    fn name(&mut self, recording: &str) -> String {
        let plain = |c: char| if c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_') { c } else { '_' };
        let all: Vec<char> = recording.chars().map(plain).collect();
        let end: String = all.iter().skip(all.len().saturating_sub(MAX_NAME)).collect();
        let stem = end.trim_start_matches(['.', '_', '-']);
        let stem = if stem.is_empty() { "standard-input" } else { stem };
        let mut name = format!("{stem}.parquet");
        let mut number = 2;
        while !self.taken.insert(name.clone()) {
            name = format!("{stem}-{number}.parquet");
            number += 1;
        }
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_safe_and_apart() {
        let dir = tempfile::tempdir().unwrap();
        let mut tables = Tables::open(dir.path()).unwrap();
        let names: Vec<String> = ["../a b/bow.log", "../a_b/bow.log", "-", "../../..", "x\u{1b}\n<.pcap"]
            .into_iter()
            .map(|path| tables.name(path))
            .collect();
        assert_eq!(
            names,
            [
                "a_b_bow.log.parquet",
                "a_b_bow.log-2.parquet",
                "standard-input.parquet",
                "standard-input-2.parquet",
                "x___.pcap.parquet"
            ]
        );
        assert!(tables.name(&"long/".repeat(1000)).len() < 120);
    }
}
