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

/// A VDM of these numbers and widths; source of the layouts: ITU-R M.1371-5 annex 8.
fn vdm(numbers: &[(i64, usize)]) -> String {
    let mut bits: Vec<u8> = numbers
        .iter()
        .flat_map(|(value, width)| (0..*width).rev().map(move |n| (value >> n & 1) as u8))
        .collect();
    let fill = (6 - bits.len() % 6) % 6;
    bits.resize(bits.len() + fill, 0);
    let payload: String = bits
        .chunks(6)
        .map(|six| six.iter().fold(0, |all, bit| all << 1 | bit))
        .map(|six| char::from(if six < 40 { six + 48 } else { six + 56 }))
        .collect();
    format!("!AIVDM,1,1,,A,{payload},{fill}")
}

/// The number at these bits of a VDM's payload, signed.
fn bits(line: &[u8], at: usize, width: usize) -> i64 {
    let payload = line.split(|b| *b == b',').nth(5).unwrap();
    let bit = |n: usize| {
        let six = payload[n / 6];
        i64::from((if six < 96 { six - 48 } else { six - 56 }) >> (5 - n % 6) & 1)
    };
    (at + 1..at + width).fold(-bit(at), |all, n| all << 1 | bit(n))
}

/// Aircraft, aids to navigation and long-range reports are not decoded by a report, but their places move too.
#[test]
fn places_of_other_types_move_as_far() {
    let mut content = content(3);
    let head = |kind| [(kind, 6), (0, 2), (211_000_113, 30)];
    let (lon, lat) = (6_083_640, 32_593_980);
    let aircraft = vdm(&[
        &head(9)[..],
        &[(120, 12), (90, 10), (1, 1), (lon, 28), (lat, 27), (900, 12), (30, 6), (0, 34)],
    ]
    .concat());
    let name: Vec<(i64, usize)> = b"REEF LIGHT@@@@@@@@@@".iter().map(|b| (i64::from(b & 63), 6)).collect();
    let aid = vdm(&[
        &head(21)[..],
        &[(5, 5)],
        &name,
        &[(0, 1), (lon, 28), (lat, 27), (0, 30), (1, 4), (30, 6), (0, 14)],
    ]
    .concat());
    let long =
        vdm(&[&head(27)[..], &[(0, 2), (0, 4), (lon / 1000, 18), (lat / 1000, 17), (9, 6), (90, 9), (0, 2)]]
            .concat());
    for (line, at, widths, per_degree, name) in [
        (aircraft, 61, (28, 27), 600_000.0, None),
        (aid, 164, (28, 27), 600_000.0, Some(43)),
        (long, 44, (18, 17), 600.0, None),
    ] {
        let old = line.as_bytes();
        let mut new = old.to_vec();
        content.sentence(Some(DAY), &mut new);
        let place = |line: &[u8]| {
            let lon = bits(line, at, widths.0) as f64 / per_degree;
            leadsman::units::Place::new(bits(line, at + widths.0, widths.1) as f64 / per_degree, lon).unwrap()
        };
        assert!(place(old).to(place(new.as_slice())).0 > 1e5, "{line}");
        let anchor = content.anchor().unwrap();
        // All three lie at the anchor, as far as their steps tell.
        assert!(anchor.new.to(place(&new)).0 < 400.0, "{line}");
        assert_eq!(bits(old, 0, 8), bits(&new, 0, 8));
        assert_ne!(bits(old, 8, 30), bits(&new, 8, 30));
        if let Some(name) = name {
            assert_ne!(bits(old, name, 60), bits(&new, name, 60));
        }
    }
    // "Not available" stays.
    let mut none =
        vdm(&[&head(27)[..], &[(0, 6), (108_600, 18), (54_600, 17), (63, 6), (511, 9), (0, 2)]].concat())
            .into_bytes();
    content.sentence(Some(DAY), &mut none);
    assert_eq!((bits(&none, 44, 18), bits(&none, 62, 17)), (108_600, 54_600));
}
