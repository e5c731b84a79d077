//! What the recorder's links show of a network: one or several of them, and headers that do not name the receiver.

use crate::hosts::Traffic;
use crate::make::{enhanced, interface, pcap_head, pcap_record, section};
use crate::{alarms, ask, judge};

/// The same traffic as a recorder on all links of a machine writes it (LINKTYPE_LINUX_SLL 113 and LINKTYPE_LINUX_SLL2 276): the
/// packet type is 1 for everyone, 2 for a group, 3 for another station. `passed` says which interface a frame passed.
fn cooked(mut traffic: Traffic, link: u32, passed: impl Fn(&[u8]) -> u8) -> Vec<u8> {
    traffic.0.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = pcap_head(link);
    for (at, frame) in traffic.0 {
        let kind = if frame[..6] == [0xFF; 6] { 1 } else { 2 + u8::from(frame[0] & 1 == 0) };
        let head = if link == 113 {
            [&[0, kind, 0, 1, 0, 6][..], &frame[6..12], &[0; 2], &frame[12..14]].concat()
        } else {
            [&frame[12..14], &[0, 0, 0, 0, 0, passed(&frame), 0, 1, kind, 6], &frame[6..12], &[0; 2]].concat()
        };
        pcap_record(&mut out, (at * 1e6) as u64, &[&head, &frame[14..]].concat());
    }
    out
}

/// A third host beside two displays, with an address of its own.
fn beside(ip: u32) -> Traffic {
    let mut traffic = Traffic::of_two_displays(200.0);
    traffic.takes(5.0, 3, ip);
    traffic.sends(3, ip, 1.0, (12.0, 200.0));
    for i in 0..10 {
        traffic.arp(15.0 + 18.0 * f64::from(i), 3, ip, ip);
    }
    traffic
}

#[test]
fn addresses_are_judged_where_one_link_was_recorded() {
    for (ip, kind) in [(0xA9FE_2107, "self-assigned-address"), (0x0ADE_0314, "split-subnet")] {
        for link in [113, 276] {
            assert_eq!(alarms(&judge(&[cooked(beside(ip), link, |_| 2)])), [kind], "{link}");
        }
        let two_links = cooked(beside(ip), 276, |frame| 2 + u8::from(frame[11] == 3));
        let report = ask(&[two_links], "display-disconnects");
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        let cause = report.complaints[0].causes.iter().find(|cause| cause.cause == kind).unwrap();
        assert!(cause.because.contains("all links"), "{}", cause.because);
    }
}

/// The recording of a machine that hears a network at its plug and by radio.
fn on_two_links(mut traffic: Traffic) -> Vec<u8> {
    traffic.0.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = [section(), interface(1, 0, &[]), interface(1, 0, &[])].concat();
    for (at, frame) in &traffic.0 {
        let us = crate::make::START_US + (at * 1e6) as u64;
        out.extend(enhanced(0, us, frame));
        out.extend(enhanced(1, us + 900, frame));
    }
    out
}

#[test]
fn what_two_links_of_one_network_show_is_told_once() {
    let mut traffic = Traffic::of_two_displays(300.0);
    for from in [5.0, 190.0] {
        traffic.takes(from, 3, 0xC0A8_2F03);
        traffic.sends(3, 0xC0A8_2F03, 0.2, (from + 1.0, from + 170.0));
    }
    assert_eq!(alarms(&judge(&[on_two_links(traffic)])), ["link-flap"]);
    let mut outage = Traffic::default();
    for host in [1, 2, 3] {
        let ip = 0xC0A8_2F00 + host as u32;
        outage.sends(host, ip, 0.1, (0.02 * host as f64, 80.0));
        outage.takes(95.0, host, ip);
        outage.sends(host, ip, 0.1, (96.0 + 0.02 * host as f64, 200.0));
    }
    assert_eq!(alarms(&judge(&[on_two_links(outage)])), ["wire-outage"]);
}

/// While the recorder slept, two hosts went on with what they had begun: one asks for an address, the other announces the one that
/// it gave itself every now and then.
#[test]
fn who_asked_and_announced_before_a_gap_has_not_come_up() {
    let mut traffic = Traffic::of_two_displays(200.0);
    for host in [5, 6] {
        traffic.sends(host, 0xC0A8_2F00 + host as u32, 0.1, (0.02 * host as f64, 200.0));
    }
    for at in [20.0, 24.0, 32.0, 48.0, 81.5, 140.0] {
        traffic.discovers(at, 4);
    }
    for at in [2.0, 17.0, 31.0, 45.0, 84.0, 100.0, 118.0, 150.0] {
        traffic.arp(at, 3, 0xA9FE_2107, 0xA9FE_2107);
    }
    traffic.sends(3, 0xA9FE_2107, 4.0, (3.0, 200.0));
    traffic.0.retain(|(at, _)| !(50.0..80.0).contains(at));
    let mut kinds = alarms(&judge(&[traffic.recorded()]));
    kinds.sort_unstable();
    assert_eq!(kinds, ["dhcp-unanswered", "recording-gap", "self-assigned-address"]);
}

/// The switch loses its supply for fifteen seconds; the recorder's own machine goes on looking around now and then.
#[test]
fn an_outage_lasts_though_the_recorders_own_machine_speaks_in_it() {
    let mut outage = Traffic::default();
    for host in [1, 2, 3] {
        let ip = 0xC0A8_2F00 + host as u32;
        outage.sends(host, ip, 0.1, (0.02 * host as f64, 80.0));
        outage.takes(95.0, host, ip);
        outage.sends(host, ip, 0.1, (96.0 + 0.02 * host as f64, 200.0));
    }
    let looks = [7.0, 12.0, 31.0, 36.5, 58.0, 71.0, 84.5, 91.0, 104.0, 130.0, 147.0, 151.0, 180.0];
    looks.iter().for_each(|at| outage.arp(*at, 9, 0xC0A8_2F09, 0xC0A8_2F01));
    let report = judge(&[outage.recorded()]);
    assert_eq!(alarms(&report), ["wire-outage"], "{:?}", report.findings);
    assert!((crate::number(&report, "wire-outage", "longest_s") - 15.0).abs() < 0.5, "{:?}", report.findings);
    assert!((crate::number(&report, "wire-outage", "gaps") - 1.0).abs() < 0.1);
}

/// Three hosts on a switch that loses its supply for fifteen seconds, and the recorder's own machine at another one: alone it shows
/// frames that are not filled up to the shortest, and it looks around `every` so many seconds all the while. `on` hosts go on.
fn out_but_for_the_recorder(every: f64, on: u64) -> Vec<u8> {
    let mut outage = Traffic::default();
    for host in [1, 2, 3] {
        let ip = 0xC0A8_2F00 + host as u32;
        if host <= on {
            outage.sends(host, ip, 0.1, (0.02 * host as f64, 200.0));
            continue;
        }
        outage.sends(host, ip, 0.1, (0.02 * host as f64, 80.0));
        outage.takes(95.0, host, ip);
        outage.sends(host, ip, 0.1, (96.0 + 0.02 * host as f64, 200.0));
    }
    outage.0.iter_mut().for_each(|(_, frame)| frame.resize(frame.len().max(60), 0));
    for i in 1..(200.0 / every) as u32 {
        outage.arp(every * f64::from(i), 9, 0xC0A8_2F09, 0xC0A8_2F63 + i % 3);
    }
    outage.recorded()
}

#[test]
fn an_outage_is_one_though_the_recorders_own_machine_never_rests() {
    for every in [0.4, 1.0, 1.3] {
        let report = judge(&[out_but_for_the_recorder(every, 0)]);
        let found: Vec<_> = alarms(&report).into_iter().filter(|kind| *kind != "arp-unanswered").collect();
        assert_eq!(found, ["wire-outage"], "{every}: {:?}", report.findings);
        assert!((crate::number(&report, "wire-outage", "longest_s") - 15.0).abs() < 0.5);
    }
}

#[test]
fn what_leaves_a_host_of_the_boat_on_is_no_outage() {
    for on in [1, 2] {
        let found = alarms(&judge(&[out_but_for_the_recorder(1.0, on)]));
        assert!(found.contains(&"link-flap") && !found.contains(&"wire-outage"), "{found:?}");
    }
}

/// Two displays lose the supply that they share; a router, at which nobody records, speaks now and then all the while.
#[test]
fn two_hosts_of_one_supply_are_no_whole_network() {
    let mut boat = Traffic::default();
    for host in [1, 2] {
        let ip = 0xC0A8_2F00 + host as u32;
        boat.sends(host, ip, 0.1, (0.02 * host as f64, 80.0));
        boat.takes(95.0, host, ip);
        boat.sends(host, ip, 0.1, (96.0 + 0.02 * host as f64, 200.0));
    }
    let mut at = 0.2;
    for i in 0..300 {
        boat.arp(at, 9, 0xC0A8_2F09, 0xC0A8_2F01 + i % 2);
        at += [0.3, 0.9, 0.5, 1.1, 0.4, 0.7, 0.8][i as usize % 7];
    }
    let found = alarms(&judge(&[boat.recorded()]));
    assert!(found.contains(&"link-flap") && !found.contains(&"wire-outage"), "{found:?}");
}
