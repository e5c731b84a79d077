//! Hostile buses and lines: names, talkers and messages without end or without an end of their own.

use crate::examine::{Seen, examine, examine_stream};
use crate::make::*;
use std::io::Read;

fn seen(input: Box<dyn Read + Send>) -> Seen {
    examine_stream(input, None).unwrap()
}

/// Address claims, each of another NAME.
pub(crate) fn many_names(count: u64) -> Seen {
    seen(made(pcap_head(CAN), count, |n, out| {
        let name = (n | 0xC000_0000_0000_0000).to_le_bytes();
        pcap_record(out, n * 300, &can(6, 0xEEFF, (n % 252) as u8, &name));
    }))
}

#[test]
fn names_without_end() {
    let seen = many_names(20_000);
    assert_eq!(seen.summaries[0].frames, 20_000);
    seen.assert_says("devices are listed");
}

#[test]
#[ignore = "the large size"]
fn a_million_names() {
    many_names(1_000_000).assert_says("devices are listed");
}

/// Fast packets that begin and never end (each frame of another sequence, sender and PGN), and transport sessions that are
/// opened and left.
pub(crate) fn unfinished(count: u64) -> Seen {
    seen(made(pcap_head(CAN), count, |n, out| {
        let source = (n % 251) as u8;
        let pgn = 129_029 + (n / 251 % 16) as u32;
        pcap_record(out, n * 600, &can(3, pgn, source, &[(n % 8 * 32) as u8, 223, 1, 2, 3, 4, 5, 6]));
        let announce = [32, 0xF9, 0x06, 255, 255, 0, 0xEE, 1];
        pcap_record(out, n * 600 + 300, &can(7, 0xECFF, source, &announce));
    }))
}

#[test]
fn fast_packets_and_transport_sessions_never_finished() {
    assert_eq!(unfinished(10_000).summaries[0].frames, 20_000);
}

/// Every sender sends every proprietary PGN: more message streams than there is room for, each with pauses of an hour,
/// which take the longest histograms.
pub(crate) fn many_streams(count: u64, rounds: u64) -> Seen {
    seen(made(pcap_head(CAN), count * rounds, move |n, out| {
        let (k, round) = (n % count, n / count);
        let us = round * 3_500_000_000 + k * 300;
        pcap_record(out, us, &can(6, 0xFF00 + (k / 250) as u32, (k % 250) as u8, &[1; 8]));
    }))
}

#[test]
fn message_streams_without_end_with_pauses_of_an_hour() {
    let seen = many_streams(12_000, 3);
    assert_eq!(seen.summaries[0].frames, 36_000);
    seen.assert_says("message streams");
}

#[test]
#[ignore = "the large size"]
fn half_a_million_message_streams() {
    many_streams(60_000, 10).assert_says("message streams");
}

/// Headings of every sender in every reference and instance: tracks, steps and pauses of all of them.
fn many_sources(seconds: u64) -> Seen {
    seen(made(pcap_head(CAN), seconds * 10 * 250, |n, out| {
        let (source, k) = ((n % 250) as u8, n / 250);
        let rad = (k.wrapping_mul(7919 + n) % 62_831) as u16;
        let [low, high] = rad.to_le_bytes();
        pcap_record(
            out,
            k * 100_000 + n % 250 * 300,
            &can(2, 127_250, source, &[0, low, high, 0xFF, 0x7F, 0xFF, 0x7F, 0xFC | (k % 2) as u8]),
        );
        let [low, high] = (k as u16).to_le_bytes();
        pcap_record(
            out,
            k * 100_000 + n % 250 * 300,
            &can(6, 127_508, source, &[k as u8, low, high, 0, 0, 0, 0, 0]),
        );
    }))
}

#[test]
fn sources_without_end() {
    let seen = many_sources(60);
    seen.assert_says("sources are compared");
    let told = seen
        .report
        .findings
        .iter()
        .flat_map(|f| &f.evidence)
        .filter(|e| e.contains("are left out of the report"));
    assert!(told.count() > 0, "pairs of sources without end are not all told");
}

#[test]
#[ignore = "the large size"]
fn sources_without_end_for_ten_minutes() {
    many_sources(600).assert_says("sources");
}

#[test]
fn error_frames_without_end() {
    let error = [&0x2000_0004_u32.to_be_bytes()[..], &[8, 0, 0, 0, 0, 4, 0, 0, 0, 0, 200, 200]].concat();
    let seen = examine(&pcap(CAN, vec![error; 20_000])).unwrap();
    assert_eq!(seen.summaries[0].frames, 20_000);
}

#[test]
fn can_frames_that_lie_about_their_length() {
    let frame = |len: u8| [&0x89F8_0101_u32.to_be_bytes()[..], &[len, 0, 0, 0, 1, 2, 3]].concat();
    let seen = examine(&pcap(CAN, (0..=255).map(frame))).unwrap();
    assert_eq!(seen.summaries[0].frames, 256);
}

/// Sentences of talkers that nobody sold, proprietary ones among them: each gives a device or, past the bound, none.
pub(crate) fn many_talkers(count: u64) -> Seen {
    let letter = |n: u64| char::from(b'A' + (n % 26) as u8);
    seen(made(Vec::new(), count, move |n, out| {
        let maker = [letter(n), letter(n / 26), letter(n / 676)].iter().collect::<String>();
        let talker = format!("{}{}", letter(n), letter(n / 26));
        let formatter = [letter(n / 676), letter(n / 17_576), 'Q'].iter().collect::<String>();
        out.extend(sentence(&format!("P{maker},{n}")).bytes());
        out.extend(sentence(&format!("{talker}{formatter},1,2")).bytes());
    }))
}

#[test]
fn talkers_without_end() {
    let seen = many_talkers(20_000);
    assert_eq!(seen.summaries[0].frames, 40_000);
    seen.assert_says("devices are listed");
}

#[test]
#[ignore = "the large size"]
fn a_million_talkers() {
    many_talkers(1_000_000).assert_says("devices are listed");
}

/// One line without an end, between two sentences.
pub(crate) fn endless_line(bytes: u64) -> Seen {
    let first = sentence("SDDPT,7.4,0.4,100").repeat(5).into_bytes();
    let middle = made(first, bytes / 64, |_, out| out.extend([b'x'; 64]));
    let last = format!("\r\n{}", sentence("SDDPT,7.5,0.4,100").repeat(5));
    seen(Box::new(middle.chain(std::io::Cursor::new(last.into_bytes()))))
}

#[test]
fn a_line_without_end() {
    let seen = endless_line(4 << 20);
    // The overlong line may count as one that is damaged, yet no sentence around it is lost.
    assert!(seen.report.devices.iter().any(|d| d.frames == 10), "{:?}", seen.report.devices);
    assert!(seen.heap < 8 << 20, "{}", seen.heap);
}

#[test]
#[ignore = "the large size"]
fn a_line_of_a_gigabyte() {
    assert!(endless_line(1 << 30).heap < 8 << 20);
}

/// A log of CAN frames with a bus of its own name for every frame.
pub(crate) fn many_buses(count: u64) -> Seen {
    seen(made(Vec::new(), count, |n, out| {
        let line = format!(
            "({}.{:06}) can{} 09F80101#0102030405060708\n",
            1_767_225_600 + n / 1000,
            n % 1000,
            n % 70_000
        );
        out.extend(line.bytes());
    }))
}

#[test]
fn buses_without_end() {
    let seen = many_buses(20_000);
    assert_eq!(seen.summaries[0].frames, 20_000);
    seen.assert_says("wires");
}

#[test]
fn the_boats_clock_leaps_from_year_to_year() {
    let line = |n: u64| {
        let date = [("010100", "000000"), ("311299", "235959"), ("000000", "999999"), ("290228", "120000")]
            [n as usize % 4];
        sentence(&format!("GPRMC,{}.00,A,5400.0,N,01000.0,E,5.0,90.0,{},,", date.1, date.0))
    };
    let text: String = (0..4000).map(line).collect();
    assert_eq!(examine(text.as_bytes()).unwrap().summaries[0].frames, 4000);
}

#[test]
fn numbers_that_are_none() {
    let fields = ["1e999", "-1e999", "nan", "inf", "99999999999999999999999999", "0x10", "-", ".", "٣", ""];
    let text: String = fields
        .iter()
        .flat_map(|f| {
            ["DPT", "HDT", "VHW", "MWV", "RMC", "GGA", "XDR"]
                .map(|s| sentence(&format!("II{s},{f},{f},{f},{f},{f},{f}")))
        })
        .collect::<String>()
        .repeat(20);
    assert!(examine(text.as_bytes()).unwrap().summaries[0].frames > 1000);
}

/// All of it at once: networks, buses, devices, streams, sources and tracks, each past its bound, in one file.
#[test]
#[ignore = "takes long: see docs/robustness.md"]
fn everything_at_its_bound_at_once() {
    const NETWORKS: u32 = 40;
    const BUSES: u32 = 70;
    let mut head = section();
    (0..NETWORKS).for_each(|_| head.extend(interface(1, 0, &[])));
    (0..BUSES).for_each(|_| head.extend(interface(227, 0, &[])));
    let seen = seen(made(head, 700_000, |n, out| {
        let us = START_US + n / 50_000 * 3_000_000_000 + n * 40;
        let wire = (n / 3 % u64::from(NETWORKS)) as u32;
        let (from, to) = (0x0A00_0000 + (n % 3000) as u32, 0x0A00_1000 + (n / 7 % 3000) as u32);
        let text = sentence("SDDPT,7.4,0.4,100").repeat(60);
        let packets = [
            tcp((from, to), (1024 + (n % 50_000) as u16, 10110), 9000, 16, text.as_bytes()),
            tcp((from, to), (1024 + (n % 50_000) as u16, 10110), 19_000, 16, text.as_bytes()),
            ipv4(from, to, 17, (n as u16, 64_000, true), &[7; 64]),
            ipv4(from, to, 17, (0, 0, false), &udp(n as u16, 10110, text.as_bytes())),
        ];
        for packet in &packets {
            out.extend(enhanced(wire, us, &ethernet(n % 60, mac(1000 + n % 90), 0x0800, packet)));
        }
        let bus = NETWORKS + (n % u64::from(BUSES)) as u32;
        let (source, value) = ((n / 70 % 250) as u8, (n.wrapping_mul(7919) % 62_000) as u16);
        let [low, high] = value.to_le_bytes();
        let frames = [
            can(2, 127_250, source, &[0, low, high, 0xFF, 0x7F, 0xFF, 0x7F, 0xFD]),
            can(2, 129_025, source, &[low, high, low, 0x20, low, high, 0, 0x10]),
            can(6, 0xFF00 + (n % 200) as u32, source, &[1; 8]),
            can(3, 129_029 + (n % 16) as u32, source, &[(n % 8 * 32) as u8, 223, 1, 2, 3, 4, 5, 6]),
            can(7, 0xECFF, source, &[32, 0xF9, 6, 255, 255, 0, 0xEE, 1]),
            can(6, 0xEAFF & 0xEA00 | u32::from(source), 1, &[low, high, 1]),
        ];
        for frame in &frames {
            out.extend(enhanced(bus, us, frame));
        }
    }));
    eprintln!("{} KiB, {:?}: {:#?}", seen.heap >> 10, seen.time, seen.report.recordings[0].problems);
}
