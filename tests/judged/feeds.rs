//! Sentences that a host sends to others over the network, and receivers that come and go.

use crate::make::{ALL, START_US, ethernet, ipv4, mac, pcap_head, pcap_record, sentence, tcp, udp};
use crate::{alarms, ask, judge};
use leadsman::report::model::Standing;

/// The gateway's address and those of its receivers.
const GATEWAY: u32 = 0xC0A8_2F05;

/// A capture of packets, each with its second.
fn capture(mut packets: Vec<(f64, Vec<u8>)>) -> Vec<u8> {
    packets.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = pcap_head(1);
    packets.iter().for_each(|(at, packet)| pcap_record(&mut out, START_US + (at * 1e6) as u64, packet));
    out
}

/// A heading sensor's sentence of this tenth of a second.
fn heading(i: u32) -> Vec<u8> {
    let deg = 100.0 + 40.0 * (f64::from(i) / 310.0).sin();
    sentence(&format!("HCHDG,{deg:.1},,,4.0,E")).into_bytes()
}

/// A host's beat to everyone, once a second.
fn beats(host: u64, ip: u32, on: impl Fn(f64) -> bool) -> Vec<(f64, Vec<u8>)> {
    let datagram = ipv4(ip, 0xEFFE_0701, 17, (0, 0, false), &udp(4000, 4000, &[7; 60]));
    let packet = ethernet(host, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram);
    let at = (0..120).map(|i| f64::from(i) + 0.01 * host as f64);
    at.filter(|t| on(*t)).map(|t| (t, packet.clone())).collect()
}

/// The first of two receivers gets no more: the sensor is heard by the other all the while.
#[test]
fn a_receiver_that_leaves_takes_no_sensor_with_it() {
    let mut packets = [beats(5, GATEWAY, |_| true), beats(1, GATEWAY - 4, |_| true)].concat();
    for i in 0..1200_u32 {
        let t = f64::from(i) / 10.0;
        for (to, late) in [(1, 0.0), (2, 0.001)] {
            if to == 2 || !(60.0..100.0).contains(&t) {
                let datagram = udp(10110, 10110, &heading(i));
                let packet = ipv4(GATEWAY, GATEWAY - 5 + to, 17, (0, 0, false), &datagram);
                packets.push((t + late, ethernet(5, mac(u64::from(to)), 0x0800, &packet)));
            }
        }
    }
    let report = judge(&[capture(packets)]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A TCP segment between the gateway's port 10110 and the display's 40001, with these flags.
fn segment(from_gateway: bool, seq: u32, flags: u8, payload: &[u8]) -> Vec<u8> {
    let display = GATEWAY - 4;
    let (host, ip, to, to_ip, ports) = if from_gateway {
        (5, GATEWAY, 1, display, (10110, 40001))
    } else {
        (1, display, 5, GATEWAY, (40001, 10110))
    };
    ethernet(host, mac(to), 0x0800, &tcp((ip, to_ip), ports, seq, flags, payload))
}

/// The display closes its connection, and the gateway has nobody to send to; its beat goes on.
#[test]
fn a_connection_that_is_closed_is_no_sensors_silence() {
    const ACK: u8 = 0x10;
    const FIN: u8 = 0x11;
    let mut packets = [beats(5, GATEWAY, |_| true), beats(1, GATEWAY - 4, |_| true)].concat();
    let mut seq = 1000_u32;
    for i in 0..1200_u32 {
        let t = f64::from(i) / 10.0;
        if (60.0..100.0).contains(&t) {
            continue;
        }
        let line = heading(i);
        packets.push((t, segment(true, seq, ACK, &line)));
        seq += line.len() as u32;
        packets.push((t + 0.001, segment(false, 1, ACK, &[])));
    }
    packets.push((59.95, segment(false, 1, FIN, &[])));
    let report = ask(&[capture(packets)], "no-heading");
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    assert!(report.complaints[0].causes.iter().all(|cause| cause.standing != Standing::Supported));
}

/// A gateway falls silent eight seconds before the end: its slower sentences were last heard a little earlier than it was, and
/// are not gone for longer. Where the gateway lives on, they are.
#[test]
fn sentences_stop_with_the_gateway_that_sends_them() {
    let recorded = |gateway_lives: bool| {
        let mut packets =
            [beats(5, GATEWAY, |t| gateway_lives || t < 111.4), beats(1, GATEWAY - 4, |_| true)].concat();
        for i in 0..1115_u32 {
            let mut said = heading(i);
            if i % 10 == 0 {
                said.extend(sentence("WIMWV,51.0,R,8.2,N,A").into_bytes());
            }
            let packet = ipv4(GATEWAY, 0xC0A8_2FFF, 17, (0, 0, false), &udp(10110, 10110, &said));
            packets.push((f64::from(i) / 10.0, ethernet(5, ALL, 0x0800, &packet)));
        }
        judge(&[capture(packets.into_iter().filter(|(t, _)| *t < 120.2).collect())])
    };
    let stopped = recorded(false);
    assert!(alarms(&stopped).is_empty(), "{:?}", stopped.findings);
    let lives = recorded(true);
    assert_eq!(alarms(&lives), ["device-dropout"]);
    let told = lives.findings.iter().find(|f| f.kind == "device-dropout").unwrap();
    assert!(told.evidence.iter().any(|line| line.contains("went on meanwhile")), "{told:?}");
}

/// A gateway that puts each sentence into a datagram of its own, some in a burst and some not, has no rhythm of its own; that it
/// falls silent shows all the same, and is not the sensors' fault.
#[test]
fn a_gateway_without_a_rhythm_of_its_own_is_missed() {
    let mut packets = [beats(1, GATEWAY - 4, |_| true), beats(2, GATEWAY - 3, |_| true)].concat();
    let mut say = |t: f64, line: Vec<u8>| {
        if !(60.0..66.0).contains(&t) {
            let packet = ipv4(GATEWAY, 0xC0A8_2FFF, 17, (0, 0, false), &udp(10110, 10110, &line));
            packets.push((t, ethernet(5, ALL, 0x0800, &packet)));
        }
    };
    for i in 0..600_u32 {
        let t = f64::from(i) / 5.0;
        say(t, heading(2 * i));
        if i % 5 == 2 {
            let minutes = 30.0 + t * 6.0 / 3600.0;
            let burst = [
                format!("GPGLL,54{minutes:07.4},N,01010.0000,E,,A"),
                "GPVTG,0.0,T,,M,6.0,N,11.1,K".to_owned(),
                format!("SDDPT,{:.1},0.3", 7.0 + f64::from(i % 9) / 10.0),
                "SDMTW,14.2,C".to_owned(),
            ];
            for (late, said) in (1..).zip(burst) {
                say(0.01_f64.mul_add(f64::from(late), t), sentence(&said).into_bytes());
            }
        }
    }
    let report = judge(&[capture(packets)]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    let told = report.findings.iter().find(|f| f.kind == "device-dropout").unwrap();
    assert_eq!(told.devices.len(), 1);
    assert!(
        report.devices.iter().any(|d| Some(&d.id) == told.devices.first() && d.mac.is_some()),
        "{told:?}"
    );
}

/// Sentences of a gateway's datagrams: headings ten times a second, positions and speeds once, and depths once a second, of
/// which four come at once. The depths alone wait; or the gateway holds all back; or a radio link loses a third of all datagrams.
#[test]
fn a_ragged_sentence_among_steady_ones_is_its_own() {
    let run = |holds_all: bool, loses: bool| {
        let mut packets = [beats(5, GATEWAY, |_| true), beats(1, GATEWAY - 4, |_| true)].concat();
        let mut say = |t: f64, said: Vec<u8>| {
            let lost = loses && ((t * 12.9898).sin() * 43_758.545).rem_euclid(1.0) < 0.33;
            let late = if holds_all { (t / 2.1).ceil() * 2.1 } else { t };
            if !lost {
                let datagram = ipv4(GATEWAY, 0xC0A8_2FFF, 17, (0, 0, false), &udp(10110, 10110, &said));
                packets.push((late, ethernet(5, ALL, 0x0800, &datagram)));
            }
        };
        for i in 0..1200_u32 {
            let t = f64::from(i) / 10.0;
            say(t, heading(i));
            if i % 10 == 3 {
                let s = i / 10;
                let clock = format!("{:02}{:02}{:02}.00", 12, s / 60, s % 60);
                let place = format!("5430.{:04},N,01005.0000,E", i);
                say(t, sentence(&format!("GPGGA,{clock},{place},1,09,0.9,1.0,M,46.0,M,,")).into_bytes());
                say(t + 0.01, sentence(&format!("GPRMC,{clock},A,{place},,,010626,,,A")).into_bytes());
                let waits =
                    if holds_all || loses { 0.0 } else { f64::from(3 - s % 4) + 0.01 * f64::from(s % 4) };
                let m = 9.0 + (t / 9.0).sin();
                say(t + 0.02 + waits, sentence(&format!("SDDPT,{m:.1},0.0")).into_bytes());
            }
        }
        judge(&[capture(packets)])
    };
    let report = run(false, false);
    assert_eq!(alarms(&report), ["irregular-message"], "{:?}", report.findings);
    let ragged = report.findings.iter().find(|f| f.kind == "irregular-message").unwrap();
    assert_eq!(ragged.messages, ["SDDPT"]);
    for (holds_all, loses) in [(true, false), (false, true)] {
        let report = run(holds_all, loses);
        assert!(
            !alarms(&report).contains(&"irregular-message"),
            "{holds_all} {loses}: {:?}",
            report.findings
        );
    }
}
