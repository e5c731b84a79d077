//! What is not known to be harmless does not leave.

use crate::messages::{DAY, content};
use leadsman::messages::n2k::PGNS;
use leadsman::messages::nmea0183::Sentence;
use leadsman::scrub::content::{Content, ContentOptions, Key};

#[test]
fn unknown_messages_are_blanked() {
    let mut content = content(1);
    for pgn in [127_233, 127_252, 129_798, 130_074, 130_323, 65_262, 0] {
        let mut message = *b"54.3233 N 10.1394 E";
        content.n2k(pgn, 1, Some(DAY), &mut message);
        assert_eq!(message, [0xFF; 19], "{pgn}");
    }
    assert_eq!(content.said().blanked, 7);
    assert!(
        content.said().emptied()[0].starts_with("7 messages that are not understood (PGN 0, 65262, 127233")
    );
}

#[test]
fn proprietary_messages_keep_only_that_they_are_of_one_maker() {
    let mut content = content(1);
    let mut scrub = |pgn: u32, maker: u16| {
        let mut message = (0x9800 | maker).to_le_bytes().to_vec();
        message.extend(b"waypoint");
        content.n2k(pgn, 1, Some(DAY), &mut message);
        assert_eq!(message[2..], [0xFF; 8]);
        let head = u16::from_le_bytes([message[0], message[1]]);
        assert_eq!(head & 0xF800, 0x9800, "industry group");
        head & 0x7FF
    };
    let makers = [scrub(61_184, 1857), scrub(65_300, 1857), scrub(126_720, 1857), scrub(130_820, 1857)];
    assert!(makers.iter().all(|maker| *maker == makers[0] && *maker != 1857));
    assert_ne!(scrub(130_820, 1858), makers[0]);
    let mut kept =
        Content::new(Key([1; 32]), ContentOptions { keep_makers: true, ..ContentOptions::default() });
    let mut message = [0x41, 0x9F, 1, 2, 3];
    kept.n2k(130_820, 1, Some(DAY), &mut message);
    assert_eq!(message, [0x41, 0x9F, 0xFF, 0xFF, 0xFF]);
}

/// A field pair of a group function can hold a place or a name.
#[test]
fn values_of_group_functions_are_blanked() {
    let mut content = content(1);
    let mut scrub = |message: &[u8]| {
        let mut new = message.to_vec();
        content.n2k(126_208, 1, Some(DAY), &mut new);
        new
    };
    assert_eq!(
        scrub(&[0, 0x12, 0xF1, 1, 0xE8, 3, 0, 0, 0xFF, 0xFF, 1, 2, 77]),
        [0, 0x12, 0xF1, 1, 0xE8, 3, 0, 0, 0xFF, 0xFF, 1, 0xFF, 0xFF]
    );
    assert_eq!(
        scrub(&[1, 0, 0xEE, 0, 0xF8, 2, 3, 1, 4, 0]),
        [1, 0, 0xEE, 0, 0xF8, 2, 0xFF, 0xFF, 0xFF, 0xFF]
    );
    assert_eq!(scrub(&[2, 0x12, 0xF1, 1, 0, 2, 0x31, 9]), [2, 0x12, 0xF1, 1, 0, 2, 0x31, 0xFF]);
    assert_eq!(scrub(&[5, 0, 0xF8, 1, 7, 1, 1, 1, 2, 3]), [5, 0, 0xF8, 1, 7, 1, 1, 0xFF, 0xFF, 0xFF]);
}

/// Any tail behind the fields of a known message, and any reserved bit.
#[test]
fn nothing_rides_along_behind_known_fields() {
    // Lists that run to the message's end, or have no end of their own.
    let open = [126_464, 126_998, 129_029, 129_041, 129_285, 129_540];
    for known in PGNS.iter().filter(|known| !open.contains(&known.pgn)) {
        let mut message = vec![0x2A; 223];
        content(1).n2k(known.pgn, 1, Some(DAY), &mut message);
        assert!(message[140..].iter().all(|b| *b == 0xFF), "{}", known.pgn);
    }
    for (pgn, from) in [(127_250, 8), (129_025, 8), (126_992, 8), (129_038, 28), (128_267, 8)] {
        let mut message = vec![0x2A; 60];
        content(1).n2k(pgn, 1, Some(DAY), &mut message);
        assert!(message[from..].iter().all(|b| *b == 0xFF), "{pgn}");
    }
}

#[test]
fn unknown_sentences_and_free_text_are_blanked() {
    let mut content = content(1);
    let mut scrub = |line: &str| {
        let mut new = line.as_bytes().to_vec();
        content.sentence(Some(DAY), &mut new);
        let new = String::from_utf8(new).unwrap();
        assert_eq!(
            Sentence::parse(line.as_bytes()).map(|s| s.checksum()),
            Sentence::parse(new.as_bytes()).map(|s| s.checksum()),
            "{new}"
        );
        new
    };
    assert_eq!(scrub("$GPXYZ,5419.398,N,,Gull"), "$GPXYZ,xxxxxxxx,x,,xxxx");
    assert_eq!(
        scrub("$CDDSC,12,3380400790,12,06,00,1423108312,2019,,,S,E"),
        "$CDDSC,xx,xxxxxxxxxx,xx,xx,xx,xxxxxxxxxx,xxxx,,,x,x"
    );
    assert_eq!(scrub("$GPTXT,01,01,02,u-boat 7 at home"), "$GPTXT,01,01,02,xxxxxxxxxxxxxxxx");
    assert_eq!(scrub("$IIALR,063000.00,012,A,V,Gull aground"), "$IIALR,063000.00,012,A,V,xxxxxxxxxxxx");
    assert_eq!(scrub("$CCGPQ,GGA,abc"), "$CCGPQ,GGA,xxx");
    let maker = scrub("$PABCE,5419.398,N");
    assert!(maker.starts_with("$P") && maker.ends_with(",xxxxxxxx,x") && !maker.contains("ABC"), "{maker}");
    assert_eq!(maker[..5], scrub("$PABCF,1")[..5], "one maker stays one talker");
    // A number where a heading belongs stays, words do not.
    assert_eq!(scrub("$HCHDG,101.1,Gull,E,7.1,W"), "$HCHDG,101.1,xxxx,E,7.1,W");
    assert_eq!(scrub("$SDDPT,15.2,0.5,at 54N,10E"), "$SDDPT,15.2,0.5,xxxxxx,xxx");
    assert!(scrub("$SDDPT,15.2,0.5*64").ends_with("*64"));
    assert!(scrub("$GPVTG,,T,,M,,N,,K,N*2c").ends_with("*2c"));
    // A place in a field for another number.
    scrub("$GPGLL,3023.9997,S,02435.9998,W,063000.00,A,A");
    assert_eq!(scrub("$VWVLW,2435.998,N,30.39999,N,5419.398,N"), "$VWVLW,xxxxxxxx,N,xxxxxxxx,N,5419.398,N");
    // Satellites: where they stand tells the place.
    let gsv = scrub("$GPGSV,3,1,11,03,03,111,00,04,15,270,33,1");
    let fields: Vec<&str> = gsv.split(',').collect();
    assert_eq!((&fields[5..8], &fields[9..12]), (&["00", "000", "00"][..], &["00", "000", "33"][..]));
    assert!(fields[4] != "03" && fields[12] == "1", "{gsv}");
    let gga = scrub("$GPGGA,063000.00,3023.9997,S,02435.9998,W,1,09,0.9,176.4,M,-33.1,M,,0120");
    assert!(gga.ends_with(",1,09,0.9,000.0,M,000.0,M,,0000"), "{gga}");
    let xdr = scrub("$IIXDR,U,12.7,V,BATT#1,C,17.1,C,GULLWATER2,A,54.3233,D,LAT,A,-3,D,ROLL");
    assert!(
        xdr.starts_with("$IIXDR,U,12.7,V,BATT#1,C,17.1,C,")
            && xdr.contains("WATER2,A,xxxxxxx,D,")
            && xdr.ends_with(",A,-3,D,ROLL"),
        "{xdr}"
    );
    assert!(!xdr.contains("GULL") && !xdr.contains("LAT,"), "{xdr}");
}

/// A damaged sentence is counted as before, and says nothing any more.
#[test]
fn damaged_lines_stay_damaged_and_empty() {
    let mut content = content(1);
    for line in [
        &b"$GPGLL,3023.9997,S,02435.9998,W,063000.00,A,A*00"[..],
        b"$GPGLL,3023.9997,S,024$SDDPT,15.2,0.5*64",
        b"$GPGLL,3023.9997,S,02435.9998,W,0630\x80\x81",
        b"$STI,IC,3023.9997",
        b"$GPGLL,3023.9997,S,02435.9998,W*4",
    ] {
        let mut new = line.to_vec();
        content.sentence(Some(DAY), &mut new);
        let state = |line: &[u8]| match Sentence::parse(line) {
            Ok(s) => format!("{:?}", std::mem::discriminant(&s.checksum())),
            Err(fault) => format!("{fault:?}"),
        };
        assert_eq!(state(line), state(&new), "{}", String::from_utf8_lossy(&new));
        assert!(!new.windows(4).any(|w| w == b"3023" || w == b"9997"), "{}", String::from_utf8_lossy(&new));
    }
}
