//! The comparison: one value, written by every renderer. It is the machine-readable format, version 1
//! (`docs/compare.schema.json`); fields may be added, these stay.

use crate::report::model::{Severity, Tool};
use crate::report::words::recordings::without_folders;
use crate::time::Time;
use serde::Serialize;
use serde_json::Value;

/// Everything that a comparison says.
#[derive(Debug, Clone, Serialize)]
pub struct Comparison {
    /// Always `leadsman-compare`.
    pub format: &'static str,
    /// Always 1.
    pub version: u32,
    /// Which program wrote it.
    pub tool: Tool,
    /// The outcome in one line.
    pub verdict: String,
    /// What to record to know more, when something is left open.
    pub next: Option<String>,
    /// What the two sides cannot tell, most important first.
    pub cannot_tell: Vec<String>,
    /// The earlier side.
    pub before: SideRow,
    /// The later side.
    pub after: SideRow,
    /// Every finding of either side, what matters most first; not those about a recording itself.
    pub findings: Vec<FindingChange>,
    /// Devices that came, went or changed.
    pub devices: Vec<DeviceChange>,
    /// Sources of devices heard on both sides that came, went or changed.
    pub sources: Vec<SourceChange>,
    /// Messages whose timing changed beyond noise.
    pub timing: Vec<TimingChange>,
    /// Every wire of either side.
    pub wires: Vec<WireChange>,
}

/// What one side is made of.
#[derive(Debug, Clone, Serialize)]
pub struct SideRow {
    /// Its recordings.
    pub recordings: Vec<RecordingRow>,
    /// Its faults.
    pub faults: u64,
    /// Its warnings.
    pub warnings: u64,
}

impl SideRow {
    /// What one of its recordings is called where the comparison travels: without its folders, unless they tell two apart.
    pub(super) fn name_of<'a>(&self, recording: &'a RecordingRow) -> &'a str {
        without_folders(&recording.path, self.recordings.iter().map(|other| other.path.as_str()))
    }
}

/// One recording of a side.
#[derive(Debug, Clone, Serialize)]
pub struct RecordingRow {
    /// Its path; `-` is standard input.
    pub path: String,
    /// First record.
    pub first: Option<Time>,
    /// Last record.
    pub last: Option<Time>,
    /// Seconds between them.
    pub duration_s: Option<f64>,
    /// Frames.
    pub frames: u64,
}

/// Where a finding stands; the order is that in which a reader wants to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// After only, and before would or might have shown it.
    New,
    /// After only, and before does not cover it: it may have been there.
    FirstSeen,
    /// On both sides.
    Still,
    /// Before only, and that after does not show it proves nothing.
    NotShown,
    /// Before only, and after would have shown it.
    Cleared,
}

/// One finding on the two sides.
#[derive(Debug, Clone, Serialize)]
pub struct FindingChange {
    /// Where it stands.
    pub standing: Standing,
    /// Name from the catalogue.
    pub kind: String,
    /// The graver of the two.
    pub severity: Severity,
    /// How grave it was before.
    pub severity_before: Option<Severity>,
    /// How grave it is after.
    pub severity_after: Option<Severity>,
    /// One line: that of the later side when it has one.
    pub summary: String,
    /// Names of its devices.
    pub devices: Vec<String>,
    /// Its messages.
    pub messages: Vec<String>,
    /// Figures that differ, side by side.
    pub numbers: Vec<NumberChange>,
    /// Why it stands there.
    pub because: String,
    /// Seconds of recording that would prove it cleared, when length is what is missing.
    pub record_s: Option<f64>,
    /// What a reader can check, of the side that the summary is of.
    pub evidence: Vec<String>,
    /// What to do on the boat, of the same side.
    pub checks: Vec<String>,
}

/// A figure on the two sides: numbers or texts; null where a side has none.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NumberChange {
    /// Its name, with the unit.
    pub name: String,
    /// Before.
    pub before: Value,
    /// After.
    pub after: Value,
}

/// What became of a device or source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Before only, and after would have heard it.
    Went,
    /// After only, and before would have heard it.
    Came,
    /// On both sides, with another value.
    Changed,
    /// Before only; that after does not hear it proves nothing.
    NotHeard,
    /// After only; it may have been there before.
    FirstHeard,
}

/// One change of one device.
#[derive(Debug, Clone, Serialize)]
pub struct DeviceChange {
    /// What became of it.
    pub change: Change,
    /// The name that a person would find it by.
    pub device: String,
    /// What it is known by: NAME, MAC, talker and line, or address.
    pub identity: String,
    /// What changed (`address`, `software` ...), when it is on both sides.
    pub what: Option<&'static str>,
    /// The value before.
    pub before: Option<String>,
    /// The value after.
    pub after: Option<String>,
    /// How it is known, or why it is not.
    pub because: String,
}

/// One change of one source.
#[derive(Debug, Clone, Serialize)]
pub struct SourceChange {
    /// What became of it.
    pub change: Change,
    /// Plain name of the quantity.
    pub quantity: String,
    /// Name of its device.
    pub device: String,
    /// PGN or sentence.
    pub message: String,
    /// Which of several alike.
    pub instance: Option<u8>,
    /// What changed: `reference`, `offset`, `valid-share`, `pauses`.
    pub what: Option<&'static str>,
    /// Before, as a person reads it.
    pub before: Option<String>,
    /// After, as a person reads it.
    pub after: Option<String>,
    /// How it is known, or why it is not.
    pub because: String,
}

/// One message whose timing changed.
#[derive(Debug, Clone, Serialize)]
pub struct TimingChange {
    /// What became of it.
    pub change: Change,
    /// What changed: `interval` (its median), `regularity` (its longest 1 in 100).
    pub what: Option<&'static str>,
    /// Name of its device.
    pub device: String,
    /// PGN, sentence or protocol.
    pub message: String,
    /// Quantities that it carries.
    pub quantities: Vec<String>,
    /// Before.
    pub before: Option<Pace>,
    /// After.
    pub after: Option<Pace>,
}

/// The timing of a message on one side.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Pace {
    /// Messages.
    pub count: u64,
    /// Median interval, seconds.
    pub p50: Option<f64>,
    /// Nine in ten, seconds.
    pub p90: Option<f64>,
    /// 99 in 100, seconds.
    pub p99: Option<f64>,
}

/// On which sides a wire is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Recorded {
    /// Both, and it is the same by its devices or its name.
    Both,
    /// Both have one of its kind, and nothing shows that it is the same.
    NotTheSame,
    /// Before only.
    Before,
    /// After only.
    After,
}

/// One wire.
#[derive(Debug, Clone, Serialize)]
pub struct WireChange {
    /// On which sides it is.
    pub recorded: Recorded,
    /// `ethernet`, `can` or `line`.
    pub kind: String,
    /// The name that a person would find it by.
    pub wire: String,
    /// Mean load before, percent.
    pub load_before_percent: Option<f64>,
    /// Mean load after, percent.
    pub load_after_percent: Option<f64>,
    /// Whether the load changed beyond noise.
    pub load_changed: bool,
}
