//! Whole messages that other decoders made (`tests/golden`): readings stay, places move, all by the same distance.

use leadsman::messages::nmea0183::{self, Checksum, Sentence};
use leadsman::messages::{Reading, n2k};
use leadsman::scrub::content::{Content, ContentOptions, Key};
use leadsman::time::{DAY_US, Time};
use leadsman::units::{Place, wrap_180};
use serde_json::Value as Json;

/// 2026-05-09, the day of the demo boat.
pub(crate) const DAY: Time = Time(20_582 * DAY_US);

pub(crate) fn content(key: u8) -> Content {
    Content::new(Key([key; 32]), ContentOptions::default())
}

pub(crate) fn rows(text: &str) -> Vec<Json> {
    let rows: Vec<Json> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert!(rows.len() > 10);
    rows
}

fn hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2).map(|n| u8::from_str_radix(&text[2 * n..2 * n + 2], 16).unwrap()).collect()
}

/// The text of a reading that a copy keeps, and its place if it has one.
fn split(reading: &Reading) -> (String, Option<Place>) {
    match reading {
        Reading::Position { at: Ok(at), satellites, hdop } => {
            (format!("position {satellites:?} {hdop:?}"), Some(*at))
        }
        Reading::Other { quantity, value: Ok(_), .. }
            if matches!(
                *quantity,
                "altitude" | "local-time-offset" | "datum-latitude-offset" | "datum-longitude-offset"
            ) =>
        {
            ((*quantity).to_owned(), None)
        }
        other => (format!("{other:?}"), None),
    }
}

/// Without what is no anchor: the poles, and 0 N 0 E for "no fix".
fn retain_waters(places: &mut Vec<(Place, Place)>) {
    places.retain(|(old, _)| old.lat_deg.abs() < 85.0 && (old.lat_deg != 0.0 || old.lon_deg != 0.0));
}

/// Every two places are as far apart as before, and in the same direction from the first one.
fn same_shape(places: &[(Place, Place)]) {
    assert!(places.len() > 3);
    let (first, first_new) = places[0];
    for (old, new) in places {
        let ((before, from), (after, to)) = (first.to(*old), first_new.to(*new));
        // The coarsest encoding here writes 0.1 minutes, 185 m.
        assert!((before - after).abs() < 300.0, "{before} m became {after} m");
        assert!(before < 1e6 || wrap_180(from - to).abs() < 0.1, "{from} became {to}");
        assert!(old.to(*new).0 > 1e5, "{old:?} did not move");
    }
}

#[test]
fn n2k_readings_stay_and_places_move_together() {
    let mut content = content(1);
    let mut places = Vec::new();
    for row in rows(include_str!("../golden/golden_n2k.jsonl")) {
        let pgn = row["pgn"].as_u64().unwrap() as u32;
        let old = hex(row["data"].as_str().unwrap());
        let mut new = old.clone();
        content.n2k(pgn, 1, Some(DAY), &mut new);
        let [mut before, mut after] = [Vec::new(), Vec::new()];
        n2k::decode(pgn, &old, &mut before);
        n2k::decode(pgn, &new, &mut after);
        let [before, after] = [before, after].map(|r| r.iter().map(split).collect::<Vec<_>>());
        assert_eq!(before.len(), after.len(), "{row}");
        for ((said, old), (said_new, new)) in before.into_iter().zip(after) {
            assert_eq!(said, said_new, "{row}");
            places.extend(old.zip(new));
        }
        if let (Some(a), Some(b)) = (n2k::ais_report(pgn, &old), n2k::ais_report(pgn, &new)) {
            let moving = |r: &n2k::AisReport| {
                format!(
                    "{:?}",
                    (
                        r.message,
                        r.own,
                        &r.course_deg,
                        &r.speed_kn,
                        &r.heading_deg,
                        &r.rate_of_turn_deg_per_min,
                        r.ship_type
                    )
                )
            };
            assert_eq!(moving(&a), moving(&b), "{row}");
            for (old, new) in [
                (&a.name, &b.name),
                (&a.call_sign, &b.call_sign),
                (&a.destination, &b.destination),
                (&a.vendor, &b.vendor),
            ] {
                let empty = old.as_deref().unwrap_or_default().is_empty();
                assert!(
                    empty == new.as_deref().unwrap_or_default().is_empty() && (empty || old != new),
                    "{row}"
                );
            }
            assert!(a.mmsi.is_none_or(|mmsi| mmsi == 0 || a.mmsi != b.mmsi), "{row}");
            assert_eq!(
                (a.mmsi.is_some(), a.imo.is_some(), a.mothership.is_some()),
                (b.mmsi.is_some(), b.imo.is_some(), b.mothership.is_some())
            );
            assert_eq!(a.place.map(|p| p.err()), b.place.map(|p| p.err()), "{row}");
            places.extend(a.place.and_then(Result::ok).zip(b.place.and_then(Result::ok)));
        }
        if pgn == 129_284 {
            assert_eq!(n2k::destination(&old).err(), n2k::destination(&new).err());
            places.extend(n2k::destination(&old).ok().zip(n2k::destination(&new).ok()));
        }
        if let (Some(a), Some(b)) = ((pgn == 129_285).then(|| n2k::route(&old)).flatten(), n2k::route(&new)) {
            assert_eq!(a.waypoints.len(), b.waypoints.len(), "{row}");
            assert!(a.name.is_empty() || a.name != b.name);
            for (a, b) in a.waypoints.iter().zip(&b.waypoints) {
                assert_eq!((a.id, a.at.err()), (b.id, b.at.err()));
                assert!(a.name.is_empty() || a.name != b.name);
                places.extend(a.at.ok().zip(b.at.ok()));
            }
        }
    }
    retain_waters(&mut places);
    same_shape(&places);
}

#[test]
fn sentence_readings_stay_and_places_move_together() {
    let mut content = content(2);
    let mut places = Vec::new();
    for row in rows(include_str!("../golden/golden_0183.jsonl")) {
        let old = row["line"].as_str().unwrap().as_bytes();
        let mut new = old.to_vec();
        content.sentence(Some(DAY), &mut new);
        let [a, b] = [old, new.as_slice()].map(|line| Sentence::parse(line).unwrap());
        assert_eq!(a.checksum(), b.checksum(), "{row}");
        assert_ne!(a.checksum(), Checksum::Absent);
        assert_eq!((a.name(), a.field_count()), (b.name(), b.field_count()));
        let [mut before, mut after] = [Vec::new(), Vec::new()];
        nmea0183::decode(&a, &mut before);
        nmea0183::decode(&b, &mut after);
        let [before, after] = [before, after].map(|r| r.iter().map(split).collect::<Vec<_>>());
        assert_eq!(before.len(), after.len(), "{row}");
        for ((said, old), (said_new, new)) in before.into_iter().zip(after) {
            assert_eq!(said, said_new, "{row} became {}", String::from_utf8_lossy(b.name().as_bytes()));
            places.extend(old.zip(new));
        }
    }
    retain_waters(&mut places);
    same_shape(&places);
}

/// Dates go with the recording's own shift, by whole weeks; the time of day stays.
#[test]
fn dates_are_shifted_by_weeks() {
    let mut content =
        Content::new(Key([4; 32]), ContentOptions { shift_weeks: -3, ..ContentOptions::default() });
    assert_eq!(content.time_shift_us(), -21 * DAY_US);
    let mut line = b"$GPRMC,063000.00,A,3023.9997,S,02435.9998,W,0.2,115.8,090526,24.3,W,A*12".to_vec();
    content.sentence(Some(DAY), &mut line);
    let line = String::from_utf8(line).unwrap();
    assert!(line.starts_with("$GPRMC,063000.00,A,") && line.contains(",180426,24.3,W,A*"), "{line}");
    let mut line = b"$GPZDA,063000.00,05,01,2026,-02,00".to_vec();
    content.sentence(Some(DAY), &mut line);
    assert_eq!(line, b"$GPZDA,063000.00,15,12,2025,000,00");
    for (pgn, at) in [(126_992, 2), (129_033, 0), (128_275, 0)] {
        let mut message = vec![0; 14];
        message[at..at + 2].copy_from_slice(&20_582_u16.to_le_bytes());
        content.n2k(pgn, 1, Some(DAY), &mut message);
        assert_eq!(message[at..at + 2], 20_561_u16.to_le_bytes(), "{pgn}");
    }
    let mut none = [0xFF; 8];
    content.n2k(126_992, 1, Some(DAY), &mut none);
    assert_eq!(none, [0xFF; 8]);
}

/// The lengths, azimuths and declinations of other libraries (PyPI geographiclib 2.1; pygeomag 1.1.0 with WMM2025,
/// 2026-05-09), for three places and where one key moves them.
#[test]
fn other_libraries_see_the_same_shape_and_variation() {
    let mut content = content(1);
    let moved = [(543_233_000, 101_394_000), (544_233_000, 105_394_000), (540_000_000, 95_000_000)].map(
        |at: (i32, i32)| {
            let mut message = [at.0.to_le_bytes(), at.1.to_le_bytes()].concat();
            content.n2k(129_025, 1, Some(DAY), &mut message);
            let (lat, lon) = message.split_at(4);
            [lat, lon].map(|raw| i32::from_le_bytes(raw.try_into().unwrap()))
        },
    );
    assert_eq!(
        moved,
        [[556_836_418, -993_863_029], [557_835_850, -989_724_826], [553_603_271, -1_000_474_450]]
    );
    let at = moved.map(|[lat, lon]| Place::new(f64::from(lat) / 1e7, f64::from(lon) / 1e7).unwrap());
    // Before: 28277.983, 55130.610 and 82573.789 m; 66.6567, -130.4885 and -124.3694 degrees.
    for (from, to, metres, azimuth) in
        [(0, 1, 28_277.978, 66.6567), (0, 2, 55_130.607, -130.4885), (1, 2, 82_573.782, -124.3526)]
    {
        let (got, towards) = at[from].to(at[to]);
        assert!((got - metres).abs() < 0.001 && wrap_180(towards - azimuth).abs() < 1e-4, "{got} {towards}");
    }
    // Before: 4.3339 degrees.
    assert!((at[0].declination_deg(DAY).unwrap() - 4.3339).abs() < 0.01);
}

/// Sentences that a report reads by types of their own.
#[test]
fn targets_alerts_and_heartbeats_keep_their_numbers() {
    let mut content = content(1);
    let mut scrub = |line: &str| {
        let mut line = line.as_bytes().to_vec();
        content.sentence(Some(DAY), &mut line);
        line
    };
    let line = "$RATTM,11,11.4,13.6,T,7.0,20.0,T,0.1,-3.0,N,Gull,T,,063000.00,M";
    let new = scrub(line);
    let [a, b] =
        [line.as_bytes(), &new].map(|l| nmea0183::Target::read(&Sentence::parse(l).unwrap()).unwrap());
    assert!(a.name != b.name && a.name.len() == b.name.len());
    assert_eq!(nmea0183::Target { name: "", ..a }, nmea0183::Target { name: "", ..b });
    for line in ["$IIHBT,60.0,A,7", "$IIALC,01,01,00,2,,192,1,3,,194,,1"] {
        let new = scrub(line);
        let [a, b] =
            [line.as_bytes(), &new].map(|l| nmea0183::SystemMessage::read(&Sentence::parse(l).unwrap()));
        assert_eq!(format!("{a:?}"), format!("{b:?}"));
        assert_eq!(line.as_bytes(), new);
    }
    let line = "$VRALF,1,1,0,063000.00,B,W,V,ABC,192,1,3,0,Gull ashore";
    let new = scrub(line);
    let [a, b] =
        [line.as_bytes(), &new].map(|l| match nmea0183::SystemMessage::read(&Sentence::parse(l).unwrap()) {
            Some(nmea0183::SystemMessage::Alert(alert)) => {
                (alert.id, alert.instance, alert.active, alert.acknowledged)
            }
            other => panic!("{other:?}"),
        });
    assert_eq!(a, b);
    assert!(!String::from_utf8(new).unwrap().contains("ABC"));
    let mut new = scrub("$IISRP,,001BC5010203,192.168.1.7");
    new.retain(|b| !b.is_ascii_hexdigit());
    assert_eq!(new, b"$IISRP,,,xxxxxxxxxxx");
    assert_eq!(scrub("$GPDTM,W84,,0.0,N,0.0,E,0.0,W84"), b"$GPDTM,W84,,0.0,N,0.0,E,0.0,W84");
    let moved = b"$GPDTM,999,,0.0000,S,0.0000,W,000.0,W84";
    assert_eq!(
        scrub("$GPDTM,999,,0.0505,S,0.0634,W,-47.7,W84"),
        moved,
        "a datum of one place, by its numbers"
    );
    assert_eq!(scrub("$GPDTM,ABC,,0.08,N,0.07,E,-47.7,W84"), b"$GPDTM,xxx,,0.00,N,0.00,E,000.0,W84");
}
