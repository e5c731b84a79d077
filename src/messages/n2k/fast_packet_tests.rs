//! Losses of fast packets, frame by frame.

use super::{AT_ONCE, Assembler, CanId, Message, StreamLosses};
use crate::time::Time;
use proptest::prelude::*;

/// GNSS position data of source 0x23.
const GNSS: CanId = CanId { priority: 3, pgn: 129_029, source: 0x23, destination: 255 };

/// Encodes a fast packet (NMEA 2000 main text): what the assembler is to undo.
fn encode(sequence: u8, payload: &[u8]) -> Vec<Vec<u8>> {
    let mut first = vec![sequence << 5, payload.len() as u8];
    first.extend(&payload[..payload.len().min(6)]);
    let mut frames = vec![first];
    for (n, chunk) in payload.get(6..).unwrap_or_default().chunks(7).enumerate() {
        frames.push([&[sequence << 5 | (n as u8 + 1)], chunk].concat());
    }
    frames.iter_mut().for_each(|frame| frame.resize(8, 0xFF));
    frames
}

/// An assembler with a clock and a list of what it delivered.
#[derive(Default)]
struct Bus {
    assembler: Assembler,
    now_us: i64,
    delivered: Vec<(CanId, Vec<u8>)>,
}

impl Bus {
    fn send(&mut self, id: CanId, frames: &[Vec<u8>]) {
        for frame in frames {
            self.now_us += 600;
            let delivered = &mut self.delivered;
            let sink = &mut |message: Message<'_>| delivered.push((message.id, message.data.to_vec()));
            self.assembler.push(Some(Time(self.now_us)), id, frame, sink);
        }
    }

    /// Lets time pass, ended by a frame of somebody else.
    fn wait(&mut self, us: i64) {
        self.now_us += us;
        self.send(CanId { pgn: 127_250, source: 1, ..GNSS }, &[vec![0xFF; 8]]);
        self.delivered.pop();
    }

    /// Complete and incomplete messages of [`GNSS`].
    fn account(&self) -> (u64, u64) {
        let losses = self.assembler.losses();
        let found = losses.iter().find(|stream| (stream.source, stream.pgn) == (GNSS.source, GNSS.pgn));
        found.map_or((0, 0), |stream| (stream.complete, stream.incomplete))
    }
}

/// Without frame `n` of the given.
fn without(frames: &[Vec<u8>], n: usize) -> Vec<Vec<u8>> {
    frames.iter().enumerate().filter(|(at, _)| *at != n).map(|(_, frame)| frame.clone()).collect()
}

#[test]
fn each_missing_frame_is_one_damaged_message() {
    let payload: Vec<u8> = (0..43).collect();
    for missing in 0..7 {
        // Whole, damaged, whole: with a stepping counter, and with one that never steps.
        for counters in [[1, 2, 3], [5, 5, 5], [6, 7, 0]] {
            let mut bus = Bus::default();
            bus.send(GNSS, &encode(counters[0], &payload));
            bus.wait(200_000);
            bus.send(GNSS, &without(&encode(counters[1], &payload), missing));
            bus.wait(200_000);
            bus.send(GNSS, &encode(counters[2], &payload));
            assert_eq!((bus.account(), bus.delivered.len()), ((2, 1), 2), "frame {missing}, {counters:?}");
        }
    }
}

/// A gateway of some engines sends a frame of each in turn.
#[test]
fn messages_of_one_sender_may_be_mixed() {
    let payload = |engine: u8| vec![engine; 26];
    for engines in 1..=AT_ONCE {
        let mut bus = Bus::default();
        let mut sequence = 5;
        for _ in 0..20 {
            let own: Vec<_> = (0..engines).map(|e| encode((sequence + e) % 8, &payload(e))).collect();
            for n in 0..4 {
                own.iter().for_each(|frames| bus.send(GNSS, &frames[n..=n]));
            }
            bus.wait(20_000);
            sequence = (sequence + engines) % 8;
        }
        assert_eq!(bus.account(), (20 * u64::from(engines), 0), "{engines}");
        assert!(
            (0..engines).all(|e| bus.delivered.iter().filter(|(_, data)| *data == payload(e)).count() == 20)
        );
    }
}

#[test]
fn a_frame_lost_of_mixed_messages_is_one_damaged_message() {
    for missing in 0..4 {
        let mut bus = Bus::default();
        for round in 0..20 {
            let own = [0, 1].map(|e| encode((2 * round + e) % 8, &[e; 26]));
            for n in 0..4 {
                bus.send(GNSS, &own[0][n..=n]);
                if round != 9 || n != missing {
                    bus.send(GNSS, &own[1][n..=n]);
                }
            }
            bus.wait(20_000);
        }
        assert_eq!((bus.account(), bus.delivered.len()), ((39, 1), 39), "{missing}");
    }
}

#[test]
fn a_lost_last_frame_shows_after_the_time_out() {
    let frames = encode(3, &[7; 43]);
    let mut bus = Bus::default();
    bus.send(GNSS, &frames[..6]);
    assert_eq!(bus.account(), (0, 0), "may go on behind the end of the recording");
    bus.wait(1_050_000);
    assert_eq!(bus.account(), (0, 0), "whole seconds are as fine as some recorders stamp");
    bus.wait(100_000);
    assert_eq!(bus.account(), (0, 1));
    bus.wait(10_000_000);
    assert_eq!(bus.account(), (0, 1), "counted once");
    bus.send(GNSS, &encode(3, &[7; 43]));
    assert_eq!(bus.account(), (1, 1));
}

#[test]
fn the_first_message_of_a_stream_may_have_begun_before_the_recording() {
    let mut bus = Bus::default();
    bus.send(GNSS, &encode(0, &[1; 43])[3..]);
    bus.wait(1_000_000);
    assert_eq!(bus.account(), (0, 0));
    bus.send(GNSS, &encode(1, &[1; 43])[3..]);
    assert_eq!(bus.account(), (0, 1));
}

#[test]
fn echoes_are_ignored() {
    let frames: Vec<Vec<u8>> = encode(2, &(0..43).collect::<Vec<u8>>());
    let twice: Vec<Vec<u8>> = frames.iter().flat_map(|frame| [frame.clone(), frame.clone()]).collect();
    let mut bus = Bus::default();
    bus.send(GNSS, &twice);
    bus.wait(1_000_000);
    assert_eq!((bus.account(), bus.delivered.len()), ((1, 0), 1));
    // One-frame messages: the echo is none, the next one with the same counter and content is one.
    let single = encode(2, &[1, 2, 3]);
    bus.send(GNSS, &[single[0].clone(), single[0].clone()]);
    bus.wait(100_000);
    bus.send(GNSS, &single);
    assert_eq!((bus.account(), bus.delivered.len()), ((3, 0), 3));
}

#[test]
fn malformed_lengths_and_short_frames_deliver_nothing() {
    let mut bus = Bus::default();
    bus.send(GNSS, &[vec![0x20, 224, 0, 0, 0, 0, 0, 0], vec![], vec![0x40], vec![0x60, 20, 1, 2]]);
    assert!(bus.delivered.is_empty());
    assert_eq!(bus.account(), (0, 3));
    bus.send(GNSS, &[vec![0x80, 0]]);
    assert_eq!(bus.delivered, [(GNSS, vec![])]);
}

/// Published library test (crate kinavis-nmea2000 0.2.0): dropping frame 43 gives a gap, frame 40 again before 46
/// supersedes.
#[test]
fn gap_and_superseded() {
    let frames = encode(2, &(0..43).collect::<Vec<u8>>());
    let mut bus = Bus::default();
    bus.send(GNSS, &without(&frames, 3));
    assert_eq!((bus.account(), bus.delivered.len()), ((0, 1), 0));
    bus.wait(1_000_000);
    bus.send(GNSS, &frames[..6]);
    bus.send(GNSS, &frames);
    assert_eq!((bus.account(), bus.delivered.len()), ((1, 2), 1));
}

#[test]
fn the_table_is_bounded_and_evicts_the_oldest() {
    let mut bus = Bus::default();
    bus.send(GNSS, &encode(0, &[1; 43])[..6]);
    for n in 0..40_u8 {
        for sequence in 0..8 {
            let id = CanId { source: 100 + n, ..GNSS };
            bus.send(id, &encode(sequence, &[1; 43])[..2]);
        }
    }
    assert_eq!(bus.account(), (0, 1));
}

#[test]
fn no_clock_no_time_outs() {
    let frames = encode(1, &[9; 30]);
    let mut assembler = Assembler::new();
    let mut count = 0;
    for frame in frames[..3].iter().chain(&encode(2, &[9; 30])) {
        assembler.push(None, GNSS, frame, &mut |_| count += 1);
    }
    let want = StreamLosses { source: 0x23, pgn: 129_029, complete: 1, incomplete: 1 };
    assert_eq!((count, assembler.losses()), (1, vec![want]));
}

proptest! {
    #[test]
    fn interleaved_messages_come_out_as_they_went_in(
        payloads in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..=223), 1..6),
        sequence in 0_u8..8,
    ) {
        let mut bus = Bus::default();
        let queues: Vec<_> = payloads.iter().map(|payload| encode(sequence, payload)).collect();
        for n in 0..32 {
            for (source, queue) in queues.iter().enumerate() {
                let id = CanId { source: source as u8, ..GNSS };
                bus.send(id, queue.get(n..=n).unwrap_or_default());
            }
        }
        bus.delivered.sort_by_key(|(id, _)| id.source);
        let delivered: Vec<_> = bus.delivered.iter().map(|(_, data)| data.clone()).collect();
        prop_assert_eq!(delivered, payloads);
    }

    #[test]
    fn any_one_frame_dropped_is_exactly_one_incomplete(
        payload in prop::collection::vec(any::<u8>(), 7..=223),
        drop: prop::sample::Index,
        sequence in 0_u8..8,
        step in 0_u8..2,
    ) {
        let mut bus = Bus::default();
        bus.send(GNSS, &encode(sequence, &payload));
        bus.wait(30_000);
        let frames = encode((sequence + step) % 8, &payload);
        bus.send(GNSS, &without(&frames, drop.index(frames.len())));
        bus.wait(1_150_000);
        prop_assert_eq!((bus.account(), bus.delivered.len()), ((1, 1), 1));
        bus.send(GNSS, &encode((sequence + 2 * step) % 8, &payload));
        prop_assert_eq!((bus.account(), bus.delivered.len()), ((2, 1), 2));
    }

    #[test]
    fn any_frames_are_survived(
        frames in prop::collection::vec((0_u32..1 << 29, any::<Option<i64>>(), prop::collection::vec(any::<u8>(), 0..=8)), 0..200),
    ) {
        let mut assembler = Assembler::new();
        let mut out = Vec::new();
        for (id, time, data) in frames {
            assembler.push(time.map(Time), CanId::from_bits(id), &data, &mut |message| {
                super::decode(message.id.pgn, message.data, &mut out);
                let _ = super::network(message.id, message.data);
            });
        }
        let losses = assembler.losses();
        prop_assert!(losses.is_sorted_by_key(|stream| (stream.source, stream.pgn)));
    }

    #[test]
    fn any_payload_is_survived(data in prop::collection::vec(any::<u8>(), 0..=230)) {
        let mut out = Vec::new();
        for known in super::PGNS {
            super::decode(known.pgn, &data, &mut out);
            let id = CanId { pgn: known.pgn, ..GNSS };
            let _ = (super::network(id, &data), super::ais_report(known.pgn, &data));
        }
        let _ = (super::route(&data), super::datum(&data), super::destination(&data));
    }
}
