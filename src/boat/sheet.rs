//! The acceptance sheet: every expectation with what was measured beside it. Field names and units are the
//! machine-readable format, version 1 (`docs/verify.schema.json`).

use super::load::Boat;
use crate::report::model::{Severity, Tool};
use crate::report::words::recordings::without_folders;
use crate::time::Time;
use serde::Serialize;

/// Where an expectation stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// It is not so.
    Failed,
    /// It could not be seen, or the file does not tell what is needed to judge it.
    NotSeen,
    /// It is so.
    Passed,
}

/// What an expectation is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Topic {
    /// A fault that the recording shows.
    Finding,
    /// A device.
    Device,
    /// Who supplies a quantity.
    Supply,
    /// Who must receive a quantity.
    Need,
    /// An IP address.
    Address,
    /// Load or voltage.
    Limit,
    /// Ethernet cables and ports.
    Cabling,
    /// The NMEA 2000 backbone.
    Backbone,
}

/// One expectation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// What it is about.
    pub topic: Topic,
    /// The thing, by the installer's name.
    pub subject: String,
    /// What is expected of it.
    pub expectation: String,
    /// Where it stands.
    pub standing: Standing,
    /// The wanted value, with its unit.
    pub expected: String,
    /// The value that was found, with its unit; empty when none was.
    pub measured: String,
    /// The wanted value in `unit`, when it is a number.
    pub expected_value: Option<f64>,
    /// The value that was found in `unit`, when it is a number.
    pub measured_value: Option<f64>,
    /// Unit of both.
    pub unit: Option<&'static str>,
    /// How it was judged and by which source, or what to do.
    pub note: String,
    /// Line of the boat file that says so.
    pub line: Option<usize>,
}

impl Row {
    /// An expectation that has not been looked at.
    pub(super) fn new(topic: Topic, subject: impl Into<String>, expectation: impl Into<String>) -> Self {
        Self {
            topic,
            subject: subject.into(),
            expectation: expectation.into(),
            standing: Standing::NotSeen,
            expected: String::new(),
            measured: String::new(),
            expected_value: None,
            measured_value: None,
            unit: None,
            note: String::new(),
            line: None,
        }
    }

    pub(super) fn at(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }

    pub(super) fn words(mut self, expected: impl Into<String>, measured: impl Into<String>) -> Self {
        self.expected = expected.into();
        self.measured = measured.into();
        self
    }

    /// The wanted and the found value; `relation` says how they must compare ("at most").
    pub(super) fn numbers(
        mut self,
        relation: &str,
        expected: f64,
        measured: Option<f64>,
        unit: &'static str,
    ) -> Self {
        let round = |x: f64| (x * 1000.0).round() / 1000.0;
        let relation = if relation.is_empty() { String::new() } else { format!("{relation} ") };
        self.expected = format!("{relation}{}", with_unit(expected, unit));
        self.measured = measured.map(|m| with_unit(m, unit)).unwrap_or_default();
        self.expected_value = Some(round(expected));
        self.measured_value = measured.map(round);
        self.unit = Some(unit);
        self
    }

    pub(super) fn judged(mut self, passed: bool) -> Self {
        self.standing = if passed { Standing::Passed } else { Standing::Failed };
        self
    }

    pub(super) fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }
}

/// A number as people read it: three digits behind the point below one, fewer above.
fn with_unit(x: f64, unit: &str) -> String {
    let digits = match x.abs() {
        x if x >= 100.0 => 0,
        _ if unit == "V" => 2,
        x if x >= 10.0 => 1,
        x if x >= 1.0 => 2,
        _ => 3,
    };
    let text = format!("{x:.digits$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    let text = if text == "-0" { "0" } else { text };
    match unit {
        "" => text.to_owned(),
        "percent" => format!("{text} %"),
        unit => format!("{text} {unit}"),
    }
}

/// What is there and was not expected.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unexpected {
    /// `device`, `source` or `finding`.
    pub what: &'static str,
    /// How grave, when it is a finding.
    pub severity: Option<Severity>,
    /// The finding's kind, when it is one.
    pub kind: Option<&'static str>,
    /// What it is, in words.
    pub text: String,
}

/// One recording that was held against the file.
#[derive(Debug, Clone, Serialize)]
pub struct Heard {
    /// The path as it was given.
    pub path: String,
    /// Time of the first record.
    pub first: Option<Time>,
    /// Time of the last record.
    pub last: Option<Time>,
    /// Seconds between them.
    pub duration_s: Option<f64>,
    /// Packets, CAN frames or sentence lines.
    pub frames: u64,
}

/// Which boat.
#[derive(Debug, Clone, Serialize)]
pub struct Whose {
    /// The boat's name in its file.
    pub name: String,
    /// The file's remarks.
    pub remarks: Option<String>,
    /// Path of the file.
    pub file: String,
}

/// How many expectations stand where.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Passed.
    pub passed: usize,
    /// Failed.
    pub failed: usize,
    /// Not seen.
    pub not_seen: usize,
    /// There and not expected.
    pub unexpected: usize,
}

/// The whole sheet.
#[derive(Debug, Clone, Serialize)]
pub struct Sheet {
    /// Always `leadsman-verify`.
    pub format: &'static str,
    /// Always 1.
    pub version: u32,
    /// Which program wrote it.
    pub tool: Tool,
    /// Which boat.
    pub boat: Whose,
    /// The recordings; none at a desk check.
    pub recordings: Vec<Heard>,
    /// `passed` or `failed`.
    pub verdict: &'static str,
    /// Whether recordings were read and no device of the file was heard in them; that fails the boat.
    pub nothing_seen: bool,
    /// Whether the recordings are too short to tell what comes once a minute, or comes and goes.
    pub too_short: bool,
    /// How many stand where.
    pub counts: Counts,
    /// Every expectation, by topic.
    pub expectations: Vec<Row>,
    /// What is there and was not expected; it does not fail the boat.
    pub unexpected: Vec<Unexpected>,
}

impl Sheet {
    /// What a recording is called where the sheet travels: without its folders, unless they tell two apart.
    pub(super) fn name_of<'a>(&self, heard: &'a Heard) -> &'a str {
        without_folders(&heard.path, self.recordings.iter().map(|other| other.path.as_str()))
    }

    /// What the boat file is called there.
    pub(super) fn file_name(&self) -> &str {
        without_folders(&self.boat.file, std::iter::empty())
    }

    pub(super) fn new(
        boat: &Boat,
        recordings: Vec<Heard>,
        mut expectations: Vec<Row>,
        unexpected: Vec<Unexpected>,
    ) -> Self {
        expectations.sort_by_key(|row| row.topic);
        let number = |standing| expectations.iter().filter(|row| row.standing == standing).count();
        let counts = Counts {
            passed: number(Standing::Passed),
            failed: number(Standing::Failed),
            not_seen: number(Standing::NotSeen),
            unexpected: unexpected.len(),
        };
        let about = &boat.file.boat;
        Self {
            format: "leadsman-verify",
            version: 1,
            tool: Tool { name: "leadsman", version: env!("CARGO_PKG_VERSION") },
            boat: Whose {
                name: about.name.get_ref().clone(),
                remarks: about.remarks.clone(),
                file: boat.path.clone(),
            },
            recordings,
            nothing_seen: false,
            too_short: false,
            verdict: if counts.failed == 0 { "passed" } else { "failed" },
            counts,
            expectations,
            unexpected,
        }
    }

    /// Whether a part of what is expected was not seen, or not for long enough.
    #[must_use]
    pub const fn in_part(&self) -> bool {
        self.counts.not_seen > 0 || self.too_short
    }

    /// Whether nothing failed.
    #[must_use]
    pub const fn passed(&self) -> bool {
        self.counts.failed == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_bear_their_unit() {
        for (x, unit, want) in [
            (0.1, "s", "0.1 s"),
            (4.25, "m", "4.25 m"),
            (100.0, "m", "100 m"),
            (250.4, "m", "250 m"),
            (11.96, "V", "11.96 V"),
            (12.0, "V", "12 V"),
            (0.0, "percent", "0 %"),
            (-0.000_1, "", "0"),
            (3.0, "", "3"),
        ] {
            assert_eq!(with_unit(x, unit), want);
        }
    }
}
