use super::*;
use crate::frames::TcpFlags;
use crate::time::Span;
use proptest::prelude::*;

const FIN: u8 = 0x01;
const SYN: u8 = 0x02;
const RST: u8 = 0x04;
const ACK: u8 = 0x10;

/// Writes down what it is told: bytes as they are, losses as `<n>`, beginnings as `^` (from the start) or `~`; what got no
/// further, in milliseconds, apart.
#[derive(Default)]
struct Notes(Vec<u8>, u32, Vec<(i64, i64, i64)>);

impl StreamSink for Notes {
    fn begin(&mut self, _: &StreamKey, _: Time, from_start: bool) {
        self.0.push(if from_start { b'^' } else { b'~' });
    }
    fn bytes(&mut self, _: &StreamKey, _: Time, bytes: &[u8]) {
        self.0.extend(bytes);
    }
    fn lost(&mut self, _: &StreamKey, _: Time, count: Option<u32>) {
        self.0.extend(format!("<{}>", count.unwrap_or(0)).bytes());
    }
    fn stalled(&mut self, _: &StreamKey, stall: Stall) {
        self.2.push((stall.span.from.0 / 1000, stall.shown.0 / 1000, stall.span.to.0 / 1000));
    }
    fn end(&mut self, _: &StreamKey) {
        self.1 += 1;
    }
}

fn key() -> StreamKey {
    StreamKey { source: ([192, 0, 2, 1].into(), 10110), destination: ([192, 0, 2, 2].into(), 49152) }
}

fn tcp(sequence: u32, flags: u8, payload: &[u8]) -> Tcp<'_> {
    Tcp {
        source_port: 10110,
        destination_port: 49152,
        sequence,
        acknowledgment: 0,
        flags: TcpFlags(flags),
        window: 512,
        payload,
        payload_len: payload.len() as u32,
    }
}

/// Runs segments (milliseconds, sequence, flags, payload) of one direction.
fn run(segments: &[(i64, u32, u8, &str)]) -> (Vec<SegmentKind>, String, StreamCounts) {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let kinds = segments
        .iter()
        .map(|(ms, seq, flags, payload)| {
            let segment = tcp(*seq, *flags, payload.as_bytes());
            streams.segment(Time(ms * 1000), key(), &segment, false, &mut notes)
        })
        .collect();
    let last = segments.last().map_or(0, |s| s.0 * 1000);
    streams.finish(Time(last), &mut notes);
    (kinds, String::from_utf8(notes.0).unwrap(), streams.directions()[0].1)
}

use SegmentKind::{AfterGap, Double, Empty, KeepAlive, New, OutOfOrder, Retransmission};

#[test]
fn a_plain_connection() {
    let (kinds, text, counts) = run(&[
        (0, 99, SYN, ""),
        (1, 100, ACK, ""),
        (2, 100, ACK, "abc"),
        (3, 103, ACK, "def"),
        (4, 106, FIN | ACK, ""),
        (300, 106, FIN | ACK, ""),
        (301, 107, RST, ""),
    ]);
    assert_eq!(kinds, [New, Empty, New, New, New, Retransmission, Empty]);
    assert_eq!(text, "^abcdef");
    assert_eq!((counts.segments, counts.data_segments, counts.retransmitted), (7, 2, 0));
    assert_eq!((counts.syn, counts.fin, counts.rst, counts.payload_bytes), (1, 2, 1, 6));
}

#[test]
fn retransmission_reordering_and_holes() {
    let (kinds, text, counts) = run(&[
        (0, 100, ACK, "abc"),
        (250, 100, ACK, "abc"),   // sent again though seen
        (251, 106, ACK, "ghi"),   // def is missing
        (252, 103, ACK, "def"),   // 1 ms later: overtaken
        (300, 112, ACK, "mno"),   // jkl is missing
        (310, 112, ACK, "mno"),   // held already, sent again
        (500, 109, ACK, "jkl"),   // 200 ms later: lost and sent again
        (501, 113, ACK, "nopqr"), // overlaps: new
    ]);
    let want = [New, Retransmission, AfterGap, OutOfOrder, AfterGap, Retransmission, Retransmission, New];
    assert_eq!(kinds, want);
    assert_eq!(text, "~abcdefghijklmnopqr");
    assert_eq!((counts.data_segments, counts.retransmitted, counts.out_of_order), (8, 3, 1));
    assert_eq!((counts.retransmitted_bytes, counts.gaps), (9, 0));
}

#[test]
fn sequence_numbers_wrap() {
    let (kinds, text, _) = run(&[
        (0, u32::MAX - 1, ACK, "abc"),
        (1, 4, ACK, "gh"),
        (2, 1, ACK, "def"),
        (400, u32::MAX, ACK, "bc"),
        (401, 6, ACK, "i"),
    ]);
    assert_eq!(kinds, [New, AfterGap, OutOfOrder, Retransmission, New]);
    assert_eq!(text, "~abcdefghi");
}

#[test]
fn keep_alives_are_no_retransmissions() {
    let (kinds, text, counts) = run(&[
        (0, 100, ACK, "abc"),
        (10_000, 102, ACK, ""),
        (20_000, 102, ACK, "c"),
        (20_100, 103, ACK, "d"),
        (20_101, 103, ACK, "d"), // one byte again: taken for a window probe
    ]);
    assert_eq!(kinds, [New, KeepAlive, KeepAlive, New, KeepAlive]);
    assert_eq!(text, "~abcd");
    assert_eq!((counts.keep_alives, counts.data_segments, counts.retransmitted), (3, 2, 0));
}

#[test]
fn a_hole_that_stays_is_told_and_left() {
    let (kinds, text, counts) = run(&[
        (0, 100, ACK, "abc"),
        (10, 106, ACK, "ghi"),
        (5_011, 109, ACK, "jkl"),
        (5_012, 103, ACK, "def"),
    ]);
    assert_eq!(kinds, [New, AfterGap, New, Retransmission]);
    assert_eq!(text, "~abc<3>ghijkl");
    assert_eq!((counts.gaps, counts.gaps_recorder, counts.gap_bytes), (1, 0, 3));
    let many: Vec<_> = (0..=33).map(|n| (0, 100 + 2 * n, ACK, "x")).collect();
    let (_, text, counts) = run(&many);
    assert_eq!(text, format!("~x{}", "<1>x".repeat(33)));
    assert_eq!(counts.gaps, 33);
}

#[test]
fn an_acknowledged_hole_is_the_recorder_s() {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let mut at =
        |ms: i64, key, segment: &Tcp<'_>| streams.segment(Time(ms * 1000), key, segment, false, &mut notes);
    at(0, key(), &tcp(100, ACK, b"abc"));
    at(1, key(), &tcp(106, ACK, b"ghi"));
    let answer = Tcp { acknowledgment: 109, ..tcp(1, ACK, b"") };
    at(2, key().reversed(), &answer);
    at(50, key().reversed(), &answer);
    let counts = streams.directions()[0].1;
    assert_eq!((counts.gaps, counts.gaps_recorder), (0, 1));
    assert_eq!(notes.0, b"~abc<3>ghi");
}

#[test]
fn new_connections_on_the_same_ports() {
    let (kinds, text, counts) = run(&[
        (0, 99, SYN, ""),
        (1000, 99, SYN, ""),
        (1001, 100, ACK, "abc"),
        (2000, 7_000_000, SYN, ""),
        (2001, 7_000_001, ACK, "new"),
        (3000, 3_000_000_000, ACK, "far"), // the opening was missed
    ]);
    assert_eq!(kinds, [New, Retransmission, New, New, New, New]);
    assert_eq!(text, "^abc^new~far");
    assert_eq!((counts.syn, counts.syn_repeated, counts.retransmitted), (3, 1, 0));
    // A small stack restarts and begins with the same number again.
    let (kinds, text, counts) =
        run(&[(0, 99, SYN, ""), (1, 100, ACK, "abc"), (9000, 99, SYN, ""), (9001, 100, ACK, "abc")]);
    assert_eq!(kinds, [New; 4]);
    assert_eq!((text.as_str(), counts.retransmitted), ("^abc^abc", 0));
}

#[test]
fn doubles_count_for_nothing() {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let segment = tcp(100, ACK, b"abc");
    assert_eq!(streams.segment(Time(0), key(), &segment, false, &mut notes), New);
    assert_eq!(streams.segment(Time(500), key(), &segment, true, &mut notes), Double);
    let counts = streams.directions()[0].1;
    assert_eq!((counts.segments, counts.doubles, counts.retransmitted), (1, 1, 0));
    assert_eq!(notes.0, b"~abc");
}

#[test]
fn what_the_recorder_cut_off_is_lost() {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let cut = Tcp { payload_len: 10, ..tcp(100, ACK, b"abc") };
    streams.segment(Time(0), key(), &cut, false, &mut notes);
    streams.segment(Time(1), key(), &tcp(110, ACK, b"k"), false, &mut notes);
    assert_eq!(notes.0, b"~abc<7>k");
}

#[test]
fn a_zero_window_is_counted() {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    streams.segment(Time(0), key(), &Tcp { window: 0, ..tcp(1, ACK, b"") }, false, &mut notes);
    assert_eq!(streams.directions()[0].1.zero_windows, 1);
}

#[test]
fn stays_within_its_bounds() {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let payload = [0; 60_000];
    for n in 0..3 * MAX_DIRECTIONS as u32 {
        let (high, low) = ((n >> 16) as u16, n as u16);
        let key = StreamKey { source: ([10, 0, 0, high as u8].into(), low), ..key() };
        streams.segment(Time(0), key, &tcp(0, ACK, b"a"), false, &mut notes);
        streams.segment(Time(0), key, &tcp(2, ACK, &payload), false, &mut notes);
        assert!(streams.held_total <= MAX_HELD_TOTAL);
        notes.0.clear();
    }
    assert!(streams.directions().len() <= MAX_DIRECTIONS);
    let (forgotten, counts) = streams.forgotten();
    assert_eq!(forgotten, u64::from(notes.1));
    assert_eq!(counts.segments, forgotten * 2);
    streams.finish(Time(0), &mut notes);
    assert!(streams.directions.sorted().iter().all(|(_, direction)| direction.held_bytes() == 0));
}

proptest! {
    /// Cut anywhere, sent in any order within what is held, some of it twice: the same bytes come out.
    #[test]
    fn the_same_bytes_come_out(
        whole in prop::collection::vec(any::<u8>(), 2..600),
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 2usize..40), 1..24),
        order in Just((0..24usize).collect::<Vec<_>>()).prop_shuffle(),
        start in any::<u32>(),
    ) {
        let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
        let mut send = |from: usize, to: usize| {
            let segment = tcp(start.wrapping_add(1 + from as u32), ACK, &whole[from..to]);
            streams.segment(Time(0), key(), &segment, false, &mut notes);
        };
        let pieces: Vec<_> = cuts.iter().map(|(at, len)| {
            let from = at.index(whole.len());
            (from, (from + len).min(whole.len()))
        }).filter(|(from, to)| to - from > 1).collect();
        send(0, 1);
        for at in order {
            if let Some((from, to)) = pieces.get(at) {
                send(*from, *to);
            }
        }
        // Everything once more in order, so that no hole stays.
        for from in (0..whole.len()).step_by(7) {
            send(from, (from + 7).min(whole.len()));
        }
        streams.finish(Time(0), &mut notes);
        let counts = streams.directions()[0].1;
        prop_assert_eq!((notes.0[0], &notes.0[1..]), (b'~', &whole[..]));
        prop_assert_eq!(counts.gaps + counts.gaps_recorder, 0);
    }

    /// Any segments at all: no panic, and never more is delivered than was sent.
    #[test]
    fn any_segments_do_no_harm(segments in prop::collection::vec(
        (any::<bool>(), prop_oneof![0u32..200, any::<u32>()], any::<u32>(), any::<u8>(), 0usize..30, 0i64..9_000_000),
        0..120
    )) {
        let payload = [b'p'; 30];
        let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
        let (mut time, mut sent) = (0, 0);
        for (back, sequence, acknowledgment, flags, len, wait) in segments {
            time += wait;
            sent += len;
            let key = if back { key().reversed() } else { key() };
            let segment = Tcp { acknowledgment, ..tcp(sequence, flags, &payload[..len]) };
            streams.segment(Time(time), key, &segment, false, &mut notes);
        }
        streams.finish(Time(time), &mut notes);
        prop_assert!(notes.0.iter().filter(|b| **b == b'p').count() <= sent);
        prop_assert_eq!(streams.held_total, 0);
    }
}

/// What got no further, of segments (milliseconds, sequence, flags, payload) with the peer's acknowledgments among them
/// (milliseconds, number, flags); milliseconds.
fn stalls(segments: &[(i64, u32, u8, &str)], answers: &[(i64, u32, u8)]) -> Vec<(i64, i64, i64)> {
    let (mut streams, mut notes) = (TcpStreams::default(), Notes::default());
    let mut all: Vec<(i64, StreamKey, Tcp<'_>)> = Vec::new();
    for (ms, seq, flags, payload) in segments {
        all.push((*ms, key(), tcp(*seq, *flags, payload.as_bytes())));
    }
    for (ms, number, flags) in answers {
        all.push((*ms, key().reversed(), Tcp { acknowledgment: *number, ..tcp(1, *flags, b"") }));
    }
    all.sort_by_key(|(ms, ..)| *ms);
    for (ms, key, segment) in &all {
        streams.segment(Time(ms * 1000), *key, segment, false, &mut notes);
    }
    streams.finish(Time(all.last().unwrap().0 * 1000), &mut notes);
    notes.2
}

#[test]
fn a_sender_whose_peer_is_away_gets_no_further() {
    let repeats = [(0, 1, ACK, "ab"), (300, 1, ACK, "ab"), (900, 1, ACK, "ab"), (2100, 1, ACK, "ab")];
    assert_eq!(stalls(&repeats, &[(2101, 3, ACK)]), [(0, 300, 2101)], "until the acknowledgment");
    assert_eq!(stalls(&repeats, &[(1, 3, ACK)]), [], "it was acknowledged before");
    assert_eq!(
        stalls(&repeats, &[(2101, 1, ACK)]),
        [(0, 300, 2101)],
        "to the end: that acknowledges nothing"
    );
    assert_eq!(stalls(&repeats, &[(2200, 1, RST), (5000, 1, ACK)]), [(0, 300, 2200)], "broken off");
    let goes_on = [&repeats[..], &[(2102, 3, ACK, "cd"), (2103, 5, ACK, "ef")]].concat();
    assert_eq!(stalls(&goes_on, &[]), [(0, 300, 2102)], "seen in one direction only");
    let again = [&goes_on[..], &[(2400, 5, ACK, "ef"), (3000, 5, ACK, "ef")]].concat();
    assert_eq!(stalls(&again, &[(2103, 5, ACK), (3001, 7, ACK)]), [(0, 300, 2102), (2103, 2400, 3001)]);
}

/// A sender that comes back itself repeats late and is answered at once; nobody tells how long it would have waited.
#[test]
fn only_who_was_there_has_waited() {
    let at = |ms: i64| Time(ms * 1000);
    let waited = |from, shown, to| {
        let waited = Stall { span: Span::new(at(from), at(to)), shown: at(shown) }.waited();
        (waited.from.0 / 1000, waited.to.0 / 1000)
    };
    assert_eq!(waited(0, 300, 12_000), (0, 12_000));
    assert_eq!(waited(0, 12_000, 12_001), (12_000, 12_001));
    assert_eq!(waited(0, 2_000, 2_001), (2_000, 2_001));
}
