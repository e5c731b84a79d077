//! The report: one value, written by every renderer. Field names, units and order are the machine-readable format,
//! version 1; fields may be added, these stay.

use crate::time::{Span, Time};
use serde::{Deserialize, Serialize, Serializer};
use std::collections::BTreeMap;

/// Everything that a run says.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    /// Always `leadsman-report`.
    pub format: &'static str,
    /// Always 1.
    pub version: u32,
    /// Which program wrote it.
    pub tool: Tool,
    /// The recordings, in the order given.
    pub recordings: Vec<RecordingRow>,
    /// The wires, in the order of first appearance.
    pub wires: Vec<WireRow>,
    /// The devices, by wire.
    pub devices: Vec<DeviceRow>,
    /// Who supplies which quantity.
    pub sources: Vec<SourceRow>,
    /// Every periodic message of every device.
    pub timing: Vec<TimingRow>,
    /// What is wrong or worth knowing, gravest first.
    pub findings: Vec<FindingRow>,
    /// The complaint asked for, or every complaint that a fault or warning speaks to.
    pub complaints: Vec<ComplaintRow>,
    /// What the pictures are drawn from; no part of the machine-readable format.
    #[serde(skip)]
    pub plots: super::plots::Plots,
}

impl Report {
    /// Devices that were heard: whom others only speak to was not.
    #[must_use]
    pub fn devices_heard(&self) -> u64 {
        self.devices.iter().filter(|device| device.frames > 0).count() as u64
    }

    /// Frames on the wires in the time that was asked for; what some of them carry in their packets is not counted again.
    #[must_use]
    pub fn frames_heard(&self) -> u64 {
        let roots = self.wires.iter().filter(|wire| wire.carried_by.is_none());
        roots.map(|wire| wire.frames).fold(0, u64::saturating_add)
    }
}

/// The problem of a recording that holds nothing of the time that was asked for.
pub const NOTHING_THEN: &str = "nothing of this recording lies in that time";

/// Which program wrote the report.
#[derive(Debug, Clone, Serialize)]
pub struct Tool {
    /// `leadsman`.
    pub name: &'static str,
    /// Its version.
    pub version: &'static str,
}

/// One input.
#[derive(Debug, Clone, Serialize)]
pub struct RecordingRow {
    /// The path as it was given; `-` is standard input.
    pub path: String,
    /// `pcap`, `pcapng`, `can-log`, `line-log`.
    pub container: String,
    /// `gzip`, `zstd` or nothing.
    pub compression: Option<&'static str>,
    /// Time of the first record.
    pub first: Option<Time>,
    /// Time of the last record.
    pub last: Option<Time>,
    /// Seconds between them.
    pub duration_s: Option<f64>,
    /// Packets, CAN frames or sentence lines.
    pub frames: u64,
    /// Size as stored.
    pub bytes: u64,
    /// What a reader must know of it.
    pub problems: Vec<String>,
    /// Seconds that were added to its stamps so that they can stand beside the other recordings'; 0 when nothing was
    /// added. Only with several recordings, as are the next three.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_offset_s: Option<f64>,
    /// How far the offset may be wrong, seconds; left out when it could not be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_uncertainty_s: Option<f64>,
    /// By how much its clock runs slow against the common one, millionths; left out when it could not be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_drift_ppm: Option<f64>,
    /// From what the offset was told, or why it was not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_from: Option<String>,
}

/// One wire.
#[derive(Debug, Clone, Serialize)]
pub struct WireRow {
    /// `w1`, `w2` ...
    pub id: String,
    /// Path of its recording.
    pub recording: String,
    /// `ethernet`, `can` or `line`.
    pub kind: &'static str,
    /// The recorder's name for it, or the stream that carries it.
    pub label: Option<String>,
    /// The wire whose packets carry this one (0183 or CAN lines inside UDP or TCP).
    pub carried_by: Option<String>,
    /// Frames seen on it.
    pub frames: u64,
    /// Their bytes on the wire.
    pub bytes: u64,
    /// First frame.
    pub first: Option<Time>,
    /// Last frame.
    pub last: Option<Time>,
    /// How long it was recorded, seconds, where that is not the time between the two: the recorder's clock was set meanwhile, or nobody
    /// recorded between two of its files.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded_s: Option<f64>,
    /// How finely its frames are stamped, seconds.
    pub time_resolution_s: Option<f64>,
    /// Load in percent of what the wire can carry, when that is known.
    pub load: Option<Load>,
    /// 0183 lines: the load at each usual baud rate, as the rate itself is not in a recording.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub load_by_baud: Vec<BaudLoad>,
}

impl WireRow {
    /// Seconds from its first to its last frame, without leaps of the recorder's clock; `None` without a clock.
    #[must_use]
    pub fn seconds(&self) -> Option<f64> {
        self.recorded_s.or_else(|| Some(self.last?.since(self.first?)))
    }
}

/// What a line's load would be at a baud rate.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct BaudLoad {
    /// Bits a second.
    pub baud: u32,
    /// Over the whole recording.
    pub mean_percent: f64,
    /// In the busiest second.
    pub peak_percent: f64,
}

/// A wire's load.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Load {
    /// Over the whole recording.
    pub mean_percent: f64,
    /// In the busiest second.
    pub peak_percent: f64,
}

/// One device. Fields that do not belong to its kind are left out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DeviceRow {
    /// `d1`, `d2` ...
    pub id: String,
    /// Id of its wire.
    pub wire: String,
    /// `n2k`, `ethernet` or `talker`.
    pub kind: &'static str,
    /// The name that a person would find it by.
    pub label: String,
    /// The name that the boat file gives it, when one was read and it was recognised.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub called: Option<String>,
    /// N2K: source address now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub address: Option<u8>,
    /// N2K: every address it held.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub addresses: Vec<u8>,
    /// N2K: NAME as 16 hex digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// N2K: manufacturer code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manufacturer_code: Option<u16>,
    /// N2K: device function.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub function_code: Option<u8>,
    /// N2K: device class.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub class_code: Option<u8>,
    /// N2K: device instance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device_instance: Option<u8>,
    /// N2K: system instance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub system_instance: Option<u8>,
    /// N2K: model text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// N2K: software version text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub software: Option<String>,
    /// N2K: serial text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// N2K: load equivalency number (1 is 50 mA).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load_equivalency: Option<u8>,
    /// Ethernet: MAC address; talker: MAC of the host whose packets carry the line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mac: Option<String>,
    /// Ethernet: every IP address; talker: the carrying host's.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ips: Vec<String>,
    /// Ethernet: host names it gave.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub hostnames: Vec<String>,
    /// Ethernet: services it announced.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub services: Vec<String>,
    /// Ethernet: offers, acknowledgements and refusals that it gave as a DHCP server; none when it only passes on
    /// those of another.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dhcp_answers: Option<u64>,
    /// 0183: talker identifier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub talker: Option<String>,
    /// 0183: sentences it sent, with the talker.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sentences: Vec<String>,
    /// First frame.
    pub first: Option<Time>,
    /// Last frame.
    pub last: Option<Time>,
    /// Frames that it sent and that could be read.
    pub frames: u64,
    /// Their bytes.
    pub bytes: u64,
}

/// A source's message drops out when it stays away for so many of its intervals and so many seconds (as the findings
/// count).
const DROPOUT_INTERVALS: f64 = 5.0;
const DROPOUT_S: f64 = 1.5;

/// From how many seconds on a source of this median interval drops out.
#[must_use]
pub fn drops_out_after_s(interval_s: Option<f64>) -> f64 {
    (DROPOUT_INTERVALS * interval_s.unwrap_or(0.0)).max(DROPOUT_S)
}

/// One device's stream of one quantity.
#[derive(Debug, Clone, Serialize)]
pub struct SourceRow {
    /// Plain name of the quantity.
    pub quantity: String,
    /// What it counts from.
    pub reference: Option<&'static str>,
    /// Device id.
    pub device: String,
    /// PGN in decimal, or sentence with talker.
    pub message: String,
    /// Which of several alike.
    pub instance: Option<u8>,
    /// Messages.
    pub count: u64,
    /// Messages that held the value.
    pub valid: u64,
    /// Intervals between messages.
    pub interval_s: Intervals,
    /// Pauses.
    pub dropouts: u64,
    /// Seconds of all pauses together.
    pub dropout_s: f64,
    /// The last value: a number in the quantity's unit, or an object whose keys bear their units.
    pub last_value: serde_json::Value,
    /// The least and the most that a voltage was, volts; of other quantities nobody asks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub extremes: Option<Extremes>,
    /// Depth: the offset that its last message with one carries, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_m: Option<f64>,
    /// What the way that the boat was used would have shown of it; left out when that is nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shows: Option<Shows>,
}

/// What would have shown of a source in the way that the boat was used: where it did not, it is not there.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Shows {
    /// Depth: it held for a minute in all at speeds over this, knots.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_over_kn: Option<f64>,
    /// Depth: half of its messages without a depth came at speeds over this, knots.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lost_at_kn: Option<f64>,
    /// Heading: how far it turned in all, degrees, as far as it was kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turned_deg: Option<f64>,
    /// Heading: a constant error of so much would show against the course over ground, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_deg: Option<f64>,
    /// Heading: an error that swings by so much to either side would show against the course over ground, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub swing_deg: Option<f64>,
}

/// The least and the most that a value was.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Extremes {
    /// The least.
    pub lowest: f64,
    /// The most.
    pub highest: f64,
}

/// Interval figures in seconds.
#[derive(Debug, Clone, Copy, Default, Serialize)]
pub struct Intervals {
    /// Standard or learnt interval.
    pub nominal: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// Nine in ten are no longer.
    pub p90: Option<f64>,
    /// 99 in 100 are no longer.
    pub p99: Option<f64>,
    /// The longest.
    pub max: Option<f64>,
}

/// Timing of one message of one device.
#[derive(Debug, Clone, Serialize)]
pub struct TimingRow {
    /// Device id.
    pub device: String,
    /// PGN in decimal, sentence with talker, or protocol.
    pub message: String,
    /// Messages.
    pub count: u64,
    /// Standard or learnt interval, seconds.
    pub nominal_s: Option<f64>,
    /// Median, seconds.
    pub p50: Option<f64>,
    /// Nine in ten, seconds.
    pub p90: Option<f64>,
    /// 99 in 100, seconds.
    pub p99: Option<f64>,
    /// The longest, seconds.
    pub max: Option<f64>,
    /// Share of intervals by length.
    pub histogram: Vec<Bin>,
}

/// One bin of a histogram: intervals from `from_s` (included) to `to_s` (excluded).
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Bin {
    /// Seconds.
    pub from_s: f64,
    /// Seconds.
    pub to_s: f64,
    /// Intervals in it.
    pub count: u64,
}

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing.
    #[default]
    Note,
    /// Should be looked at.
    Warning,
    /// Is wrong.
    Fault,
}

/// A finding's number: most are numbers, some are text (a relation, an address).
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Number {
    /// A number in the unit that its key bears.
    Real(f64),
    /// A count.
    Count(u64),
    /// Text.
    Text(String),
}

/// Leaves out what is no number (JSON knows neither infinity nor NaN).
fn finite_only<S: Serializer>(
    numbers: &BTreeMap<&'static str, Number>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    let finite = |number: &Number| !matches!(number, Number::Real(x) if !x.is_finite());
    serializer.collect_map(numbers.iter().filter(|(_, number)| finite(number)))
}

/// One finding.
#[derive(Debug, Clone, Serialize)]
pub struct FindingRow {
    /// Name from the catalogue.
    pub kind: &'static str,
    /// How grave.
    pub severity: Severity,
    /// One line.
    pub summary: String,
    /// Ids of the devices it is about.
    pub devices: Vec<String>,
    /// Messages it is about.
    pub messages: Vec<String>,
    /// When.
    pub spans: Vec<Span>,
    /// Figures, each with its unit in its key.
    #[serde(serialize_with = "finite_only")]
    pub numbers: BTreeMap<&'static str, Number>,
    /// What a reader can check, most important first.
    pub evidence: Vec<String>,
    /// What to do on the boat.
    pub checks: Vec<String>,
    /// Complaints that it speaks to.
    pub complaints: Vec<&'static str>,
    /// Index of the finding that it follows from; left out when it stands for itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub follows_from: Option<usize>,
}

/// Where a cause stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// The recording shows it.
    Supported,
    /// The recording cannot tell.
    Open,
    /// The recording excludes it.
    RuledOut,
}

/// A complaint with its answer.
#[derive(Debug, Clone, Serialize)]
pub struct ComplaintRow {
    /// `no-depth` and the like.
    pub complaint: &'static str,
    /// One or two sentences that the owner understands.
    pub answer: String,
    /// The candidate causes, likeliest first.
    pub causes: Vec<CauseRow>,
}

/// A candidate cause.
#[derive(Debug, Clone, Serialize)]
pub struct CauseRow {
    /// A finding's kind when it rests on one, else a name of its own.
    pub cause: String,
    /// Where it stands.
    pub standing: Standing,
    /// Why, in numbers.
    pub because: String,
    /// Indices into the findings.
    pub findings: Vec<usize>,
    /// What to do on the boat.
    pub next_check: String,
}
