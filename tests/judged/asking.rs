//! Hosts that ask, look around and leave, also where the recorder cut their packets.

use crate::hosts::Traffic;
use crate::make::{ethernet, ipv4, udp};
use crate::{alarms, judge, number};

const OWN: u32 = 0xC0A8_2F03;
const SOUGHT: u32 = 0xC0A8_2F63;

/// A host asks for an address: in so many tries, a second apart, every so often.
fn searches(tries: u32, every: f64) -> Traffic {
    let mut traffic = Traffic::of_two_displays(300.0);
    traffic.sends(3, OWN, 1.0, (0.5, 300.0));
    for i in 0..(290.0 / every) as u32 {
        for t in 0..tries {
            traffic.arp(2.0 + every.mul_add(f64::from(i), 1.02 * f64::from(t)), 3, OWN, SOUGHT);
        }
    }
    traffic
}

/// Who gets an answer does not ask three times in a row; who asks now and then may have got one past the recorder.
#[test]
fn who_tries_three_times_again_and_again_gets_no_answer() {
    for (tries, every, asks) in [(3, 17.0, 51.0), (3, 45.0, 18.0), (1, 5.5, 52.0)] {
        let report = judge(&[searches(tries, every).recorded()]);
        assert_eq!(alarms(&report), ["arp-unanswered"], "{tries} {every}: {:?}", report.findings);
        assert!((number(&report, "arp-unanswered", "asks") - asks).abs() < 0.5, "{tries} {every}");
    }
    for (tries, every) in [(1, 17.0), (2, 25.0), (3, 110.0)] {
        let report = judge(&[searches(tries, every).recorded()]);
        assert!(alarms(&report).is_empty(), "{tries} {every}: {:?}", report.findings);
    }
    let mut found = searches(3, 45.0);
    found.arp(280.0, 4, SOUGHT, SOUGHT);
    assert!(alarms(&judge(&[found.recorded()])).is_empty(), "it was switched on at last");
}

/// A datagram of multicast DNS.
fn names(traffic: &mut Traffic, at: f64, (host, ip): (u64, u32), message: &[u8]) {
    let datagram = ipv4(ip, 0xE000_00FB, 17, (0, 0, false), &udp(5353, 5353, message));
    traffic.0.push((at, ethernet(host, [1, 0, 0x5E, 0, 0, 0xFB], 0x0800, &datagram)));
}

/// Asks for a kind of service (RFC 6762 5.2).
const QUERY: &[u8] = b"\0\0\0\0\0\x01\0\0\0\0\0\0\x05_http\x04_tcp\x05local\0\0\x0c\0\x01";

/// A phone looks around now and then, and leaves.
#[test]
fn who_looks_around_now_and_then_is_not_missed() {
    let mut traffic = Traffic::of_two_displays(500.0);
    let (mut t, mut lot) = (20.0, 7_u32);
    while t < 280.0 {
        names(&mut traffic, t, (5, 0xC0A8_2F05), QUERY);
        lot = lot.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        t += 4.0 + 16.0 * f64::from(lot >> 8) / f64::from(1 << 24);
    }
    assert!(alarms(&judge(&[traffic.recorded()])).is_empty());
}
