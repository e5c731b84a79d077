//! Recordings as a whole: every container, cut anywhere, damaged, compressed, read in pieces of any size.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)]

use leadsman::recording::{
    CanFrame, CanKind, LinkType, Payload, Recording, RecordingError, Summary, TimeBase, WireKind, open_reader,
};
use proptest::prelude::*;
use std::io::{Cursor, Read, Write};

/// A record that outlives its recording.
#[derive(Debug, Clone, PartialEq)]
enum Owned {
    Packet(LinkType, Vec<u8>, u32),
    Can(CanFrame),
    Line(Vec<u8>),
    Other,
}

type Records = Vec<(Option<i64>, usize, Owned)>;

/// Gives pieces of the given sizes, round and round.
struct Pieces(Vec<u8>, usize, Vec<usize>, usize);

impl Read for Pieces {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let piece = self.2[self.3 % self.2.len()].max(1);
        self.3 += 1;
        let n = piece.min(out.len()).min(self.0.len() - self.1);
        out[..n].copy_from_slice(&self.0[self.1..self.1 + n]);
        self.1 += n;
        Ok(n)
    }
}

fn drain(mut recording: Box<dyn Recording>) -> (Records, Summary) {
    let mut records = Vec::new();
    while recording.advance().unwrap() {
        let record = recording.record();
        let owned = match record.payload {
            Payload::Packet { link, bytes, original } => Owned::Packet(link, bytes.to_vec(), original),
            Payload::Can(frame) => Owned::Can(frame),
            Payload::Line(line) => Owned::Line(line.to_vec()),
            Payload::Other => Owned::Other,
        };
        records.push((record.time.map(|time| time.0), record.wire, owned));
    }
    assert!(!recording.advance().unwrap(), "the end stays the end");
    let summary = recording.summary().clone();
    assert_eq!(summary.frames, records.len() as u64);
    (records, summary)
}

fn try_read(bytes: &[u8]) -> Result<(Records, Summary), RecordingError> {
    let input = Box::new(Cursor::new(bytes.to_vec()));
    open_reader("x", Some(bytes.len() as u64), input).map(drain)
}

fn read(bytes: &[u8]) -> (Records, Summary) {
    try_read(bytes).unwrap()
}

/// A pcap file's form.
#[derive(Debug, Clone, Copy)]
struct Form {
    big: bool,
    nanos: bool,
    modified: bool,
    link: u32,
}

fn word(value: u32, big: bool) -> [u8; 4] {
    if big { value.to_be_bytes() } else { value.to_le_bytes() }
}

fn half(value: u16, big: bool) -> [u8; 2] {
    if big { value.to_be_bytes() } else { value.to_le_bytes() }
}

/// A pcap file of packets with times in microseconds.
fn pcap(form: Form, packets: &[(i64, Vec<u8>)]) -> Vec<u8> {
    let big = form.big;
    let magic = match (form.nanos, form.modified) {
        (_, true) => 0xA1B2_CD34,
        (true, _) => 0xA1B2_3C4D,
        _ => 0xA1B2_C3D4,
    };
    let mut out = word(magic, big).to_vec();
    out.extend([half(2, big), half(4, big)].concat());
    out.extend([word(0, big), word(0, big), word(65_535, big), word(form.link, big)].concat());
    for (time, packet) in packets {
        let (seconds, micros) = ((time / 1_000_000) as u32, (time % 1_000_000) as u32);
        let fraction = if form.nanos { micros * 1000 + 999 } else { micros };
        let len = packet.len() as u32;
        out.extend([word(seconds, big), word(fraction, big), word(len, big), word(len, big)].concat());
        if form.modified {
            out.extend([0; 8]);
        }
        out.extend(packet);
    }
    out
}

/// A pcapng block.
fn block(kind: u32, body: &[u8], big: bool) -> Vec<u8> {
    let padded = body.len().next_multiple_of(4);
    let total = word(padded as u32 + 12, big);
    let mut out = [word(kind, big), total].concat();
    out.extend(body);
    out.resize(8 + padded, 0);
    out.extend(total);
    out
}

fn section(big: bool) -> Vec<u8> {
    let body = [&word(0x1A2B_3C4D, big)[..], &half(1, big), &half(0, big), &[0xFF; 8]].concat();
    block(0x0A0D_0D0A, &body, big)
}

fn option(code: u16, value: &[u8], big: bool) -> Vec<u8> {
    let mut out = [half(code, big), half(value.len() as u16, big)].concat();
    out.extend(value);
    out.resize(out.len().next_multiple_of(4), 0);
    out
}

fn interface(link: u16, snaplen: u32, options: &[u8], big: bool) -> Vec<u8> {
    let body = [&half(link, big)[..], &[0, 0], &word(snaplen, big), options, &[0; 4]].concat();
    block(1, &body, big)
}

fn enhanced(number: u32, ticks: u64, packet: &[u8], original: u32, options: &[u8], big: bool) -> Vec<u8> {
    let mut body = [
        word(number, big),
        word((ticks >> 32) as u32, big),
        word(ticks as u32, big),
        word(packet.len() as u32, big),
        word(original, big),
    ]
    .concat();
    body.extend(packet);
    body.resize(body.len().next_multiple_of(4), 0);
    body.extend(options);
    block(6, &body, big)
}

/// Ten Ethernet packets a second apart from 2026-01-01 (1767225600) on, of growing length and varied content.
fn packets() -> Vec<(i64, Vec<u8>)> {
    let packet = |n: usize| (0..40 + n).map(|k| (k * 37 + n * 11 + 1) as u8).collect();
    (0..10).map(|n| ((1_767_225_600 + n as i64) * 1_000_000 + 250, packet(n))).collect()
}

const PLAIN: Form = Form { big: false, nanos: false, modified: false, link: 1 };

fn wanted(packets: &[(i64, Vec<u8>)]) -> Records {
    let owned = |bytes: &Vec<u8>| Owned::Packet(LinkType::Ethernet, bytes.clone(), bytes.len() as u32);
    packets.iter().map(|(time, bytes)| (Some(*time), 0, owned(bytes))).collect()
}

#[test]
fn every_form_of_pcap() {
    let packets = packets();
    for (big, nanos, modified) in [
        (false, false, false),
        (true, false, false),
        (false, true, false),
        (true, true, false),
        (false, false, true),
        (true, false, true),
    ] {
        let (records, summary) = read(&pcap(Form { big, nanos, modified, link: 1 }, &packets));
        assert_eq!(records, wanted(&packets));
        assert_eq!((summary.container, summary.problems.len()), ("pcap", 0), "{:?}", summary.problems);
        assert_eq!(summary.wires[0].kind, WireKind::Ethernet);
    }
}

#[test]
fn the_frame_check_sequence_is_no_part_of_the_packet() {
    // Bit 26: the length is given; 2 in bits 28 to 31: four bytes.
    let (records, _) = read(&pcap(Form { link: 0x2400_0001, ..PLAIN }, &packets()));
    let all = packets();
    let Owned::Packet(_, bytes, original) = &records[3].2 else { panic!() };
    assert_eq!((&bytes[..], *original as usize), (&all[3].1[..all[3].1.len() - 4], all[3].1.len() - 4));
}

#[test]
fn an_unknown_link_type_is_counted_and_named() {
    let (records, summary) = read(&pcap(Form { link: 119, ..PLAIN }, &packets()));
    assert!(records.iter().all(|(time, _, owned)| time.is_some() && *owned == Owned::Other));
    assert_eq!(
        summary.problems,
        ["link type 119 is not read here; 10 packets were counted and not looked into"]
    );
}

#[test]
fn damage_in_a_pcap_costs_only_what_it_hits() {
    let packets = packets();
    let whole = pcap(PLAIN, &packets);
    let third = 24 + (0..3).map(|n| 16 + packets[n].1.len()).sum::<usize>();
    // Garbage between two records.
    for garbage in [vec![0; 100], vec![0xA5; 33], (0..200).collect::<Vec<u8>>()] {
        let mut bytes = whole.clone();
        bytes.splice(third..third, garbage.iter().copied());
        let (records, summary) = read(&bytes);
        assert_eq!(records, wanted(&packets), "nothing of the packets was hit");
        assert_eq!((summary.damaged_bytes, summary.truncated), (garbage.len() as u64, false));
        assert!(summary.problems[0].contains(&format!("at byte {third}")), "{:?}", summary.problems);
    }
    // A captured length that lies: that record is lost, the next is found within it or behind it.
    for lie in [20u32, 60, 5000, 0xFFFF_FFFF] {
        let mut bytes = whole.clone();
        bytes[third + 8..third + 12].copy_from_slice(&lie.to_le_bytes());
        let (records, summary) = read(&bytes);
        let mut want = wanted(&packets);
        let lost = want.remove(3);
        let got: Records = records.iter().filter(|record| record.0 != lost.0).cloned().collect();
        assert_eq!(got, want, "length {lie}");
        assert!(summary.damaged_bytes > 0 && !summary.truncated);
    }
}

#[test]
fn a_clock_that_is_set_is_no_damage_and_a_stray_time_is() {
    let mut set = packets();
    for packet in &mut set[..5] {
        packet.0 -= 1_767_000_000_000_000;
    }
    let (records, summary) = read(&pcap(PLAIN, &set));
    assert_eq!((records, summary.damaged_bytes), (wanted(&set), 0));
    let mut stray = packets();
    stray[4].0 += 10 * 86_400_000_000;
    let (records, summary) = read(&pcap(PLAIN, &stray));
    assert_eq!((records.len(), summary.damaged_bytes), (9, 16 + 44));
}

#[test]
fn pcapng_with_sections_orders_units_and_counters() {
    let mut bytes = section(false);
    // Interface 0 in nanoseconds, FCS of 4 bytes; interface 1 in 2^-10 s with an offset of 1000 s.
    let options = [option(2, b"eth0", false), option(9, &[9], false), option(13, &[4], false)].concat();
    bytes.extend(interface(1, 0, &options, false));
    let options =
        [option(2, b"can0", false), option(9, &[0x8A], false), option(14, &1000i64.to_le_bytes(), false)];
    bytes.extend(interface(227, 0, &options.concat(), false));
    let drops = option(4, &7u64.to_le_bytes(), false);
    bytes.extend(enhanced(0, 5_000_001_999, b"abcdefghijklmnFCS!", 18, &drops, false));
    let can = [0x89, 0xF8, 1, 2, 2, 0, 0, 0, 0xAA, 0xBB];
    bytes.extend(enhanced(1, 3 << 9, &can, 10, &[], false));
    bytes.extend(block(0x7777, b"unknown blocks are skipped", false));
    let statistics = [
        &word(0, false)[..],
        &[0; 8],
        &option(5, &4u64.to_le_bytes(), false),
        &option(7, &5u64.to_le_bytes(), false),
        &[0; 4],
    ];
    bytes.extend(block(5, &statistics.concat(), false));
    // A second section in the other order: the same eth0, then a simple and an obsolete packet.
    bytes.extend(section(true));
    bytes.extend(interface(1, 5, &option(2, b"eth0", true), true));
    bytes.extend(block(3, &[&word(9, true)[..], b"simple"].concat(), true));
    let obsolete = [
        &half(0, true)[..],
        &half(3, true),
        &word(0, true),
        &word(6_000_000, true),
        &word(3, true),
        &word(9, true),
        b"old",
    ];
    bytes.extend(block(2, &obsolete.concat(), true));

    let (records, summary) = read(&bytes);
    let packet = |bytes: &[u8], original| Owned::Packet(LinkType::Ethernet, bytes.to_vec(), original);
    let frame = CanFrame::new(0x09F8_0102, CanKind::Extended, &[0xAA, 0xBB]);
    let want = vec![
        (Some(5_000_001), 0, packet(b"abcdefghijklmn", 14)),
        (Some(1_001_500_000), 1, Owned::Can(frame)),
        (None, 0, packet(b"simpl", 9)),
        (Some(6_000_000), 0, packet(b"old", 9)),
    ];
    assert_eq!(records, want);
    let names: Vec<_> = summary.wires.iter().map(|wire| (wire.kind, wire.name.as_deref())).collect();
    assert_eq!(names, [(WireKind::Ethernet, Some("eth0")), (WireKind::Can, Some("can0"))]);
    // Interface 0: packets say 7, statistics 9; in the second section packets say 3.
    assert_eq!(summary.lost_frames, 12, "{:?}", summary.problems);
    assert_eq!(summary.damaged_bytes, 0);
}

/// The packets as pcapng, one interface.
fn pcapng(packets: &[(i64, Vec<u8>)]) -> Vec<u8> {
    let mut bytes = section(false);
    bytes.extend(interface(1, 0, &[], false));
    for (time, packet) in packets {
        bytes.extend(enhanced(0, *time as u64, packet, packet.len() as u32, &[], false));
    }
    bytes
}

#[test]
fn damage_in_a_pcapng_costs_only_what_it_hits() {
    let packets = packets();
    let whole = pcapng(&packets);
    assert_eq!(read(&whole).0, wanted(&packets));
    let third = pcapng(&packets[..3]).len();
    let mut bytes = whole.clone();
    bytes.splice(third..third, [0xEE; 77]);
    let (records, summary) = read(&bytes);
    assert_eq!((records, summary.damaged_bytes), (wanted(&packets), 77));
    // A length that lies costs that block.
    for lie in [8u32, 40, 1000, 70_000, 0x7FFF_FFFC] {
        let mut bytes = whole.clone();
        bytes[third + 4..third + 8].copy_from_slice(&lie.to_le_bytes());
        let (records, summary) = read(&bytes);
        let mut want = wanted(&packets);
        want.remove(3);
        assert_eq!(records, want, "length {lie}");
        assert!(summary.damaged_bytes > 0 && !summary.truncated, "{summary:?}");
    }
    // A packet of an interface that nobody described.
    let mut bytes = whole;
    bytes.splice(third..third, enhanced(9, 1, b"x", 1, &[], false));
    assert_eq!(read(&bytes).0, wanted(&packets));
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::stream::encode_all(bytes, 1).unwrap()
}

#[test]
fn compressed_recordings() {
    let packets = packets();
    let plain = pcap(PLAIN, &packets);
    let two_members = [gzip(&plain[..100]), gzip(&plain[100..])].concat();
    let two_frames = [zstd(&plain[..100]), zstd(&plain[100..])].concat();
    for (bytes, name) in [
        (gzip(&plain), "gzip"),
        (zstd(&plain), "zstd"),
        (gzip(&zstd(&plain)), "gzip"),
        (two_members, "gzip"),
        (two_frames, "zstd"),
    ] {
        let (records, summary) = read(&bytes);
        assert_eq!(records, wanted(&packets));
        assert_eq!((summary.compression, summary.bytes), (Some(name), bytes.len() as u64));
        assert!(!summary.truncated);
    }
    let deep = try_read(&gzip(&gzip(&gzip(&plain)))).err().unwrap().to_string();
    assert!(deep.contains("more than twice"), "{deep}");
}

#[test]
fn a_cut_or_broken_stream_gives_what_was_readable() {
    // Noise from a small generator, so that the streams do not shrink to nothing.
    let mut seed = 1u32;
    let mut noise = |n| {
        let next = |_| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 24) as u8
        };
        (0..n).map(next).collect::<Vec<u8>>()
    };
    let packets: Vec<_> = (0..2000).map(|n| (1_767_225_600_000_000 + n * 1000, noise(300))).collect();
    let plain = pcap(PLAIN, &packets);
    for packed in [gzip(&plain), zstd(&plain)] {
        let (records, summary) = read(&packed[..packed.len() / 2]);
        assert!(records.len() > 500 && wanted(&packets).starts_with(&records), "{}", records.len());
        assert!(summary.truncated && summary.problems.iter().any(|text| text.contains("cut off")));
        let mut broken = packed.clone();
        let middle = broken.len() / 2;
        broken[middle..middle + 2000].fill(0xFF);
        let (records, summary) = read(&broken);
        assert!(records.len() > 500, "{}", records.len());
        assert!(!summary.problems.is_empty(), "a broken stream is named");
    }
}

fn refusal(bytes: &[u8]) -> String {
    match try_read(bytes) {
        Err(error @ RecordingError::Unknown { .. }) => error.to_string(),
        other => panic!("{other:?}"),
    }
}

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

/// A CAN frame as a SocketCAN packet and as a line of a SocketCAN log.
fn in_both_forms(frame: &CanFrame, time: i64) -> (Vec<u8>, String) {
    let (flags, id) = match frame.kind {
        CanKind::Standard => (0u32, format!("{:03X}", frame.id)),
        CanKind::Extended => (0x8000_0000, format!("{:08X}", frame.id)),
        CanKind::Remote => (0xC000_0000, format!("{:08X}", frame.id)),
        CanKind::Error => (0x2000_0000, format!("{:08X}", frame.id | 0x2000_0000)),
    };
    let fd = if frame.fd { 4 } else { 0 };
    let mut packet = (frame.id | flags).to_be_bytes().to_vec();
    packet.extend([frame.len, fd, 0, 0]);
    packet.extend(frame.data());
    let data: String = frame.data().iter().map(|byte| format!("{byte:02X}")).collect();
    let mark = if frame.fd {
        "##1"
    } else if frame.kind == CanKind::Remote {
        "#R"
    } else {
        "#"
    };
    (packet, format!("({}.{:06}) can0 {id}{mark}{data}\n", time / 1_000_000, time % 1_000_000))
}

fn any_frame() -> impl Strategy<Value = CanFrame> {
    (any::<u32>(), 0..5u8, prop::collection::vec(any::<u8>(), 0..=8)).prop_map(
        |(id, kind, data)| match kind {
            0 => CanFrame::new(id & 0x7FF, CanKind::Standard, &data),
            1 => CanFrame::new(id & 0x1FFF_FFFF, CanKind::Remote, &[]),
            2 => CanFrame::new(id & 0x1FFF_FFFF, CanKind::Error, &data),
            3 => CanFrame { fd: true, ..CanFrame::new(id & 0x1FFF_FFFF, CanKind::Extended, &data.repeat(3)) },
            _ => CanFrame::new(id & 0x1FFF_FFFF, CanKind::Extended, &data),
        },
    )
}

/// One valid file of every kind.
fn samples() -> Vec<Vec<u8>> {
    let frame = |n: u8| CanFrame::new(0x09F8_0100 + u32::from(n), CanKind::Extended, &[n; 8]);
    let can: Vec<_> =
        (0..10).map(|n| in_both_forms(&frame(n), 1_767_225_600_000_000 + i64::from(n))).collect();
    let can_packets: Vec<_> = can.iter().map(|(packet, _)| (1_767_225_600_000_000, packet.clone())).collect();
    vec![
        pcap(PLAIN, &packets()),
        pcap(Form { big: true, nanos: true, modified: false, link: 227 }, &can_packets),
        pcapng(&packets()),
        can.iter().map(|(_, line)| line.as_str()).collect::<String>().into_bytes(),
        b"2026-01-01T12:34:56.5Z $SDDPT,7.4,0.4,100*4D\r\n".repeat(5),
        gzip(&pcapng(&packets())),
        zstd(&pcap(PLAIN, &packets())),
    ]
}

#[test]
fn every_prefix_gives_a_prefix_of_the_records() {
    for bytes in samples() {
        let (all, _) = read(&bytes);
        for n in 0..bytes.len() {
            let Ok((mut records, summary)) = try_read(&bytes[..n]) else { continue };
            // The last sentence of a cut file is counted and given as far as it goes: its checksum tells.
            if let (Some((_, _, Owned::Line(cut))), Some((_, _, Owned::Line(whole)))) =
                (records.last(), all.get(records.len().saturating_sub(1)))
            {
                assert!(whole.starts_with(cut));
                records.pop();
            }
            // A first CAN line that is cut between two bytes has no other to compare with.
            let alone = records.len() == 1 && summary.container == "can-log" && !bytes[..n].ends_with(b"\n");
            if alone {
                continue;
            }
            assert!(all.starts_with(&records), "{n} of {}: {summary:?}", bytes.len());
            assert_eq!(summary.damaged_bytes, 0, "{n} of {}: {summary:?}", bytes.len());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_sizes_of_reads_do_not_matter(sizes in prop::collection::vec(1usize..200, 1..20)) {
        for bytes in samples() {
            let whole = read(&bytes);
            let size = Some(bytes.len() as u64);
            let pieces = drain(open_reader("x", size, Box::new(Pieces(bytes, 0, sizes.clone(), 0))).unwrap());
            prop_assert_eq!(pieces, whole);
        }
    }

    #[test]
    fn binary_and_text_say_the_same(frames in prop::collection::vec((any_frame(), 1i64..4_000_000_000_000_000), 1..30)) {
        // Steps of more than a day back and forth are another test's matter.
        let times: Vec<i64> = frames.iter().map(|(_, time)| 1_767_225_600_000_000 + time % 80_000_000_000).collect();
        let both: Vec<_> = frames.iter().zip(&times).map(|((frame, _), &time)| in_both_forms(frame, time)).collect();
        let packets: Vec<_> = both.iter().zip(&times).map(|((packet, _), &time)| (time, packet.clone())).collect();
        let text: String = both.iter().map(|(_, line)| line.as_str()).collect();
        let binary = read(&pcap(Form { link: 227, ..PLAIN }, &packets)).0;
        prop_assert_eq!(&binary, &read(text.as_bytes()).0);
        for ((record, (frame, _)), time) in binary.iter().zip(&frames).zip(&times) {
            prop_assert_eq!(record, &(Some(*time), 0, Owned::Can(*frame)));
        }
    }

    #[test]
    fn nothing_panics_on_damaged_files(
        which in 0usize..7,
        hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..30),
    ) {
        let mut bytes = samples().swap_remove(which);
        for (at, value) in hits {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        let _ = try_read(&bytes);
    }

    #[test]
    fn nothing_panics_on_noise(head in 0usize..7, noise in prop::collection::vec(any::<u8>(), 0..3000)) {
        let mut bytes = samples().swap_remove(head);
        bytes.truncate(40);
        bytes.extend(noise);
        let _ = try_read(&bytes);
    }
}
