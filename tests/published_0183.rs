//! Published and constructed NMEA 0183 sentences with what they say.
//!
//! Sources, by mark: P the test suite of PyPI pynmea2 1.19.0, C the tests of crate nmea 0.8.0, Y PyPI pyais 3.3.1,
//! W widely published examples. The constructed ones were read with pynmea2 1.19.0, unless marked M (from the field
//! tables of IEC 61162-1 alone).

#![allow(clippy::unwrap_used, reason = "a test that cannot read its example has failed")]

use leadsman::messages::nmea0183::ais::{AisFault, AisMessage, Assembler};
use leadsman::messages::nmea0183::{
    Checksum, Datum, Group, Heartbeat, Sentence, SystemMessage, TagBlock, Target, decode,
};
use leadsman::messages::{Absent, Reading, Value};
use leadsman::time::Time;

#[path = "../src/messages/nmea0183/shown.rs"]
mod shown;
use shown::shown;

/// Days since 1970 of the dates below: 1994-11-19 is 9088, 1994-03-23 8847, 2004-03-11 12488.
const PUBLISHED: &[(&str, &str)] = &[
    // 1, P
    (
        "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
        "position -19.4840833 24.1751 satellites 4 hdop 2.6; clock - 67433.07",
    ),
    // 2, 3, P C
    (
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
        "position 48.1173 11.5166667 satellites 8 hdop 0.9; clock - 45319",
    ),
    ("$GPGGA,,,,,,0,,,,,,,,*66", "position !; clock - -"),
    // 4 to 7, P C
    (
        "$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*2B",
        "position 49.2741667 -123.1853333; course 54.7 true speed 0.5; clock 9088 82486.33; variation 20.3",
    ),
    (
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
        "position 49.2741667 -123.1853333; course 54.7 true speed 0.5; clock 9088 82486; variation 20.3",
    ),
    (
        "$GPRMC,123519.00,A,4807.038,N,01131.000,E,,,230394,,,N,V*2B",
        "position 48.1173 11.5166667; course - true speed -; clock 8847 45319",
    ),
    ("$GPRMC,,V,,,,,,,,,,N*53", "position !; course ! true speed !; clock - -"),
    // 8 to 10, P C
    ("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D", "position 49.2741667 -123.1853333; clock - 82484"),
    (
        "$GPGLL,5107.0013414,N,11402.3279144,W,205412.00,A,A*73",
        "position 51.116689 -114.0387986; clock - 75252",
    ),
    ("$GNGLL,,,,,181604.00,V,N*5E", "position !; clock - 65764"),
    // 11, 12, P C
    (
        "$GNGNS,090310.00,4806.891632,N,01134.134167,E,AAN,10,1.0,532.4,47.0,,,V*68",
        "position 48.1148605 11.5689028 satellites 10 hdop 1; clock - 32590",
    ),
    (
        "$GPGNS,224749.00,3333.4268304,N,11153.3538273,W,D,19,0.6,406.110,-26.294,6.0,0138,S,*46",
        "position 33.5571138 -111.8892305 satellites 19 hdop 0.6; clock - 82069",
    ),
    // 13 to 15, P C
    ("$GPGSA,A,3,,,,,,16,18,,22,24,,,3.6,2.1,2.2*3C", "fix true satellites 4 hdop 2.1"),
    ("$GNGSA,A,3,23,02,27,10,08,,,,,,,,3.45,1.87,2.89,1*01", "fix true satellites - hdop 1.87"),
    ("$GNGSA,A,1,,,,,,,,,,,,,99.99,99.99,99.99*2E", "fix false satellites - hdop -"),
    // 16 P C, 17 C (second of its group), 18 P C
    ("$GPGSV,3,1,12,01,49,196,41,03,71,278,32,06,02,323,27,11,21,196,39*72", "satellites-in-view 12 count"),
    ("$GLGSV,2,2,08,66,38,300,,75,75,330,,83,16,015,,67,08,348,*6B", ""),
    // hypot(0.023, 0.020)
    ("$GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031*6A", "position-deviation 0.0304795 m"),
    // 19 to 22, P C
    ("$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K*43", "course 0 true speed 0"),
    ("$GPVTG,108.53,T,,M,0.04,N,0.07,K,A*31", "course 108.53 true speed 0.04"),
    ("$GPVTG,,T,,M,,N,,K,N*2C", "course ! true speed !"),
    ("$GPZDA,160012.71,11,03,2004,-1,00*7D", "clock 12488 57612.71"),
    // 23 to 26 P C, 27 C
    ("$SDDPT,15.2,0.5*64", "depth 15.2 below-transducer offset 0.5"),
    ("$SDDPT,2.4,,*53", "depth 2.4 below-transducer offset -"),
    ("$INDPT,2.3,0.0*46", "depth 2.3 below-transducer offset 0"),
    ("$SDDBS,16.9,f,5.2,M,2.8,F*32", "depth 5.2 below-surface offset ."),
    ("$SDDBK,1330.5,f,0405.5,M,0221.6,F*2E", "depth 405.5 below-keel offset ."),
    // 28 to 31 P C, 32 P
    ("$INMTW,17.9,C*1B", "water-temperature 17.9"),
    ("$IIMWV,271.0,R,000.2,N,A*3B", "wind 271 0.2 apparent"),
    ("$WIMWV,295.4,T,33.3,N,A*1C", "wind 295.4 33.3 true-from-bow"),
    (
        "$GPVHW,100.5,T,105.5,M,10.5,N,19.4,K*4F",
        "heading 100.5 true; heading 105.5 magnetic; water-speed 10.5",
    ),
    ("$IIVHW,15.0,T,15.0,M,6.3,N,11.8,K*68", "heading 15 true; heading 15 magnetic; water-speed 6.3"),
    // 33 P, 34 P C, 35 W
    ("$HEHDT,341.8,T*21", "heading 341.8 true"),
    ("$GPHDT,,T*1B", "heading - true"),
    ("$HCHDG,101.1,,,7.1,W*3C", "heading 101.1 magnetic deviation - variation -7.1"),
    // 36 to 38 P C; 4.6 nm are 8519.2 m
    ("$GPBOD,097.0,T,103.2,M,POINTB,POINTA*4A", ""),
    (
        "$GPBWC,220516,5130.02,N,00046.34,W,213.8,T,218.0,M,0004.6,N,EGLM*21",
        "waypoint-distance 8519.2 m; waypoint-bearing 213.8 deg",
    ),
    ("$GPBWC,081837,,,,,,T,,M,,N,*13", "waypoint-distance - m; waypoint-bearing - deg"),
    // 39 P, 40 and 41 P C: types of their own
    ("$GPDTM,999,,0.002,S,0.005,E,005.8,W84*1A", ""),
    ("$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79", ""),
    ("$GPTXT,01,01,02,ANTSTATUS=OK*3B", ""),
    // 42 P: the number at the end of T-N1052 is no instance
    (
        "$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052*46",
        "angle -64.437 deg; angle 54.454 deg; temperature 17.09 degC",
    ),
    // 43 P
    ("$GPRTE,2,1,c,0,PBRCPK,PBRTO,PTELGR,PPLAND,PYAMBU,PPFAIR,PWARRN,PMORTL,PLISMR*73", ""),
    // 44 to 48 W, read with pynmea2; 0.10, 0.66, 0.67, 1.3 nm in metres, left of the track negative
    ("$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*3C", "cross-track-error -185.2 m"),
    (
        "$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*20",
        "cross-track-error 1222.32 m; waypoint-distance 2407.6 m; waypoint-bearing 52.5 deg",
    ),
    ("$GPXTE,A,A,0.67,L,N*6F", "cross-track-error 1240.84 m"),
    ("$GPWPL,4917.16,N,12310.64,W,003*65", ""),
    ("$GPROT,35.6,A*01", "turn 35.6"),
    ("$IIRSA,10.5,A,,V*4D", "rudder 10.5"),
    ("$IIRPM,E,1,2418.2,10.5,A*5F", "engine 2418.2 #1; propeller-pitch 10.5 percent"),
];

/// Constructed; 1520.3 nm are 2815595.6 m and 14.2 nm 26298.4 m; 5.9 and 0.1 kn make 5.9008474 kn over ground.
const CONSTRUCTED: &[(&str, &str)] = &[
    ("$HCHDM,214.8,M*26", "heading 214.8 magnetic"),
    ("$HCHDG,247.0,2.5,W,3.0,E*55", "heading 244.5 magnetic deviation -2.5 variation 3"),
    ("$HCHDG,,,,,*6C", "heading - magnetic deviation - variation -"),
    ("$HETHS,087.4,A*26", "heading 87.4 true"),
    ("$HETHS,,V*14", "heading ! true"),
    ("$IIROT,-3.4,A*0C", "turn -3.4"),
    ("$WIMWD,214.0,T,211.5,M,12.4,N,6.4,M*6F", "wind 214 12.4 true-north; wind 211.5 12.4 magnetic-north"),
    ("$IIVWR,045.0,L,12.6,N,6.5,M,23.3,K*52", "wind 315 12.6 apparent"),
    ("$IIVWT,060.0,R,10.2,N,5.2,M,18.9,K*4D", "wind 60 10.2 true-from-bow"),
    ("$WIMWV,,R,,N,V*34", "wind ! ! apparent"),
    ("$IIVHW,,T,,M,,N,,K*55", "water-speed -"),
    ("$SDDBT,24.3,f,7.4,M,4.0,F*34", "depth 7.4 below-transducer offset ."),
    ("$SDDBT,,f,,M,,F*28", "depth - below-transducer offset ."),
    ("$SDDPT,,0.5*7C", "depth - below-transducer offset 0.5"),
    ("$SDDPT,7.4,-1.2,100*67", "depth 7.4 below-transducer offset -1.2"),
    ("$SDDPT,7.4,0.4,100*4D", "depth 7.4 below-transducer offset 0.4"),
    ("$YXMTW,15.3,C*15", "water-temperature 15.3"),
    ("$VWVLW,1520.3,N,14.2,N*4E", "log 2815595.6 m; trip-log 26298.4 m"),
    ("$VWVLW,1520.3,N,14.2,N,1498.7,N,13.9,N*46", "log 2815595.6 m; trip-log 26298.4 m"),
    ("$VDVBW,5.4,-0.2,A,5.9,0.1,A,,V,,V*72", "water-speed 5.4; course - speed 5.9008474"),
    ("$RAOSD,087.0,A,085.2,W,6.1,W,120.0,0.8,N*4A", "heading 87 true; water-speed 6.1"),
    ("$IIXDR,A,-5.2,D,PITCH,A,3.1,D,ROLL*3D", "attitude - -5.2 3.1"),
    ("$WIXDR,P,1.0132,B,BARO*43", "air-pressure 101320 Pa"),
    ("$GPRMC,123519.00,V,,,,,,,230394,,,N,V*05", "position !; course ! true speed !; clock 8847 45319"),
    ("$GPGGA,123519.00,,,,,0,00,,,M,,M,,*45", "position ! satellites 0; clock - 45319"),
    ("$GPAPB,V,V,,,N,V,V,,,,,,,,N*68", "cross-track-error ! m"),
    // M
    ("$IIHBT,60.0,A,4*1F", ""),
    ("$SDALR,101530.00,101,A,V,DEPTH LOW*52", ""),
    ("$IIALF,1,1,3,101530.00,B,W,V,,3015,1,1,0,LOST POSITION*35", ""),
    ("$IIALC,1,1,03,1,,3015,1,1*7B", ""),
];

/// Values that cannot be, and marks that forbid values; read by the field tables of IEC 61162-1.
const IMPOSSIBLE: &[(&str, &str)] = &[
    (
        "$GPRMC,000231.099,A,9529.0005,N,00022.0015,E,-1,361,2208-1,200,E,A",
        "position ?; course ? true speed ?; clock - 151.099; variation ?",
    ),
    ("$GPRMC,250000,V,4829.0,N,00022.0,E,1.5,10,320726,,,N", "position !; course ! true speed !; clock - -"),
    ("$GPGGA,123519,4860.0,N,01131.0,E,1,x,99.99,,,,,,", "position ?; clock - 45319"),
    ("$GPGGA,123519,4807.0,N,01131.0,E,x,5,0.0,,,,,,", "position ? satellites 5; clock - 45319"),
    ("$GNGNS,090310,4806.9,N,01134.1,E,NNN,0,,,,,,V", "position ! satellites 0; clock - 32590"),
    ("$GPGLL,4916.45,N,18011.12,W,225444,A", "position ?; clock - 82484"),
    ("$GPZDA,160012,30,02,2004,00,00", "clock - 57612"),
    ("$HCHDG,400,x,E,3.0,Q", "heading ? magnetic deviation ? variation ?"),
    ("$HEHDT,90.0,M", "heading ? true"),
    ("$IIROT,9999,A", "turn ?"),
    ("$IIROT,1,V", "turn !"),
    ("$IIRSA,5.0,A,-91,A", "rudder 5 #0; rudder ? #1"),
    ("$IIRPM,S,2,900,,V", "shaft-speed ! rpm #2"),
    ("$YXMTW,15.3,F", "water-temperature ?"),
    ("$GPVTG,,T,12.5,M,,N,18.52,K", "course 12.5 magnetic speed 10"),
    (
        "$GPRMB,V,0.66,L,,,,,,,1.3,52.5,,V",
        "cross-track-error ! m; waypoint-distance ! m; waypoint-bearing ! deg",
    ),
    ("$GPXTE,A,A,0.5,X,N", "cross-track-error ? m"),
    ("$GPXTE,A,A,0.5,R,K", "cross-track-error -500 m"),
    ("$RAOSD,087.0,A,085.2,P,10,P,,,K", "heading 87 true; course 85.2 true speed 5.399568"),
    ("$RAOSD,087.0,V,,,,,,,", "heading ! true"),
    ("$PABCD,1,2", ""),
    ("$CCGPQ,GGA", ""),
    ("$IIQQX,1,2", ""),
];

#[test]
fn impossible_values_are_told_apart() {
    for (line, want) in IMPOSSIBLE {
        assert_eq!(shown(line), *want, "{line}");
    }
}

fn sentence(line: &str) -> Sentence<'_> {
    Sentence::parse(line.as_bytes()).unwrap_or_else(|fault| panic!("{line}: {fault}"))
}

#[test]
fn sentences_say_what_was_published() {
    for (line, want) in PUBLISHED.iter().chain(CONSTRUCTED) {
        assert_eq!(sentence(line).checksum(), Checksum::Good, "{line}");
        assert_eq!(shown(line), *want, "{line}");
    }
}

/// A sentence cut anywhere is read or refused, and never harms.
#[test]
fn every_shorter_length() {
    for (line, _) in PUBLISHED.iter().chain(CONSTRUCTED) {
        for end in 0..line.len() {
            let Ok(s) = Sentence::parse(&line.as_bytes()[..end]) else { continue };
            assert_eq!(s.checksum(), Checksum::Absent, "{line} cut at {end}");
            decode(&s, &mut Vec::new());
        }
    }
}

/// Wrong on purpose in the test suite of pynmea2 1.19.0.
#[test]
fn wrong_checksums_are_told() {
    let wrong = |line| sentence(line).checksum();
    assert_eq!(wrong("$GNZDA,165118.00,13,05,2016,00,00*71"), Checksum::Bad { said: 0x71, computed: 0x70 });
    assert_eq!(wrong("$SDDPT,15.2,0.5*68"), Checksum::Bad { said: 0x68, computed: 0x64 });
}

#[test]
fn sentences_with_types_of_their_own() {
    let datum = Datum::read(&sentence("$GPDTM,999,,0.002,S,0.005,E,005.8,W84*1A")).unwrap();
    assert_eq!((datum.local, datum.reference), ("999", "W84"));
    assert_eq!((datum.lat_offset_min, datum.lon_offset_min), (-0.002, 0.005));

    let line = "$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79";
    let target = Target::read(&sentence(line)).unwrap();
    assert_eq!((target.number, target.name, target.status), (1, "TGT01", "T"));
    assert_eq!((target.bearing_deg, target.tcpa_min), (Ok(190.8), Ok(0.5)));
    assert!(
        (target.distance_m.unwrap() - 370.4).abs() < 1e-9 && (target.cpa_m.unwrap() - 185.2).abs() < 1e-9
    );

    let system = |line| SystemMessage::read(&sentence(line));
    assert!(matches!(system("$GPTXT,01,01,02,ANTSTATUS=OK*3B"),
        Some(SystemMessage::Text(t)) if t.id == Some(2) && t.words == "ANTSTATUS=OK"));
    let beat = Heartbeat { interval_s: Some(60.0), normal: Some(true), sequence: Some(4) };
    assert_eq!(system("$IIHBT,60.0,A,4*1F"), Some(SystemMessage::Heartbeat(beat)));
    assert!(matches!(system("$SDALR,101530.00,101,A,V,DEPTH LOW*52"),
        Some(SystemMessage::Alert(a)) if a.id == Some(101) && a.active && !a.acknowledged && a.words == "DEPTH LOW"));
    assert!(matches!(system("$IIALF,1,1,3,101530.00,B,W,V,,3015,1,1,0,LOST POSITION*35"),
        Some(SystemMessage::Alert(a)) if a.id == Some(3015) && a.instance == Some(1) && a.priority == "W"
            && a.active && !a.acknowledged && a.words == "LOST POSITION"));
    assert_eq!(system("$IIALC,1,1,03,1,,3015,1,1*7B"), Some(SystemMessage::AlertList(1)));
    assert!(matches!(system("$IISRP,,0200C0A80001,172.16.0.5"),
        Some(SystemMessage::SystemFunction(f)) if f.mac == "0200C0A80001" && f.ip == "172.16.0.5"));
}

/// Examples built from NMEA 0183 v4 clause 7; the fourth and sixth stand in the test suite of PyPI pyais 3.3.1.
#[test]
fn tag_blocks() {
    let line = b"\\s:SD0001,n:125*11\\$SDDPT,7.4,0.4,100*4D";
    let s = Sentence::parse(line).unwrap();
    let tag = s.tag().unwrap();
    assert_eq!((tag.source(), tag.line_count(), tag.checksum()), (Some("SD0001"), Some(125), Checksum::Good));
    assert_eq!((s.name(), s.checksum()), ("SDDPT", Checksum::Good));
    let line = b"\\c:1503079517*53\\!AIVDM,1,1,,B,16:Vk1h00g8O=vRBDhNp0nKp0000,0*40";
    let s = Sentence::parse(line).unwrap();
    let time = s.tag().and_then(TagBlock::time).map(|t| t.to_string());
    assert_eq!(time.as_deref(), Some("2017-08-18T18:05:17.000000Z"));

    let tag = |line: &'static str| {
        let (tag, rest) = TagBlock::split(line.as_bytes()).unwrap();
        assert_eq!((tag.checksum(), rest.len()), (Checksum::Good, 0), "{line}");
        tag
    };
    let first = tag("\\g:1-2-34,s:AI0001,n:12*4E\\");
    assert_eq!(first.group(), Some(Group { number: 1, total: 2, id: 34 }));
    assert_eq!((first.source(), first.line_count()), (Some("AI0001"), Some(12)));
    assert_eq!(tag("\\g:2-2-34,n:13*20\\").group(), Some(Group { number: 2, total: 2, id: 34 }));
    let millis = tag("\\c:1767270896500,s:YX0001*0C\\");
    assert_eq!(millis.time(), Some(Time(1_767_270_896_500_000)));
    let seconds = tag("\\s:2573535,c:1671533231*08\\");
    assert_eq!((seconds.source(), seconds.time()), (Some("2573535"), Some(Time(1_671_533_231_000_000))));
    assert_eq!(tag("\\d:NV0001,s:SD0001,n:7*7B\\").destination(), Some("NV0001"));
    assert_eq!(tag("\\g:1-2-73874*61\\").group(), Some(Group { number: 1, total: 2, id: 73874 }));
}

fn ais(lines: &[&str]) -> AisMessage {
    let mut assembler = Assembler::default();
    let mut got = None;
    for line in lines {
        assert_eq!(sentence(line).checksum(), Checksum::Good, "{line}");
        assert!(got.is_none());
        got = assembler.push(&sentence(line)).unwrap();
    }
    got.unwrap()
}

/// Place (to a millionth of a degree), speed, course, heading, second.
fn whereabouts(m: &AisMessage) -> (f64, f64, Value, Value, Value, Option<u8>) {
    let p = m.position.unwrap();
    let at = p.at.unwrap();
    let round = |deg: f64| (deg * 1e6).round() / 1e6;
    (round(at.lat_deg), round(at.lon_deg), p.speed_kn, p.course_deg, p.heading_deg, p.second)
}

/// Examples 49 to 51, 53: PyPI pyais 3.3.1.
#[test]
fn ais_positions() {
    let m = ais(&["!AIVDM,1,1,,B,15M67FC000G?ufbE`FepT@3n00Sa,0*5C"]);
    assert_eq!((m.kind, m.mmsi, m.own), (1, 366_053_209, false));
    assert_eq!(whereabouts(&m), (37.802_118, -122.341_618, Ok(0.0), Ok(219.3), Ok(1.0), Some(59)));
    let p = m.position.unwrap();
    assert_eq!((p.class_a, p.status, p.rate_of_turn_deg_per_min), (true, Some(3), Ok(0.0)));

    let m = ais(&["!AIVDM,1,1,,A,15RTgt0PAso;90TKcjM8h6g208CQ,0*4A"]);
    assert_eq!((m.kind, m.mmsi), (1, 371_798_000));
    assert_eq!(whereabouts(&m), (48.381_633, -123.395_383, Ok(12.3), Ok(224.0), Ok(215.0), Some(33)));
    assert_eq!(m.position.unwrap().rate_of_turn_deg_per_min, Err(Absent::OutOfRange), "raw -127");

    let m = ais(&["!AIVDM,1,1,,A,38Id705000rRVJhE7cl9n;160000,0*40"]);
    assert_eq!((m.kind, m.mmsi, m.position.unwrap().status), (3, 563_808_000, Some(5)));
    let (lat, lon, _, course, heading, _) = whereabouts(&m);
    assert_eq!((lat, lon, course, heading), (36.91, -76.327_533, Ok(252.0), Ok(352.0)));

    let m = ais(&["!AIVDM,1,1,,A,B52K>;h00Fc>jpUlNV@ikwpUoP06,0*4C"]);
    assert_eq!((m.kind, m.mmsi, m.position.unwrap().class_a), (18, 338_087_471, false));
    let n_a = Err(Absent::NotAvailable);
    assert_eq!(whereabouts(&m), (40.684_540, -74.072_132, Ok(0.1), Ok(79.6), n_a, Some(49)));
}

/// Examples 52, 54 to 56: PyPI pyais 3.3.1.
#[test]
fn ais_identities() {
    let first = "!AIVDM,2,1,1,A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0*1C";
    let second = "!AIVDM,2,2,1,A,88888888880,2*25";
    let m = ais(&[first, second]);
    assert_eq!((m.kind, m.mmsi), (5, 351_759_000));
    let id = m.identity.unwrap();
    assert_eq!((id.imo, id.ship_type, id.draught_dm), (Some(9_134_270), Some(70), Some(122)));
    assert_eq!((id.call_sign.as_deref(), id.destination.as_deref()), (Some("3FOF8"), Some("NEW YORK")));
    assert_eq!((id.name.map(|n| n.len()), id.dimensions_m), (Some(11), Some([225, 70, 1, 31])));

    let m = ais(&["!AIVDM,1,1,,B,C6:b0Kh09b3t1K4ChsS2FK008NL>`2CT@2N000000000S4h8S400,0*50"]);
    assert_eq!((m.kind, m.mmsi), (19, 413_827_183));
    let (lat, lon, speed, course, heading, _) = whereabouts(&m);
    assert_eq!((lat, lon), (30.120_84, 115.289_05));
    assert_eq!((speed, course, heading), (Ok(3.8), Ok(310.9), Ok(310.0)));
    let id = m.identity.unwrap();
    assert_eq!(
        (id.name.map(|n| n.len()), id.ship_type, id.dimensions_m),
        (Some(11), Some(70), Some([76, 17, 6, 8]))
    );

    let m = ais(&["!AIVDM,1,1,,A,H42O55i18tMET00000000000000,2*6D"]);
    assert_eq!((m.kind, m.mmsi), (24, 271_041_815));
    assert_eq!(m.identity.unwrap().name.map(|n| n.len()), Some(6));
    let m = ais(&["!AIVDM,1,1,,A,H42O55lti4hhhilD3nink000?050,0*40"]);
    let id = m.identity.unwrap();
    assert_eq!((id.ship_type, id.call_sign.as_deref()), (Some(60), Some("TC6163")));
    assert_eq!((id.name, id.dimensions_m), (None, Some([0, 15, 0, 5])));
}

/// Cut payloads are too short for their type.
#[test]
fn ais_cut_short() {
    let payload = "15RTgt0PAso;90TKcjM8h6g208CQ";
    let mut assembler = Assembler::default();
    for end in 0..24 {
        let line = format!("!AIVDO,1,1,,A,{},0", &payload[..end]);
        assert_eq!(assembler.push(&sentence(&line)), Err(AisFault::Short), "{end}");
    }
    let whole = assembler.push(&sentence("!AIVDO,1,1,,A,15RTgt0PAso;90TKcjM8h6g208CQ,0"));
    assert!(matches!(whole, Ok(Some(m)) if m.own));
}
