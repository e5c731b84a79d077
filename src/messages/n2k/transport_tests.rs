//! Transported messages, whole and damaged.

use super::{Assembler, CanId, Message, NetworkMessage, StreamLosses, network};
use crate::time::Time;

fn run(frames: &[(i64, u32, &[u8])]) -> (Vec<(CanId, Vec<u8>)>, Vec<StreamLosses>) {
    let mut assembler = Assembler::new();
    let mut delivered = Vec::new();
    for (ms, id, data) in frames {
        let sink = &mut |message: Message<'_>| delivered.push((message.id, message.data.to_vec()));
        assembler.push(Some(Time(ms * 1000)), CanId::from_bits(*id), data, sink);
    }
    (delivered, assembler.losses())
}

/// Announcement and packets of a commanded address; rebuilt alike by crate kinavis-j1939 0.1.1.
const BAM: (u32, &[u8]) = (0x1CEC_FF05, &[0x20, 0x09, 0x00, 0x02, 0xFF, 0xD8, 0xFE, 0x00]);
const ONE: (u32, &[u8]) = (0x1CEB_FF05, &[0x01, 0x15, 0xCD, 0xFB, 0xFF, 0x00, 0x91, 0x78]);
const TWO: (u32, &[u8]) = (0x1CEB_FF05, &[0x02, 0xC0, 0x21, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]);

#[test]
fn a_broadcast() {
    let (delivered, losses) = run(&[(0, BAM.0, BAM.1), (50, ONE.0, ONE.1), (100, TWO.0, TWO.1)]);
    let (id, data) = &delivered[0];
    assert_eq!(*id, CanId { priority: 7, pgn: 65_240, source: 5, destination: 255 });
    assert_eq!(data, &[0x15, 0xCD, 0xFB, 0xFF, 0x00, 0x91, 0x78, 0xC0, 0x21]);
    let NetworkMessage::CommandedAddress { name, address } = network(*id, data).unwrap() else { panic!() };
    assert_eq!((name.0, address), (0xC078_9100_FFFB_CD15, 0x21));
    assert_eq!(losses, [StreamLosses { source: 5, pgn: 65_240, complete: 1, incomplete: 0 }]);
}

#[test]
fn damaged_broadcasts_count_once() {
    let incomplete = |frames: &[(i64, u32, &[u8])]| {
        let (delivered, losses) = run(frames);
        assert!(delivered.is_empty());
        losses.iter().map(|stream| stream.incomplete).sum::<u64>()
    };
    let ends: [&[(i64, u32, &[u8])]; 4] = [
        // A packet missing; superseded; too late; aborted.
        &[(0, BAM.0, BAM.1), (50, TWO.0, TWO.1), (900, TWO.0, TWO.1)],
        &[(0, BAM.0, BAM.1), (50, ONE.0, ONE.1), (100, BAM.0, BAM.1)],
        &[(0, BAM.0, BAM.1), (50, ONE.0, ONE.1), (900, TWO.0, TWO.1)],
        &[(0, BAM.0, BAM.1), (50, 0x1CEC_FF05, &[255, 3, 255, 255, 255, 0xD8, 0xFE, 0])],
    ];
    for frames in ends {
        assert_eq!(incomplete(frames), 1);
    }
    // Without an end in sight: open, then overdue. A packet without an announcement is nothing.
    let mut frames = vec![(0, BAM.0, BAM.1), (50, ONE.0, ONE.1)];
    assert_eq!(run(&[(0, TWO.0, TWO.1)]), (vec![], vec![]));
    assert_eq!(incomplete(&frames), 0);
    frames.push((900, ONE.0, ONE.1));
    assert_eq!(incomplete(&frames), 1);
}

#[test]
fn an_addressed_message_with_a_packet_sent_again() {
    // Node 5 to node 9: RTS for 9 bytes of PGN 126998, CTS, packet 1 twice, packet 2, end of message.
    let (delivered, losses) = run(&[
        (0, 0x1CEC_0905, &[16, 9, 0, 2, 255, 0x16, 0xF0, 0x01]),
        (10, 0x1CEC_0509, &[17, 2, 1, 255, 255, 0x16, 0xF0, 0x01]),
        (1000, 0x1CEB_0905, &[1, 2, 1, 2, 1, 5, 1, 0x41]),
        (1010, 0x1CEB_0905, &[1, 2, 1, 2, 1, 5, 1, 0x41]),
        (1020, 0x1CEB_0905, &[2, 0x42, 0x43, 255, 255, 255, 255, 255]),
        (1030, 0x1CEC_0509, &[19, 9, 0, 2, 255, 0x16, 0xF0, 0x01]),
    ]);
    assert_eq!(delivered.len(), 1);
    assert_eq!((delivered[0].0.source, delivered[0].0.destination, delivered[0].0.pgn), (5, 9, 126_998));
    assert_eq!(delivered[0].1, [2, 1, 2, 1, 5, 1, 0x41, 0x42, 0x43]);
    assert_eq!(losses[0].incomplete, 0);
    // An RTS that nobody answers has lost nothing.
    let rts: &[u8] = &[16, 9, 0, 2, 255, 0x16, 0xF0, 0x01];
    let (_, losses) =
        run(&[(0, 0x1CEC_0905, rts), (3000, 0x1CEC_0905, rts), (9000, 0x09F1_1201, &[0xFF; 8])]);
    assert_eq!(losses[0].incomplete, 0);
}

#[test]
fn the_longest_message_and_impossible_ones() {
    let mut frames: Vec<(i64, u32, Vec<u8>)> =
        vec![(0, 0x1CEC_FF05, vec![32, 0xF9, 0x06, 255, 255, 0xD8, 0xFE, 0])];
    for n in 1..=255_u8 {
        frames.push((i64::from(n) * 50, 0x1CEB_FF05, vec![n; 8]));
    }
    let borrowed: Vec<_> = frames.iter().map(|(ms, id, data)| (*ms, *id, data.as_slice())).collect();
    let (delivered, _) = run(&borrowed);
    assert_eq!(delivered[0].1.len(), 1785);
    assert!(delivered[0].1.iter().enumerate().all(|(at, byte)| usize::from(*byte) == at / 7 + 1));
    for bad in [
        [32, 0xFA, 0x06, 255, 255, 0xD8, 0xFE, 0],
        [32, 9, 0, 3, 255, 0xD8, 0xFE, 0],
        [32, 0, 0, 0, 255, 0xD8, 0xFE, 0],
    ] {
        assert_eq!(run(&[(0, BAM.0, &bad), (50, ONE.0, ONE.1), (90, TWO.0, TWO.1)]).1, []);
    }
}
