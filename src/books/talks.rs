//! Who speaks with whom on a network, and how much of it had to be sent again.

use super::inventory::DeviceId;
use super::shortcut::Shortcut;
use crate::time::{Span, Time};
use rustc_hash::FxHashMap;
use std::net::IpAddr;

/// Most pairs that are kept apart, a network.
const MAX_TALKS: usize = 1024;

/// What a packet means for the way between two hosts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packet {
    /// A TCP segment with data that was not seen before.
    Data,
    /// A TCP segment whose data was sent before.
    DataAgain,
    /// Any other.
    Other,
}

/// Stretches of repeats that are kept apart, a direction.
const MAX_STRETCHES: usize = 32;

/// Repeats further apart than this are two stretches, seconds.
const APART_S: f64 = 2.0;

/// A stretch is no longer than this, as long as there is room for more, so that what went wrong for some seconds among
/// repeats that never end keeps its place, seconds.
const STRETCH_S: f64 = 2.0;

/// Repeats that follow each other closely.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Repeats {
    /// From the first to the last.
    pub span: Span,
    /// How many.
    pub count: u64,
}

/// One direction between two hosts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Talk {
    /// Who sent the frames.
    pub from: DeviceId,
    /// Whom they were for.
    pub to: DeviceId,
    /// The packets' own sender and receiver: others than the hosts when one of these is a router.
    pub ips: (IpAddr, IpAddr),
    /// Packets.
    pub packets: u64,
    /// TCP segments with data.
    pub data: u64,
    /// Those of them whose data was sent before, to a host that could be reached.
    pub again: u64,
    /// When these were sent.
    pub repeats: Vec<Repeats>,
}

impl Talk {
    fn repeat(&mut self, at: Time) {
        match self.repeats.last_mut() {
            Some(last) if at.since(last.span.to) <= APART_S && at.since(last.span.from) <= STRETCH_S => {
                last.span.to = last.span.to.max(at);
                last.count += 1;
            }
            _ => self.repeats.push(Repeats { span: Span::new(at, at), count: 1 }),
        }
        if self.repeats.len() > MAX_STRETCHES {
            self.make_room();
        }
    }

    /// Makes one stretch of two neighbours: those of which the fewest repeats lose their place by the least, as they come as often in
    /// one as in the other.
    fn make_room(&mut self) {
        let in_time = |count: u64, us: i64| count.saturating_mul(us.max(0).cast_unsigned());
        let blurs = |pair: &[Repeats]| match pair {
            [a, b] => {
                let even = in_time(a.count + b.count, a.span.micros());
                in_time(a.count, b.span.to.micros_since(a.span.from)).abs_diff(even)
            }
            _ => u64::MAX,
        };
        let Some((at, _)) = self.repeats.windows(2).map(blurs).enumerate().min_by_key(|(_, blurs)| *blurs)
        else {
            return;
        };
        let second = self.repeats.remove(at + 1);
        if let Some(first) = self.repeats.get_mut(at) {
            first.span.to = first.span.to.max(second.span.to);
            first.count += second.count;
        }
    }
}

/// The pairs of a network. At most `MAX_TALKS`.
#[derive(Debug, Clone, Default)]
pub struct Talks {
    list: Vec<Talk>,
    index: FxHashMap<(DeviceId, DeviceId, IpAddr, IpAddr), usize>,
    shortcut: Shortcut,
    /// Packets between pairs that found no room.
    pub unbooked: u64,
}

impl Talks {
    pub(super) fn add(
        &mut self,
        from: DeviceId,
        to: DeviceId,
        ips: (IpAddr, IpAddr),
        packet: Packet,
        time: Option<Time>,
    ) {
        let mark = from.0.wrapping_mul(7).wrapping_add(to.0);
        let latest = self.shortcut.row(mark);
        let is_it = |talk: &Talk| talk.from == from && talk.to == to && talk.ips == ips;
        let index = if self.list.get(latest).is_some_and(is_it) {
            latest
        } else {
            let Some(index) = self.find(from, to, ips) else { return };
            self.shortcut.note(mark, index);
            index
        };
        if let Some(talk) = self.list.get_mut(index) {
            talk.packets += 1;
            talk.data += u64::from(packet != Packet::Other);
            if packet == Packet::DataAgain {
                talk.again += 1;
                time.into_iter().for_each(|at| talk.repeat(at));
            }
        }
    }

    /// Where a direction stands, a new one when it is not known; counts the packet when it found no room.
    #[inline(never)]
    fn find(&mut self, from: DeviceId, to: DeviceId, ips: (IpAddr, IpAddr)) -> Option<usize> {
        let key = (from, to, ips.0, ips.1);
        let next = self.list.len();
        if let Some(&index) = self.index.get(&key) {
            return Some(index);
        }
        if next >= MAX_TALKS {
            self.unbooked += 1;
            return None;
        }
        self.index.insert(key, next);
        self.list.push(Talk { from, to, ips, packets: 0, data: 0, again: 0, repeats: Vec::new() });
        Some(next)
    }

    /// Every direction, in order of appearance.
    pub fn iter(&self) -> impl Iterator<Item = &Talk> {
        self.list.iter()
    }

    /// Packets that were seen on their way to this host alone. Where there are some, answers to it would be seen too.
    #[must_use]
    pub fn packets_to(&self, device: DeviceId) -> u64 {
        self.list.iter().filter(|t| t.to == device).map(|t| t.packets).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    #[test]
    fn what_happens_in_seconds_keeps_its_place_among_repeats_that_never_end() {
        let mut talks = Talks::default();
        let ip = IpAddr::V4(Ipv4Addr::LOCALHOST);
        let mut again = |s: f64| {
            talks.add(DeviceId(0), DeviceId(1), (ip, ip), Packet::DataAgain, Some(Time(0).plus(s)));
        };
        for i in 0..3600 {
            again(f64::from(i));
            if i == 1800 {
                (0..2000).for_each(|n| again(1800.0 + f64::from(n) / 1000.0));
            }
        }
        let repeats = &talks.iter().next().unwrap().repeats;
        assert_eq!((repeats.len(), repeats.iter().map(|r| r.count).sum::<u64>()), (MAX_STRETCHES, 5600));
        let busy: Vec<_> = repeats.iter().filter(|r| r.count as f64 > 100.0 * r.span.seconds()).collect();
        assert!(busy.iter().map(|r| r.count).sum::<u64>() >= 2000, "{busy:?}");
        assert!(busy.iter().all(|r| r.span.seconds() <= 5.0), "{busy:?}");
    }

    #[test]
    fn directions_are_kept_apart_and_bounded() {
        let mut talks = Talks::default();
        let ip = |n: u32| IpAddr::V4(Ipv4Addr::from(0xC000_0200 + n));
        let (a, b) = (DeviceId(0), DeviceId(1));
        talks.add(a, b, (ip(1), ip(2)), Packet::Data, None);
        talks.add(a, b, (ip(1), ip(2)), Packet::DataAgain, None);
        talks.add(b, a, (ip(2), ip(1)), Packet::Other, None);
        let counts: Vec<_> = talks.iter().map(|t| (t.packets, t.data, t.again)).collect();
        assert_eq!(counts, [(2, 2, 1), (1, 0, 0)]);
        assert_eq!((talks.packets_to(b), talks.packets_to(a)), (2, 1));
        for n in 0..10_000 {
            talks.add(a, b, (ip(1), ip(n)), Packet::Other, None);
        }
        assert_eq!(talks.iter().count(), MAX_TALKS);
    }
}
