//! Frames that the recorder saw more than once: a mirror port's doubles, a switching loop's many copies.

use super::bytes::be16;
use crate::recording::LinkType;
use crate::soon;
use crate::time::Time;
use foldhash::fast::{FixedState, RandomState};
use std::hash::{BuildHasher, Hasher};

/// Frames that are remembered. At more than this many frames a second the window is shorter than [`DOUBLES_WINDOW_S`].
pub const MAX_REMEMBERED_FRAMES: usize = 32_768;
/// Seconds that a frame is remembered.
pub const DOUBLES_WINDOW_S: f64 = 1.0;
/// The same in microseconds.
const DOUBLES_WINDOW_US: i64 = (DOUBLES_WINDOW_S * 1e6) as i64;
/// Microseconds within which a mirror port shows all copies of a frame.
pub const MIRROR_US: i64 = 2_000;

/// Of a frame that was seen before of late.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Copies {
    /// Microseconds since the one before.
    pub since_last_us: i64,
    /// Identical frames within the last second, this one included: two or more.
    pub within_second: u32,
    /// Whether a second or more passed since the first of them, or since the last one of which this was said.
    pub second_on: bool,
}

impl Copies {
    /// Whether the recorder or the network multiplied the frame (a mirror shows a group's frame once per mirrored port,
    /// a loop again and again): another came within [`MIRROR_US`], sooner than any sender repeats itself (RFC 6298 2.4 and
    /// common stacks: 200 ms and more).
    #[must_use]
    pub const fn is_copy(&self) -> bool {
        self.since_last_us <= MIRROR_US
    }
}

/// What is known of a frame that was seen more than once of late.
#[derive(Debug, Clone, Copy)]
struct Seen {
    count: u32,
    last: Time,
    /// When the second began.
    second: Time,
}

/// A frame of the last second.
#[derive(Debug, Clone, Copy)]
struct Frame {
    time: Time,
    hash: u64,
    /// The number of an earlier frame in the same place of the table, or one that is not remembered any more.
    before: u32,
    /// Where it stands among those that were seen more than once.
    repeated: Option<u32>,
}

/// What stands where none does yet.
const NO_FRAME: Frame = Frame { time: Time(0), hash: 0, before: 0, repeated: None };

/// Frames for which the ring has room at first.
const RING: usize = 256;

/// Places of the table at first: more than a quiet network sends in a second, and few enough to lie in a processor's nearest
/// cache.
const PLACES: usize = 1024;

/// The frames of the last second, by their hash. Nearly all are seen but once; so each stands in the row of its arrival
/// alone, and a table leads to the last one in each place. The table's own hash has a random key: a recording's writer
/// must not choose which frames collide in it.
pub struct Doubles {
    /// The frame with number n stands at n modulo the length, which is a power of two.
    ring: Vec<Frame>,
    /// The number of the first frame that is remembered, and the one behind the last, counted from 1 and over 2^32 on from
    /// 0. A number of long ago that means another frame by now leads to one that is not alike.
    first: u32,
    next: u32,
    /// The number of the last frame in each place.
    latest: Vec<u32>,
    repeated: Vec<Seen>,
    /// Rows of `repeated` that are free.
    free: Vec<u32>,
    keys: RandomState,
}

impl Default for Doubles {
    fn default() -> Self {
        Self {
            ring: vec![NO_FRAME; RING],
            first: 1,
            next: 1,
            latest: vec![0; PLACES],
            repeated: Vec::new(),
            free: Vec::new(),
            keys: RandomState::default(),
        }
    }
}

impl Doubles {
    /// Notes a frame seen at `time` and says how often its exact bytes were seen of late, when they were.
    pub fn seen(&mut self, time: Time, bytes: &[u8]) -> Option<Copies> {
        let mut hasher = FixedState::default().build_hasher();
        hasher.write(bytes);
        self.seen_hash(time, hasher.finish())
    }

    /// As [`seen`](Self::seen), by a hash that the caller makes ([`likeness`]).
    #[inline(always)]
    pub fn seen_hash(&mut self, time: Time, hash: u64) -> Option<Copies> {
        self.forget(time);
        let count = self.count() as usize;
        if count >= self.ring.len() || count > self.latest.len() {
            self.make_room(count);
        }
        let number = self.next;
        let place = self.place(hash);
        let latest = self.latest.get_mut(place).map_or(0, |latest| std::mem::replace(latest, number));
        // Mostly it is the first in its place.
        let again = if self.is_remembered(latest) { self.again(time, hash, latest) } else { None };
        let (before, repeated) = again.map_or((latest, None), |(before, row, _)| (before, Some(row)));
        self.next = number.wrapping_add(1);
        if let Some(frame) = self.frame_mut(number) {
            *frame = Frame { time, hash, before, repeated };
        }
        again.map(|(.., copies)| copies)
    }

    /// Looks for a frame that is alike, from the one with the number `latest` on; gives the number of the one that the new one is to
    /// lead to, its row among those that were seen more than once, and the copies.
    #[inline(never)]
    fn again(&mut self, time: Time, hash: u64, latest: u32) -> Option<(u32, u32, Copies)> {
        let alike = self.alike(latest, hash)?;
        let before = self.before(latest, Some(alike));
        let row = self.repeated_row(alike)?;
        let copies = self.repeated.get_mut(row as usize)?.again(time);
        Some((before, row, copies))
    }

    /// Whether the frame with this number is one of the last second.
    #[inline(always)]
    const fn is_remembered(&self, number: u32) -> bool {
        number.wrapping_sub(self.first) < self.count()
    }

    /// Fetches what [`seen_hash`](Self::seen_hash) of this hash will look at first.
    pub(crate) fn fetch(&self, hash: u64) {
        if let Some(latest) = self.latest.get(self.place(hash)) {
            soon::fetch(latest);
        }
    }

    fn place(&self, hash: u64) -> usize {
        // The number of places is a power of two.
        self.keys.hash_one(hash) as usize & (self.latest.len() - 1)
    }

    /// How many frames are remembered.
    const fn count(&self) -> u32 {
        self.next.wrapping_sub(self.first)
    }

    /// What stands where the frame with this number does, or did.
    fn frame(&self, number: u32) -> Option<&Frame> {
        self.ring.get(number as usize & (self.ring.len() - 1))
    }

    fn frame_mut(&mut self, number: u32) -> Option<&mut Frame> {
        let place = number as usize & (self.ring.len() - 1);
        self.ring.get_mut(place)
    }

    /// Makes room for more than so many frames.
    #[cold]
    fn make_room(&mut self, count: usize) {
        if count >= self.ring.len() {
            self.lengthen();
        }
        if count > self.latest.len() {
            self.spread();
        }
    }

    /// Makes the ring twice as long.
    fn lengthen(&mut self) {
        let (first, next) = (self.first, self.next);
        let frames: Vec<_> = numbers(first, next).filter_map(|number| self.frame(number).copied()).collect();
        self.ring = vec![NO_FRAME; 2 * self.ring.len()];
        for (number, frame) in numbers(first, next).zip(frames) {
            if let Some(place) = self.frame_mut(number) {
                *place = frame;
            }
        }
    }

    /// Makes the table as large as for four times as many frames.
    fn spread(&mut self) {
        self.latest = vec![0; 4 * self.latest.len()];
        let (first, next) = (self.first, self.next);
        self.next = first;
        for number in numbers(first, next) {
            let Some(hash) = self.frame(number).map(|frame| frame.hash) else { return };
            let place = self.place(hash);
            let latest = self.latest.get_mut(place).map_or(0, |latest| std::mem::replace(latest, number));
            let before = self.before(latest, self.alike(latest, hash));
            self.next = number.wrapping_add(1);
            if let Some(frame) = self.frame_mut(number) {
                frame.before = before;
            }
        }
    }

    /// The number that a frame leads to, when its place leads to `latest`, and `alike` is the last one that is alike: of frames
    /// that are alike one after the other, the last one is enough to be led to.
    fn before(&self, latest: u32, alike: Option<u32>) -> u32 {
        match alike.filter(|number| *number == latest) {
            Some(number) => self.frame(number).map_or(0, |alike| alike.before),
            None => latest,
        }
    }

    /// The number of the last frame with this hash; the search begins with the frame of this number.
    fn alike(&self, mut number: u32, hash: u64) -> Option<u32> {
        let mut bound = self.count();
        // Each leads further back, or out.
        while number.wrapping_sub(self.first) < bound {
            let frame = self.frame(number)?;
            if frame.hash == hash {
                return Some(number);
            }
            bound = number.wrapping_sub(self.first);
            number = frame.before;
        }
        None
    }

    /// The row among the repeated ones of the frame with this number; a new one when it was seen once.
    fn repeated_row(&mut self, number: u32) -> Option<u32> {
        let frame = *self.frame(number)?;
        if frame.repeated.is_some() {
            return frame.repeated;
        }
        let new = Seen { count: 1, last: frame.time, second: frame.time };
        let row = self.free.pop().unwrap_or(self.repeated.len() as u32);
        match self.repeated.get_mut(row as usize) {
            Some(place) => *place = new,
            None => self.repeated.push(new),
        }
        self.frame_mut(number)?.repeated = Some(row);
        Some(row)
    }

    /// Forgets what is older than a second.
    #[inline(always)]
    fn forget(&mut self, now: Time) {
        while self.first != self.next {
            let Some(frame) = self.frame(self.first) else { return };
            // What is later than now was stamped before the recorder's clock was set back.
            let is_near = (-DOUBLES_WINDOW_US..=DOUBLES_WINDOW_US).contains(&now.micros_since(frame.time));
            if is_near && (self.count() as usize) < MAX_REMEMBERED_FRAMES {
                return;
            }
            if let Some(row) = frame.repeated {
                self.forget_one(row);
            }
            self.first = self.first.wrapping_add(1);
        }
    }

    /// Forgets one frame of those that were seen more than once.
    #[inline(never)]
    fn forget_one(&mut self, row: u32) {
        if let Some(seen) = self.repeated.get_mut(row as usize) {
            seen.count = seen.count.saturating_sub(1);
            if seen.count == 0 {
                self.free.push(row);
            }
        }
    }
}

/// The numbers from `first` up to `next`.
fn numbers(first: u32, next: u32) -> impl Iterator<Item = u32> {
    (0..next.wrapping_sub(first)).map(move |at| first.wrapping_add(at))
}

impl Seen {
    /// Notes one more.
    fn again(&mut self, time: Time) -> Copies {
        let since_last_us = time.micros_since(self.last).max(0);
        self.count = self.count.saturating_add(1);
        self.last = self.last.max(time);
        let second_on = time.micros_since(self.second) >= DOUBLES_WINDOW_US;
        if second_on {
            self.second = time;
        }
        Copies { since_last_us, within_second: self.count, second_on }
    }
}

/// A hash of a packet that does not see what may differ between the copies of one packet that a mirror port, or a
/// recorder on all interfaces of a machine, shows: VLAN tags, padding, and of IP packets the hardware addresses, the
/// time to live and the header checksum.
#[must_use]
pub fn likeness(link: LinkType, bytes: &[u8]) -> u64 {
    // Nearly every packet: Ethernet without a tag, and version 4 behind it.
    if link == LinkType::Ethernet
        && let Some((head, packet)) = bytes.split_first_chunk::<14>()
        && let [.., 0x08, 0x00] = head
        && let Some((0x40..=0x4F, _)) = packet.split_first()
        && let Some(likeness) = likeness_of_version_4(packet)
    {
        return likeness;
    }
    any_likeness(link, bytes)
}

/// As [`likeness`], of any packet.
#[inline(never)]
fn any_likeness(link: LinkType, bytes: &[u8]) -> u64 {
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
    // Length of the IP packet, and whether it is version 4.
    let ip: Option<(usize, bool)> = match (kind, body.first().map(|first| first >> 4)) {
        (Some(0x0800) | None, Some(4)) => be16(body, 2).map(|total| (total.into(), true)),
        (Some(0x86DD) | None, Some(6)) => be16(body, 4).map(|len| (usize::from(len) + 40, false)),
        _ => None,
    };
    let mut hasher = FixedState::default().build_hasher();
    let Some((len, is_4)) = ip else {
        hasher.write(addresses);
        hasher.write_u16(kind.unwrap_or(0));
        hasher.write(body);
        return hasher.finish();
    };
    if is_4 && let Some(likeness) = likeness_of_version_4(body) {
        return likeness;
    }
    let packet = if len < 40 { body } else { body.get(..len).unwrap_or(body) };
    let unseen: &[usize] = if is_4 { &[8, 10, 11] } else { &[7] };
    let mut from = 0;
    for at in unseen {
        hasher.write(packet.get(from..*at).unwrap_or_default());
        from = at + 1;
    }
    hasher.write(packet.get(from..).unwrap_or_default());
    hasher.finish()
}

/// Of an IPv4 packet, in whole words: all but time to live and checksum. `None` when it has no whole header.
#[inline(always)]
fn likeness_of_version_4(body: &[u8]) -> Option<u64> {
    let (head, rest) = body.split_first_chunk::<20>()?;
    let [a, b, c, d, e, f, g, h, _, protocol, _, _, addresses @ ..] = *head;
    // A length below any packet's is none; a longer one than there is was cut.
    let len = usize::from(u16::from_be_bytes([c, d]));
    let rest = if len < 40 { rest } else { rest.get(..len - 20).unwrap_or(rest) };
    let mut hasher = FixedState::default().build_hasher();
    hasher.write_u64(u64::from_le_bytes([a, b, c, d, e, f, g, h]));
    hasher.write_u64(u64::from_le_bytes(addresses));
    hasher.write_u8(protocol);
    hasher.write(rest);
    Some(hasher.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn last(times_us: &[i64]) -> Option<Copies> {
        let mut doubles = Doubles::default();
        let mut copies = None;
        for (n, us) in times_us.iter().enumerate() {
            doubles.seen(Time(*us), &[n as u8, 1]);
            copies = doubles.seen(Time(*us), b"frame");
        }
        copies
    }

    #[test]
    fn tells_doubles_from_loops_and_repeats() {
        assert_eq!(last(&[0]), None);
        let told = |times_us| last(times_us).map(|c| (c.within_second, c.since_last_us, c.is_copy()));
        assert_eq!(told(&[0, 800]), Some((2, 800, true)), "a mirror");
        assert_eq!(told(&[0, 300, 600, 900, 1200]), Some((5, 300, true)), "a loop");
        assert_eq!(told(&[0, 100_000, 200_000, 300_000]), Some((4, 100_000, false)), "repeats");
        assert_eq!(told(&[0, 500, 100_000, 100_500]), Some((4, 500, true)), "repeats at a mirror");
        assert_eq!(told(&[0, 500, 1_000_501]), None, "late");
    }

    #[test]
    fn remembers_only_so_many() {
        let mut doubles = Doubles::default();
        for n in 0..100_000_u32 {
            assert_eq!(doubles.seen(Time(0), &n.to_be_bytes()), None);
            assert!(doubles.ring.len() <= MAX_REMEMBERED_FRAMES && doubles.repeated.is_empty());
        }
        doubles.seen(Time(2_000_000), b"later");
        assert_eq!(doubles.count(), 1);
    }

    /// The same, with every frame of the last second looked at: what the table is compared with.
    #[test]
    fn the_table_tells_what_a_look_at_every_frame_tells() {
        // On the way the numbers begin anew.
        let first = u32::MAX - 9_000;
        let mut doubles = Doubles { first, next: first, ..Doubles::default() };
        assert!(doubles.latest.len() < 2000, "the table must grow");
        let mut all: Vec<(i64, u32)> = Vec::new();
        let (mut state, mut us) = (7_u32, 0);
        for _ in 0..20_000 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            us += i64::from(state >> 28) * if state >> 24 & 0xF == 0 { 50_000 } else { 700 };
            let frame = (state >> 16) % if state & 0x100 == 0 { 5 } else { 3000 };
            all.retain(|(at, _)| us - at <= 1_000_000);
            let alike: Vec<i64> =
                all.iter().filter(|(_, other)| *other == frame).map(|(at, _)| *at).collect();
            let copies = doubles.seen(Time(us), &frame.to_be_bytes());
            assert_eq!(copies.map_or(0, |copies| copies.within_second as usize - 1), alike.len());
            assert_eq!(copies.map(|copies| copies.since_last_us), alike.last().map(|at| us - at));
            all.push((us, frame));
        }
        assert!(doubles.repeated.len() < 4000);
    }

    #[test]
    fn a_clock_that_steps_back_does_no_harm() {
        assert_eq!(last(&[5_000_000, 0, i64::MIN, i64::MAX, 0]), None);
        assert_eq!(last(&[60_000_000, 62_000_000, 34_000_000, 36_000_000]), None, "every two seconds");
        let overtaken = last(&[60_000_000, 59_999_800]);
        assert!(overtaken.is_some_and(|copies| copies.is_copy()));
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
