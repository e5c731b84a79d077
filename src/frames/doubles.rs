//! Frames that the recorder saw more than once: a mirror port's doubles, a switching loop's many copies.

use super::bytes::be16;
use crate::recording::LinkType;
use crate::time::Time;
use foldhash::fast::{FixedState, RandomState};
use std::collections::{HashMap, VecDeque};
use std::hash::{BuildHasher, Hasher};

/// Frames that are remembered. At more than this many frames a second the window is shorter than [`DOUBLES_WINDOW_S`].
pub const MAX_REMEMBERED_FRAMES: usize = 32_768;
/// Seconds that a frame is remembered.
pub const DOUBLES_WINDOW_S: f64 = 1.0;
/// Microseconds between copies of one burst: a loop returns a frame within this, an application's repeats do not.
pub const BURST_US: i64 = 5_000;
/// Microseconds within which a mirror port shows all copies of a frame.
pub const MIRROR_US: i64 = 2_000;

/// How often a frame was seen of late, this time included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Copies {
    /// Identical frames within the last second.
    pub within_second: u32,
    /// Identical frames in the present burst: each within [`BURST_US`] of the one before.
    pub in_burst: u32,
    /// Microseconds since the copy before.
    pub since_last_us: Option<i64>,
    /// Shortest spacing between copies while there were always some within the last second, microseconds.
    pub shortest_us: Option<i64>,
}

impl Copies {
    /// Whether the recorder or the network multiplied the frame (a mirror shows a group's frame once per mirrored port,
    /// a loop again and again, as `in_burst` tells): another came within [`MIRROR_US`], sooner than any
    /// sender repeats itself (RFC 6298 2.4 and common stacks: 200 ms and more).
    #[must_use]
    pub fn is_copy(&self) -> bool {
        self.since_last_us.is_some_and(|us| us <= MIRROR_US)
    }
}

struct Seen {
    count: u32,
    in_burst: u32,
    last: Time,
    shortest_us: Option<i64>,
}

/// The frames of the last second, by their hash. The table's own hash has a random key: a recording's writer must not
/// choose which frames collide in it.
#[derive(Default)]
pub struct Doubles {
    ring: VecDeque<(Time, u64)>,
    frames: HashMap<u64, Seen, RandomState>,
}

impl Doubles {
    /// Notes a frame seen at `time` and says how often its exact bytes were seen of late.
    pub fn seen(&mut self, time: Time, bytes: &[u8]) -> Copies {
        let mut hasher = FixedState::default().build_hasher();
        hasher.write(bytes);
        self.seen_hash(time, hasher.finish())
    }

    /// As [`seen`](Self::seen), by a hash that the caller makes ([`likeness`]).
    pub fn seen_hash(&mut self, time: Time, hash: u64) -> Copies {
        self.forget(time);
        self.ring.push_back((time, hash));
        let seen =
            self.frames.entry(hash).or_insert(Seen { count: 0, in_burst: 0, last: time, shortest_us: None });
        let since_last_us = (seen.count > 0).then(|| time.micros_since(seen.last).max(0));
        seen.count = seen.count.saturating_add(1);
        seen.in_burst = match since_last_us {
            Some(us) if us <= BURST_US => seen.in_burst.saturating_add(1),
            _ => 1,
        };
        seen.shortest_us = match (seen.shortest_us, since_last_us) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        seen.last = seen.last.max(time);
        Copies {
            within_second: seen.count,
            in_burst: seen.in_burst,
            since_last_us,
            shortest_us: seen.shortest_us,
        }
    }

    fn forget(&mut self, now: Time) {
        while let Some(&(time, hash)) = self.ring.front() {
            if self.ring.len() < MAX_REMEMBERED_FRAMES && now.since(time) <= DOUBLES_WINDOW_S {
                return;
            }
            self.ring.pop_front();
            if let Some(seen) = self.frames.get_mut(&hash) {
                seen.count = seen.count.saturating_sub(1);
                if seen.count == 0 {
                    self.frames.remove(&hash);
                }
            }
        }
    }
}

/// A hash of a packet that does not see what may differ between the copies of one packet that a mirror port, or a
/// recorder on all interfaces of a machine, shows: VLAN tags, padding, and of IP packets the hardware addresses, the
/// time to live and the header checksum.
#[must_use]
pub fn likeness(link: LinkType, bytes: &[u8]) -> u64 {
    let from = |at: usize| bytes.get(at..).unwrap_or_default();
    let (addresses, mut kind, mut body): (&[u8], Option<u16>, &[u8]) = match link {
        LinkType::Ethernet => (bytes.get(..12).unwrap_or(bytes), be16(bytes, 12), from(14)),
        LinkType::LinuxCooked => (&[], be16(bytes, 14), from(16)),
        LinkType::LinuxCooked2 => (&[], be16(bytes, 0), from(20)),
        LinkType::Null | LinkType::Loop => (&[], None, from(4)),
        LinkType::RawIp => (&[], None, bytes),
    };
    while let Some(0x8100 | 0x88A8) = kind {
        (kind, body) = (be16(body, 2), body.get(4..).unwrap_or_default());
    }
    // Length of the IP packet, and offsets of bytes that are not to be seen.
    let ip: Option<(usize, &[usize])> = match (kind, body.first().map(|first| first >> 4)) {
        (Some(0x0800) | None, Some(4)) => be16(body, 2).map(|total| (total.into(), &[8, 10, 11][..])),
        (Some(0x86DD) | None, Some(6)) => be16(body, 4).map(|len| (usize::from(len) + 40, &[7][..])),
        _ => None,
    };
    let mut hasher = FixedState::default().build_hasher();
    let Some((len, unseen)) = ip else {
        hasher.write(addresses);
        hasher.write_u16(kind.unwrap_or(0));
        hasher.write(body);
        return hasher.finish();
    };
    let packet = if len < 40 { body } else { body.get(..len).unwrap_or(body) };
    let mut from = 0;
    for at in unseen {
        hasher.write(packet.get(from..*at).unwrap_or_default());
        from = at + 1;
    }
    hasher.write(packet.get(from..).unwrap_or_default());
    hasher.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn last(times_us: &[i64]) -> Copies {
        let mut doubles = Doubles::default();
        let mut copies = None;
        for (n, us) in times_us.iter().enumerate() {
            doubles.seen(Time(*us), &[n as u8, 1]);
            copies = Some(doubles.seen(Time(*us), b"frame"));
        }
        copies.unwrap()
    }

    #[test]
    fn tells_doubles_from_loops_and_repeats() {
        let once = last(&[0]);
        assert_eq!((once.within_second, once.in_burst, once.shortest_us), (1, 1, None));
        let mirror = last(&[0, 800]);
        assert!(mirror.is_copy());
        assert_eq!((mirror.in_burst, mirror.within_second, mirror.since_last_us), (2, 2, Some(800)));
        let loop_ = last(&[0, 300, 600, 900, 1200]);
        assert_eq!((loop_.within_second, loop_.in_burst, loop_.shortest_us), (5, 5, Some(300)));
        assert!(loop_.is_copy());
        let periodic = last(&[0, 100_000, 200_000, 300_000]);
        assert_eq!((periodic.within_second, periodic.in_burst), (4, 1));
        assert!(!periodic.is_copy());
        assert_eq!(periodic.shortest_us, Some(100_000));
        let mirrored_periodic = last(&[0, 500, 100_000, 100_500]);
        assert_eq!((mirrored_periodic.in_burst, mirrored_periodic.within_second), (2, 4));
        let late = last(&[0, 500, 1_000_501]);
        assert_eq!((late.within_second, late.in_burst, late.shortest_us), (1, 1, None));
    }

    #[test]
    fn remembers_only_so_many() {
        let mut doubles = Doubles::default();
        for n in 0..100_000_u32 {
            assert_eq!(doubles.seen(Time(0), &n.to_be_bytes()).within_second, 1);
            assert!(
                doubles.ring.len() <= MAX_REMEMBERED_FRAMES && doubles.frames.len() <= MAX_REMEMBERED_FRAMES
            );
        }
        doubles.seen(Time(2_000_000), b"later");
        assert_eq!((doubles.ring.len(), doubles.frames.len()), (1, 1));
    }

    #[test]
    fn a_clock_that_steps_back_does_no_harm() {
        let copies = last(&[5_000_000, 0, i64::MIN, i64::MAX, 0]);
        assert_eq!(copies.since_last_us, Some(0));
    }

    /// ICMP echo of 20 bytes from 192.0.2.1 to 192.0.2.2: identification 7 at 4, time to live 64 at 8, checksum at 10.
    fn ip() -> Vec<u8> {
        let mut bytes = vec![0x45, 0, 0, 40, 0, 7, 0, 0, 64, 1, 0xAB, 0xCD, 192, 0, 2, 1, 192, 0, 2, 2];
        bytes.extend(8..28);
        bytes
    }

    #[test]
    fn likeness_ignores_link_padding_and_hop_count() {
        let plain = ip();
        let want = likeness(LinkType::RawIp, &plain);
        let mut tagged = vec![0xFF; 12];
        tagged.extend([0x81, 0, 0, 5, 8, 0]);
        tagged.extend(&plain);
        (tagged[18 + 8], tagged[18 + 10], tagged[18 + 11]) = (63, 0xAC, 0xCE);
        tagged.extend([0; 6]);
        assert_eq!(likeness(LinkType::Ethernet, &tagged), want);
        let mut cooked = vec![0, 4, 0, 1, 0, 6, 0, 0, 0x5E, 0, 0x53, 1, 0, 0, 8, 0];
        cooked.extend(&plain);
        assert_eq!(likeness(LinkType::LinuxCooked, &cooked), want);
        let mut cooked2 = vec![8, 0, 0, 0, 0, 0, 0, 3, 0, 1, 2, 6, 0, 0, 0x5E, 0, 0x53, 1, 0, 0];
        cooked2.extend(&plain);
        assert_eq!(likeness(LinkType::LinuxCooked2, &cooked2), want);
        assert_eq!(likeness(LinkType::Loop, &[&[0, 0, 0, 2][..], &plain].concat()), want);
        for at in (0..plain.len()).filter(|at| ![8, 10, 11].contains(at)) {
            let mut other = plain.clone();
            other[at] ^= 1;
            assert_ne!(likeness(LinkType::RawIp, &other), want, "byte {at}");
        }
        let lengths: std::collections::HashSet<_> =
            (0..tagged.len() - 6).map(|len| likeness(LinkType::Ethernet, &tagged[..len])).collect();
        // Inside the tag, time to live and checksum shorter lengths look alike; nowhere else.
        assert!(lengths.len() > tagged.len() - 6 - 12, "{}", lengths.len());
    }

    #[test]
    fn likeness_of_other_frames_sees_the_addresses() {
        let mut arp = vec![0xFF; 12];
        arp.extend([8, 6, 0, 1, 8, 0, 6, 4, 0, 1]);
        for at in 0..arp.len() {
            let mut other = arp.clone();
            other[at] ^= 1;
            assert_ne!(likeness(LinkType::Ethernet, &other), likeness(LinkType::Ethernet, &arp), "byte {at}");
        }
    }
}
