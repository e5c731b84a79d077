//! Hosts that ask, look around and leave, also where the recorder cut their packets.

use crate::hosts::Traffic;
use crate::make::{ALL, ethernet, ipv4, mac, udp};
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

/// Tells the host's address and more: a host named `bow-display` at 192.168.47.3, and a service (RFC 6762 8.3); or says that they go
/// away.
fn tells(ttl: u8) -> Vec<u8> {
    let name: &[u8] = b"\x0bbow-display\x05local\0";
    let address = [name, &[0, 1, 0x80, 1, 0, 0, 0, ttl, 0, 4], &OWN.to_be_bytes()].concat();
    let service = [
        &b"\x0bbow-display\x05_http\x04_tcp\xc0\x18\0\x21\x80\x01\0\0\0"[..],
        &[ttl, 0, 8, 0, 0, 0, 0, 0, 80, 0xC0, 12],
    ]
    .concat();
    [&b"\0\0\x84\0\0\0\0\x02\0\0\0\0"[..], &address, &service].concat()
}

/// Of a packet that the recorder cut, the records before the cut are read: a name, and a goodbye.
#[test]
fn names_and_goodbyes_are_read_up_to_the_cut() {
    let run = |ttl: u8| {
        let mut traffic = Traffic::of_two_displays(300.0);
        traffic.sends(3, OWN, 1.0, (0.5, 200.0));
        names(&mut traffic, 30.0, (3, OWN), &tells(120));
        names(&mut traffic, 199.8, (3, OWN), &tells(ttl));
        judge(&[traffic.recorded_up_to(110)])
    };
    let report = run(0);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    assert!(report.devices.iter().any(|d| d.hostnames == ["bow-display.local"]), "{:?}", report.devices);
    assert_eq!(alarms(&run(120)), ["device-dropout"]);
}

/// A server's offer or grant of an address to host 4 (RFC 2131 table 3).
fn grants(traffic: &mut Traffic, at: f64, (host, ip): (u64, u32), given: u32) {
    let mut body = vec![2, 1, 6, 0, 0, 0, 0, 1];
    body.resize(16, 0);
    body.extend(given.to_be_bytes());
    body.resize(28, 0);
    body.extend(mac(4));
    body.resize(236, 0);
    body.extend([0x63, 0x82, 0x53, 0x63, 53, 1, 2, 54, 4]);
    body.extend(ip.to_be_bytes());
    body.resize(300, 255);
    let datagram = ipv4(ip, u32::MAX, 17, (0, 0, false), &udp(67, 68, &body));
    traffic.0.push((at, ethernet(host, ALL, 0x0800, &datagram)));
}

/// The recorder cut off the options and with them what a message is for. Who asks again and again, seconds apart, gets no address;
/// who asks a second time at once takes what it was offered; and two hosts that give addresses are two servers.
#[test]
fn what_is_left_of_a_cut_dhcp_message_tells() {
    let asks = |times: &[f64]| {
        let mut traffic = Traffic::of_two_displays(200.0);
        times.iter().for_each(|at| traffic.discovers(*at, 4));
        traffic
    };
    for snap in [160, 250, 2000] {
        let report = judge(&[asks(&[10.0, 14.1, 22.0, 37.5, 70.2]).recorded_up_to(snap)]);
        assert_eq!(alarms(&report), ["dhcp-unanswered"], "{snap}: {:?}", report.findings);
        assert!((number(&report, "dhcp-unanswered", "discovers") - 5.0).abs() < 0.1, "{snap}");
    }
    let report = judge(&[asks(&[10.0, 11.1, 60.0, 61.2, 110.0, 111.3, 160.0, 161.2]).recorded_up_to(160)]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let mut answered = asks(&[10.0, 14.1, 22.0, 37.5]);
    grants(&mut answered, 38.6, (1, 0xC0A8_2F01), 0xC0A8_2F04);
    assert!(alarms(&judge(&[answered.recorded_up_to(160)])).is_empty());
    for (second, kinds) in [(2, &["rival-dhcp-servers"][..]), (1, &[])] {
        let mut traffic = asks(&[10.0, 11.1, 80.0, 81.1]);
        for (at, server) in [(10.3, 1), (80.3, second)] {
            grants(&mut traffic, at, (server, 0xC0A8_2F00 + server as u32), 0xC0A8_2F04);
        }
        let report = judge(&[traffic.recorded_up_to(160)]);
        assert_eq!(alarms(&report), kinds, "{:?}", report.findings);
    }
}

/// A host with a steady beat announces its services every minute. It pauses for four beats; it comes back with an announcement of its
/// address and of its services, or with its services alone, as it may announce them at any time.
#[test]
fn a_beat_that_pauses_and_comes_back_announced_is_a_flap() {
    let run = |announces: bool, silent: bool| {
        let mut traffic = Traffic::of_two_displays(300.0);
        traffic.sends(3, OWN, 2.0, (0.5, 300.0));
        for i in 0..5 {
            names(&mut traffic, 20.0 + 61.0 * f64::from(i), (3, OWN), &tells(120));
        }
        if silent {
            traffic.0.retain(|(t, packet)| packet[6..12] != mac(3) || !(150.0..157.5).contains(t));
        }
        if announces {
            traffic.arp(157.5, 3, OWN, OWN);
            traffic.arp(159.5, 3, OWN, OWN);
        }
        names(&mut traffic, 158.0, (3, OWN), &tells(120));
        names(&mut traffic, 159.0, (3, OWN), &tells(120));
        judge(&[traffic.recorded()])
    };
    let report = run(true, true);
    assert_eq!(alarms(&report), ["link-flap"], "{:?}", report.findings);
    for (announces, silent) in [(false, true), (true, false)] {
        assert!(alarms(&run(announces, silent)).is_empty(), "{announces} {silent}");
    }
}
