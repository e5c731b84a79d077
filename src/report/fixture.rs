//! Reports of invented boats, for the tests of every format.

use super::model::{
    BaudLoad, Bin, CauseRow, ComplaintRow, DeviceRow, Extremes, FindingRow, Intervals, Load, Number,
    RecordingRow, Report, Severity, Shows, SourceRow, Standing, TimingRow, Tool, WireRow,
};
use crate::time::{Span, Time};
use serde_json::json;
use std::collections::BTreeMap;

/// 2026-05-01 10:02:11 UTC, when the invented recordings begin.
const BEGIN: Time = Time(1_777_629_731_000_000);

/// That many seconds into the recording.
fn at(seconds: f64) -> Time {
    BEGIN.plus(seconds)
}

fn span(from: f64, to: f64) -> Span {
    Span::new(at(from), at(to))
}

fn texts(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|&text| String::from(text)).collect()
}

/// A report of nothing at all.
pub(crate) fn empty() -> Report {
    Report {
        format: "leadsman-report",
        version: 1,
        tool: Tool { name: "leadsman", version: "0.1.0" },
        recordings: Vec::new(),
        wires: Vec::new(),
        devices: Vec::new(),
        sources: Vec::new(),
        timing: Vec::new(),
        findings: Vec::new(),
        complaints: Vec::new(),
        plots: super::plots::Plots::default(),
    }
}

fn recording(path: &str, container: &str, frames: u64, problems: &[&str]) -> RecordingRow {
    RecordingRow {
        path: String::from(path),
        container: String::from(container),
        compression: path.ends_with(".gz").then_some("gzip"),
        first: Some(BEGIN),
        last: Some(at(724.0)),
        duration_s: Some(724.0),
        frames,
        bytes: frames * 40,
        problems: texts(problems),
        clock_offset_s: None,
        clock_uncertainty_s: None,
        clock_drift_ppm: None,
        clock_from: None,
    }
}

fn wire(id: &str, recording: &str, kind: &'static str, label: &str, load: Option<Load>) -> WireRow {
    WireRow {
        id: String::from(id),
        recording: String::from(recording),
        kind,
        label: Some(String::from(label)),
        carried_by: (kind == "line").then(|| String::from("w2")),
        frames: 60_000,
        bytes: 480_000,
        first: Some(BEGIN),
        last: Some(at(724.0)),
        recorded_s: (kind == "ethernet").then_some(664.0),
        time_resolution_s: Some(1e-6),
        load,
        load_by_baud: match kind {
            "line" => vec![
                BaudLoad { baud: 4800, mean_percent: 62.5, peak_percent: 91.0 },
                BaudLoad { baud: 38_400, mean_percent: 7.8, peak_percent: 11.4 },
            ],
            _ => Vec::new(),
        },
    }
}

/// Every field that belongs to N2K is set; those of the other kinds are set in [`others`].
fn n2k(id: &str, label: &str, address: u8) -> DeviceRow {
    DeviceRow {
        id: String::from(id),
        wire: String::from("w1"),
        kind: "n2k",
        label: String::from(label),
        called: (label == "puck").then(|| String::from(label)),
        address: Some(address),
        addresses: vec![address],
        name: Some(format!("C0328200FEE000{address:02X}")),
        manufacturer_code: Some(2040),
        function_code: Some(140),
        class_code: Some(60),
        device_instance: Some(0),
        system_instance: Some(0),
        model: Some(String::from("GH-2")),
        software: Some(String::from("1.04")),
        serial: Some(String::from("000117")),
        load_equivalency: Some(3),
        mac: None,
        ips: Vec::new(),
        hostnames: Vec::new(),
        services: Vec::new(),
        dhcp_answers: None,
        talker: None,
        sentences: Vec::new(),
        first: Some(BEGIN),
        last: Some(at(724.0)),
        frames: 14_480,
        bytes: 115_840,
    }
}

fn others() -> [DeviceRow; 2] {
    let ethernet = DeviceRow {
        id: String::from("d3"),
        wire: String::from("w2"),
        kind: "ethernet",
        label: String::from("console display"),
        mac: Some(String::from("02:00:5e:10:00:01")),
        ips: texts(&["10.3.7.20", "fe80::5eff:fe10:1"]),
        hostnames: texts(&["console"]),
        services: texts(&["_nmea-0183._tcp"]),
        dhcp_answers: Some(4),
        first: Some(BEGIN),
        last: Some(at(724.0)),
        frames: 21_004,
        bytes: 9_400_120,
        ..DeviceRow::default()
    };
    let talker = DeviceRow {
        id: String::from("d4"),
        wire: String::from("w3"),
        kind: "talker",
        label: String::from("SD of the console display"),
        mac: Some(String::from("02:00:5e:10:00:01")),
        ips: texts(&["10.3.7.20"]),
        talker: Some(String::from("SD")),
        sentences: texts(&["SDDPT", "SDMTW"]),
        first: Some(BEGIN),
        last: Some(at(723.0)),
        frames: 1448,
        bytes: 40_544,
        ..DeviceRow::default()
    };
    [ethernet, talker]
}

fn source(quantity: &str, device: &str, message: &str, last_value: serde_json::Value) -> SourceRow {
    SourceRow {
        quantity: String::from(quantity),
        reference: match quantity {
            "heading" => Some("magnetic"),
            "depth" => Some("below-transducer"),
            _ => None,
        },
        device: String::from(device),
        message: String::from(message),
        instance: (quantity == "humidity").then_some(1),
        count: 7240,
        valid: if quantity == "depth" { 7001 } else { 7240 },
        interval_s: Intervals {
            nominal: Some(0.1),
            p50: Some(0.1),
            p90: Some(0.101),
            p99: Some(0.104),
            max: Some(4.2),
        },
        dropouts: u64::from(quantity == "depth") * 3,
        dropout_s: if quantity == "depth" { 9.7 } else { 0.0 },
        last_value,
        extremes: (quantity == "humidity").then_some(Extremes { lowest: 64.0, highest: 72.5 }),
        offset_m: (quantity == "depth").then_some(0.4),
        shows: match quantity {
            "depth" => Some(Shows { held_over_kn: Some(12.5), lost_at_kn: Some(6.0), ..Shows::default() }),
            "heading" => Some(Shows {
                offset_deg: Some(4.8),
                swing_deg: Some(6.1),
                turned_deg: Some(720.0),
                ..Shows::default()
            }),
            _ => None,
        },
    }
}

fn timing(device: &str, message: &str, counts: &[u64]) -> TimingRow {
    let mut from_s = 0.05;
    let bin = |&count: &u64| {
        let bin = Bin { from_s, to_s: from_s * 2.0, count };
        from_s = bin.to_s;
        bin
    };
    TimingRow {
        device: String::from(device),
        message: String::from(message),
        count: 7240,
        nominal_s: Some(0.1),
        p50: Some(0.1),
        p90: Some(0.101),
        p99: Some(0.104),
        max: Some(4.2),
        histogram: counts.iter().map(bin).collect(),
    }
}

fn finding(kind: &'static str, severity: Severity, summary: &str) -> FindingRow {
    FindingRow {
        kind,
        severity,
        summary: String::from(summary),
        devices: Vec::new(),
        messages: Vec::new(),
        spans: Vec::new(),
        numbers: BTreeMap::new(),
        evidence: Vec::new(),
        checks: Vec::new(),
        complaints: Vec::new(),
        follows_from: None,
    }
}

fn findings() -> Vec<FindingRow> {
    let two_headings = FindingRow {
        devices: texts(&["d1", "d2"]),
        messages: texts(&["127250"]),
        spans: vec![span(0.0, 724.0)],
        numbers: BTreeMap::from([
            ("median_difference_deg", Number::Real(-11.2)),
            ("p95_difference_deg", Number::Real(12.0)),
            ("relation", Number::Text(String::from("constant-offset"))),
            ("messages", Number::Count(14_480)),
        ]),
        evidence: texts(&[
            "Puck minus bow sensor: -11.2 deg in the middle, 12.0 deg or less in 95 of 100 messages.",
            "Against course over ground on 4 courses: bow sensor +0.4 deg, puck -10.8 deg.",
        ]),
        checks: texts(&[
            "Pick one heading source on every display, or switch the puck's heading output off.",
            "See that the puck's arrow points to the bow.",
        ]),
        complaints: vec!["heading-jumps"],
        follows_from: None,
        ..finding("duplicate-heading-source", Severity::Fault, "Two devices supply heading, 11 deg apart")
    };
    let pauses = FindingRow {
        devices: texts(&["d4"]),
        messages: texts(&["SDDPT"]),
        spans: (0..7).map(|i| span(f64::from(i) * 90.0, f64::from(i) * 90.0 + 1.3)).collect(),
        numbers: BTreeMap::from([("gaps", Number::Count(7)), ("longest_s", Number::Real(1.3))]),
        evidence: texts(&["7 pauses, the longest 1.3 s, where 1 s is usual."]),
        checks: texts(&["Look at the plug of the depth line at the console display."]),
        complaints: vec!["no-depth", "data-drops-out"],
        follows_from: Some(0),
        ..finding(
            "message-dropout",
            Severity::Warning,
            "Depth pauses 7 times while the line's other sentences go on",
        )
    };
    let short = FindingRow {
        evidence: texts(&["12 min 04 s is less than ten intervals of the slowest message."]),
        ..finding("recording-too-short", Severity::Note, "Too short to judge messages slower than 72 s")
    };
    vec![two_headings, pauses, short]
}

fn cause(cause: &str, standing: Standing, because: &str, next_check: &str) -> CauseRow {
    CauseRow {
        cause: String::from(cause),
        standing,
        because: String::from(because),
        findings: if standing == Standing::Supported { vec![0] } else { Vec::new() },
        next_check: String::from(next_check),
    }
}

/// A boat with two headings apart, pauses of depth, and the complaint that the heading jumps.
pub(crate) fn troubled() -> Report {
    let [ethernet, talker] = others();
    let load = Some(Load { mean_percent: 31.2, peak_percent: 45.0 });
    Report {
        recordings: vec![
            RecordingRow {
                clock_offset_s: Some(0.0),
                clock_uncertainty_s: Some(0.0),
                clock_from: Some(String::from("the clock that the others are set by")),
                ..recording("bow.log.gz", "can-log", 71_904, &[])
            },
            RecordingRow {
                clock_offset_s: Some(-37.42),
                clock_uncertainty_s: Some(0.35),
                clock_drift_ppm: Some(28.0),
                clock_from: Some(String::from(
                    "the boat's time messages (GPRMC, against 129029 in the other recording)",
                )),
                ..recording("console.pcapng", "pcapng", 21_004, &["cut short: the file ends in mid-record"])
            },
        ],
        wires: vec![
            wire("w1", "bow.log.gz", "can", "can0", load),
            wire("w2", "console.pcapng", "ethernet", "eth0", None),
            wire("w3", "console.pcapng", "line", "UDP 10.3.7.20 to 239.2.1.1:2000", None),
        ],
        devices: vec![n2k("d1", "bow sensor", 12), n2k("d2", "puck", 35), ethernet, talker],
        sources: vec![
            source("heading", "d1", "127250", json!(183.24)),
            source("heading", "d2", "127250", json!(172.1)),
            source("position", "d2", "129025", json!({"lat_deg": 54.323_31, "lon_deg": -10.139_42})),
            source("depth", "d4", "SDDPT", json!(4.31)),
            source("humidity", "d1", "130313", json!(71.5)),
        ],
        timing: vec![
            timing("d1", "127250", &[3, 7236]),
            timing("d2", "127250", &[0, 7200, 38, 0, 0, 1]),
            timing("d4", "SDDPT", &[]),
        ],
        findings: findings(),
        complaints: vec![ComplaintRow {
            complaint: "heading-jumps",
            answer: String::from(
                "Two heading sensors answer at once, 11 deg apart; a display that swaps between them jumps.",
            ),
            causes: vec![
                cause(
                    "duplicate-heading-source",
                    Standing::Supported,
                    "two devices send heading, -11.2 deg apart throughout",
                    "Pick one heading source on every display, or switch the puck's heading output off.",
                ),
                cause(
                    "heading-jump",
                    Standing::RuledOut,
                    "no step over 2.1 deg in 0.1 s in either sensor",
                    "",
                ),
                cause("message-dropout", Standing::RuledOut, "longest silence 0.18 s of 0.10 s usual", ""),
                cause(
                    "compass-deviation",
                    Standing::Open,
                    "only 4 courses were steered",
                    "Steer a slow full circle, record it, and report again.",
                ),
            ],
        }],
        ..empty()
    }
}

/// A boat with nothing wrong, recorded on its CAN bus alone.
pub(crate) fn healthy() -> Report {
    let no_depth = FindingRow {
        complaints: vec!["no-depth"],
        follows_from: None,
        ..finding("no-depth-source", Severity::Note, "Nothing in the recording supplies depth")
    };
    Report {
        recordings: vec![recording("calm.log", "can-log", 71_904, &[])],
        wires: vec![wire(
            "w1",
            "calm.log",
            "can",
            "can0",
            Some(Load { mean_percent: 8.0, peak_percent: 9.5 }),
        )],
        devices: vec![n2k("d1", "bow sensor", 12)],
        sources: vec![source("heading", "d1", "127250", json!(183.24))],
        timing: vec![timing("d1", "127250", &[3, 7236])],
        findings: vec![no_depth],
        ..empty()
    }
}

/// A boat whose every name tries to take over the terminal, the page or the forum.
pub(crate) fn hostile() -> Report {
    let evil = "\x1b]0;owned\x07\x1b[2J\r\nFAULT forged\u{202e}drawkcab\u{9b}31m\u{200b}\
        <script>alert(1)</script><img src=x onerror=\"alert(2)\"> '>&amp; [a](javascript:b) ![c](http://d.example/e) \
        **f** __g__ `h` | i | # j ~~k~~ $l$ www.m.example n@o.example @everyone \\";
    let mut report = troubled();
    let evil_texts = || texts(&[evil, &evil.repeat(100)]);
    for recording in &mut report.recordings {
        recording.path = String::from(evil);
        recording.problems = evil_texts();
    }
    for wire in &mut report.wires {
        wire.label = Some(String::from(evil));
        wire.recording = String::from(evil);
    }
    for device in &mut report.devices {
        device.label = String::from(evil);
        device.model = Some(String::from(evil));
        device.software = Some(String::from(evil));
        device.serial = Some(String::from(evil));
        device.hostnames = evil_texts();
        device.services = evil_texts();
        device.ips = evil_texts();
        device.mac = Some(String::from(evil));
        device.talker = Some(String::from(evil));
        device.sentences = evil_texts();
    }
    for row in &mut report.sources {
        row.message = String::from(evil);
        row.last_value = json!({ evil: 1.0 });
    }
    for row in &mut report.timing {
        row.message = String::from(evil);
        row.histogram.push(Bin { from_s: f64::NAN, to_s: f64::INFINITY, count: u64::MAX });
    }
    for row in &mut report.findings {
        row.summary = String::from(evil);
        row.messages = evil_texts();
        row.evidence = evil_texts();
        row.checks = evil_texts();
        row.devices.push(String::from("d999"));
    }
    for complaint in &mut report.complaints {
        complaint.answer = String::from(evil);
        for cause in &mut complaint.causes {
            cause.cause = String::from(evil);
            cause.because = String::from(evil);
            cause.next_check = String::from(evil);
            cause.findings.push(usize::MAX);
        }
    }
    report
}

/// More devices and messages than a screen should hold; the last one is at fault.
pub(crate) fn crowded() -> Report {
    let mut report = healthy();
    report.devices = (0..100).map(|i| n2k(&format!("d{i}"), &format!("sensor {i}"), i)).collect();
    report.sources = (0..100).map(|i| source("heading", &format!("d{i}"), "127250", json!(183.24))).collect();
    report.timing = (0..100).map(|i| timing(&format!("d{i}"), "127250", &[1, 2, 3])).collect();
    report.findings = vec![FindingRow {
        devices: texts(&["d99"]),
        ..finding("heading-jump", Severity::Fault, "The heading leaps by up to 40 deg")
    }];
    report
}
