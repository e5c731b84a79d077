//! Drafts learnt from the demo recordings, and the recordings held against them.

use leadsman::boat::sheet::{Row, Sheet, Standing, Topic};
use leadsman::boat::{Boat, learn, parse, verify};
use leadsman::survey::{Options, report};

fn path(file: &str) -> String {
    format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))
}

fn draft(file: &str) -> (Boat, Vec<String>) {
    let report = report(&[path(file)], &Options::default(), &mut |_| {}).unwrap();
    let draft = learn(&report);
    let boat = parse("boat.toml", &draft.text).unwrap_or_else(|error| panic!("{error}\n{}", draft.text));
    (boat, draft.kept_out)
}

fn hold(file: &str, boat: &Boat) -> Sheet {
    let options = Options { names: boat.names(), ..Options::default() };
    verify(boat, &report(&[path(file)], &options, &mut |_| {}).unwrap())
}

fn failed(sheet: &Sheet) -> Vec<&Row> {
    sheet.expectations.iter().filter(|row| row.standing == Standing::Failed).collect()
}

const BUS: &str = "healthy-bus.log.zst";
const NETWORK: &str = "healthy-network.pcapng.gz";
const LINE: &str = "healthy-line.log";

#[test]
fn a_healthy_recording_passes_its_own_draft_with_nothing_unexpected() {
    for (file, devices) in [(BUS, 6), (NETWORK, 6), (LINE, 3)] {
        let (boat, kept_out) = draft(file);
        assert!(kept_out.is_empty(), "{kept_out:?}");
        assert_eq!(boat.file.devices.len(), devices, "{file}");
        let sheet = hold(file, &boat);
        assert!(sheet.passed(), "{file}: {:#?}", failed(&sheet));
        assert!(sheet.unexpected.is_empty(), "{file}: {:#?}", sheet.unexpected);
        assert!(sheet.counts.passed > 25, "{file}");
    }
}

/// Each faulty recording against the draft of the healthy boat: the finding, and what of the device's supplies it spoils.
#[test]
fn a_faulty_recording_fails_the_healthy_draft_on_its_fault_alone() {
    let cases: &[(&str, &str, &[&str])] = &[
        (BUS, "cut-short.pcap", &[]),
        (BUS, "too-short.log", &[]),
        (
            BUS,
            "bow-display-no-depth.log.zst",
            &[
                "SD-4: no depth-not-available",
                "SD-4: depth (below-transducer) is whole",
                "SD-4: speed-through-water is whole",
                "SD-4: water-temperature 0 is whole",
            ],
        ),
        (
            BUS,
            "two-headings.log.gz",
            &[
                "GH-2 and BM-36: no duplicate-heading-source",
                "BM-36: is the only source of heading (magnetic)",
            ],
        ),
        (
            BUS,
            "lagging-heading.pcap.zst",
            &[
                "GH-2 and BM-36: no duplicate-heading-source",
                "BM-36: is the only source of heading (magnetic)",
            ],
        ),
        (BUS, "heading-jumps.txt.gz", &["BM-36: no heading-jump"]),
        (
            BUS,
            "depth-lost-at-speed.pcap.gz",
            &["SD-4: no depth-lost-at-speed", "SD-4: depth (below-transducer) is whole"],
        ),
        (BUS, "two-positions.log.zst", &["GH-2: is the only source of position"]),
        (
            BUS,
            "sensor-drops-out.txt.gz",
            &[
                "BM-36: no device-dropout",
                "BM-36: heading (magnetic) is whole",
                "BM-36: rate-of-turn is whole",
            ],
        ),
        (
            BUS,
            "restarting-puck.pcap.zst",
            &[
                "GH-2: no device-restart",
                "GH-2: position is whole",
                "GH-2: course-and-speed-over-ground (true) is whole",
                "GH-2: altitude is whole",
                "GH-2: time is whole",
                "GH-2: variation is whole",
            ],
        ),
        (
            LINE,
            "true-and-magnetic.log",
            &[
                "HC (heading, magnetic compass) and GP (GPS receiver): no duplicate-heading-source",
                "HC (heading, magnetic compass): is the only source of heading (magnetic)",
            ],
        ),
        (LINE, "second-sounder.txt", &["SD (depth sounder): is the only source of depth (below-transducer)"]),
        (NETWORK, "flapping-display.pcap.gz", &["bow-md9: no link-flap"]),
        (
            NETWORK,
            "switch-outage.pcapng.zst",
            &[
                "the boat: no wire-outage",
                "II from console-md12: heading (magnetic) is whole",
                "GP from gateway-gw1: position is whole",
                "II from console-md12: depth (below-transducer) is whole",
                "GP from gateway-gw1: course-and-speed-over-ground (true) is whole",
                "GP from gateway-gw1: time is whole",
                "GP from gateway-gw1: variation is whole",
                "II from console-md12: water-temperature is whole",
            ],
        ),
    ];
    let drafts = [BUS, NETWORK, LINE].map(|file| (file, draft(file).0));
    for (healthy, file, want) in cases {
        let boat = &drafts.iter().find(|(name, _)| name == healthy).unwrap().1;
        let sheet = hold(file, boat);
        let told: Vec<String> =
            failed(&sheet).iter().map(|row| format!("{}: {}", row.subject, row.expectation)).collect();
        assert_eq!(told, *want, "{file}");
        for row in failed(&sheet) {
            assert!(!row.expected.is_empty() && !row.measured.is_empty(), "{row:#?}");
            assert!(row.line.is_some() || row.topic == Topic::Finding, "{row:#?}");
        }
    }
}

/// A fault is never the norm: a draft of the faulty recording itself keeps it out, and the recording fails on it.
#[test]
fn a_fault_is_not_learnt() {
    for (file, kind, kept) in [
        ("two-headings.log.gz", "duplicate-heading-source", "heading"),
        ("bow-display-no-depth.log.zst", "depth-not-available", "depth"),
        ("heading-jumps.txt.gz", "heading-jump", "heading"),
        ("depth-lost-at-speed.pcap.gz", "depth-lost-at-speed", "depth"),
        ("sensor-drops-out.txt.gz", "device-dropout", "heading"),
        ("restarting-puck.pcap.zst", "device-restart", "position"),
        ("true-and-magnetic.log", "duplicate-heading-source", "heading"),
        ("flapping-display.pcap.gz", "link-flap", ""),
        ("switch-outage.pcapng.zst", "wire-outage", ""),
    ] {
        let (boat, kept_out) = draft(file);
        assert_eq!(kept_out.len(), 1, "{file}: {kept_out:?}");
        assert!(
            boat.file.supplies.iter().all(|supply| supply.quantity.get_ref() != kept),
            "{file} learnt {kept}"
        );
        let sheet = hold(file, &boat);
        let told: Vec<&str> = failed(&sheet).iter().map(|row| row.expectation.as_str()).collect();
        assert_eq!(told, [format!("no {kind}")], "{file}");
    }
}

#[test]
fn a_wish_that_the_recording_does_not_meet_fails_with_both_numbers() {
    let (boat, _) = draft(BUS);
    let report =
        report(&[path(BUS)], &Options { names: boat.names(), ..Options::default() }, &mut |_| {}).unwrap();
    let text = learn(&report).text;
    let check = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        let boat = parse("boat.toml", &text.replacen(from, to, 1)).unwrap();
        let sheet = hold(BUS, &boat);
        failed(&sheet).into_iter().cloned().collect::<Vec<Row>>()
    };
    let rows = check("bus_load_percent = 60", "bus_load_percent = 5");
    assert_eq!(rows.len(), 1, "{rows:#?}");
    assert_eq!(rows[0].expected_value, Some(5.0));
    // The load in the busiest second as the report tells it.
    assert!((rows[0].measured_value.unwrap() - 10.8).abs() < 0.05, "{rows:#?}");
    let rows = check("supply_min_v = 11.0", "supply_min_v = 13.7");
    assert_eq!((rows.len(), rows[0].topic), (1, Topic::Limit));
    let rows = check(
        "quantity = \"depth\"\ndevice = \"SD-4\"\nreference = \"below-transducer\"\ninterval_s = 1.0",
        "quantity = \"depth\"\ndevice = \"SD-4\"\nreference = \"below-transducer\"\ninterval_s = 0.5",
    );
    assert_eq!(rows.len(), 1, "{rows:#?}");
    assert_eq!((rows[0].expected.as_str(), rows[0].measured.as_str()), ("every 0.5 s", "1 s"));
    let rows = check("reference = \"below-transducer\"", "reference = \"below-keel\"");
    assert!(rows[0].measured.contains("below-transducer"), "{rows:#?}");
    let rows = check("name = \"C0789100FF80D714\", address = 35", "name = \"C0789100FF80D715\"");
    assert!(rows.iter().any(|row| row.topic == Topic::Device && row.measured == "not heard"), "{rows:#?}");
}

#[test]
fn needs_are_met_by_what_was_seen() {
    let (boat, _) = draft(NETWORK);
    assert!(boat.file.needs.is_empty(), "which source a display uses never shows");
    let report = report(&[path(NETWORK)], &Options::default(), &mut |_| {}).unwrap();
    let text = learn(&report).text;
    let need = |device: &str, quantity: &str, file: &str| {
        let text = format!("{text}\n[[need]]\ndevice = \"{device}\"\nquantity = \"{quantity}\"\n");
        let sheet = hold(file, &parse("boat.toml", &text).unwrap());
        let rows = sheet.expectations.into_iter().filter(|row| row.expectation.contains("comes on a wire"));
        rows.map(|row| (row.standing, row.measured)).next().unwrap()
    };
    assert_eq!(
        need("bow-md9", "depth", NETWORK),
        (Standing::Passed, String::from("from II from console-md12, every 1 s"))
    );
    assert_eq!(need("bow-md9", "wind", NETWORK), (Standing::Failed, String::from("none")));
    assert_eq!(need("bow-md9", "wind", LINE).0, Standing::NotSeen, "no Ethernet in that recording");
}

#[test]
fn what_was_not_recorded_was_not_seen() {
    let (boat, _) = draft(NETWORK);
    let sheet = hold(LINE, &boat);
    let devices = sheet
        .expectations
        .iter()
        .filter(|row| row.topic == Topic::Device && row.expectation.contains("Ethernet"));
    assert!(devices.into_iter().all(|row| row.standing == Standing::NotSeen));
    assert!(sheet.unexpected.iter().any(|thing| thing.what == "device"), "{:#?}", sheet.unexpected);
}
