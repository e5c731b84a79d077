//! Text logs, and what is no recording.

use super::files::*;
use leadsman::recording::{TimeBase, WireKind};

#[test]
fn what_is_no_recording_is_named() {
    for (bytes, word) in [
        (&b""[..], "empty file"),
        (b"PK\x03\x04abcdef", "unpack it first"),
        (b"\xFF\xFE$\0G\0", "UTF-16"),
        (b"this is not a valid pcap file.", "the first line reads this is not a valid"),
        (b"\x1B[31mred\n", "binary data of an unknown kind: it begins with \\x1b[31mred"),
        (b"\xD4\xC3\xB2\xA1\x02", "cut off after 5 bytes"),
        (b"\n\n", "blank"),
        (&[0x1F, 0x8B, 8, 0, 0, 0], "gzip stream is cut off"),
    ] {
        let text = refusal(bytes);
        assert!(text.contains(word), "{text}");
    }
}

#[test]
fn text_logs_of_sentences() {
    // Checksums from the 0183 fact sheet and from receivers' logs.
    let log = "\u{FEFF}# made by a recorder\r\n$SDDBT,7.7,f,2.3,M,1.3,F*05\r\n\r\n\
               !AIVDM,1,1,,B,16:Vk1h00g8O=vRBDhNp0nKp0000,0*40\rno sentence at all\n$SDDBT,7.7,f,2.3,M,1.3,F*05\n";
    let (records, summary) = read(log.as_bytes());
    assert_eq!(records.len(), 3);
    assert_eq!(records[1].2, Owned::Line(b"!AIVDM,1,1,,B,16:Vk1h00g8O=vRBDhNp0nKp0000,0*40".to_vec()));
    assert_eq!(
        (summary.container, summary.time_base, summary.damaged_bytes),
        ("line-log", TimeBase::None, 0)
    );
    assert!(summary.problems.iter().any(|text| text == "1 line is no sentence and no frame"));
    // Garbage, a NUL run, a line without end.
    let mut bytes = log.as_bytes()[3..].to_vec();
    bytes.extend([0; 50]);
    bytes.extend(b"$SDDBT,7.7,f,2.3,M,1.3,F*05\n\x80\x99garbage\x01\n");
    bytes.extend(vec![b'x'; 10_000]);
    bytes.extend(b"\n$SDDBT,7.7,f,2.3");
    let (records, summary) = read(&bytes);
    assert_eq!(records.len(), 5);
    assert_eq!((summary.damaged_bytes, summary.truncated_bytes), (50 + 10 + 10_000, 16));
    assert!(summary.truncated);
}

#[test]
fn mixed_logs_have_a_wire_for_each_kind_and_name() {
    let log = "(1.000000) can0 09F80102#3672\n(1.5) can1 09F80102#3672\n(2.0) $SDDPT,7.4,0.4,100*4D\n(3.0) can0 09F80102#\n";
    let (records, summary) = read(log.as_bytes());
    let wires: Vec<_> = records.iter().map(|record| record.1).collect();
    assert_eq!(wires, [0, 1, 2, 0]);
    assert_eq!(summary.wires[1].name.as_deref(), Some("can1"));
    assert_eq!(summary.wires[2].kind, WireKind::Line);
    assert!(summary.problems[0].contains("counted from some start"));
    assert!(!summary.truncated);
}
