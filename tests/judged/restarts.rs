//! Nodes that start anew, and those that only claim their address once more.

use crate::claims::{Frames, claim};
use crate::silences::depths;
use crate::wires::sensors;
use crate::{alarms, can_log, judge, number};

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

/// The frames of a position, a rate of turn and a depth, each node silent from second 100 on until it is `back` by its address, with
/// the claims of all at second 1 and these.
fn three(back: impl Fn(u32) -> f64, claims: &[(f64, u32)]) -> Vec<u8> {
    let there = |(t, id, _): &(f64, u32, String)| !(100.0..back(id & 0xFF)).contains(t);
    let data: Frames = [sensors(0, 200), depths(0, 200)].concat().into_iter().filter(there).collect();
    let first = [3, 0x23, 0x16].map(|address| (1.0 + f64::from(address) / 1000.0, address));
    let claims =
        first.iter().chain(claims).flat_map(|(at, address)| claim(*at, *address, *address)).collect();
    can_log([data, claims].concat())
}

/// The feed of the backbone dips for a moment: every node claims anew, and sends its data when it has booted. A recorder that lost that
/// moment, and with it a request for claims, makes nobody late.
#[test]
fn a_short_dip_of_the_whole_bus_is_an_outage() {
    let claims = [(100.7, 3), (100.8, 0x23), (100.9, 0x16)];
    let booted = |address| claims.iter().find(|claim| claim.1 == address).map_or(0.0, |(at, _)| at + 0.6);
    let report = judge(&[three(booted, &claims)]);
    assert_eq!(alarms(&report), ["wire-outage"], "{:?}", report.findings);
    assert!((number(&report, "wire-outage", "longest_s") - 0.77).abs() < 0.02, "{:?}", report.findings);
    for back in [100.0, 100.7] {
        let report = judge(&[three(|_| back, &claims)]);
        assert!(alarms(&report).is_empty(), "{back}: {:?}", report.findings);
    }
}

/// One node claims anew so soon that only what it sends later shows for how long it was away.
#[test]
fn who_is_back_at_once_and_boots_has_started() {
    for (address, claimed, back) in [(0x23, 100.3, 101.3), (0x23, 100.6, 101.6), (0x16, 100.8, 102.4)] {
        let booted = |of| if of == address { back } else { 0.0 };
        let report = judge(&[three(booted, &[(claimed, address)])]);
        assert_eq!(alarms(&report), ["device-restart"], "{address}: {:?}", report.findings);
    }
}

/// A node that gets another instance claims its address by another NAME, and may miss a message over it.
#[test]
fn who_gets_another_instance_has_not_started() {
    let claims = |name: &str| vec![(100.8, 0x18EE_FF16, name.to_owned())];
    let frames = |claims: Frames| {
        let there = |(t, id, _): &(f64, u32, String)| id & 0xFF != 0x16 || !(100.4..101.0).contains(t);
        let data: Frames = [sensors(0, 200), depths(0, 200)].concat().into_iter().filter(there).collect();
        can_log([data, claim(1.0, 0x16, 1), claims].concat())
    };
    let report = judge(&[frames(claims("0100D0260182A0C0"))]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let report = judge(&[frames(claims("0100D0260082A0C0"))]);
    assert_eq!(alarms(&report), ["device-restart"], "{:?}", report.findings);
}
