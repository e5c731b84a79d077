//! Nodes that start anew, and those that only claim their address once more.

use crate::claims::{Frames, claim};
use crate::silences::depths;
use crate::wires::sensors;
use crate::{alarms, can_log, judge};

/// A sounder whose depths come once a second, but between these two seconds; it claims its address at the beginning and as asked.
fn sounder(away: (f64, f64), claims: Frames) -> Vec<u8> {
    let depths = |(t, ..): &(f64, u32, String)| !(away.0..away.1).contains(t);
    let depths: Frames = crate::silences::depths(0, 200).into_iter().filter(depths).collect();
    can_log([sensors(0, 200), claim(1.0, 0x16, 1), depths, claims].concat())
}

/// The sounder is back before two of its messages are missing: that it claims its address and begins its rhythm anew tells that it
/// started. One that goes on by its rhythm did not.
#[test]
fn who_is_back_within_two_intervals_has_started() {
    let later = depths(102, 200).into_iter().map(|(t, id, data)| (t + 0.31, id, data));
    let earlier = depths(0, 101);
    for claimed in [101.4, 102.3] {
        let frames =
            [sensors(0, 200), claim(1.0, 0x16, 1), earlier.clone(), later.clone().collect()].concat();
        let report = judge(&[can_log([frames, claim(claimed, 0x16, 1)].concat())]);
        assert_eq!(alarms(&report), ["device-restart"], "{claimed}: {:?}", report.findings);
    }
    for claimed in [101.4, 120.45] {
        let report = judge(&[sounder((0.0, 0.0), claim(claimed, 0x16, 1))]);
        assert!(alarms(&report).is_empty(), "{claimed}: {:?}", report.findings);
    }
}

/// A sounder that starts anew asks the others for their claims, or for what they are, from the address that it had, before it claims
/// that. One that asks while it runs has not started.
#[test]
fn who_asks_from_its_own_address_before_its_claim_has_started() {
    for asks in [vec!["00EE00"], vec!["14F001"], vec!["14F001", "00EE00"]] {
        let asks = |at: f64| -> Frames {
            let ask = |(i, pgn): (usize, &&str)| (at + 0.01 * i as f64, 0x18EA_FF16, (*pgn).to_owned());
            asks.iter().enumerate().map(ask).chain(claim(at + 0.2, 0x16, 1)).collect()
        };
        let report = judge(&[sounder((100.0, 110.0), asks(109.8))]);
        assert_eq!(alarms(&report), ["device-restart"], "{:?}", report.findings);
        let span = report.findings.iter().find(|f| f.kind == "device-restart").unwrap().spans[0];
        assert!((span.seconds() - 10.5).abs() < 0.1, "{span:?}");
        let report = judge(&[sounder((0.0, 0.0), asks(109.4))]);
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    }
}
