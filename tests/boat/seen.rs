//! Only what was seen passes, and only what was listened for fails.

use super::program::{capture, run, told};
use std::fs;

/// The worked example, whose two recordings are those of its Ethernet and of its backbone.
const EXAMPLE: &str = include_str!("../../docs/example-boat/boat.toml");

const ETHERNET: &str = "whole-boat.pcapng.gz";
const BUS: &str = "healthy-bus.log.zst";

fn heading(display: &str, recordings: &[&str], boat: &str) -> [String; 3] {
    told(recordings, boat, display, "heading comes on a wire that it hears")
}

/// The log of the bus up to so many lines, of those that do not hold a text.
fn bus(lines: usize, without: &str) -> (tempfile::TempDir, String) {
    let packed = fs::read(capture(BUS)).unwrap();
    let text = String::from_utf8(zstd::decode_all(packed.as_slice()).unwrap()).unwrap();
    let kept: Vec<&str> = text.lines().take(lines).filter(|line| !line.contains(without)).collect();
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bus.log");
    fs::write(&path, kept.join("\n") + "\n").unwrap();
    let path = path.display().to_string();
    (dir, path)
}

#[test]
fn a_need_passes_where_its_quantity_was_seen() {
    let (ethernet, bus) = (capture(ETHERNET), capture(BUS));
    let both = [ethernet.as_str(), bus.as_str()];
    let [standing, found, _] = heading("second bow display", &both, EXAMPLE);
    assert_eq!((standing.as_str(), found.as_str()), ("passed", "from console sentences, every 201 ms"));
    let [standing, found, _] = heading("bow display", &both, EXAMPLE);
    assert_eq!((standing.as_str(), found.as_str()), ("passed", "from bow motor, every 100 ms"));
}

/// That a device hands on is what the file says, and not what was seen.
#[test]
fn what_is_handed_on_by_the_file_alone_is_not_seen() {
    let bus = capture(BUS);
    let [standing, found, note] = heading("second bow display", &[&bus], EXAMPLE);
    assert_eq!((standing.as_str(), found.as_str()), ("not-seen", "from bow motor, on another wire"));
    assert!(note.contains("handed on by console display, and that was not seen"), "{note}");
    // Without a device that hands on it is a wire that was not recorded.
    let alone = EXAMPLE.replace("passes_on = true", "passes_on = false");
    let [standing, _, note] = heading("second bow display", &[&bus], &alone);
    assert_eq!(standing, "not-seen");
    assert!(note.contains("was not recorded"), "{note}");
}

#[test]
fn a_need_of_a_device_that_was_not_heard_does_not_pass() {
    let (ethernet, bus) = (capture(ETHERNET), capture(BUS));
    let absent = EXAMPLE.replace("02:4c:45:10:00:06", "02:4c:45:10:00:96");
    let [standing, found, note] = heading("second bow display", &[&ethernet, &bus], &absent);
    assert_eq!(standing, "not-seen");
    assert!(found.starts_with("from ") && note.contains("was not heard"), "{found}: {note}");
}

#[test]
fn a_quantity_that_nobody_sends_fails_where_all_was_recorded() {
    let ethernet = capture(ETHERNET);
    let wind = format!("{EXAMPLE}\n[[need]]\ndevice = \"second bow display\"\nquantity = \"rudder\"\n");
    let [standing, found, _] =
        told(&[&ethernet], &wind, "second bow display", "rudder comes on a wire that it hears");
    assert_eq!((standing.as_str(), found.as_str()), ("failed", "none"));
    let both = wind.replace(
        "\ndevice = \"second bow display\"\nquantity = \"rudder\"",
        "\ndevice = \"bow display\"\nquantity = \"rudder\"",
    );
    let [standing, _, note] =
        told(&[&ethernet], &both, "bow display", "rudder comes on a wire that it hears");
    assert_eq!(standing, "not-seen", "it may come on the bus: {note}");
}

#[test]
fn sentences_that_a_host_does_not_carry_fail() {
    let (ethernet, bus) = (capture(ETHERNET), capture(BUS));
    let silent = EXAMPLE.replace("talker = \"II\"", "talker = \"SN\"");
    let heard =
        |recordings: &[&str]| told(recordings, &silent, "console sentences", "heard on its NMEA 0183 line");
    let [standing, found, note] = heard(&[&ethernet]);
    assert_eq!((standing.as_str(), found.as_str()), ("failed", "not heard"));
    assert!(note.starts_with("console display was heard"), "{note}");
    assert_eq!(heard(&[&bus])[0], "not-seen", "its Ethernet was not recorded");
}

/// A message of the bus does not fail where no bus was recorded, or hardly any of it.
#[test]
fn a_supply_fails_only_where_its_wire_was_recorded() {
    let depth = |recording: &str| told(&[recording], EXAMPLE, "sounder", "supplies depth (below-transducer)");
    let [standing, _, note] = depth(&capture(ETHERNET));
    assert_eq!(standing, "not-seen");
    assert!(note.contains("not recorded"), "{note}");
    // 128267 with priority 3: the identifier begins with 0DF50B.
    let (_short_dir, short) = bus(400, "0DF50B");
    let [standing, _, note] = depth(&short);
    assert_eq!(standing, "not-seen", "{note}");
    assert!(note.contains("too short"), "{note}");
    let (_long_dir, long) = bus(usize::MAX, "0DF50B");
    let [standing, found, _] = depth(&long);
    assert_eq!((standing.as_str(), found.as_str()), ("failed", "none"));
}

#[test]
fn a_recording_of_another_boat_is_told_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let boat = dir.path().join("boat.toml");
    fs::write(&boat, "[boat]\nname = \"X\"\n[[device]]\nname = \"a\"\nmac = \"02:00:00:00:00:01\"\n")
        .unwrap();
    let boat = boat.to_str().unwrap();
    let (status, text, _) = run(&["verify", &capture("healthy-line.log"), "--boat", boat]);
    assert_eq!(status, 1, "nothing is proved");
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.starts_with("FAILED X, acceptance: nothing of this boat file was seen"), "{text}");
    let (_, page, _) = run(&["verify", &capture("healthy-line.log"), "--boat", boat, "--format", "html"]);
    assert!(page.contains("class=\"answer fault\""), "{page}");
    let (_, json, _) = run(&["verify", &capture("healthy-line.log"), "--boat", boat, "--format", "json"]);
    assert!(json.contains("\"nothing_seen\": true") && json.contains("\"verdict\": \"failed\""), "{json}");
}

/// A few seconds prove nothing of what comes once a minute: the verdict says so.
#[test]
fn a_short_recording_passes_in_part() {
    let (_dir, short) = bus(1000, "#no");
    let (status, draft, error) = run(&["learn", &short]);
    assert_eq!(status, 0, "{error}");
    let dir = tempfile::tempdir().unwrap();
    let boat = dir.path().join("boat.toml").display().to_string();
    fs::write(&boat, draft).unwrap();
    let (status, text, _) = run(&["verify", &short, "--boat", &boat]);
    assert_eq!(status, 0, "{text}");
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.starts_with("PASSED IN PART"), "{text}");
    assert!(flat.contains("The recording is too short to tell what comes once a minute"), "{text}");
    let (_, json, _) = run(&["verify", &short, "--boat", &boat, "--format", "json"]);
    assert!(json.contains("\"too_short\": true"), "{json}");
}

/// A recorder that sleeps hears nothing: nothing is missing of what the boat sent meanwhile.
#[test]
fn a_gap_of_the_recorder_is_not_missing() {
    let whole = fs::read(capture(BUS)).unwrap();
    let text = String::from_utf8(zstd::decode_all(whole.as_slice()).unwrap()).unwrap();
    let seconds = |line: &str| line[1..line.find(')').unwrap()].parse::<f64>().unwrap();
    let begin = text.lines().map(seconds).next().unwrap();
    let heard = |line: &&str| !(60.0..76.0).contains(&(seconds(line) - begin));
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name).display().to_string();
    let (boat, log) = (path("boat.toml"), path("bus.log"));
    fs::write(&log, text.lines().filter(heard).collect::<Vec<_>>().join("\n") + "\n").unwrap();
    fs::write(&boat, run(&["learn", &capture(BUS)]).1).unwrap();
    let (status, sheet, _) = run(&["verify", &log, "--boat", &boat]);
    assert!(sheet.contains("(recording-gap)"), "{sheet}");
    assert_eq!(status, 0, "{sheet}");
}
