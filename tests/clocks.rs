//! Two recorders of one boat, whose clocks differ: the demo boat's recordings, with the stamps of one moved.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

use leadsman::report::model::{Report, Severity};
use leadsman::survey::{self, Options};
use leadsman::time::Time;
use std::fs;
use std::path::{Path, PathBuf};

const CAPTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/captures");

/// The demo boat's 0183 line, its stamps moved by `shift_s`, without the sentences that `leave_out` names.
fn line_moved(dir: &Path, shift_s: f64, leave_out: &[&str]) -> PathBuf {
    let text = fs::read_to_string(format!("{CAPTURES}/healthy-line.log")).unwrap();
    let mut moved = String::new();
    for line in text.lines().filter(|line| !leave_out.iter().any(|formatter| line.contains(formatter))) {
        let (stamp, sentence) = line.split_once(' ').unwrap();
        // `2026-05-09T06:30:00.035Z`: the day stays, which the shifts below allow.
        let part = |from: usize, to: usize| stamp[from..to].parse::<f64>().unwrap();
        let of_day = part(11, 13) * 3600.0 + part(14, 16) * 60.0 + part(17, 23);
        let time = Time::from_parts(1_778_284_800, 0).plus(of_day + shift_s);
        moved.push_str(&format!("{time} {sentence}\n"));
    }
    let path = dir.join("line.log");
    fs::write(&path, moved).unwrap();
    path
}

fn report(paths: &[&Path]) -> Report {
    let paths: Vec<String> = paths.iter().map(|p| p.to_str().unwrap().to_owned()).collect();
    survey::report(&paths, &Options::default(), &mut |_| {}).unwrap()
}

fn offset(report: &Report, number: usize) -> (f64, Option<f64>) {
    let row = &report.recordings[number];
    (row.clock_offset_s.unwrap(), row.clock_uncertainty_s)
}

const TIMES: [&str; 4] = ["RMC", "GGA", "GLL", "ZDA"];

#[test]
fn the_boats_time_tells_the_offset() {
    let dir = tempfile::tempdir().unwrap();
    let bus = PathBuf::from(format!("{CAPTURES}/healthy-bus.log.zst"));
    for shift_s in [-7200.0, -47.3, 12.0, 3600.0] {
        let report = report(&[&bus, &line_moved(dir.path(), shift_s, &[])]);
        let (offset_s, uncertainty_s) = offset(&report, 1);
        assert!((offset_s + shift_s).abs() < uncertainty_s.unwrap().min(1.0), "{shift_s}: {offset_s}");
        assert!(report.recordings[1].clock_from.as_ref().unwrap().contains("time messages"));
        let begins = [0, 1].map(|n| report.recordings[n].first.unwrap());
        assert!(begins[1].since(begins[0]).abs() < 2.0, "times are the common clock's");
        assert!(report.findings.iter().all(|f| f.severity < Severity::Fault), "{:#?}", report.findings);
    }
}

#[test]
fn values_alone_tell_the_offset() {
    let dir = tempfile::tempdir().unwrap();
    let bus = PathBuf::from(format!("{CAPTURES}/healthy-bus.log.zst"));
    let report = report(&[&line_moved(dir.path(), 81.5, &TIMES), &bus]);
    let (offset_s, uncertainty_s) = offset(&report, 1);
    assert!((offset_s - 81.5).abs() < 0.3 && uncertainty_s.unwrap() < 1.0, "{offset_s} {uncertainty_s:?}");
    assert_eq!(report.recordings[1].clock_from.as_deref(), Some("heading in both recordings"));
}

#[test]
fn clocks_that_agree_are_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let bus = PathBuf::from(format!("{CAPTURES}/healthy-bus.log.zst"));
    for shift_s in [0.0, 0.3] {
        assert_eq!(offset(&report(&[&bus, &line_moved(dir.path(), shift_s, &[])]), 1).0, 0.0);
    }
}

#[test]
fn what_cannot_be_told_is_said_and_left() {
    let dir = tempfile::tempdir().unwrap();
    let (quiet, bus) = (dir.path().join("quiet.log"), PathBuf::from(format!("{CAPTURES}/too-short.log")));
    fs::write(&quiet, "2026-05-09T06:30:01.000Z $SDDBT,7.7,f,2.3,M,1.3,F*05\n".repeat(5)).unwrap();
    let report = report(&[&bus, &quiet]);
    assert_eq!(offset(&report, 1), (0.0, None));
    assert!(report.recordings[1].clock_from.as_ref().unwrap().starts_with("not told"));
}

#[test]
fn one_recording_has_no_other_clock() {
    let report = report(&[Path::new(&format!("{CAPTURES}/healthy-line.log"))]);
    assert_eq!((report.recordings[0].clock_offset_s, &report.recordings[0].clock_from), (None, &None));
}
