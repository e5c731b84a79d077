//! What holds for every file: read sizes, prefixes, both forms of CAN frames, no panic.

use super::files::*;
use leadsman::recording::{CanFrame, CanKind, open_reader};
use proptest::prelude::*;

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
