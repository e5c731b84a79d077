//! Whole-program tests of the comparison, on the demo recordings.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

use leadsman::compare::model::{Comparison, Standing};
use leadsman::compare::side::Side;
use leadsman::compare::{self, Json, Renderer, Text};
use leadsman::report::json::Json as ReportJson;
use leadsman::report::model::{Report, Severity};
use leadsman::survey::{self, Options, When};
use leadsman::time::Time;
use serde_json::{Value, json};

fn report(file: &str, options: &Options) -> Report {
    let path = format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"));
    survey::report(&[path], options, &mut |_| {}).unwrap()
}

fn side(file: &str) -> Side {
    Side::of(&report(file, &Options::default())).unwrap()
}

fn written(comparison: &Comparison) -> String {
    let mut out = Vec::new();
    Json.render(comparison, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

fn text(comparison: &Comparison) -> String {
    let mut out = Vec::new();
    Text { width: 80, colour: false }.render(comparison, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// Whether nothing at all is called changed.
fn is_quiet(comparison: &Comparison) -> bool {
    comparison.verdict == "No change beyond noise, and no fault or warning on either side."
}

const HEALTHY: [&str; 3] = ["healthy-bus.log.zst", "healthy-network.pcapng.gz", "healthy-line.log"];

/// Faulty recording, the healthy one of its wire, the kind of the fault, and where it stands when the healthy one is
/// taken for the later side.
const FAULTY: [(&str, &str, &str, Standing); 12] = [
    ("two-headings.log.gz", HEALTHY[0], "duplicate-heading-source", Standing::Cleared),
    ("true-and-magnetic.log", HEALTHY[2], "duplicate-heading-source", Standing::Cleared),
    ("lagging-heading.pcap.zst", HEALTHY[0], "duplicate-heading-source", Standing::Cleared),
    ("heading-jumps.txt.gz", HEALTHY[0], "heading-jump", Standing::NotShown),
    ("bow-display-no-depth.log.zst", HEALTHY[0], "depth-not-available", Standing::Cleared),
    // Reports do not tell how fast the boat ran.
    ("depth-lost-at-speed.pcap.gz", HEALTHY[0], "depth-lost-at-speed", Standing::NotShown),
    ("second-sounder.txt", HEALTHY[2], "duplicate-depth-source", Standing::Cleared),
    ("two-positions.log.zst", HEALTHY[0], "duplicate-position-source", Standing::Cleared),
    // Two or fewer times in the same length may be luck.
    ("sensor-drops-out.txt.gz", HEALTHY[0], "device-dropout", Standing::NotShown),
    ("restarting-puck.pcap.zst", HEALTHY[0], "device-restart", Standing::NotShown),
    ("switch-outage.pcapng.zst", HEALTHY[1], "wire-outage", Standing::NotShown),
    ("flapping-display.pcap.gz", HEALTHY[1], "link-flap", Standing::NotShown),
];

#[test]
fn a_recording_against_itself_shows_no_change() {
    for (file, _, kind, _) in FAULTY {
        let one = side(file);
        let comparison = compare::compare(&one, &one);
        let [finding] =
            comparison.findings.iter().filter(|f| f.severity > Severity::Note).collect::<Vec<_>>()[..]
        else {
            panic!("{file}")
        };
        assert_eq!((finding.standing, finding.kind.as_str()), (Standing::Still, kind), "{file}");
        assert!(finding.numbers.is_empty(), "{file}: {:?}", finding.numbers);
        let changes = comparison.devices.len() + comparison.sources.len() + comparison.timing.len();
        assert_eq!(changes, 0, "{file}");
    }
    for file in HEALTHY {
        let one = side(file);
        assert!(is_quiet(&compare::compare(&one, &one)), "{file}");
    }
}

#[test]
fn each_fault_against_the_healthy_boat() {
    for (file, healthy, kind, standing) in FAULTY {
        let (faulty, healthy) = (side(file), side(healthy));
        let alarms = |comparison: &Comparison| -> Vec<(Standing, String)> {
            let alarms = comparison.findings.iter().filter(|f| f.severity > Severity::Note);
            alarms.map(|f| (f.standing, f.kind.clone())).collect()
        };
        let mended = compare::compare(&faulty, &healthy);
        assert_eq!(alarms(&mended), [(standing, kind.to_owned())], "{file}: {}", text(&mended));
        let broken = compare::compare(&healthy, &faulty);
        assert_eq!(alarms(&broken), [(Standing::New, kind.to_owned())], "{file}: {}", text(&broken));
    }
}

/// Of a trouble that depends on how the boat was used no length of recording is promised to prove anything.
#[test]
fn no_time_is_promised_where_none_is_enough() {
    for (file, kind) in
        [("depth-lost-at-speed.pcap.gz", "depth-lost-at-speed"), ("heading-jumps.txt.gz", "heading-jump")]
    {
        let comparison = compare::compare(&side(file), &side(HEALTHY[0]));
        let finding = comparison.findings.iter().find(|f| f.kind == kind).unwrap();
        assert_eq!((finding.standing, finding.record_s), (Standing::NotShown, None), "{file}");
        let said = text(&comparison).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(!said.contains("proof enough"), "{said}");
        assert!(said.contains("Record the same wires again"), "{said}");
    }
}

/// A report that was kept is as good as the recording that it is of.
#[test]
fn a_kept_report_is_as_good_as_its_recording() {
    for (file, healthy, _, _) in FAULTY {
        let kept = |file: &str| {
            let mut out = Vec::new();
            leadsman::report::Renderer::render(&ReportJson, &report(file, &Options::default()), &mut out)
                .unwrap();
            Side::read(out.as_slice()).unwrap()
        };
        let fresh = written(&compare::compare(&side(file), &side(healthy)));
        assert_eq!(written(&compare::compare(&kept(file), &side(healthy))), fresh, "{file}");
        assert_eq!(written(&compare::compare(&side(file), &kept(healthy))), fresh, "{file}");
    }
}

/// Two halves, and uneven parts, of one healthy recording do not differ.
#[test]
fn parts_of_a_healthy_recording_do_not_differ() {
    for file in HEALTHY {
        let whole = report(file, &Options::default());
        let (first, last) = (whole.recordings[0].first.unwrap(), whole.recordings[0].last.unwrap());
        for share in [0.5, 0.3, 0.75] {
            let cut = Time(first.0 + ((last.0 - first.0) as f64 * share) as i64);
            let begin = Options { to: Some(When::Moment(cut)), ..Options::default() };
            let end = Options { from: Some(When::Moment(cut)), ..Options::default() };
            let (begin, end) =
                (Side::of(&report(file, &begin)).unwrap(), Side::of(&report(file, &end)).unwrap());
            for comparison in [compare::compare(&begin, &end), compare::compare(&end, &begin)] {
                assert!(is_quiet(&comparison), "{file} at {share}: {}", text(&comparison));
            }
        }
    }
}

/// Another wire of the boat proves nothing of this one.
#[test]
fn another_wire_clears_nothing() {
    for (file, _, kind, _) in FAULTY {
        let there = side(file);
        for healthy in HEALTHY {
            let other = side(healthy);
            if other.wires.iter().any(|w| there.wires.iter().any(|t| t.kind == w.kind)) {
                continue;
            }
            let comparison = compare::compare(&there, &other);
            let finding = comparison.findings.iter().find(|f| f.kind == kind).unwrap();
            assert_eq!(finding.standing, Standing::NotShown, "{file} against {healthy}");
            assert!(comparison.cannot_tell.iter().any(|line| line.starts_with("AFTER holds no")));
            let back = compare::compare(&other, &there);
            let finding = back.findings.iter().find(|f| f.kind == kind).unwrap();
            assert_eq!(finding.standing, Standing::FirstSeen, "{healthy} against {file}");
            assert!(comparison.devices.is_empty() && back.devices.is_empty(), "no device came or went");
        }
    }
}

#[test]
fn twelve_seconds_clear_nothing() {
    let short = side("too-short.log");
    for file in ["two-headings.log.gz", "heading-jumps.txt.gz", "sensor-drops-out.txt.gz"] {
        let comparison = compare::compare(&side(file), &short);
        assert!(comparison.findings.iter().all(|f| f.standing != Standing::Cleared), "{}", text(&comparison));
        assert!(comparison.next.is_some());
    }
}

#[test]
fn comparisons_keep_to_the_schema() {
    let schema: Value = serde_json::from_str(include_str!("../docs/compare.schema.json")).unwrap();
    jsonschema::meta::validate(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let files = FAULTY.iter().map(|row| row.0).chain(HEALTHY).chain(["too-short.log", "cut-short.pcap"]);
    let sides: Vec<Side> = files.map(side).collect();
    let mut good = Value::Null;
    for pair in sides.windows(2) {
        good = serde_json::from_str(&written(&compare::compare(&pair[0], &pair[1]))).unwrap();
        let errors: Vec<String> = validator.iter_errors(&good).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
    }
    for (pointer, wrong) in
        [("/version", json!(2)), ("/wires/0/recorded", json!("perhaps")), ("/verdict", json!(1))]
    {
        let mut bad = good.clone();
        *bad.pointer_mut(pointer).unwrap() = wrong;
        assert!(!validator.is_valid(&bad), "{pointer}");
    }
}
