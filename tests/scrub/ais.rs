//! AIS payloads: what a decoder reads before and after.

use crate::messages::{DAY, content, rows};
use leadsman::messages::nmea0183::{
    Sentence,
    ais::{AisMessage, Assembler},
};

fn read(lines: &[Vec<u8>]) -> AisMessage {
    let mut assembler = Assembler::default();
    lines.iter().filter_map(|line| assembler.push(&Sentence::parse(line).unwrap()).unwrap()).last().unwrap()
}

#[test]
fn movement_stays_and_identities_go() {
    let mut content = content(3);
    let mut fragments = 0;
    for row in rows(include_str!("../golden/golden_ais.jsonl")) {
        let old: Vec<Vec<u8>> = row["lines"]
            .as_array()
            .unwrap()
            .iter()
            .map(|l| l.as_str().unwrap().as_bytes().to_vec())
            .collect();
        let mut new = old.clone();
        new.iter_mut().for_each(|line| content.sentence(Some(DAY), line));
        fragments += usize::from(old.len() > 1);
        let (a, b) = (read(&old), read(&new));
        assert_eq!((a.kind, a.own), (b.kind, b.own));
        assert!(a.mmsi != b.mmsi && (a.mmsi / 100_000_000 > 0) == (b.mmsi / 100_000_000 > 0), "{row}");
        let (place, place_new) = (a.position.map(|p| p.at), b.position.map(|p| p.at));
        assert_eq!(place.map(Result::err), place_new.map(Result::err), "{row}");
        if let (Some(Ok(old)), Some(Ok(new))) = (place, place_new) {
            assert!(old.to(new).0 > 1e5, "{row}");
        }
        let moving = |m: &AisMessage| {
            let p = m.position?;
            Some(format!(
                "{:?}",
                (
                    p.class_a,
                    p.status,
                    p.rate_of_turn_deg_per_min,
                    p.speed_kn,
                    p.course_deg,
                    p.heading_deg,
                    p.second
                )
            ))
        };
        assert_eq!(moving(&a), moving(&b), "{row}");
        assert_eq!(a.base.map(|b| (b.days, b.of_day_us)), b.base.map(|b| (b.days, b.of_day_us)));
        let (Some(a), Some(b)) = (a.identity, b.identity) else { continue };
        assert_eq!(a.ship_type, b.ship_type);
        for (old, new) in [(&a.name, &b.name), (&a.call_sign, &b.call_sign)] {
            assert!(old.is_some() == new.is_some() && (old.is_none() || old != new), "{row}");
        }
        assert!(a.imo.is_none() || a.imo != b.imo);
        assert!(a.destination.is_none() || a.destination != b.destination);
        assert!(b.dimensions_m.is_none_or(|d| d == [0; 4]) && b.draught_dm.is_none());
    }
    assert!(fragments > 1);
}

/// The same vessel on the bus and on the line is the same vessel still.
#[test]
fn names_and_numbers_agree_between_bus_and_line() {
    let mut content = content(3);
    let mut line = b"!AIVDM,1,1,,B,H39>K<@hUA@hF1@E8p0000000000,0*00".to_vec();
    content.sentence(Some(DAY), &mut line);
    let line = read(&[line]);
    let mut bus = vec![24];
    bus.extend(211_000_113_u32.to_le_bytes());
    bus.extend(b"Little Tern\0\0\0\0\0\0\0\0\0");
    bus.push(0xE0);
    content.n2k(129_809, 1, Some(DAY), &mut bus);
    let bus = leadsman::messages::n2k::ais_report(129_809, &bus).unwrap();
    assert_eq!(Some(line.mmsi), bus.mmsi);
    assert_eq!(line.identity.unwrap().name, bus.name);
}

#[test]
fn fragments_without_forerunner_and_damaged_armour_say_nothing() {
    let mut content = content(3);
    let mut scrub = |line: &str| {
        let mut line = line.as_bytes().to_vec();
        content.sentence(Some(DAY), &mut line);
        String::from_utf8(line).unwrap()
    };
    assert!(scrub("!AIVDM,2,2,1,A,88888888880,2*25").starts_with("!AIVDM,2,2,1,A,00000000000,2*"));
    assert!(
        scrub("!AIVDM,1,1,,A,15RTgt0PAso;90TKcjM8h6g208CX,0").ends_with(",xxxxxxxxxxxxxxxxxxxxxxxxxxxx,0")
    );
    let other = scrub("!AIVDM,1,1,,A,83aDCr@j2P000000029P?m1R00e0,0");
    let payload = other.split(',').nth(5).unwrap();
    assert!(payload.starts_with('8') && payload[7..].bytes().all(|b| b == b'0'), "binary data: {other}");
}
