//! Tests of whole messages: what moves, what stays, and that nothing else is left.

use super::*;
use crate::frames::looks_like_lines;
use crate::messages::nmea0183::{self, Checksum, SENTENCES, Sentence};
use crate::messages::{Absent, Reading, n2k};
use proptest::prelude::*;

/// 2026-05-09, a day of the World Magnetic Model 2025.
const DAY: Time = Time(20_582 * DAY_US);

fn content(key: u8) -> Content {
    Content::new(Key([key; 32]), ContentOptions::default())
}

fn n2k_of(content: &mut Content, pgn: u32, message: &[u8]) -> Vec<u8> {
    let mut new = message.to_vec();
    content.n2k(pgn, 1, Some(DAY), &mut new);
    assert_eq!(new.len(), message.len());
    new
}

fn line_of(content: &mut Content, line: &str) -> String {
    let mut new = line.as_bytes().to_vec();
    content.sentence(Some(DAY), &mut new);
    assert_eq!(new.len(), line.len());
    String::from_utf8(new).unwrap()
}

fn readings_n2k(pgn: u32, message: &[u8]) -> Vec<Reading> {
    let mut out = Vec::new();
    n2k::decode(pgn, message, &mut out);
    out
}

fn readings_line(line: &[u8]) -> Vec<Reading> {
    let mut out = Vec::new();
    if let Ok(sentence) = Sentence::parse(line)
        && !matches!(sentence.checksum(), Checksum::Bad { .. })
    {
        nmea0183::decode(&sentence, &mut out);
    }
    out
}

/// A reading without what a copy changes on purpose: where a place is, and what tells it.
fn without_place(reading: &Reading) -> String {
    match reading {
        Reading::Position { at: Ok(_), satellites, hdop } => format!("position {satellites:?} {hdop:?}"),
        // Half a place is blanked: that it is none, is then told for another reason.
        Reading::Position { at: Err(absent), satellites, hdop } if *absent != Absent::NotAvailable => {
            format!("no position {satellites:?} {hdop:?}")
        }
        Reading::Other { quantity, value: Ok(_), .. }
            if matches!(
                *quantity,
                "altitude" | "local-time-offset" | "datum-latitude-offset" | "datum-longitude-offset"
            ) =>
        {
            (*quantity).to_owned()
        }
        // NaN is not equal to itself, its text is.
        other => format!("{other:?}"),
    }
}

fn same_but_for_places(before: &[Reading], after: &[Reading]) -> Result<(), TestCaseError> {
    let [before_text, after_text] = [before, after].map(|r| r.iter().map(without_place).collect::<Vec<_>>());
    prop_assert_eq!(before_text, after_text);
    for (a, b) in before.iter().zip(after) {
        if let (Reading::Position { at: Ok(a), .. }, Reading::Position { at: Ok(b), .. }) = (a, b) {
            // Around a pole all longitudes are near each other; no boat fishes there.
            let polar = a.lat_deg.abs() > 88.0;
            let far_m = if a.lat_deg.abs() > 80.0 { 1e4 } else { 1e5 };
            prop_assert!(
                polar || *a == *b && a.lat_deg == 0.0 || a.to(*b).0 > far_m,
                "{a:?} did not move: {b:?}"
            );
        }
    }
    Ok(())
}

proptest! {
    /// Any bytes: what the decoder reads of them is the same before and after, places apart.
    #[test]
    fn n2k_readings_stay(pgn in prop::sample::select(n2k::PGNS), message in prop_oneof![prop::collection::vec(any::<u8>(), 0..80), prop::collection::vec(any::<u8>(), 200..600)]) {
        let new = n2k_of(&mut content(1), pgn.pgn, &message);
        same_but_for_places(&readings_n2k(pgn.pgn, &message), &readings_n2k(pgn.pgn, &new))?;
    }

    #[test]
    fn sentence_readings_stay(
        which in prop::sample::select(SENTENCES),
        fields in prop::collection::vec("|[ANSEWMTKVRL]|-?[0-9]{1,3}(\\.[0-9]{1,3})?|[0-5][0-9]{3}\\.[0-9]{3}|[0-9]{6}|BARO|PITCH", 0..20),
    ) {
        // Without a checksum, one of an odd shape is blanked.
        let line = format!("II{},{}", which.formatter, fields.join(","));
        let line = format!("${line}*{:02X}", line.bytes().fold(0, |sum, byte| sum ^ byte));
        let new = line_of(&mut content(1), &line);
        same_but_for_places(&readings_line(line.as_bytes()), &readings_line(new.as_bytes()))?;
        prop_assert_eq!(Sentence::parse(line.as_bytes()).map(|s| s.field_count()), Sentence::parse(new.as_bytes()).map(|s| s.field_count()));
    }

    /// Any line: as long, as whole or as broken, and broken for the same reason where that can be.
    #[test]
    fn any_line_stays_what_it_is(line in prop::collection::vec(prop_oneof![8 => 0x20_u8..0x7F, 1 => any::<u8>(), 4 => prop::sample::select(&b"$!*,\\0123ABDPVM"[..])], 0..90), start in prop::sample::select(&["", "$", "!AIVDM,1,1,,A,", "$GPRMC,", "$PABC,", "$CCGPQ,"][..]), sum in "|\\*[0-9A-Fa-f]{2}") {
        let line = [start.as_bytes(), &line, sum.as_bytes()].concat();
        let mut new = line.clone();
        content(2).sentence(Some(DAY), &mut new);
        prop_assert_eq!(new.len(), line.len());
        match (Sentence::parse(&line), Sentence::parse(&new)) {
            (Ok(a), Ok(b)) if a.tag().is_none() => {
                prop_assert_eq!(std::mem::discriminant(&a.checksum()), std::mem::discriminant(&b.checksum()));
                prop_assert_eq!(a.field_count(), b.field_count());
            }
            (Ok(a), other) => prop_assert!(a.tag().is_some(), "{:?} of {}", other, String::from_utf8_lossy(&new)),
            (Err(a), Err(b)) => prop_assert_eq!(a.is_garbled(), b.is_garbled()),
            (Err(a), Ok(_)) => prop_assert!(false, "{a:?} became {}", String::from_utf8_lossy(&new)),
        }
        // A datagram is lines by its first one. Of a few bytes a single one that is no character is too many; NULs are put
        // back by the caller.
        let begins = matches!(line.trim_ascii_start(), [b'$' | b'!', ..]);
        if begins && line.len() >= 16 && !line.contains(&0) && looks_like_lines(&line) {
            prop_assert!(looks_like_lines(&new), "{} is no line", String::from_utf8_lossy(&new));
        }
    }

    /// Tracks within 50 km of the anchor keep distances (to twice the step of 1e-7 degrees, 11 mm) and directions.
    /// The ellipsoid's curvature differs by under 1 % between the latitudes: 2 mm in 50 km.
    #[test]
    fn tracks_keep_their_shape(
        lat in -70.0_f64..70.0, lon in -180.0_f64..180.0, key: u8,
        points in prop::collection::vec((0.0_f64..360.0, 0.0_f64..50_000.0), 2..6),
    ) {
        use geographiclib_rs::{DirectGeodesic, Geodesic};
        let raw = |deg: f64| (deg * 1e7).round() as i32;
        let message = |at: Place| [raw(at.lat_deg).to_le_bytes(), raw(at.lon_deg).to_le_bytes()].concat();
        let place = |message: &[u8]| match readings_n2k(129_025, message)[..] {
            [Reading::Position { at: Ok(at), .. }] => at,
            ref other => panic!("{other:?}"),
        };
        let mut content = content(key);
        let start = Place::new(lat, lon).unwrap();
        let mut track = vec![start];
        for (azimuth, metres) in points {
            let (lat, lon) = Geodesic::wgs84().direct(start.lat_deg, start.lon_deg, azimuth, metres);
            track.push(Place::new(lat, lon).unwrap());
        }
        let track: Vec<(Place, Place)> = track
            .into_iter()
            .map(|at| (place(&message(at)), place(&n2k_of(&mut content, 129_025, &message(at)))))
            .collect();
        for (a, a_new) in &track {
            for (b, b_new) in &track {
                let ((before, from), (after, to)) = (a.to(*b), a_new.to(*b_new));
                prop_assert!((before - after).abs() < 0.022, "{before} m became {after} m");
                if before > 500.0 {
                    prop_assert!(crate::units::wrap_180(from - to).abs() < 0.05, "{from} became {to}");
                }
            }
            let ((_, from), (_, to)) = (track[0].0.to(*a), track[0].1.to(*a_new));
            if track[0].0.to(*a).0 > 500.0 {
                prop_assert!(crate::units::wrap_180(from - to).abs() < 0.05, "{from} became {to}");
            }
        }
    }
}

/// The compass points the same way at the new anchor, it lies far away, and at a similar latitude.
#[test]
fn the_anchor_lies_elsewhere_on_the_same_variation() {
    for (lat, lon) in [
        (54.32, 10.14),
        (-33.9, 151.2),
        (0.5, -90.0),
        (41.5, -71.3),
        (60.2, 24.9),
        (25.7, -80.2),
        (-17.0, 179.99),
    ] {
        for key in 0..4 {
            let mut content = content(key);
            let old = Place::new(lat, lon).unwrap();
            let new = content.moved(Some(DAY), old);
            let (before, after) = (old.declination_deg(DAY).unwrap(), new.declination_deg(DAY).unwrap());
            assert!((before - after).abs() < 0.05, "{old:?} {before}, {new:?} {after}");
            assert!(crate::units::wrap_180(old.lon_deg - new.lon_deg).abs() >= 3.0);
            let change = old.lat_deg.to_radians().tan() - new.lat_deg.to_radians().tan();
            assert!((0.0499..0.1001).contains(&change.abs()), "{change}");
            assert_eq!(content.anchor(), Anchor::from_bytes(content.anchor().unwrap().to_bytes()));
        }
    }
}

/// A coordinate that slid into another field, in the waters that a whole sentence told.
#[test]
fn no_coordinate_is_left_where_bytes_were_lost() {
    let sealed = |body: &str| format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte));
    let whole = "$GPGLL,3024.1234,S,02436.5678,W,063000.00,A,A";
    let bare = [
        "$GPRMC,062436.5678,W,6.1,123.4,150926,15.4,E,A",
        "$GPGGA,2436.5678,W,1,09,0.9,12.3,M,-17.5,M,,",
        "$GPGLL,3024.1234,S,02436.5678,W,024.1234,S,02436.5678,W,1,09,0.9",
    ];
    let merged = [
        "GPGGA,063000.00,,,3024.1234,S,02436.5678,W,1,09,0.9",
        "GPXTE,A,A,3024.12,R,N",
        "IIMWV,3024.1,R,02436.5,N,A",
        "IIVHW,3024.1,T,02436.5,M,3024.1,N,,",
        "GPZDA,3024.12,15,09,2026",
        "GPGSA,A,3,,,,,,,,,,,,,3024.12,2436.57,1.8",
        "RATTM,01,3024.12,045.1,R,5.1,120.3,R,0.2,12.3,N,T,T",
        "GPRMB,A,3024.55,L,A,B,3024.55,S,02436.44,W,02436.44,078.9,5.4,V,A",
        "IIXDR,A,30.402,D,LATITUDE,A,-24.61,D,X1",
    ];
    for line in bare.map(str::to_owned).into_iter().chain(merged.map(sealed)) {
        let mut content = content(3);
        line_of(&mut content, whole);
        let new = line_of(&mut content, &line);
        for secret in ["024.1", "3024.", "2436.", "436.5", "30.40", "24.61"] {
            assert!(!new.contains(secret), "{line} became {new}");
        }
        assert_eq!(
            Sentence::parse(line.as_bytes()).unwrap().name(),
            Sentence::parse(new.as_bytes()).unwrap().name()
        );
    }
    // What is as it should be stays, at the edges of what can be.
    for line in ["$IIMWV,360.0,R,12.3,N,A", "$IIXDR,A,-24.61,D,PITCH,P,1.01325,B,BARO", "$SDDPT,1024.5,0.4,"]
    {
        let mut content = content(3);
        line_of(&mut content, whole);
        assert_eq!(line_of(&mut content, line), line);
    }
}
