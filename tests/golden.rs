//! What other decoders read out of the same bytes. `golden/make_golden.py` made the values and names its sources.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test may stop at what it did not expect"
)]

#[path = "golden/said.rs"]
mod said;
#[path = "golden/want.rs"]
mod want;

use leadsman::frames::{Arp, Content, Ip, Tcp, Transport, Udp, ipv4_header_is_sound, parse};
use leadsman::messages::n2k::{self, Assembler, CanId, NetworkMessage};
use leadsman::messages::nmea0183::{self, Checksum, Sentence, ais};
use leadsman::recording::LinkType;
use leadsman::time::days_from_civil;
use said::Said;
use serde_json::Value as Json;
use want::{compare, hex, rows, text};

const N2K: &str = include_str!("golden/golden_n2k.jsonl");
const LINES: &str = include_str!("golden/golden_0183.jsonl");
const AIS: &str = include_str!("golden/golden_ais.jsonl");
const NET: &str = include_str!("golden/golden_net.jsonl");

/// Frames go through the assembler; what comes out is the payload that the other library read.
#[test]
fn nmea_2000() {
    let mut compared = 0;
    for row in rows(N2K) {
        let mut assembler = Assembler::new();
        let mut messages = Vec::new();
        for frame in row["frames"].as_array().unwrap() {
            let id = CanId::from_bits(u32::from_str_radix(text(&frame[0]), 16).unwrap());
            assembler.push(None, id, &hex(&frame[1]), &mut |m| messages.push((m.id, m.data.to_vec())));
        }
        let [(id, data)] = messages.as_slice() else { panic!("{row}: {} messages", messages.len()) };
        assert_eq!(
            (Some(u64::from(id.pgn)), Some(u64::from(id.source))),
            (row["pgn"].as_u64(), row["source"].as_u64())
        );
        assert_eq!(*data, hex(&row["data"]), "{row}");
        compared += compare(&row, &n2k_said(*id, data));
    }
    assert!(compared > 1000, "{compared} values");
}

fn n2k_said(id: CanId, data: &[u8]) -> Said {
    let mut said = Said::default();
    let mut readings = Vec::new();
    n2k::decode(id.pgn, data, &mut readings);
    readings.iter().for_each(|reading| said.reading(reading));
    if let Some(report) = n2k::ais_report(id.pgn, data) {
        said.ais_report(&report);
    }
    if id.pgn == 129_284 {
        said.place("destination-", n2k::destination(data));
    }
    if let Some(route) = (id.pgn == 129_285).then(|| n2k::route(data)).flatten() {
        said.text("route", Some(route.name));
        said.number("waypoints", Some(route.waypoints.len() as u64));
        for (n, waypoint) in route.waypoints.into_iter().enumerate() {
            said.number(&format!("waypoint-{n}-id"), waypoint.id);
            said.text(&format!("waypoint-{n}-name"), Some(waypoint.name));
            said.place(&format!("waypoint-{n}-"), waypoint.at);
        }
    }
    match n2k::network(id, data) {
        Some(NetworkMessage::Claim { name, .. }) => {
            said.number("unique", Some(name.unique_number()));
            said.number("manufacturer", Some(name.manufacturer()));
            said.number("instance", Some(name.instance()));
            said.number("function", Some(name.function()));
            said.number("class", Some(name.class()));
            said.number("industry", Some(name.industry_group()));
            said.number("system", Some(name.system_instance()));
        }
        Some(NetworkMessage::Request { pgn }) => said.number("pgn", Some(pgn)),
        Some(NetworkMessage::Product(p)) => {
            said.number("database", p.database_version);
            said.number("product", p.product_code);
            said.number("level", p.certification_level);
            said.number("load", p.load_equivalency);
            for (key, value) in
                [("model", p.model), ("software", p.software), ("version", p.version), ("serial", p.serial)]
            {
                said.text(key, Some(value));
            }
        }
        Some(NetworkMessage::Configuration(c)) => {
            said.text("description-1", Some(c.description_1));
            said.text("description-2", Some(c.description_2));
            said.text("maker", Some(c.manufacturer));
        }
        _ => {}
    }
    said
}

#[test]
fn nmea_0183() {
    let mut compared = 0;
    for row in rows(LINES) {
        let sentence = Sentence::parse(text(&row["line"]).as_bytes()).unwrap();
        assert_eq!(sentence.checksum(), Checksum::Good, "{row}");
        let (mut said, mut readings) = (Said::default(), Vec::new());
        nmea0183::decode(&sentence, &mut readings);
        readings.iter().for_each(|reading| said.reading(reading));
        compared += compare(&row, &said);
    }
    assert!(compared > 150, "{compared} values");
}

#[test]
fn ais_by_radio() {
    let mut compared = 0;
    for row in rows(AIS) {
        let mut assembler = ais::Assembler::default();
        let mut message = None;
        for line in row["lines"].as_array().unwrap() {
            assert!(message.is_none(), "{row}");
            message = assembler.push(&Sentence::parse(text(line).as_bytes()).unwrap()).unwrap();
        }
        compared += compare(&row, &ais_said(&message.unwrap()));
    }
    assert!(compared > 200, "{compared} values");
}

fn ais_said(message: &ais::AisMessage) -> Said {
    let mut said = Said::default();
    said.number("kind", Some(message.kind));
    said.number("mmsi", Some(message.mmsi));
    said.is("own", message.own);
    if let Some(p) = message.position {
        said.place("", p.at);
        said.value("speed", p.speed_kn);
        said.value("course", p.course_deg);
        said.value("heading", p.heading_deg);
        said.value("turn", p.rate_of_turn_deg_per_min);
        said.number("second", p.second);
        said.number("status", p.status);
    }
    if let Some(base) = message.base {
        said.place("", base.at);
        said.value(
            "of-day",
            base.of_day_us.map(|us| us as f64 / 1e6).ok_or(leadsman::messages::Absent::Missing),
        );
        // One day is in the inputs.
        let date = (base.days == days_from_civil(2026, 5, 9)).then(|| String::from("2026-05-09"));
        said.text("date", date);
    }
    if let Some(identity) = &message.identity {
        said.text("name", identity.name.clone());
        said.text("call-sign", identity.call_sign.clone());
        said.text("destination", identity.destination.clone());
        said.number("imo", identity.imo);
        said.number("ship-type", identity.ship_type);
        said.value(
            "draught",
            identity
                .draught_dm
                .map(|dm| f64::from(dm) / 10.0)
                .ok_or(leadsman::messages::Absent::NotAvailable),
        );
        said.push("dimensions", Json::from(identity.dimensions_m.map(|sides| sides.to_vec())));
    }
    said
}

#[test]
fn packets() {
    let mut compared = 0;
    for row in rows(NET) {
        let frame = hex(&row["frame"]);
        let packet = parse(LinkType::Ethernet, &frame, frame.len() as u32);
        let mut said = Said::default();
        said.text("source", packet.source.map(|mac| mac.to_string()));
        said.text("destination", packet.destination.map(|mac| mac.to_string()));
        said.number("vlan", packet.vlan);
        match packet.content {
            Content::Arp(arp) => arp_said(&arp, &mut said),
            Content::Ip(ip) => ip_said(&ip, &frame, &mut said),
            Content::Malformed(malformed) => panic!("{row}: {malformed:?}"),
            _ => {}
        }
        compared += compare(&row, &said);
    }
    assert!(compared > 300, "{compared} values");
}

fn arp_said(arp: &Arp, said: &mut Said) {
    said.number("operation", Some(arp.operation));
    said.text("sender-mac", Some(arp.sender_mac.to_string()));
    said.text("sender-ip", Some(arp.sender_ip.to_string()));
    said.text("target-mac", Some(arp.target_mac.to_string()));
    said.text("target-ip", Some(arp.target_ip.to_string()));
}

fn ip_said(ip: &Ip<'_>, bytes: &[u8], said: &mut Said) {
    if ip.source.is_ipv4() {
        let payload = ip.payload.as_ptr() as usize - bytes.as_ptr() as usize;
        let mut headers = (20..=payload.min(60)).step_by(4).map(|len| &bytes[payload - len..payload]);
        let header = headers.find(|header| usize::from(header[0]) == 0x40 + header.len() / 4).unwrap();
        assert!(ipv4_header_is_sound(header));
    }
    said.text("ip-source", Some(ip.source.to_string()));
    said.text("ip-destination", Some(ip.destination.to_string()));
    said.number("protocol", Some(ip.protocol));
    said.number("hops", Some(ip.hop_limit));
    said.number("id", ip.id);
    said.is("dont-fragment", ip.dont_fragment);
    match ip.transport() {
        Transport::Udp(Udp { source_port, destination_port, payload, .. }) => {
            ports_said(source_port, destination_port, payload, said);
        }
        Transport::Tcp(Tcp {
            source_port,
            destination_port,
            sequence,
            acknowledgment,
            flags,
            window,
            payload,
            ..
        }) => {
            ports_said(source_port, destination_port, payload, said);
            said.number("sequence", Some(sequence));
            said.number("acknowledgment", Some(acknowledgment));
            said.number("flags", Some(flags.0));
            said.number("window", Some(window));
        }
        _ => {}
    }
}

fn ports_said(source: u16, destination: u16, payload: &[u8], said: &mut Said) {
    said.number("source-port", Some(source));
    said.number("destination-port", Some(destination));
    said.text("payload", Some(payload.iter().map(|byte| format!("{byte:02x}")).collect()));
}
