//! One side of a comparison: what a report says, read leniently.
//!
//! Both a fresh [`Report`] and a report of an earlier run come through the same JSON, so that it makes no difference
//! which of the two a side is. Fields that are missing or null stand for nothing, and fields that are not known are
//! passed over: reports of older and newer versions can be compared.

use crate::report::model::{Report, Severity};
use crate::time::{Span, Time};
use serde::{Deserialize, Deserializer, de};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::Read;

/// Most bytes of a report that are read: some tens of times what the fullest books give.
pub const MAX_REPORT_BYTES: u64 = 64 << 20;

/// The highest version of the report's format whose fields are known to mean what is read here.
const VERSION: u64 = 1;

/// Most rows of one table: more than the books of a run hold of anything, so that no made-up report takes long.
const MAX_ROWS: usize = 10_000;

/// Why a report could not be taken as one side.
#[derive(Debug, thiserror::Error)]
pub enum SideError {
    /// The system refused.
    #[error("cannot read it: {0}")]
    Io(#[from] std::io::Error),
    /// It is longer than any report.
    #[error("it is longer than {} MB, which no report is", MAX_REPORT_BYTES >> 20)]
    TooLong,
    /// One of its tables is longer than any report's.
    #[error("it has {0} rows of {1}, which no report has")]
    Crowded(usize, &'static str),
    /// It is no JSON, or its fields are not those of a report.
    #[error("it is no whole report: {0}")]
    Json(#[from] serde_json::Error),
    /// It is JSON of something else.
    #[error(
        "it is JSON, but no report (its format is {0:?}); write one with: leadsman report RECORDING --format json"
    )]
    Other(String),
    /// It is of a version to come.
    #[error("it is a report of version {0}, and this program knows version {VERSION}; use a newer leadsman")]
    Newer(u64),
}

/// What a report says, as far as two of them are compared.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Side {
    #[serde(deserialize_with = "or_default")]
    format: String,
    version: Option<u64>,
    /// The recordings.
    #[serde(deserialize_with = "or_default")]
    pub recordings: Vec<Recording>,
    /// The wires.
    #[serde(deserialize_with = "or_default")]
    pub wires: Vec<Wire>,
    /// The devices.
    #[serde(deserialize_with = "or_default")]
    pub devices: Vec<Device>,
    /// The sources.
    #[serde(deserialize_with = "or_default")]
    pub sources: Vec<Source>,
    /// The timing of every message.
    #[serde(deserialize_with = "or_default")]
    pub timing: Vec<Timing>,
    /// The findings.
    #[serde(deserialize_with = "or_default")]
    pub findings: Vec<Finding>,
}

/// A recording of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Recording {
    /// Its path.
    #[serde(deserialize_with = "or_default")]
    pub path: String,
    /// First record.
    #[serde(deserialize_with = "moment")]
    pub first: Option<Time>,
    /// Last record.
    #[serde(deserialize_with = "moment")]
    pub last: Option<Time>,
    /// Frames.
    #[serde(deserialize_with = "or_default")]
    pub frames: u64,
}

/// A wire of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Wire {
    /// Its id in the report.
    #[serde(deserialize_with = "or_default")]
    pub id: String,
    /// `ethernet`, `can` or `line`.
    #[serde(deserialize_with = "or_default")]
    pub kind: String,
    /// The recorder's name for it.
    pub label: Option<String>,
    /// The wire that carries it.
    pub carried_by: Option<String>,
    /// Frames.
    #[serde(deserialize_with = "or_default")]
    pub frames: u64,
    /// First frame.
    #[serde(deserialize_with = "moment")]
    pub first: Option<Time>,
    /// Last frame.
    #[serde(deserialize_with = "moment")]
    pub last: Option<Time>,
    /// How long it was recorded, seconds, where the recorder's clock was set meanwhile.
    pub recorded_s: Option<f64>,
    /// How finely it is stamped, seconds.
    pub time_resolution_s: Option<f64>,
    /// Its load.
    pub load: Option<Load>,
}

/// A wire's load, percent of what it can carry.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(default)]
pub struct Load {
    /// Over the whole recording.
    pub mean_percent: Option<f64>,
    /// In the busiest second.
    pub peak_percent: Option<f64>,
}

/// A device of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Device {
    /// Its id in the report.
    #[serde(deserialize_with = "or_default")]
    pub id: String,
    /// Id of its wire.
    #[serde(deserialize_with = "or_default")]
    pub wire: String,
    /// `n2k`, `ethernet` or `talker`.
    #[serde(deserialize_with = "or_default")]
    pub kind: String,
    /// The name that a person would find it by.
    #[serde(deserialize_with = "or_default")]
    pub label: String,
    /// N2K source address.
    pub address: Option<u8>,
    /// N2K NAME, 16 hex digits.
    pub name: Option<String>,
    /// N2K device instance.
    pub device_instance: Option<u8>,
    /// N2K system instance.
    pub system_instance: Option<u8>,
    /// N2K model text.
    pub model: Option<String>,
    /// N2K software version text.
    pub software: Option<String>,
    /// N2K serial text.
    pub serial: Option<String>,
    /// N2K load equivalency number.
    pub load_equivalency: Option<u8>,
    /// MAC address.
    pub mac: Option<String>,
    /// IP addresses.
    #[serde(deserialize_with = "or_default")]
    pub ips: Vec<String>,
    /// Host names.
    #[serde(deserialize_with = "or_default")]
    pub hostnames: Vec<String>,
    /// Talker identifier.
    pub talker: Option<String>,
    /// First frame.
    #[serde(deserialize_with = "moment")]
    pub first: Option<Time>,
    /// Last frame.
    #[serde(deserialize_with = "moment")]
    pub last: Option<Time>,
    /// Frames.
    #[serde(deserialize_with = "or_default")]
    pub frames: u64,
}

/// A source of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Source {
    /// Plain name of the quantity.
    #[serde(deserialize_with = "or_default")]
    pub quantity: String,
    /// What it counts from.
    pub reference: Option<String>,
    /// Id of its device.
    #[serde(deserialize_with = "or_default")]
    pub device: String,
    /// PGN or sentence.
    #[serde(deserialize_with = "or_default")]
    pub message: String,
    /// Which of several alike.
    pub instance: Option<u8>,
    /// Messages.
    #[serde(deserialize_with = "or_default")]
    pub count: u64,
    /// Messages that held the value.
    #[serde(deserialize_with = "or_default")]
    pub valid: u64,
    /// Its intervals.
    #[serde(deserialize_with = "or_default")]
    pub interval_s: Intervals,
    /// Pauses.
    #[serde(deserialize_with = "or_default")]
    pub dropouts: u64,
    /// Depth: the offset that it carries, metres.
    pub offset_m: Option<f64>,
    /// What would have shown of it.
    #[serde(deserialize_with = "or_default")]
    pub shows: Shows,
}

/// What would have shown of a source in the way that the boat was used.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(default)]
pub struct Shows {
    /// Depth: it held for a minute in all at speeds over this, knots.
    pub held_over_kn: Option<f64>,
    /// Depth: half of its messages without a depth came at speeds over this, knots.
    pub lost_at_kn: Option<f64>,
    /// Heading: how far it turned in all, degrees.
    pub turned_deg: Option<f64>,
    /// Heading: a constant error of so much would show, degrees.
    pub offset_deg: Option<f64>,
    /// Heading: an error that swings by so much would show, degrees.
    pub swing_deg: Option<f64>,
}

/// The intervals of a source, seconds.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(default)]
pub struct Intervals {
    /// The median.
    pub p50: Option<f64>,
}

/// The timing of one message of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Timing {
    /// Id of its device.
    #[serde(deserialize_with = "or_default")]
    pub device: String,
    /// PGN, sentence or protocol.
    #[serde(deserialize_with = "or_default")]
    pub message: String,
    /// Messages.
    #[serde(deserialize_with = "or_default")]
    pub count: u64,
    /// Standard or learnt interval, seconds; none when it comes without rhythm.
    pub nominal_s: Option<f64>,
    /// Median interval, seconds.
    pub p50: Option<f64>,
    /// Nine in ten intervals are no longer, seconds.
    pub p90: Option<f64>,
    /// 99 in 100 are no longer, seconds.
    pub p99: Option<f64>,
}

/// A finding of a report.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Finding {
    /// Name from the catalogue.
    #[serde(deserialize_with = "or_default")]
    pub kind: String,
    /// How grave.
    #[serde(deserialize_with = "or_default")]
    pub severity: Severity,
    /// One line.
    #[serde(deserialize_with = "or_default")]
    pub summary: String,
    /// Ids of its devices.
    #[serde(deserialize_with = "or_default")]
    pub devices: Vec<String>,
    /// Its messages.
    #[serde(deserialize_with = "or_default")]
    pub messages: Vec<String>,
    /// When.
    #[serde(deserialize_with = "spans")]
    pub spans: Vec<Span>,
    /// Its figures.
    #[serde(deserialize_with = "or_default")]
    pub numbers: BTreeMap<String, Value>,
    /// What a reader can check.
    #[serde(deserialize_with = "or_default")]
    pub evidence: Vec<String>,
    /// What to do on the boat.
    #[serde(deserialize_with = "or_default")]
    pub checks: Vec<String>,
}

impl Finding {
    /// One of its figures, when it is a number.
    #[must_use]
    pub fn number(&self, key: &str) -> Option<f64> {
        self.numbers.get(key).and_then(Value::as_f64)
    }
}

impl Wire {
    /// Seconds from its first to its last frame, without leaps of the recorder's clock; `None` without a clock.
    #[must_use]
    pub fn seconds(&self) -> Option<f64> {
        self.recorded_s.or_else(|| Some(self.last?.since(self.first?).max(0.0)))
    }
}

impl Side {
    /// The side that a fresh report is.
    ///
    /// # Errors
    /// When the report cannot be written as JSON, which it has no reason to.
    pub fn of(report: &Report) -> Result<Self, SideError> {
        Self::parse(&serde_json::to_vec(report)?)
    }

    /// Reads a report that was written with `--format json`.
    ///
    /// # Errors
    /// When it cannot be read, is no report, or is longer than [`MAX_REPORT_BYTES`].
    pub fn read(input: impl Read) -> Result<Self, SideError> {
        let mut bytes = Vec::new();
        input.take(MAX_REPORT_BYTES + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > MAX_REPORT_BYTES {
            return Err(SideError::TooLong);
        }
        Self::parse(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&bytes))
    }

    fn parse(bytes: &[u8]) -> Result<Self, SideError> {
        let mut side: Self = serde_json::from_slice(bytes)?;
        if side.format != "leadsman-report" {
            return Err(SideError::Other(side.format));
        }
        match side.version {
            Some(version) if version > VERSION => return Err(SideError::Newer(version)),
            _ => {}
        }
        let tables = [
            (side.recordings.len(), "recordings"),
            (side.wires.len(), "wires"),
            (side.devices.len(), "devices"),
            (side.sources.len(), "sources"),
            (side.timing.len(), "timing"),
            (side.findings.len(), "findings"),
        ];
        match tables.into_iter().find(|(rows, _)| *rows > MAX_ROWS) {
            Some((rows, table)) => Err(SideError::Crowded(rows, table)),
            None => {
                // Whom others only speak to may not be there any more.
                side.devices.retain(|device| device.frames > 0);
                Ok(side)
            }
        }
    }

    /// Frames of all recordings.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.recordings.iter().map(|r| r.frames).fold(0, u64::saturating_add)
    }

    /// From the first to the last record of all recordings.
    #[must_use]
    pub fn span(&self) -> Option<Span> {
        let first = self.recordings.iter().filter_map(|r| r.first).min()?;
        let last = self.recordings.iter().filter_map(|r| r.last).max()?;
        Some(Span::new(first, last))
    }

    /// How long all of it lasted, seconds, without leaps of the recorder's clock.
    #[must_use]
    pub fn lasted_s(&self) -> Option<f64> {
        let span = self.span()?.seconds();
        let leapt = self.wires.iter().any(|wire| wire.recorded_s.is_some());
        Some(if leapt { self.wires.iter().filter_map(Wire::seconds).fold(0.0, f64::max) } else { span })
    }
}

/// A null stands for nothing, as a missing field does.
fn or_default<'de, D: Deserializer<'de>, T: Default + Deserialize<'de>>(from: D) -> Result<T, D::Error> {
    Option::<T>::deserialize(from).map(Option::unwrap_or_default)
}

/// A moment as [`Time`] writes it, or null.
fn moment<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Time>, D::Error> {
    Option::<String>::deserialize(from)?.map(|text| time(&text).map_err(de::Error::custom)).transpose()
}

fn time(text: &str) -> Result<Time, String> {
    // A stranger's text may be long: the message shows its beginning.
    let stamp = text
        .parse::<jiff::Timestamp>()
        .map_err(|_| format!("{:?} is no time (RFC 3339)", text.chars().take(40).collect::<String>()))?;
    Ok(Time(stamp.as_microsecond()))
}

fn spans<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Span>, D::Error> {
    #[derive(Deserialize)]
    struct Ends {
        from: String,
        to: String,
    }
    let ends = Option::<Vec<Ends>>::deserialize(from)?.unwrap_or_default();
    ends.iter()
        .map(|ends| Ok(Span::new(time(&ends.from)?, time(&ends.to)?)))
        .collect::<Result<_, String>>()
        .map_err(de::Error::custom)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    fn read(text: &str) -> Result<Side, SideError> {
        Side::read(text.as_bytes())
    }

    #[test]
    fn a_leap_of_the_clock_is_no_length() {
        let (first, last) = (Some(Time(0)), Some(Time(3_900_000_000)));
        let recordings = vec![Recording { first, last, ..Recording::default() }];
        let wire = |recorded_s| Wire { first, last, recorded_s, ..Wire::default() };
        let side = |recorded_s| Side {
            recordings: recordings.clone(),
            wires: vec![wire(recorded_s)],
            ..Side::default()
        };
        assert_eq!((wire(None).seconds(), side(None).lasted_s()), (Some(3900.0), Some(3900.0)));
        assert_eq!((wire(Some(300.0)).seconds(), side(Some(300.0)).lasted_s()), (Some(300.0), Some(300.0)));
    }

    #[test]
    fn a_report_comes_through_whole() {
        let report = fixture::troubled();
        let side = Side::of(&report).unwrap();
        assert_eq!(side.devices.len(), report.devices.len());
        assert_eq!(side.span().map(Span::seconds), Some(724.0));
        assert_eq!(side.findings[0].number("median_difference_deg"), Some(-11.2));
        assert_eq!(side.findings[1].spans, report.findings[1].spans);
        assert_eq!(side.wires[0].first, report.wires[0].first);
        assert_eq!(side.frames(), 71_904 + 21_004);
    }

    #[test]
    fn older_and_newer_fields_are_no_matter() {
        let side = read(
            r#"{"format":"leadsman-report","version":1,"moon":[[{}]],
                "devices":[{"id":"d1","label":null,"ips":null,"colour":"red","frames":1},{"frames":1}],"wires":null,
                "findings":[{"kind":"x","severity":"fault","spans":null,"numbers":{"a":1,"b":"t","c":[1]}}]}"#,
        )
        .unwrap();
        assert_eq!((side.devices.len(), side.wires.len()), (2, 0));
        assert_eq!(side.findings[0].number("a"), Some(1.0));
        assert_eq!(side.findings[0].number("b"), None);
    }

    #[test]
    fn what_is_no_report_is_told_apart() {
        let cases = [
            ("{}", "no report"),
            (r#"{"format":"leadsman-verify","version":1}"#, "leadsman-verify"),
            (r#"{"format":"leadsman-report","version":2}"#, "version 2"),
            (r#"{"format":"leadsman-report""#, "line 1"),
            (r#"{"format":"leadsman-report","devices":[{"address":999}]}"#, "line 1"),
            (r#"{"format":"leadsman-report","recordings":[{"first":"yesterday"}]}"#, "yesterday"),
            (r#"{"format":"leadsman-report","findings":[{"severity":"grave"}]}"#, "grave"),
        ];
        for (text, want) in cases {
            let said = read(text).unwrap_err().to_string();
            assert!(said.contains(want), "{text}: {said}");
        }
        let deep = format!(r#"{{"format":"leadsman-report","x":{}"#, "[".repeat(100_000));
        assert!(read(&deep).is_err(), "nested without end");
        let rows = vec!["{}"; MAX_ROWS + 1].join(",");
        let crowd = format!(r#"{{"format":"leadsman-report","devices":[{rows}]}}"#);
        assert!(matches!(read(&crowd), Err(SideError::Crowded(_, "devices"))));
    }

    #[test]
    fn reading_ends_at_the_bound() {
        assert!(matches!(Side::read(std::io::repeat(b' ')), Err(SideError::TooLong)));
    }
}
