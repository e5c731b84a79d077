//! pcap, pcapng and compressed files: every form, damage, counters.

use super::files::*;
use leadsman::recording::{CanFrame, CanKind, LinkType, WireKind};

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

/// Damage ends in the time of the record behind it: a time that neither the record before the damage nor the next one goes with is
/// part of it. Where the clock was set meanwhile, the next one does.
#[test]
fn a_time_that_the_damage_before_it_hit_is_not_believed() {
    for step in [100_000_000, -100_000_000] {
        let third = 24 + packets()[..3].iter().map(|packet| 16 + packet.1.len()).sum::<usize>();
        let damaged = |packets: &[(i64, Vec<u8>)]| {
            let mut bytes = pcap(PLAIN, packets);
            bytes.splice(third..third, [0xA5; 33]);
            read(&bytes)
        };
        let mut hit = packets();
        hit[3].0 += step;
        let (records, summary) = damaged(&hit);
        let mut want = wanted(&packets());
        want.remove(3);
        assert_eq!((records, summary.damaged_bytes), (want, 33 + 16 + hit[3].1.len() as u64));
        let mut set = packets();
        set[3..].iter_mut().for_each(|packet| packet.0 += step);
        let (records, summary) = damaged(&set);
        assert_eq!((records, summary.damaged_bytes), (wanted(&set), 33));
    }
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

#[test]
fn cooked_captures_hold_packets_and_can_frames() {
    // Id 0x09F80102 with bit 31, one data byte; the identifier in host (little endian) order.
    let can = [2, 1, 0xF8, 0x89, 1, 0, 0, 0, 0xAA];
    let ip = [0x45; 20];
    let frame = Owned::Can(CanFrame::new(0x09F8_0102, CanKind::Extended, &[0xAA]));
    // Version 1: type 2, hardware type 2, address length 2, address 8, protocol 2. Version 2: protocol first, 20 bytes.
    let first = |protocol: u16| [&[0; 14][..], &protocol.to_be_bytes()].concat();
    let second = |protocol: u16| [&protocol.to_be_bytes()[..], &[0; 18]].concat();
    for (link, kind, header) in [
        (113, LinkType::LinuxCooked, &first as &dyn Fn(u16) -> Vec<u8>),
        (276, LinkType::LinuxCooked2, &second),
    ] {
        let cooked = |protocol, rest: &[u8]| [&header(protocol)[..], rest].concat();
        let all = [(1, cooked(0x0800, &ip)), (2, cooked(0x000C, &can)), (3, cooked(0x000C, &can[..8]))];
        let (records, summary) = read(&pcap(Form { link, ..PLAIN }, &all));
        let packet = Owned::Packet(kind, all[0].1.clone(), all[0].1.len() as u32);
        assert_eq!(records, [(Some(1), 0, packet), (Some(2), 1, frame.clone()), (Some(3), 1, Owned::Other)]);
        let kinds: Vec<_> = summary.wires.iter().map(|wire| wire.kind).collect();
        assert_eq!(kinds, [WireKind::Ethernet, WireKind::Can]);
        assert_eq!(summary.problems, ["1 packet is too short for a CAN frame"]);
    }
}
