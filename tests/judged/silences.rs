//! Silences at the edges of a recording, one after the other, and too short for a finding.

use crate::wires::sensors;
use crate::{alarms, ask, can_log, judge, number};
use leadsman::report::model::Standing;

type Frames = Vec<(f64, u32, String)>;

/// Depth (PGN 128267) of the node at address 22, once a second.
pub(crate) fn depths(from: u32, to: u32) -> Frames {
    let frame = |i: u32| {
        let [low, high, ..] = (800 + i % 50).to_le_bytes();
        (f64::from(i) + 0.5, 0x0DF5_0B16, format!("FF{low:02X}{high:02X}00000000FF"))
    };
    (from..to).map(frame).collect()
}

pub(crate) fn without(frames: Frames, spans: &[(f64, f64)]) -> Vec<u8> {
    let silent = |t: f64| spans.iter().any(|(from, to)| (*from..*to).contains(&t));
    can_log(frames.into_iter().filter(|(t, ..)| !silent(*t)).collect())
}

pub(crate) fn standing(recording: Vec<u8>, complaint: &str, cause: &str) -> (Standing, String) {
    let report = ask(&[recording], complaint);
    let row = report.complaints[0].causes.iter().find(|row| row.cause == cause).unwrap();
    (row.standing, row.because.clone())
}

/// Who is first heard when the recording has run for long was silent or off: neither is excluded.
#[test]
fn who_comes_late_is_not_called_steady() {
    let late = can_log([sensors(0, 150), depths(30, 150)].concat());
    let (told, why) = standing(late, "no-depth", "device-dropout");
    assert_eq!(told, Standing::Open);
    assert!(why.contains("first heard 30"), "{why}");
    let steady = can_log([sensors(0, 150), depths(0, 150)].concat());
    assert_eq!(standing(steady, "no-depth", "device-dropout").0, Standing::RuledOut);
}

/// Power is lost again seconds after all have come back: two outages, or gaps, and not one.
#[test]
fn a_second_silence_soon_after_the_first_is_told() {
    let frames = without([sensors(0, 150), depths(0, 150)].concat(), &[(60.0, 65.0), (70.0, 75.0)]);
    let report = judge(&[frames]);
    assert_eq!(alarms(&report), ["recording-gap"], "{:?}", report.findings);
    let spans = report.findings.iter().find(|f| f.kind == "recording-gap").unwrap().spans.len();
    assert_eq!(spans, 2);
}

/// All are silent for a second or two: no device and no message is to blame, and whether the wire was is open.
#[test]
fn a_short_silence_of_all_is_nobodys_own() {
    let frames = || [sensors(0, 150), depths(0, 150)].concat();
    let once = without(frames(), &[(60.0, 61.4)]);
    assert!(alarms(&judge(&[once])).is_empty());
    let twice = without(frames(), &[(60.0, 62.0), (90.0, 92.0)]);
    assert!(alarms(&judge(std::slice::from_ref(&twice))).is_empty());
    assert_eq!(standing(twice, "data-drops-out", "wire-outage").0, Standing::Open);
    let often = judge(&[without(frames(), &[(60.0, 62.0), (90.0, 92.0), (120.0, 122.0)])]);
    assert_eq!(alarms(&often), ["recording-gap"], "{:?}", often.findings);
    let longest = number(&often, "recording-gap", "longest_s");
    assert!((longest - 2.0).abs() < 0.15, "{longest}");
}

/// A pause of ten intervals that nobody aboard notices is no finding, and excludes none either.
#[test]
fn a_pause_too_short_to_be_told_is_not_denied() {
    let frames: Frames = sensors(0, 150)
        .into_iter()
        .filter(|(t, id, _)| id & 0xFF != 0x23 || !(60.0..61.2).contains(t))
        .map(|(t, id, data)| match id & 0xFF {
            // The node's rate of turn becomes a heading (PGN 127250).
            0x23 => (t, 0x09F1_1223, format!("FF{:02X}30FF7FFF7FFD", (t * 3.0) as u32 % 256)),
            _ => (t, id, data),
        })
        .collect();
    let (told, why) = standing(can_log(frames), "no-heading", "device-dropout");
    assert_eq!(told, Standing::Open, "{why}");
}

/// A node sends a maker's own message for half a minute, in mid-recording and without having come up; its heartbeat comes once a
/// minute (PGN 126993), and its next one after the end. One that is switched on, and is never heard again, is missed.
#[test]
fn a_makers_message_that_ends_as_it_began_is_no_silence() {
    let burst = (4000..7000).map(|i| (f64::from(i) / 100.0, 0x1CFF_0C33, "FFEEDDCCBBAA9988".to_owned()));
    let beat = |t: f64| (t, 0x1DF0_1133, "60EA00FFFFFFFFFF".to_owned());
    let frames: Frames = [sensors(0, 110), burst.collect(), vec![beat(0.5), beat(60.5)]].concat();
    let report = judge(&[can_log(frames.clone())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let claim = (39.5, 0x18EE_FF33, "9A3F60FE008CA0C0".to_owned());
    let came_up = frames.into_iter().filter(|(t, id, _)| id & 0xFF != 0x33 || *t > 1.0).chain([claim]);
    assert_eq!(alarms(&judge(&[can_log(came_up.collect())])), ["device-dropout"]);
}

/// The recorder sleeps for eight seconds of the half minute in which a sounder, or its depth alone, is silent: what was missing
/// while it was awake is told, for as long as it was missing.
#[test]
fn what_was_missing_before_and_after_a_gap_is_told_beside_it() {
    let speed = |t: f64| (t, 0x09F5_0316, "FF2C01FFFF00FFFF".to_owned());
    for (kind, of_device) in [("device-dropout", true), ("message-dropout", false)] {
        let mut frames = [sensors(0, 150), depths(0, 150)].concat();
        frames.extend((0..300).map(|i| speed(f64::from(i) / 2.0 + 0.11)));
        let away = |t: f64| (50.0..80.0).contains(&t);
        frames.retain(|(t, id, _)| !(away(*t) && (*id == 0x0DF5_0B16 || of_device && id & 0xFF == 0x16)));
        for gap in [(58.0, 66.0), (45.0, 57.0), (70.0, 86.0)] {
            let report = judge(&[without(frames.clone(), &[gap])]);
            let mut told = alarms(&report);
            told.sort_unstable();
            assert_eq!(told, [kind, "recording-gap"], "{gap:?}: {:?}", report.findings);
            let (from, to) = (gap.0.min(50.0_f64), gap.1.max(80.0_f64));
            let longest = number(&report, kind, "longest_s");
            assert!((longest - (to - from)).abs() < 1.5, "{gap:?}: {longest}");
        }
    }
}

/// A display follows a route (PGN 129283), which ends and begins anew between two of its heartbeats; one whose heartbeat stays away
/// too was not there.
#[test]
fn a_route_that_ends_is_no_silence() {
    let report = |beats: &[f64]| {
        let on = |t: &f64| !(63.0..130.0).contains(t);
        let route =
            (5..240).map(f64::from).filter(on).map(|t| (t, 0x0DF9_0333, "FF00FFFFFFFFFFFF".to_owned()));
        let beat = |t: &f64| (*t, 0x1DF0_1133, "60EA00FFFFFFFFFF".to_owned());
        judge(&[can_log([sensors(0, 240), route.collect(), beats.iter().map(beat).collect()].concat())])
    };
    let lives = report(&[0.5, 60.5, 120.5, 180.5]);
    assert!(alarms(&lives).is_empty(), "{:?}", lives.findings);
    let gone = report(&[0.5, 60.5, 180.5]);
    assert_eq!(alarms(&gone), ["device-dropout"], "{:?}", gone.findings);
    let said = |i: u32| {
        let mut said = vec![format!("HCHDG,{:.1},,,,", 90.0 + f64::from(i % 7) / 10.0)];
        if (10..60).contains(&i) || (95..110).contains(&i) {
            said.push("ECXTE,A,A,0.67,L,N".to_owned());
        }
        said
    };
    let line = judge(&[crate::lines::line(150, said)]);
    assert!(alarms(&line).is_empty(), "{:?}", line.findings);
}
