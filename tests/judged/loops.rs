//! Switching loops: what they bring back was sent once.

use crate::make::{ALL, ethernet, ipv4, mac, pcap_head, pcap_record, sentence, udp};
use crate::{alarms, judge, number};

/// Frames, each with its second.
type Sent = Vec<(f64, Vec<u8>)>;

/// When somebody plugs the cable in that closes the loop, and when somebody pulls it, seconds.
const CLOSED: (f64, f64) = (60.0, 66.0);

/// Everything that the loop brings back, frames a second.
const RETURNED_PER_S: f64 = 1500.0;

/// The recording of a network whose loop holds what was sent for everyone in the two seconds before it was closed.
fn recorded(sent: Sent) -> Vec<u8> {
    let held: Sent = sent.iter().filter(|(t, _)| (CLOSED.0 - 2.0..CLOSED.0).contains(t)).cloned().collect();
    let count = ((CLOSED.1 - CLOSED.0) * RETURNED_PER_S) as usize;
    let returned = |i: usize| (CLOSED.0 + i as f64 / RETURNED_PER_S, held[i % held.len()].1.clone());
    let mut all: Sent = sent.into_iter().chain((0..count).map(returned)).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = pcap_head(1);
    all.iter().for_each(|(at, packet)| pcap_record(&mut out, (at * 1e6) as u64, packet));
    out
}

/// An ARP request (RFC 826) of a host for an address of its network.
fn asks(at: f64, host: u64, target: u8) -> (f64, Vec<u8>) {
    let body = [
        &[0, 1, 8, 0, 6, 4, 0, 1][..],
        &mac(host),
        &[192, 168, 47, host as u8],
        &[0; 6],
        &[192, 168, 47, target],
    ];
    (at, ethernet(host, ALL, 0x0806, &body.concat()))
}

/// A datagram of a host for everyone.
fn tells(at: f64, host: u64, (from, port): (u16, u16), bytes: &[u8]) -> (f64, Vec<u8>) {
    let ip = if from == 68 { 0 } else { 0xC0A8_2F00 + host as u32 };
    (at, ethernet(host, ALL, 0x0800, &ipv4(ip, u32::MAX, 17, (0, 0, false), &udp(from, port, bytes))))
}

/// A DHCP discover (RFC 2131).
fn discovers(at: f64, host: u64) -> (f64, Vec<u8>) {
    let mut body = vec![1, 1, 6, 0, 0, 0, 0, 1];
    body.resize(28, 0);
    body.extend(mac(host));
    body.resize(236, 0);
    body.extend([0x63, 0x82, 0x53, 0x63, 53, 1, 1, 255]);
    tells(at, host, (68, 67), &body)
}

/// Two displays that show themselves to everyone once a second.
fn displays(seconds: u32) -> Sent {
    let shows =
        |i: u32| [1, 2].map(|host| tells(f64::from(i) + 0.1 * host as f64, host, (4000, 4000), b"here"));
    (0..seconds).flat_map(shows).collect()
}

/// A display asks for an address that nobody has about once a second, and a camera for one of its own with longer and longer
/// pauses.
#[test]
fn what_a_loop_brings_back_was_asked_once() {
    let asked: Sent = (10..110).map(|i| asks(1.013 * f64::from(i), 1, 99)).collect();
    let discovers: Sent = [20.0, 24.0, 32.0, 48.0, 59.9, 100.0].map(|at| discovers(at, 3)).to_vec();
    let report = judge(&[recorded([displays(120), asked, discovers].concat())]);
    assert!(alarms(&report).contains(&"broadcast-storm"), "{:?}", report.findings);
    let asks = number(&report, "arp-unanswered", "asks");
    assert!((asks - 100.0).abs() <= 1.0, "{asks}");
    assert!((number(&report, "dhcp-unanswered", "discovers") - 6.0).abs() < 0.1);
}

/// A gateway sends the position of a boat under way to everyone.
#[test]
fn a_loop_makes_no_second_receiver() {
    let fix = |i: u32| {
        let said = sentence(&format!(
            "GPRMC,10{:02}{:02}.00,A,54{:07.4},N,01010.0000,E,12.0,0.0,010126,,,A",
            i / 60,
            i % 60,
            18.0 + f64::from(i) * 12.0 / 3600.0
        ));
        tells(f64::from(i) + 0.5, 2, (10_110, 10_110), said.as_bytes())
    };
    let report = judge(&[recorded([displays(120), (0..120).map(fix).collect()].concat())]);
    assert_eq!(alarms(&report), ["broadcast-storm"], "{:?}", report.findings);
}

/// The same, in a packet that bears a number which no other does for a good while (RFC 6864 4).
fn numbered(number: u32, (at, mut packet): (f64, Vec<u8>)) -> (f64, Vec<u8>) {
    packet[18..20].copy_from_slice(&(number as u16 + 1).to_be_bytes());
    (at, packet)
}

/// A gateway sends what passes the bus to everyone, ten times a second: the loop puts nothing on the bus.
#[test]
fn a_loop_loads_no_bus() {
    let datagram = |i: u32| {
        let line = |pgn: u32, n: u32| {
            format!("10:00:00.000 R {:08X} {:08X}00000000\r\n", 0x0900_0023 | pgn << 8, 4 * i + n)
        };
        let pgns = [127_250, 129_025, 129_026, 130_306].into_iter().zip(0..);
        let said: String = pgns.map(|(pgn, n)| spaced(&line(pgn, n))).collect();
        numbered(i, tells(f64::from(i) * 0.1 + 0.05, 3, (2000, 2000), said.as_bytes()))
    };
    let report = judge(&[recorded([displays(120), (0..1200).map(datagram).collect()].concat())]);
    assert!(
        report.wires.iter().any(|w| w.load.as_ref().is_some_and(|l| l.peak_percent > 1.0)),
        "{:?}",
        report.wires
    );
    assert!(!alarms(&report).contains(&"bus-load-high"), "{:?}", report.findings);
}

/// A line of a CAN gateway with a space between the bytes.
fn spaced(line: &str) -> String {
    let (head, data) = line.trim_end().rsplit_once(' ').unwrap();
    let bytes: Vec<&str> = (0..8).map(|i| &data[2 * i..2 * i + 2]).collect();
    format!("{head} {}\r\n", bytes.join(" "))
}

/// A sounder whose link goes down half a minute after the loop was open again.
#[test]
fn a_link_that_goes_down_after_a_loop_is_told() {
    let own = [192, 168, 47, 4];
    let says = |i: u32| numbered(i, tells(f64::from(i) * 0.5 + 0.07, 4, (4100, 4100), b"bottom"));
    let mut sent: Sent = (0..360).map(says).filter(|(t, _)| !(100.0..114.0).contains(t)).collect();
    for at in [0.01, 114.0, 116.0] {
        sent.push(asks(at, 4, own[3]));
    }
    let report = judge(&[recorded([displays(180), sent].concat())]);
    let mut kinds = alarms(&report);
    kinds.sort_unstable();
    assert_eq!(kinds, ["broadcast-storm", "link-flap"], "{:?}", report.findings);
}
