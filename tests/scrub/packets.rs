//! What packets carry: lines across segments and fragments, contents that nobody knows, remarks of the recorder.

use etherparse::PacketBuilder;
use leadsman::scrub::{Content, ContentOptions, Copying, Key, Packer};
use proptest::prelude::*;
use std::fs::{self, File};

/// A place and a name that must not be found in any copy.
const PLACE: &str = "3023.9997,S,02435.9998,W";
pub(crate) const SECRET: &[u8] = b"SECRETHARBOUR";

fn rmc(second: u32) -> String {
    let body = format!("GPRMC,0630{second:02}.00,A,{PLACE},0.2,115.8,090526,24.3,W,A");
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n")
}

/// A pcap file (little endian, microseconds, link type 1) of packets 10 ms apart.
pub(crate) fn pcap(packets: &[Vec<u8>]) -> Vec<u8> {
    let mut file = vec![0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 0, 1, 0, 0, 0];
    for (n, packet) in packets.iter().enumerate() {
        for word in [1_778_308_200, n as u32 * 10_000, packet.len() as u32, packet.len() as u32] {
            file.extend(word.to_le_bytes());
        }
        file.extend(packet);
    }
    file
}

pub(crate) fn packets_of(file: &[u8]) -> Vec<Vec<u8>> {
    let mut rest = &file[24..];
    let mut packets = Vec::new();
    while rest.len() > 16 {
        let len = u32::from_le_bytes(rest[8..12].try_into().unwrap()) as usize;
        packets.push(rest[16..16 + len].to_vec());
        rest = &rest[16 + len..];
    }
    packets
}

fn tcp(sequence: u32, payload: &[u8]) -> Vec<u8> {
    let builder = PacketBuilder::ethernet2([2, 0, 0, 0, 0, 1], [2, 0, 0, 0, 0, 2])
        .ipv4([192, 168, 1, 10], [192, 168, 1, 20], 64)
        .tcp(10_110, 50_000, sequence, 1000)
        .ack(1);
    let mut packet = Vec::new();
    builder.write(&mut packet, payload).unwrap();
    packet
}

fn udp(port: u16, payload: &[u8]) -> Vec<u8> {
    let builder = PacketBuilder::ethernet2([2, 0, 0, 0, 0, 1], [0xFF; 6])
        .ipv4([192, 168, 1, 10], [192, 168, 1, 255], 64)
        .udp(50_000, port);
    let mut packet = Vec::new();
    builder.write(&mut packet, payload).unwrap();
    packet
}

pub(crate) fn scrubbed(file: &[u8]) -> Vec<u8> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("in");
    fs::write(&path, file).unwrap();
    let copying = Copying::open(path.to_str().unwrap()).unwrap();
    let mut out = File::create(dir.path().join("out")).unwrap();
    let mut packer = Packer::new(&mut out, copying.compression()).unwrap();
    let content = Content::new(Key([7; 32]), ContentOptions::default());
    copying.run(content, &mut packer, &mut |_, _| {}).unwrap();
    drop(packer);
    fs::read(dir.path().join("out")).unwrap()
}

pub(crate) fn holds(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|window| window == wanted)
}

/// The payload of a TCP or UDP packet, when the checksums of an independent library agree with the packet's.
fn payload(packet: &[u8]) -> Vec<u8> {
    let sliced = etherparse::SlicedPacket::from_ethernet(packet).unwrap();
    let Some(etherparse::NetSlice::Ipv4(ip)) = sliced.net else { panic!("no IPv4") };
    let head = ip.header().to_header();
    assert_eq!(head.calc_header_checksum(), head.header_checksum);
    match sliced.transport.unwrap() {
        etherparse::TransportSlice::Tcp(tcp) => {
            assert_eq!(tcp.to_header().calc_checksum_ipv4(&head, tcp.payload()).unwrap(), tcp.checksum());
            tcp.payload().to_vec()
        }
        etherparse::TransportSlice::Udp(udp) => {
            let want = udp.to_header().calc_checksum_ipv4(&head, udp.payload()).unwrap();
            assert_eq!(want, udp.checksum());
            udp.payload().to_vec()
        }
        _ => panic!("no TCP and no UDP"),
    }
}

fn assert_lines(text: &[u8], count: usize) {
    let lines: Vec<&[u8]> = text.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()).collect();
    assert_eq!(lines.len(), count, "{}", text.escape_ascii());
    for line in lines {
        let line = line.trim_ascii();
        let star = line.len() - 3;
        let sum = line[1..star].iter().fold(0, |sum, byte| sum ^ byte);
        assert_eq!(&line[star + 1..], format!("{sum:02X}").as_bytes(), "{}", line.escape_ascii());
        assert!(!holds(line, b"3023.9997") && !holds(line, b"02435.9998"), "{}", line.escape_ascii());
        assert!(line.starts_with(b"$GPRMC,0630"));
    }
}

/// However a stream is cut into segments, whichever of them come again or late: its lines are rewritten.
fn stream(cuts: &[usize], again: usize, swap: usize) {
    let text: String = (0..12).map(rmc).collect();
    let mut segments = Vec::new();
    let (mut rest, mut sequence) = (text.as_bytes(), 5000u32);
    for cut in cuts.iter().cycle() {
        let (head, behind) = rest.split_at((*cut).min(rest.len()));
        segments.push((sequence, head));
        sequence += head.len() as u32;
        rest = behind;
        if rest.is_empty() {
            break;
        }
    }
    let mut packets: Vec<Vec<u8>> = segments.iter().map(|(sequence, bytes)| tcp(*sequence, bytes)).collect();
    let mut order: Vec<usize> = (0..packets.len()).collect();
    // The first segment tells where the stream begins.
    if order.len() > 2 {
        let at = 1 + swap % (order.len() - 2);
        order.swap(at, at + 1);
    }
    packets = order.iter().map(|n| packets[*n].clone()).collect();
    let repeated = again % packets.len();
    packets.push(packets[repeated].clone());
    let copy = packets_of(&scrubbed(&pcap(&packets)));
    assert_eq!(copy.len(), packets.len());
    assert_eq!(copy[repeated], copy[packets.len() - 1], "what is sent again is the same");
    let mut whole = Vec::new();
    for n in 0..segments.len() {
        let at = order.iter().position(|other| *other == n).unwrap();
        whole.extend(payload(&copy[at]));
    }
    assert_eq!(whole.len(), text.len());
    assert_lines(&whole, 12);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn lines_across_segments(cuts in prop::collection::vec(30usize..160, 1..6), again in 0usize..100, swap in 0usize..100) {
        stream(&cuts, again, swap);
    }

    /// Whatever stands in a recording: a copy is made, as long as the original.
    #[test]
    fn damage_is_no_obstacle(
        spots in prop::collection::vec((24usize..2500, any::<u8>()), 0..12),
        cut in 200usize..3000,
    ) {
        let mut file = mixed();
        for (at, byte) in spots {
            if let Some(to) = file.get_mut(at) {
                *to = byte;
            }
        }
        file.truncate(cut);
        let copy = scrubbed(&file);
        prop_assert_eq!(copy.len(), file.len());
    }
}

/// A capture with something of everything.
fn mixed() -> Vec<u8> {
    let text: String = (0..3).map(rmc).collect();
    let mut packets = vec![tcp(1, text.as_bytes()), udp(10_110, text.as_bytes()), udp(9999, SECRET)];
    packets.extend(fragments(&udp(10_110, text.as_bytes()), 120));
    packets.push(udp(
        5353,
        &[
            0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0, 3, b'b', b'o', b'w', 0, 0, 1, 0, 1, 0, 0, 0, 9, 0, 4, 192,
            168, 1, 9,
        ],
    ));
    packets.push(udp(1900, b"NOTIFY * HTTP/1.1\r\nNTS: ssdp:alive\r\nUSN: SECRETHARBOUR\r\n\r\n"));
    packets.push(udp(67, &[1, 1, 6, 0, 9, 9, 9, 9]));
    pcap(&packets)
}

/// A packet in two fragments, the first with `first` bytes behind the IP header.
fn fragments(packet: &[u8], first: usize) -> Vec<Vec<u8>> {
    let (ethernet, ip) = packet.split_at(14);
    let (head, body) = ip.split_at(20);
    let part = |body: &[u8], word: u16| {
        let mut head = head.to_vec();
        head[2..4].copy_from_slice(&(20 + body.len() as u16).to_be_bytes());
        head[4..6].copy_from_slice(&[0x12, 0x34]);
        head[6..8].copy_from_slice(&word.to_be_bytes());
        head[10..12].fill(0);
        let sum: u32 = head.chunks(2).map(|word| u32::from(word[0]) << 8 | u32::from(word[1])).sum();
        let sum = !((sum & 0xFFFF) + (sum >> 16)) as u16;
        head[10..12].copy_from_slice(&sum.to_be_bytes());
        [ethernet, &head, body].concat()
    };
    vec![part(&body[..first], 0x2000), part(&body[first..], first as u16 / 8)]
}

#[test]
fn datagrams_in_fragments_are_rewritten_as_one() {
    let text: String = (0..3).map(rmc).collect();
    let whole = udp(10_110, text.as_bytes());
    let pieces = fragments(&whole, 120);
    for order in [[0, 1], [1, 0]] {
        let copy = packets_of(&scrubbed(&pcap(&order.map(|n| pieces[n].clone()))));
        let mut body = copy[order[0]][34..].to_vec();
        body.extend(&copy[order[1]][34..]);
        assert_lines(&body[8..], 3);
        let one = packets_of(&scrubbed(&pcap(std::slice::from_ref(&whole))));
        assert_eq!(payload(&one[0]), &body[8..], "the same as in one piece");
        assert_eq!(one[0][34..42], body[..8], "ports, length and checksum too");
    }
    // What never becomes whole is blanked.
    let copy = packets_of(&scrubbed(&pcap(&pieces[1..])));
    assert!(copy[0][34..].iter().all(|byte| *byte == 0));
}

/// Frames on lines, and garbled ones among them, as a report counts.
fn lines_of(file: &[u8]) -> (u64, Vec<String>) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("in");
    fs::write(&path, file).unwrap();
    let paths = [path.display().to_string()];
    let report =
        leadsman::survey::report(&paths, &leadsman::survey::Options::default(), &mut |_| {}).unwrap();
    let lines = report.wires.iter().filter(|wire| wire.kind == "line").map(|wire| wire.frames).sum();
    let garbled = report.findings.iter().filter(|finding| finding.kind == "garbled-sentence");
    (lines, garbled.map(|finding| format!("{:?}", finding.numbers)).collect())
}

/// A datagram is taken for lines by its first one: a garbled one that is blanked must not take the others along.
#[test]
fn a_datagram_whose_first_sentence_is_garbled_stays_lines() {
    for first in [
        "$SDDPT,12.3,0$SDDPT,12.3,0.0*55",
        "$SDDPT,1\r\n2.3,0.0*55",
        "$HCHDG,12.0,$HCHDG,12.0,,,,*5D",
        "$STI,IC,SECRETHARBOUR=4",
        "$7,SECRETHARBOUR",
        "(1.5x SECRETHARBOUR",
    ] {
        let text = format!("{first}\r\n$HCHDG,1.0,,,,*43\r\n");
        let file = pcap(&vec![udp(10_110, text.as_bytes()); 100]);
        let copy = scrubbed(&file);
        assert_eq!(lines_of(&copy), lines_of(&file), "{first}");
        assert!(lines_of(&file).0 >= 100 && !holds(&copy, SECRET), "{first}");
    }
}

#[test]
fn what_is_not_known_does_not_pass() {
    let mut ether = udp(1, SECRET);
    ether[12..14].copy_from_slice(&[0x88, 0xB5]);
    let long = [b"\x16\x03\x01".as_slice(), SECRET].concat();
    let line = b"$PXYZA,SECRETHARBOUR,1\r\n!XXABC,SECRETHARBOUR\r\n";
    let padded = [udp(4000, &[1]), SECRET.to_vec()].concat();
    let packets = [
        udp(9999, SECRET),
        tcp(1, &long),
        ether,
        udp(10_110, line),
        padded,
        udp(1900, SECRET),
        udp(5353, SECRET),
    ];
    let copy = scrubbed(&pcap(&packets));
    assert!(holds(&pcap(&packets), SECRET));
    assert!(!holds(&copy, SECRET) && !holds(&copy, &SECRET[6..]));
    for (old, new) in packets.iter().zip(packets_of(&copy)) {
        assert_eq!(old.len(), new.len());
    }
}

#[test]
fn logs_keep_their_lines_and_lose_their_secrets() {
    let log = "# SECRETHARBOUR\n\
        (1767270896.500123) can0 09F80102#36729A16021AB80D\n\
        (1767270896.600123) can0 1DFF0A02#5345435245542121\n\
        (1767270896.700123) SECRETHARBOUR 09F10D02#36729A16021AB80D R\n\
        a note of SECRETHARBOUR\n\
        (1767270896.800123) can0 1DEF0A02#40530102030405\n\
        (1767270896.900123) can0 09F80102#367";
    let copy = String::from_utf8(scrubbed(log.as_bytes())).unwrap();
    assert_eq!(copy.len(), log.len());
    assert!(!copy.contains("SECRET") && !copy.contains("HARBOUR"), "{copy}");
    // 129025 moves, unknown 130826 is blanked but for its frame counter, an orphan fast packet too.
    let lines: Vec<&str> = copy.lines().collect();
    assert!(lines[1].starts_with("(1767270896.500123) can0 09F80102#") && !lines[1].contains("36729A16"));
    assert!(!lines[2].contains("4543524554"), "{copy}");
    assert!(lines[3].ends_with(" R"), "{copy}");
    assert!(lines[6].ends_with("09F80102#000"), "{copy}");
    for (old, new) in log.lines().zip(&lines) {
        assert_eq!(old.len(), new.len());
    }
}

/// Remarks, names and keys of a pcapng file (draft-ietf-opsawg-pcapng, section 4).
#[test]
fn a_recorder_s_remarks_do_not_pass() {
    let option = |code: u16, value: &[u8]| {
        let mut bytes = code.to_be_bytes().to_vec();
        bytes.extend((value.len() as u16).to_be_bytes());
        bytes.extend(value);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
        bytes
    };
    let block = |kind: u32, body: &[u8]| {
        let total = (body.len() as u32 + 12).to_be_bytes();
        [&kind.to_be_bytes()[..], &total, body, &total].concat()
    };
    let end = option(0, &[]);
    let remark = option(1, SECRET);
    let section = [&[0x1A, 0x2B, 0x3C, 0x4D, 0, 1, 0, 0][..], &[0xFF; 8], &option(3, SECRET), &end].concat();
    let interface =
        [&[0, 1, 0, 0, 0, 0, 0, 0][..], &option(2, SECRET), &option(9, &[9]), &option(11, SECRET), &end]
            .concat();
    let packet = udp(9999, SECRET);
    let padded = packet.len().next_multiple_of(4);
    let ticks = 1_778_308_200_000_000_123_u64;
    let mut data = [
        &[0, 0, 0, 0][..],
        &ticks.to_be_bytes(),
        &[0, 0, 0, packet.len() as u8],
        &[0, 0, 0, packet.len() as u8],
    ]
    .concat();
    data.extend(&packet);
    data.resize(20 + padded, b'S');
    data.extend(
        [remark.clone(), option(2, &[0, 0, 0, 1]), option(4, &[0, 0, 0, 0, 0, 0, 0, 5]), end.clone()]
            .concat(),
    );
    let statistics = [&[0; 12][..], &remark, &option(5, &[0, 0, 0, 0, 0, 0, 0, 3]), &end].concat();
    let secret = [SECRET, &[0; 3]].concat();
    let file = [
        block(0x0A0D_0D0A, &section),
        block(1, &interface),
        block(4, &secret),
        block(6, &data),
        block(10, &secret),
        block(0x0BAD, &secret),
        block(0x77, &secret),
        block(5, &statistics),
    ]
    .concat();
    let copy = scrubbed(&file);
    assert_eq!(copy.len(), file.len());
    assert!(holds(&file, SECRET) && !holds(&copy, SECRET) && !holds(&copy, &SECRET[6..]));
    let dir = tempfile::tempdir().unwrap();
    let read = |bytes: &[u8]| {
        let path = dir.path().join("x");
        fs::write(&path, bytes).unwrap();
        let mut recording = leadsman::recording::open(path.to_str().unwrap()).unwrap();
        assert!(recording.advance().unwrap());
        let time = recording.record().time;
        assert!(!recording.advance().unwrap());
        let summary = recording.summary();
        (time, summary.frames, summary.lost_frames, summary.damaged_bytes)
    };
    assert_eq!(read(&file), read(&copy), "time, frames, losses and damage stay");
    assert_eq!(read(&file).2, 5);
}
