//! Whole-program tests on the demo recordings: each shows what `captures/README.md` says it shows, and nothing else.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

#[path = "judged/look.rs"]
mod look;

use leadsman::report::model::{Report, Standing};
use leadsman::survey::{self, Options};
use look::{alarms, number, text};
use serde_json::Value;
use std::io::{Cursor, Read};

fn path(file: &str) -> String {
    format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))
}

fn report(file: &str, complaint: Option<&'static str>) -> Report {
    let options = Options { complaint, ..Options::default() };
    survey::report(&[path(file)], &options, &mut |_| {}).unwrap()
}

/// File, alarms that it must raise, and no others.
const SHOWS: [(&str, &[&str]); 18] = [
    ("healthy-bus.log.zst", &[]),
    ("healthy-network.pcapng.gz", &[]),
    ("healthy-line.log", &[]),
    ("whole-boat.pcapng.gz", &[]),
    ("cut-short.pcap", &[]),
    ("too-short.log", &[]),
    ("two-headings.log.gz", &["duplicate-heading-source"]),
    ("true-and-magnetic.log", &["duplicate-heading-source"]),
    ("lagging-heading.pcap.zst", &["duplicate-heading-source"]),
    ("heading-jumps.txt.gz", &["heading-jump"]),
    ("bow-display-no-depth.log.zst", &["depth-not-available"]),
    ("depth-lost-at-speed.pcap.gz", &["depth-lost-at-speed"]),
    ("second-sounder.txt", &["duplicate-depth-source"]),
    ("two-positions.log.zst", &["duplicate-position-source"]),
    ("sensor-drops-out.txt.gz", &["device-dropout"]),
    ("restarting-puck.pcap.zst", &["device-restart"]),
    ("switch-outage.pcapng.zst", &["wire-outage"]),
    ("flapping-display.pcap.gz", &["link-flap"]),
];

#[test]
fn every_recording_shows_its_fault_and_nothing_else() {
    for (file, wanted) in SHOWS {
        assert_eq!(alarms(&report(file, None)), wanted, "{file}");
    }
}

/// The demo's truths are stated in `src/demo`, apart from the detectors.
#[test]
fn the_numbers_are_those_of_the_demo_boat() {
    let near = |got: f64, want: f64, within: f64, what: &str| {
        assert!((got - want).abs() <= within, "{what}: {got} for {want}");
    };
    let headings = report("two-headings.log.gz", None);
    near(number(&headings, "duplicate-heading-source", "median_difference_deg").abs(), 11.2, 0.5, "offset");
    assert_eq!(text(&headings, "duplicate-heading-source", "relation"), "constant-offset");
    let norths = report("true-and-magnetic.log", None);
    assert_eq!(text(&norths, "duplicate-heading-source", "relation"), "variation");
    near(number(&norths, "duplicate-heading-source", "variation_expected_deg"), -24.1, 0.5, "variation");
    let late = report("lagging-heading.pcap.zst", None);
    assert_eq!(text(&late, "duplicate-heading-source", "relation"), "lag");
    near(number(&late, "duplicate-heading-source", "lag_s"), 1.5, 0.1, "lag");
    let speed = report("depth-lost-at-speed.pcap.gz", None);
    near(number(&speed, "depth-lost-at-speed", "threshold_kn"), 21.0, 1.0, "threshold");
    let positions = report("two-positions.log.zst", None);
    near(number(&positions, "duplicate-position-source", "forward_m"), -5.0, 0.5, "antenna");
    near(number(&positions, "duplicate-position-source", "starboard_m"), 0.0, 0.5, "antenna");
    let depths = report("second-sounder.txt", None);
    near(number(&depths, "duplicate-depth-source", "median_difference_m").abs(), 0.8, 0.05, "sounders");
    let silent = report("sensor-drops-out.txt.gz", None);
    near(number(&silent, "device-dropout", "gaps"), 2.0, 0.0, "gaps");
    near(number(&silent, "device-dropout", "longest_s"), 9.2, 0.3, "silence");
    let outage = report("switch-outage.pcapng.zst", None);
    near(number(&outage, "wire-outage", "longest_s"), 8.0, 0.7, "outage");
    let flaps = report("flapping-display.pcap.gz", None);
    near(number(&flaps, "link-flap", "flaps"), 2.0, 0.0, "flaps");
}

/// Standing of a cause in the answer to a complaint.
fn standing(report: &Report, cause: &str) -> Standing {
    let [row] = report.complaints.as_slice() else { panic!("one answer") };
    row.causes.iter().find(|c| c.cause == cause).unwrap_or_else(|| panic!("no {cause}")).standing
}

#[test]
fn complaints_are_answered_with_their_cause() {
    use Standing::{Open, RuledOut, Supported};
    let cases = [
        ("two-headings.log.gz", "heading-jumps", "duplicate-heading-source", Supported),
        ("two-headings.log.gz", "heading-jumps", "heading-jump", RuledOut),
        ("two-headings.log.gz", "heading-jumps", "true-against-magnetic", RuledOut),
        ("two-headings.log.gz", "heading-jumps", "heading-paired-by-radio", Open),
        ("true-and-magnetic.log", "heading-jumps", "true-against-magnetic", Supported),
        ("heading-jumps.txt.gz", "heading-jumps", "heading-jump", Supported),
        ("sensor-drops-out.txt.gz", "heading-jumps", "device-dropout", Supported),
        ("bow-display-no-depth.log.zst", "no-depth", "depth-not-available", Supported),
        ("bow-display-no-depth.log.zst", "no-depth", "no-depth-source", RuledOut),
        ("bow-display-no-depth.log.zst", "no-depth", "device-dropout", RuledOut),
        ("bow-display-no-depth.log.zst", "no-depth", "display-set-to-another-source", Open),
        ("depth-lost-at-speed.pcap.gz", "no-depth", "depth-lost-at-speed", Supported),
        ("flapping-display.pcap.gz", "display-disconnects", "link-flap", Supported),
        ("flapping-display.pcap.gz", "display-disconnects", "wire-outage", RuledOut),
        ("flapping-display.pcap.gz", "display-disconnects", "ip-conflict", RuledOut),
        ("switch-outage.pcapng.zst", "display-disconnects", "wire-outage", Supported),
        ("healthy-network.pcapng.gz", "display-disconnects", "link-flap", RuledOut),
        ("healthy-network.pcapng.gz", "display-disconnects", "broadcast-storm", RuledOut),
    ];
    for (file, complaint, cause, wanted) in cases {
        assert_eq!(standing(&report(file, Some(complaint)), cause), wanted, "{file}: {cause}");
    }
}

/// A histogram holds each interval once, and no wire carries more on average than in its busiest second.
#[test]
fn no_interval_counts_twice_and_the_busiest_second_is_no_idler_than_the_average() {
    for (file, _) in SHOWS {
        let report = report(file, None);
        for row in report.timing.iter().filter(|row| !row.histogram.is_empty()) {
            let binned: u64 = row.histogram.iter().map(|bin| bin.count).sum();
            assert!(binned < row.count && binned + 20 > row.count, "{file}: {row:?}");
        }
        for load in report.wires.iter().filter_map(|wire| wire.load) {
            assert!(load.peak_percent >= load.mean_percent, "{file}: {load:?}");
        }
    }
}

/// Every report of a demo recording keeps to the published schema.
#[test]
fn reports_keep_to_the_schema() {
    let schema: Value = serde_json::from_str(include_str!("../docs/report.schema.json")).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (file, _) in SHOWS {
        for complaint in [None, Some("no-depth"), Some("display-disconnects")] {
            let json = serde_json::to_value(report(file, complaint)).unwrap();
            let errors: Vec<String> = validator.iter_errors(&json).map(|e| e.to_string()).collect();
            assert!(errors.is_empty(), "{file}: {errors:?}");
        }
    }
}

/// Hands out its bytes a few at a time.
struct Trickle(Cursor<Vec<u8>>, usize);

impl Read for Trickle {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let n = out.len().min(self.1);
        self.1 = self.1 % 97 + 1;
        self.0.read(&mut out[..n])
    }
}

#[test]
fn how_the_input_is_cut_changes_nothing() {
    for file in ["two-headings.log.gz", "switch-outage.pcapng.zst", "second-sounder.txt", "cut-short.pcap"] {
        let bytes = std::fs::read(path(file)).unwrap();
        let open = |input: Box<dyn Read + Send>| {
            let recording = leadsman::recording::open_reader(file, Some(bytes.len() as u64), input).unwrap();
            let report = survey::report_on(vec![recording], &Options::default(), &mut |_| {}).unwrap();
            serde_json::to_string(&report).unwrap()
        };
        let whole = open(Box::new(Cursor::new(bytes.clone())));
        let cut = open(Box::new(Trickle(Cursor::new(bytes.clone()), 1)));
        assert_eq!(whole, cut, "{file}");
    }
}

/// A bus log as text and the same frames as a SocketCAN capture give one report.
#[test]
fn text_and_capture_of_one_log_give_one_report() {
    let bytes = std::fs::read(path("healthy-bus.log.zst")).unwrap();
    let text = String::from_utf8(zstd::decode_all(bytes.as_slice()).unwrap()).unwrap();
    // Written here by the layout of the link type's registry entry: big-endian identifier with flag, length, data.
    let mut pcap = vec![0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 0, 227, 0, 0, 0];
    for line in text.lines() {
        let mut words = line.split(' ');
        let time = words.next().unwrap().trim_matches(['(', ')']);
        let (seconds, micros) = time.split_once('.').unwrap();
        let (id, data) = words.nth(1).unwrap().split_once('#').unwrap();
        let data: Vec<u8> =
            (0..data.len() / 2).map(|i| u8::from_str_radix(&data[2 * i..2 * i + 2], 16).unwrap()).collect();
        pcap.extend(seconds.parse::<u32>().unwrap().to_le_bytes());
        pcap.extend(micros.parse::<u32>().unwrap().to_le_bytes());
        let length = 8 + data.len() as u32;
        pcap.extend(length.to_le_bytes());
        pcap.extend(length.to_le_bytes());
        pcap.extend((u32::from_str_radix(id, 16).unwrap() | 0x8000_0000).to_be_bytes());
        pcap.extend([data.len() as u8, 0, 0, 0]);
        pcap.extend(data);
    }
    let read = |bytes: Vec<u8>| {
        let recording = leadsman::recording::open_reader("-", None, Box::new(Cursor::new(bytes))).unwrap();
        let report = survey::report_on(vec![recording], &Options::default(), &mut |_| {}).unwrap();
        let mut json = serde_json::to_value(report).unwrap();
        json["recordings"] = Value::Null;
        // The capture does not name its interface.
        json["wires"][0]["label"] = Value::Null;
        json
    };
    assert_eq!(read(text.into_bytes()), read(pcap));
}

/// Two recordings of one boat are one report; order of the arguments does not matter for what is found.
#[test]
fn several_recordings_are_merged_by_time() {
    let both = |one: &str, other: &str| {
        survey::report(&[path(one), path(other)], &Options::default(), &mut |_| {}).unwrap()
    };
    let a = both("healthy-bus.log.zst", "healthy-network.pcapng.gz");
    let b = both("healthy-network.pcapng.gz", "healthy-bus.log.zst");
    assert_eq!((a.recordings.len(), b.recordings.len()), (2, 2));
    assert_eq!(alarms(&a), alarms(&b));
}
