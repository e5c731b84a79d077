//! Reading ahead against reading on.

use super::super::open;
use super::*;
use proptest::prelude::*;
use std::path::Path;

/// Every record as text, and the summary at the end.
fn drain(recording: &mut dyn Recording) -> (Vec<String>, Summary) {
    let mut records = Vec::new();
    while recording.advance().unwrap() {
        let record = recording.record();
        assert!(recording.summary().wires.len() > record.wire, "the wire is named with its first record");
        records.push(format!("{record:?}"));
    }
    assert!(!recording.advance().unwrap(), "the end stays the end");
    let summary = recording.summary().clone();
    (records, summary)
}

/// Whether a file gives the same records and summary, read by a crew and on its own.
fn reads_alike(content: &[u8]) -> bool {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), content).unwrap();
    let path = file.path().to_str().unwrap();
    let ahead = open_ahead(path, || Box::new(sevens), &Crew::of(1));
    match (open(path), ahead) {
        (Ok(mut plain), Ok(mut ahead)) => drain(plain.as_mut()) == drain(&mut ahead),
        (plain, ahead) => plain.is_err() && ahead.is_err(),
    }
}

fn word(value: u32, big: bool) -> [u8; 4] {
    if big { value.to_be_bytes() } else { value.to_le_bytes() }
}

/// A block of a pcapng around `body`, which is as long as whole words are.
fn block(kind: u32, body: &[u8], big: bool) -> Vec<u8> {
    let total = word(body.len() as u32 + 12, big);
    [&word(kind, big)[..], &total, body, &total].concat()
}

fn section(big: bool) -> Vec<u8> {
    block(0x0A0D_0D0A, &[word(0x1A2B_3C4D, big), word(1, big), [0xFF; 4], [0xFF; 4]].concat(), big)
}

/// A block of a pcapng: mostly plain packets of the first interfaces, else interfaces, other packets, broken blocks.
fn some_block(which: u8, (link, resolution): (u8, u8), seed: u64, big: bool) -> Vec<u8> {
    let option = |code: u16, len: u16, value: &[u8]| {
        let halves = if big {
            [code.to_be_bytes(), len.to_be_bytes()]
        } else {
            [code.to_le_bytes(), len.to_le_bytes()]
        };
        [&halves.concat()[..], value].concat()
    };
    let captured = (seed % 40) as u32;
    let words = |words: &[u32]| words.iter().flat_map(|value| word(*value, big)).collect::<Vec<u8>>();
    let packet = |interface: u32, captured_said: u32, options: &[u8]| {
        let mut body =
            words(&[interface, (seed >> 40) as u32, seed as u32, captured_said, captured + u32::from(link)]);
        body.extend(
            [0x80, 1, 2, 3, 8, 0, 0, 0].iter().chain(&seed.to_be_bytes()).cycle().take(captured as usize),
        );
        body.resize(body.len().next_multiple_of(4), 0);
        body.extend(options);
        block(6, &body, big)
    };
    match which {
        0 => {
            let link = [1_u32, 227, 113, 99][usize::from(link)];
            let [low, high] = if big { [link << 16, 0] } else { [link, 0] };
            let unit = [6_u8, 9, 3, 0x8A, 12, 30][usize::from(resolution)];
            block(1, &[&words(&[low | high, 64])[..], &option(9, 1, &[unit, 0, 0, 0])].concat(), big)
        }
        1 => block(3, &words(&[8, 0x0102_0304, 0x0506_0708]), big),
        2 => block(5, &words(&[u32::from(link), 0, seed as u32]), big),
        3 => packet(u32::from(link), captured, &option(4, 8, &seed.to_be_bytes())),
        4 => packet(u32::from(link), captured, &option(4, 200, &[])),
        5 => packet(u32::from(link), captured + (seed >> 60) as u32, &[]),
        6 => {
            let mut bytes = packet(u32::from(link), captured, &[]);
            let end = bytes.len() - 4;
            bytes[end] ^= 4;
            bytes
        }
        7 => section(big),
        8 => block(seed as u32 % 12, &words(&[1, 2, 3]), big),
        _ => packet(u32::from(link % 2), captured, &[]),
    }
}

fn sevens(payloads: Payloads<'_>, digests: &mut Digests) {
    digests.numbers.extend(payloads.map(|_| 7));
}

#[test]
fn the_same_records_as_without_a_crew() {
    let captures = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures");
    for file in ["healthy-network.pcapng.gz", "two-headings.log.gz", "healthy-line.log", "cut-short.pcap"] {
        let path = captures.join(file);
        let path = path.to_str().unwrap();
        let plain = drain(open(path).unwrap().as_mut());
        for helpers in 0..3 {
            let ahead = drain(&mut open_ahead(path, || Box::new(sevens), &Crew::of(helpers)).unwrap());
            assert!(ahead.0.len() > 500 && ahead == plain, "{file}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Plain records go into a batch in one loop, others one by one: damage is met by either.
    #[test]
    fn damage_is_met_alike(
        file in prop::sample::select(&["cut-short.pcap", "switch-outage.pcapng.zst", "lagging-heading.pcap.zst", "healthy-line.log", "second-sounder.txt"][..]),
        bytes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..40),
        length in 0_usize..120_000,
    ) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures").join(file);
        let mut content = std::fs::read(path).unwrap();
        if file.ends_with(".zst") {
            content = zstd::decode_all(content.as_slice()).unwrap();
        }
        content.truncate(length);
        for (at, byte) in bytes.into_iter().filter(|_| length > 0) {
            let at = at.index(content.len());
            content[at] = byte;
        }
        prop_assert!(reads_alike(&content));
    }

    /// Packets that are not copied one by one are met as without it: of all lengths, with those between them that were cut.
    #[test]
    fn packets_of_all_lengths_are_met_alike(
        packets in prop::collection::vec((prop_oneof![40..200_usize, 1400..1600_usize, 1..9000_usize], 0..40_u32), 200..900),
        is_pcapng in any::<bool>(),
    ) {
        let mut content = if is_pcapng {
            let interface = block(1, &[word(1, false), word(0, false)].concat(), false);
            [section(false), interface].concat()
        } else {
            [0xA1B2_C3D4_u32, 0x0004_0002, 0, 0, 0xFFFF, 1].map(u32::to_le_bytes).concat()
        };
        for (number, (len, cut)) in packets.iter().enumerate() {
            let (len, cut) = (*len as u32, if *cut == 0 { 7 } else { 0 });
            let mut packet = vec![number as u8; len as usize];
            if is_pcapng {
                let head = [0, 0, number as u32, len, len + cut];
                packet.resize(packet.len().next_multiple_of(4), 0);
                content.extend(block(6, &[head.map(u32::to_le_bytes).concat(), packet].concat(), false));
            } else {
                content.extend([1_700_000_000, number as u32, len, len + cut].map(u32::to_le_bytes).concat());
                content.extend(packet);
            }
        }
        prop_assert!(reads_alike(&content));
    }

    /// Plain packet blocks go into a batch in one loop: all other blocks between them are met as without it.
    #[test]
    fn blocks_of_all_kinds_are_met_alike(
        blocks in prop::collection::vec((0_u8..12, 0_u8..4, 0_u8..6, any::<u64>()), 0..60),
        big in any::<bool>(),
    ) {
        let mut content = section(big);
        for (which, link, resolution, seed) in blocks {
            content.extend(some_block(which, (link, resolution), seed, big));
        }
        prop_assert!(reads_alike(&content));
    }
}

#[test]
fn a_file_that_cannot_be_opened_says_so() {
    let open = |path| open_ahead(path, || Box::new(sevens), &Crew::of(1));
    assert!(matches!(open("no/such/file"), Err(RecordingError::Io { .. })));
    assert!(matches!(open(env!("CARGO_MANIFEST_DIR")), Err(RecordingError::Unknown { .. })));
}

#[test]
fn nobody_needs_to_read_to_the_end() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/captures/healthy-line.log");
    let length = |payload: Payload<'_>| match payload {
        Payload::Line(line) => line.len() as u64,
        _ => 0,
    };
    let lengths =
        move |payloads: Payloads<'_>, digests: &mut Digests| digests.numbers.extend(payloads.map(length));
    let mut recording = open_ahead(path, || Box::new(lengths), &Crew::of(1)).unwrap();
    assert_eq!(recording.digest(), None);
    assert!(recording.advance().unwrap());
    assert_eq!(recording.digest(), Some(length(recording.record().payload)));
    drop(recording);
}
