//! Devices that send one message, and little beside it.

use crate::wires::sensors;
use crate::{alarms, can_log, judge, number};
use leadsman::report::model::Report;

/// Wind (PGN 130306) of the node at address 0x2B ten times a second, which pauses from each of these seconds for 18; and its
/// heartbeat (PGN 126993) once a minute.
fn wind(pauses: &[f64], beats: impl Fn(f64) -> bool) -> Report {
    let away = |t: f64| pauses.iter().any(|from| (*from..from + 18.0).contains(&t));
    let at = (0..3000).map(|i| f64::from(i) / 10.0 + 0.02).filter(|t| !away(*t));
    let wind = at.map(|t| (t, 0x09FD_022B, format!("FF{:02X}0110270AFFFF", (t * 7.0) as u32 % 200)));
    let beat = (0..5).map(|i| 60.0 * f64::from(i) + 5.0).filter(|t| beats(*t));
    let beats = beat.map(|t| (t, 0x1DF0_112B, "60EA00FFFFFFFFFF".to_owned()));
    judge(&[can_log([sensors(0, 300), wind.collect(), beats.collect()].concat())])
}

/// The heartbeat comes in two of four pauses: they are the message's, and so are the two in which nothing else was due.
#[test]
fn pauses_in_which_no_heartbeat_was_due_are_like_the_others() {
    let report = wind(&[55.0, 95.0, 140.0, 180.0], |_| true);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
    assert!((number(&report, "message-dropout", "gaps") - 4.0).abs() < 0.1);
    let report = wind(&[95.0, 140.0, 215.0, 270.0], |_| true);
    assert_eq!(alarms(&report), ["device-dropout"], "no heartbeat falls into any: {:?}", report.findings);
}

/// A heartbeat that was due and did not come tells that the device was silent.
#[test]
fn a_pause_without_the_heartbeat_that_was_due_is_the_devices() {
    let report = wind(&[55.0, 120.0], |t| t != 125.0);
    let mut kinds = alarms(&report);
    kinds.sort_unstable();
    assert_eq!(kinds, ["device-dropout", "message-dropout"], "{:?}", report.findings);
}
