//! Whole wires: when everyone is silent, and when only some are awake.

use crate::{alarms, can_log, judge};

/// Heartbeats (PGN 126993) of the node at address 99, at these seconds.
fn heartbeats(at: impl Iterator<Item = f64>) -> Vec<(f64, u32, String)> {
    at.map(|t| (t, 0x1DF0_1163, "60EA07CCFFFFFFFF".to_owned())).collect()
}

/// Rapid position (PGN 129025) and rate of turn (PGN 127251) of two nodes, ten times a second.
fn sensors(from: u32, to: u32) -> Vec<(f64, u32, String)> {
    let one = |i: u32, at: f64, id: u32, data: &str| (f64::from(i) / 10.0 + at, id, data.to_owned());
    (10 * from..10 * to)
        .flat_map(|i| {
            let north = (0x2064_8586 + i).swap_bytes();
            [
                one(i, 0.01, 0x09F8_0103, &format!("{north:08X}DD641406")),
                one(i, 0.03, 0x09F1_1323, &format!("FF{:02X}000000FFFFFF", i % 7)),
            ]
        })
        .collect()
}

/// A display in standby speaks once a minute, or every ten seconds, before the boat is switched on and after.
#[test]
fn a_node_that_is_awake_alone_makes_no_gap() {
    for every in [5.0, 10.0, 60.0] {
        let awake = heartbeats((1..).map(|i| every * f64::from(i)).take_while(|t| *t < 281.0));
        let report = judge(&[can_log([awake, sensors(130, 270)].concat())]);
        assert!(alarms(&report).is_empty(), "{every}: {:?}", alarms(&report));
    }
}

/// When all are awake and nothing comes for twenty seconds, that is a gap still.
#[test]
fn a_silence_of_all_that_were_awake_is_one() {
    let awake = heartbeats((1..40).map(|i| 10.0 * f64::from(i)));
    let frames = [awake, sensors(100, 200), sensors(220, 400)].concat();
    let frames = frames.into_iter().filter(|(t, ..)| !(200.0..220.0).contains(t)).collect();
    assert_eq!(alarms(&judge(&[can_log(frames)])), ["recording-gap"]);
}
