//! Puts fragmented IP datagrams together again (RFC 791 3.2, RFC 8200 4.5), within fixed bounds.

use super::Ip;
use crate::time::Time;
use std::net::IpAddr;

/// Datagrams that may be in pieces at one time; with [`MAX_DATAGRAM_LEN`] this bounds the memory to 2 MiB.
pub const MAX_OPEN_DATAGRAMS: usize = 32;
/// Bytes of a datagram: the largest payload that IP's length field allows.
pub const MAX_DATAGRAM_LEN: usize = 65_535;
/// Separate stretches of one datagram that may be there at one time.
pub const MAX_DATAGRAM_STRETCHES: usize = 64;
/// Seconds that a datagram may take to arrive (RFC 1122 3.3.2 asks for 60 to 120 of a host, most take 30).
pub const FRAGMENT_WAIT_S: f64 = 30.0;
/// Abandoned datagrams that are remembered until they are taken.
pub const MAX_ABANDONED: usize = 256;

/// A datagram of which pieces were lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Abandoned {
    /// Sender.
    pub source: IpAddr,
    /// Receiver.
    pub destination: IpAddr,
    /// Protocol number.
    pub protocol: u8,
    /// Identification.
    pub id: u32,
    /// When its first piece came.
    pub first: Time,
    /// Bytes of its payload that came.
    pub had: u32,
}

/// How many datagrams ended how.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FragmentCounts {
    /// Fragments seen.
    pub fragments: u64,
    /// Put together.
    pub whole: u64,
    /// Incomplete after [`FRAGMENT_WAIT_S`], or at the end of the recording after that long.
    pub abandoned: u64,
    /// Given up because fragments disagree about the same bytes, or about the end, or break the rules of length.
    pub contradictory: u64,
    /// Given up for want of room; says nothing about the network.
    pub crowded_out: u64,
    /// All pieces came, but the recorder had cut some.
    pub cut: u64,
}

struct Open {
    source: IpAddr,
    destination: IpAddr,
    protocol: u8,
    id: u32,
    first: Time,
    bytes: Vec<u8>,
    /// Stretches that are there: start and end, in order, apart from each other.
    stretches: Vec<(usize, usize)>,
    /// Length of the whole, once the last fragment came.
    len: Option<usize>,
    cut: bool,
}

/// Datagrams in pieces.
#[derive(Default)]
pub struct Fragments {
    open: Vec<Open>,
    whole: Vec<u8>,
    abandoned: Vec<Abandoned>,
    counts: FragmentCounts,
}

impl Fragments {
    /// Takes a fragment; returns the datagram's whole payload when this was the last missing piece.
    ///
    /// A packet that is no fragment changes nothing. The same fragment twice is no fault.
    pub fn add(&mut self, time: Time, ip: &Ip<'_>) -> Option<&[u8]> {
        let fragment = ip.fragment?;
        self.counts.fragments += 1;
        self.expire(time);
        let at = self.find(ip, fragment.id).unwrap_or_else(|| self.start(time, ip, fragment.id));
        let open = self.open.get_mut(at)?;
        let offset = usize::try_from(fragment.offset).unwrap_or(usize::MAX);
        if open.insert(offset, fragment.more, ip).is_none() {
            self.counts.contradictory += 1;
            self.open.swap_remove(at);
            return None;
        }
        if !open.is_whole() {
            return None;
        }
        let done = self.open.swap_remove(at);
        if done.cut {
            self.counts.cut += 1;
            return None;
        }
        self.counts.whole += 1;
        self.whole = done.bytes;
        Some(&self.whole)
    }

    /// Gives up what has been incomplete for longer than [`FRAGMENT_WAIT_S`] at `time`. Call it at the recording's end too:
    /// what is younger then may still have been on its way.
    pub fn expire(&mut self, time: Time) {
        let (abandoned, counts) = (&mut self.abandoned, &mut self.counts);
        self.open.retain(|open| {
            let stale = time.since(open.first) > FRAGMENT_WAIT_S;
            if stale {
                counts.abandoned += 1;
                if abandoned.len() < MAX_ABANDONED {
                    abandoned.push(open.as_abandoned());
                }
            }
            !stale
        });
    }

    /// Takes what was abandoned since the last call; of more than [`MAX_ABANDONED`] only the first.
    pub fn take_abandoned(&mut self) -> std::vec::Drain<'_, Abandoned> {
        self.abandoned.drain(..)
    }

    /// The counts so far.
    #[must_use]
    pub const fn counts(&self) -> FragmentCounts {
        self.counts
    }

    fn find(&self, ip: &Ip<'_>, id: u32) -> Option<usize> {
        self.open.iter().position(|open| {
            (open.id, open.protocol) == (id, ip.protocol)
                && open.source == ip.source
                && open.destination == ip.destination
        })
    }

    fn start(&mut self, time: Time, ip: &Ip<'_>, id: u32) -> usize {
        if self.open.len() >= MAX_OPEN_DATAGRAMS {
            let oldest = self.open.iter().enumerate().min_by_key(|(_, open)| open.first).map(|(at, _)| at);
            if let Some(oldest) = oldest {
                self.open.swap_remove(oldest);
                self.counts.crowded_out += 1;
            }
        }
        self.open.push(Open {
            source: ip.source,
            destination: ip.destination,
            protocol: ip.protocol,
            id,
            first: time,
            bytes: Vec::new(),
            stretches: Vec::new(),
            len: None,
            cut: false,
        });
        self.open.len() - 1
    }
}

impl Open {
    /// Puts a fragment in its place; `None` when it contradicts what is there.
    fn insert(&mut self, offset: usize, more: bool, ip: &Ip<'_>) -> Option<()> {
        let end = offset.checked_add(ip.payload_len).filter(|end| *end <= MAX_DATAGRAM_LEN)?;
        // All but the last are multiples of eight bytes, and none is empty (RFC 791 3.2).
        if offset == end || (more && !ip.payload_len.is_multiple_of(8)) {
            return None;
        }
        let last = self.stretches.last().map_or(0, |(_, end)| *end);
        match self.len {
            Some(len) if end > len || (!more && end != len) => return None,
            None if !more && last > end => return None,
            _ => {}
        }
        if !more {
            self.len = Some(end);
        }
        if self.bytes.len() < end {
            self.bytes.resize(end, 0);
        }
        self.cut |= ip.is_cut();
        // Overlaps are harmless where they say the same and a trick where they do not (RFC 5722, RFC 8200 4.5).
        if !self.cut {
            for (from, to) in self.stretches.iter().map(|&(a, b)| (a.max(offset), b.min(end))) {
                if from < to && self.bytes.get(from..to) != ip.payload.get(from - offset..to - offset) {
                    return None;
                }
            }
        }
        self.bytes.get_mut(offset..)?.get_mut(..ip.payload.len())?.copy_from_slice(ip.payload);
        self.join(offset, end)
    }

    /// Adds a stretch, joined with those that it touches; `None` when there are too many.
    fn join(&mut self, mut from: usize, mut to: usize) -> Option<()> {
        self.stretches.retain(|&(a, b)| {
            let apart = b < from || a > to;
            if !apart {
                (from, to) = (from.min(a), to.max(b));
            }
            apart
        });
        let at = self.stretches.partition_point(|(a, _)| *a < from);
        self.stretches.insert(at, (from, to));
        (self.stretches.len() <= MAX_DATAGRAM_STRETCHES).then_some(())
    }

    fn is_whole(&self) -> bool {
        matches!((self.len, self.stretches.as_slice()), (Some(len), [(0, end)]) if *end == len)
    }

    fn as_abandoned(&self) -> Abandoned {
        let had: usize = self.stretches.iter().map(|(from, to)| to - from).sum();
        Abandoned {
            source: self.source,
            destination: self.destination,
            protocol: self.protocol,
            id: self.id,
            first: self.first,
            had: u32::try_from(had).unwrap_or(u32::MAX),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Fragment;
    use super::*;
    use proptest::prelude::*;

    fn piece(id: u32, offset: u32, more: bool, payload: &[u8]) -> Ip<'_> {
        Ip {
            source: [192, 0, 2, 1].into(),
            destination: [192, 0, 2, 2].into(),
            hop_limit: 64,
            protocol: 17,
            id: None,
            dont_fragment: false,
            fragment: Some(Fragment { id, offset, more }),
            router_alert: false,
            payload,
            payload_len: payload.len(),
        }
    }

    #[test]
    fn puts_pieces_together_in_any_order() {
        let mut fragments = Fragments::default();
        assert_eq!(fragments.add(Time(0), &piece(1, 16, false, b"end")), None);
        assert_eq!(fragments.add(Time(1), &piece(1, 0, true, b"12345678")), None);
        assert_eq!(fragments.add(Time(1), &piece(1, 0, true, b"12345678")), None, "twice is no fault");
        assert_eq!(fragments.add(Time(2), &piece(2, 8, true, b"abcdefgh")), None, "another datagram");
        assert_eq!(
            fragments.add(Time(3), &piece(1, 8, true, b"abcdefgh")),
            Some(&b"12345678abcdefghend"[..])
        );
        let counts = fragments.counts();
        assert_eq!((counts.fragments, counts.whole, counts.contradictory), (5, 1, 0));
    }

    #[test]
    fn abandons_what_stays_incomplete() {
        let mut fragments = Fragments::default();
        fragments.add(Time(5), &piece(7, 0, true, b"12345678"));
        fragments.expire(Time(30_000_005));
        assert_eq!(fragments.take_abandoned().count(), 0);
        fragments.add(Time(30_000_006), &piece(8, 0, true, b"12345678"));
        let gone: Vec<_> = fragments.take_abandoned().collect();
        assert_eq!((gone.len(), gone[0].id, gone[0].first, gone[0].had), (1, 7, Time(5), 8));
        assert_eq!(fragments.counts().abandoned, 1);
    }

    #[test]
    fn contradictions_end_a_datagram() {
        type Piece = (u32, bool, &'static [u8]);
        let bad: [&[Piece]; 5] = [
            &[(0, true, b"12345678"), (0, true, b"1234567X")],
            &[(8, false, b"abc"), (8, false, b"abcd")],
            &[(16, true, b"12345678"), (0, false, b"123")],
            &[(0, true, b"1234567")],
            &[(65_528, false, b"12345678")],
        ];
        for pieces in bad {
            let mut fragments = Fragments::default();
            for (offset, more, payload) in pieces {
                assert_eq!(fragments.add(Time(0), &piece(1, *offset, *more, payload)), None);
            }
            assert_eq!(fragments.counts().contradictory, 1, "{pieces:?}");
        }
    }

    #[test]
    fn stays_within_its_bounds() {
        let mut fragments = Fragments::default();
        for id in 0..1000 {
            fragments.add(Time(id.into()), &piece(id, 0, true, b"12345678"));
        }
        assert_eq!(fragments.open.len(), MAX_OPEN_DATAGRAMS);
        assert_eq!(fragments.counts().crowded_out, 1000 - MAX_OPEN_DATAGRAMS as u64);
        let mut fragments = Fragments::default();
        for n in 0..=64 {
            fragments.add(Time(0), &piece(1, n * 16, true, b"12345678"));
        }
        assert_eq!(fragments.counts().contradictory, 1, "too many stretches");
    }

    #[test]
    fn a_cut_piece_is_no_loss() {
        let mut fragments = Fragments::default();
        let cut = Ip { payload: b"123", payload_len: 8, ..piece(1, 0, true, b"") };
        fragments.add(Time(0), &cut);
        assert_eq!(fragments.add(Time(0), &piece(1, 8, false, b"end")), None);
        fragments.expire(Time(90_000_000));
        let counts = fragments.counts();
        assert_eq!((counts.cut, counts.abandoned), (1, 0));
    }

    proptest! {
        #[test]
        fn any_pieces_in_any_order(whole in prop::collection::vec(any::<u8>(), 1..400), seed in any::<u64>()) {
            let units = whole.len().div_ceil(8);
            let mut pieces: Vec<_> = (0..units).collect();
            // A plain linear congruence shuffles well enough here.
            let mut state = seed;
            for at in (1..pieces.len()).rev() {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                pieces.swap(at, (state >> 33) as usize % (at + 1));
            }
            let mut fragments = Fragments::default();
            let mut got = None;
            for at in pieces {
                let part = whole.get(at * 8..(at * 8 + 8).min(whole.len())).unwrap();
                let ip = piece(1, u32::try_from(at * 8).unwrap(), at + 1 < units, part);
                got = fragments.add(Time(0), &ip).map(<[u8]>::to_vec).or(got);
            }
            prop_assert_eq!(got, Some(whole));
        }

        #[test]
        fn any_fragments_do_no_harm(pieces in prop::collection::vec(
            (0u32..3, 0u32..9000, any::<bool>(), 0usize..40), 0..60
        )) {
            let payload = [7; 40];
            let mut fragments = Fragments::default();
            for (id, offset, more, len) in pieces {
                let ip = piece(id, offset * 8, more, &payload[..len]);
                if let Some(whole) = fragments.add(Time(0), &ip) {
                    prop_assert!(whole.iter().all(|b| *b == 7));
                }
            }
        }
    }
}
