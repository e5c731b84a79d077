//! Hosts that are away for half a recording and come back without a sign, or that have nothing more to hand on.

use crate::hosts::{GROUP, Traffic};
use crate::make::{ethernet, ipv4, sentence, udp};
use crate::{alarms, judge, number};

const OTHER: u32 = 0xC0A8_2F03;

/// Two displays, and a host that is silent from 60 to 160 of 200 seconds; a display asks for it at these times.
fn half_away(asks: impl IntoIterator<Item = f64>) -> Traffic {
    let mut traffic = Traffic::of_two_displays(200.0);
    traffic.sends(3, OTHER, 0.2, (0.1, 60.0));
    traffic.sends(3, OTHER, 0.2, (160.0, 200.0));
    asks.into_iter().for_each(|at| traffic.arp(at, 1, 0xC0A8_2F01, OTHER));
    traffic
}

/// Who asks three times, a second apart, got no answer: the host was gone, and not only what it sends.
#[test]
fn who_is_asked_for_in_vain_is_missed_though_it_was_away_for_half_of_the_time() {
    let tries = [75.0, 76.0, 77.0, 120.0, 121.0, 122.1];
    let report = judge(&[half_away(tries).recorded()]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((number(&report, "device-dropout", "longest_s") - 100.0).abs() < 0.5);
}

/// A stream that somebody closed and opened again: nobody asked for its host, or somebody once in a while, who may have got an answer;
/// or somebody asks for it all the time.
#[test]
fn a_stream_that_was_closed_for_half_of_the_time_is_not_missed() {
    let now_and_then = [30.0, 75.0, 98.0, 120.0, 150.0, 180.0];
    let all_the_time = (1..199).map(f64::from);
    for traffic in [half_away([]), half_away(now_and_then), half_away(all_the_time)] {
        let report = judge(&[traffic.recorded()]);
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    }
}

/// Who is away again and again for long comes and goes as somebody likes.
#[test]
fn who_comes_and_goes_is_not_missed() {
    let mut traffic = Traffic::of_two_displays(400.0);
    for from in [0.1, 120.0, 260.0] {
        traffic.sends(3, OTHER, 0.2, (from, from + 45.0));
        [60.0, 61.0, 62.0].iter().for_each(|late| traffic.arp(from + late, 1, 0xC0A8_2F01, OTHER));
    }
    let report = judge(&[traffic.recorded()]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A gateway's inputs lose their supply; the gateway itself says no more than it must: its address, to whoever asks for it.
#[test]
fn talkers_that_stop_for_good_are_missed_while_their_gateway_answers_now_and_then() {
    let mut traffic = Traffic::of_two_displays(120.0);
    for i in 0..128 {
        let at = 0.5 * f64::from(i) + 0.3;
        let said = [format!("HCHDT,9{}.{},T", i % 3, i % 10), format!("SDDPT,7.{},0.5", i % 10)];
        let said: String = said.iter().map(|body| sentence(body)).collect();
        let datagram = ipv4(OTHER, GROUP, 17, (0, 0, false), &udp(10110, 10110, said.as_bytes()));
        traffic.0.push((at, ethernet(3, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram)));
    }
    for at in [8.0, 31.0, 55.0, 106.0] {
        traffic.arp(at, 1, 0xC0A8_2F01, OTHER);
        traffic.answers(at + 0.001, (3, OTHER), (1, 0xC0A8_2F01));
    }
    let report = judge(&[traffic.recorded()]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((number(&report, "device-dropout", "longest_s") - 56.0).abs() < 1.0);
}
