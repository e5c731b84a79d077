//! What damage leaves of a sentence, a stamp or a packet tells nothing either.

use crate::packets::{holds, packets_of, pcap, scrubbed};
use etherparse::PacketBuilder;

const MACS: ([u8; 6], [u8; 6]) = ([2, 0, 0, 0, 0, 1], [2, 0, 0, 0, 0, 2]);
const SECRET: &[u8] = b"3023.9997,S,02435.9998,W,GULLFLIGHT AT REEF SEVEN";

fn copied(text: &str) -> Vec<String> {
    let copy = String::from_utf8(scrubbed(text.as_bytes())).unwrap();
    assert_eq!(copy.len(), text.len());
    copy.lines().map(str::to_owned).collect()
}

/// Lines as an RMC writes them, behind `stamp` of a second.
fn lines(stamp: impl Fn(u32) -> String) -> String {
    let line = |second: u32| {
        let body = format!("GPRMC,0630{second:02}.00,A,3023.9997,S,02435.9998,W,0.2,115.8,090526,24.3,W,A");
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("{}${body}*{sum:02X}\n", stamp(second))
    };
    (0..12).map(line).collect()
}

/// A number in front of a line stays when it is a time of this recording, and at no other time.
#[test]
fn a_number_in_front_of_a_line_is_no_place() {
    let odd = [
        "3023.9997,S,02435.9998,W,0.2,115.8*1F",
        "02435.9998,W,0.2,115.8*1F",
        "30.399995 -24.599997 home dock",
        "1234567890 GULLFLIGHT",
        "(30.399995) can0 spot",
        "30:23:59 024:35:59 anchorage",
        "30.399995 $GPGLL,,,,,,V",
        "1234567890 $GPGLL,,,,,,V",
        "\\c:338123456*00\\$GPGLL,,,,,,V",
        "\\s:GP1,n:338123456*00\\$GPGLL,,,,,,V",
        "\\r:3023999*00\\$GPGLL,,,,,,V",
        "\\g:1-2-338123456*00\\$GPGLL,,,,,,V",
    ];
    let stamps: [fn(u32) -> String; 4] = [
        |_| String::new(),
        |second| format!("(17783082{second:02}.500000) "),
        |second| format!("12:34:{second:02}.5 "),
        // Of a recording that had just begun, 30.4 could be a time.
        |second| format!("{}.25 ", 5000 + second),
    ];
    for stamp in stamps {
        let usual = lines(stamp);
        for odd in odd {
            for text in [format!("{odd}\n{usual}"), format!("{usual}{odd}\n{usual}")] {
                let copy = copied(&text);
                let joined = copy.join("\n");
                for secret in ["3023", "2435", "30.39", "34567", "38123", "23:59", "GULL"] {
                    assert!(!joined.contains(secret), "{odd}: {secret} of {joined}");
                }
                for (n, (old, new)) in text.lines().zip(&copy).enumerate() {
                    let length = stamp(0).len();
                    assert!(old == odd || old[..length] == new[..length], "{n}: {old} became {new}");
                }
                // A sentence stays one.
                let sentence =
                    |line: &str| line.split_once("$GPGLL").map(|(front, behind)| (front.len(), behind.len()));
                assert_eq!(
                    text.lines().map(sentence).collect::<Vec<_>>(),
                    copy.iter().map(|line| sentence(line)).collect::<Vec<_>>()
                );
            }
        }
    }
}

/// A connection that is broken off takes the line that was under way with it.
#[test]
fn the_last_segment_of_a_broken_connection_is_blanked() {
    let segment = |sequence: u32, rst: bool, payload: &[u8]| {
        let builder = PacketBuilder::ethernet2(MACS.0, MACS.1).ipv4([192, 168, 1, 10], [192, 168, 1, 20], 64);
        let builder = builder.tcp(10_110, 50_000, sequence, 1000).ack(1);
        let builder = if rst { builder.rst() } else { builder };
        let mut packet = Vec::new();
        builder.write(&mut packet, payload).unwrap();
        packet
    };
    let whole = lines(|_| String::new()).replace('\n', "\r\n");
    for gap in [0, 500] {
        let last = segment(1000 + whole.len() as u32 + gap, true, SECRET);
        let file = pcap(&[segment(1000, false, whole.as_bytes()), last]);
        let copy = scrubbed(&file);
        let last = packets_of(&copy).remove(1);
        assert!(!holds(&last, b"3023") && !holds(&last, b"GULL") && !holds(&last, b"2435"));
        let tcp = etherparse::SlicedPacket::from_ethernet(&last).unwrap();
        let Some(etherparse::TransportSlice::Tcp(tcp)) = tcp.transport else { panic!("no TCP") };
        let sum = tcp.to_header().calc_checksum_ipv4_raw([192, 168, 1, 10], [192, 168, 1, 20], tcp.payload());
        assert_eq!(sum.unwrap(), tcp.checksum());
    }
}

/// What is sent to the ports of names and leases and is neither leaves nothing of its beginning.
#[test]
fn other_datagrams_to_known_ports() {
    for port in [53, 67, 68, 5353] {
        for secret in [SECRET, &SECRET[..13], &[SECRET, SECRET, SECRET, SECRET, SECRET, SECRET].concat()] {
            let mut packet = Vec::new();
            PacketBuilder::ethernet2(MACS.0, MACS.1)
                .ipv4([192, 168, 1, 10], [192, 168, 1, 20], 64)
                .udp(port, port)
                .write(&mut packet, secret)
                .unwrap();
            let copy = packets_of(&scrubbed(&pcap(&[packet]))).remove(0);
            assert!(secret.windows(4).all(|part| !holds(&copy, part)), "{port}: {}", copy.escape_ascii());
        }
    }
}

/// RFC 1035 section 4.1.3: what stands behind a name that is shorter than its record, and bits for types that there are none.
#[test]
fn nothing_hides_behind_a_name() {
    let name = b"\x07display\x05local\0";
    let record = |kind: u8, data: &[u8]| {
        let head = [name.as_slice(), &[0, kind, 0x80, 1, 0, 0, 0, 120, 0, data.len() as u8]].concat();
        [head.as_slice(), data].concat()
    };
    let message = [
        &[0, 0, 0x84, 0, 0, 0, 0, 3, 0, 0, 0, 0][..],
        &record(12, &[name.as_slice(), SECRET].concat()),
        &record(33, &[&[0, 0, 0, 0, 0x27, 0x7E], name.as_slice(), SECRET].concat()),
        &record(47, &[name.as_slice(), &[0, 5, 0x40, 0, 0, 0, 8, 3, 4], b"REEF"].concat()),
    ]
    .concat();
    let mut packet = Vec::new();
    PacketBuilder::ethernet2(MACS.0, MACS.1)
        .ipv4([192, 168, 1, 10], [224, 0, 0, 251], 255)
        .udp(5353, 5353)
        .write(&mut packet, &message)
        .unwrap();
    let copy = packets_of(&scrubbed(&pcap(&[packet]))).remove(0);
    for part in SECRET.windows(4).chain([b"REEF".as_slice()]) {
        assert!(!holds(&copy, part), "{}", copy.escape_ascii());
    }
    // What the record says stays: the port.
    assert!(holds(&copy, &[0, 0, 0, 0, 0x27, 0x7E]));
}

/// linux/can/error.h: an error message tells what its classes define.
#[test]
fn error_messages_keep_what_their_classes_define() {
    for (id, old, new) in [
        ("29F80105", "36729A16021AB80D", "0000000000000000"),
        ("20000204", "3610729A021A0C80", "0010000000000C80"),
        ("20000088", "0000041900000000", "0000041900000000"),
        ("20000080", "36729A16021AB80D", "0000000000000000"),
        ("20000002", "0C729A16021AB80D", "0C00000000000000"),
    ] {
        let text = format!(
            "(1778308200.500000) can0 09F80102#36729A16021AB80D\n(1778308200.600000) can0 {id}#{old}\n"
        );
        assert_eq!(copied(&text)[1], format!("(1778308200.600000) can0 {id}#{new}"));
    }
}
