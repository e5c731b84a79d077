//! Broadcast and group frames, second by second, and who sent them while they flooded the network.

use super::bounded;
use super::inventory::DeviceId;
use super::second::Second;
use crate::frames::Copies;
use crate::time::{Span, Time};

/// Most stretches of flood that are remembered, a network; the last one takes the rest.
const MAX_FLOODS: usize = 32;

/// Most senders of a flood that are remembered.
const MAX_SENDERS: usize = 256;

/// Flooded seconds at most this far apart are one flood, seconds.
const APART_S: f64 = 2.0;

/// Broadcast and signalling frames a second from which a second counts as flooded (common practice: over 1000).
pub const FLOOD_PER_S: u64 = 1000;

/// Group frames a second of which even streams of data flood: as many as 100 Mbit/s carry of some 800 bytes each (IEEE
/// 802.3 clause 4). Radar, sonar and cameras send thousands of smaller ones by design (common practice); how full the link
/// gets is told apart from this.
const STREAM_FLOOD_PER_S: u64 = 15_000;

/// The same of small frames, up to [`SMALL`] bytes: as many as two full CAN buses in datagrams of one frame each. Radar and
/// cameras send large ones, instruments some hundred small ones (common practice).
const SMALL_FLOOD_PER_S: u64 = 5000;

/// Bytes of a frame up to which it is small.
const SMALL: u32 = 200;

/// Copies of a frame within a second that a mirror port can make: a small switch has about eight ports. A loop makes more of
/// them, however long its frames wait in a full switch each time round; a sender that repeats itself more often on purpose
/// floods nothing by that.
const MIRRORS: u32 = 8;

/// A loop brings a frame back within this time; of those that say the same again on purpose hardly one is so fast, for ten a
/// second are a fast instrument's rate (NMEA 2000 appendix B), microseconds.
const SOON_US: i64 = 90_000;

/// Frames a second that come back so soon from which on a loop is at work, half a flood; and how many more than that have come
/// back by then.
const RETURNS_PER_S: i64 = (FLOOD_PER_S / 2) as i64;
const RETURNS: i64 = 100;

/// Frames outside floods that tell how often the recorder shows each.
const ENOUGH_CALM: u64 = 20;

/// What a frame for many is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cast {
    /// Broadcast, or a group that serves the network itself (address resolution, naming, memberships, switches).
    Signal,
    /// A group of those who want a stream of data.
    Stream,
    /// As a stream, of small frames.
    SmallStream,
}

impl Cast {
    /// The same for a frame of so many bytes.
    #[must_use]
    pub const fn of_size(self, bytes: u32) -> Self {
        match self {
            Self::Stream if bytes <= SMALL => Self::SmallStream,
            cast => cast,
        }
    }
}

/// A host's part in the flooded seconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sender {
    /// Who.
    pub device: DeviceId,
    /// Its frames for many.
    pub frames: u64,
    /// Those of them that came back again and again.
    pub returned: u64,
}

/// Flooded seconds one after another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flood {
    /// From the first to the last of them.
    pub span: Span,
    /// Frames for many in them, without the copies that a mirror port makes.
    pub frames: u64,
    /// Those of them that came back again and again.
    pub returned: u64,
    /// Who sent them.
    pub senders: Vec<Sender>,
    /// Most in one second, with all copies, and without those of a mirror port.
    peaks: (u64, u64),
}

/// Frames of one second.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    all: u64,
    /// Copies within the time in which a mirror port makes them.
    copies: u64,
    /// Without the copies that a mirror port makes.
    frames: u64,
    returned: u64,
    streams: u64,
    /// Small ones among the streams.
    small: u64,
}

/// A host's frames for many in one second.
#[derive(Debug, Clone, Copy, Default)]
struct Share {
    /// The second's number, counted from 1; what is of an earlier one counts no more.
    second: u64,
    frames: u64,
    returned: u64,
}

/// Who sent frames for many in the running second. Bounded as the devices are.
#[derive(Debug, Clone, Default)]
struct Shares {
    /// The number of the running second, less one.
    before: u64,
    /// By the device's number.
    of: Vec<Share>,
    /// Those who have one in the running second, in order of appearance; at most [`MAX_SENDERS`].
    senders: Vec<DeviceId>,
}

impl Shares {
    /// Counts a frame.
    fn frame(&mut self, sender: DeviceId, returned: bool) {
        let number = sender.0 as usize;
        if number >= self.of.len() {
            self.of.resize(number + 1, Share::default());
        }
        let Some(share) = self.of.get_mut(number) else { return };
        let second = self.before + 1;
        if share.second != second {
            if self.senders.len() >= MAX_SENDERS {
                return;
            }
            self.senders.push(sender);
            *share = Share { second, frames: 0, returned: 0 };
        }
        share.frames += 1;
        share.returned += u64::from(returned);
    }

    /// Begins another second.
    fn clear(&mut self) {
        self.senders.clear();
        self.before += 1;
    }

    /// Everyone's share, in order of the devices' numbers.
    fn sorted(&mut self) -> impl Iterator<Item = (DeviceId, Share)> {
        self.senders.sort_unstable();
        self.senders.iter().filter_map(|device| Some((*device, *self.of.get(device.0 as usize)?)))
    }
}

/// Frames that come back soon, as water in a bucket that leaks.
#[derive(Debug, Clone, Copy, Default)]
struct Returns {
    /// How long it takes to leak, microseconds.
    level_us: i64,
    /// The same of those alone that are of a third host after two others, each as ten: what a loop holds are the frames of many,
    /// and a host or two may say the same again and again.
    mixed_us: i64,
    at: Time,
    /// The last two hosts, the later one first.
    senders: [Option<DeviceId>; 2],
}

impl Returns {
    /// Microseconds for one frame to leak.
    const FRAME_US: i64 = 1_000_000 / RETURNS_PER_S;
    /// Level from which a loop is at work.
    const LOOPED_US: i64 = RETURNS * Self::FRAME_US;

    /// Notes a frame that came before; says whether a loop brought it back, with those of other hosts.
    fn note(&mut self, time: Time, since_last_us: i64, sender: Option<DeviceId>) -> bool {
        let passed_us = time.micros_since(self.at).max(0);
        self.at = time;
        let soon = since_last_us <= SOON_US;
        let after = |level_us: i64, adds: bool, frames: i64| {
            let left_us = (level_us - passed_us).max(0);
            (left_us + if adds { frames * Self::FRAME_US } else { 0 }).min(2 * Self::LOOPED_US)
        };
        self.level_us = after(self.level_us, soon, 1);
        let [latest, other] = self.senders;
        self.mixed_us = after(self.mixed_us, soon && sender != latest && sender != other, 10);
        if soon && sender != latest {
            self.senders = [sender, latest];
        }
        self.level_us >= Self::LOOPED_US && self.mixed_us >= Self::LOOPED_US
    }
}

/// Broadcast and group frames of a network.
#[derive(Debug, Clone, Default)]
pub struct Floods {
    /// Most in one second, without the copies that a mirror port makes.
    pub peak: u64,
    /// Every flood, in order of time.
    pub list: Vec<Flood>,
    second: Option<Second>,
    now: Count,
    shares: Shares,
    returns: Returns,
    /// Frames outside floods, and those of them that are copies; a flood begins and ends within a second that does not count.
    calm: (u64, u64),
    /// The same of the last second, which counts when none beside it is flooded.
    last: Option<(u64, u64)>,
}

impl Floods {
    /// Books a frame for many, with the copies that were seen of it. Says whether it came back.
    #[inline(always)]
    pub fn frame(
        &mut self,
        time: Time,
        sender: Option<DeviceId>,
        copies: Option<&Copies>,
        cast: Cast,
    ) -> bool {
        if !self.second.is_some_and(|second| second.holds(time)) {
            self.begin(time);
        }
        self.now.all += 1;
        let (mut returned, mut back) = (false, false);
        if let Some(copies) = copies {
            returned = copies.within_second > MIRRORS;
            self.now.copies += u64::from(copies.is_copy());
            if copies.is_copy() && !returned {
                return false;
            }
            self.now.returned += u64::from(returned);
            back = self.returns.note(time, copies.since_last_us, sender);
        }
        self.now.frames += 1;
        self.now.streams += u64::from(cast != Cast::Signal && !returned);
        self.now.small += u64::from(cast == Cast::SmallStream && !returned);
        if let Some(sender) = sender {
            self.shares.frame(sender, returned);
        }
        back
    }

    /// Begins the second that a moment lies in.
    #[cold]
    fn begin(&mut self, time: Time) {
        self.settle();
        self.second = Some(Second::of(time));
    }

    /// When the network was flooded.
    pub fn spans(&self) -> impl Iterator<Item = Span> {
        self.list.iter().map(|flood| flood.span)
    }

    /// Frames for many in the worst second of a flood, each counted as often as it was on the wire: with the copies that a loop
    /// makes, and without those that a mirror port makes, as it does of all frames outside floods too.
    #[must_use]
    pub fn peak_of(&self, flood: &Flood, looped: bool) -> u64 {
        let (all, copies) = self.calm;
        let once = all - copies;
        let times = if once >= ENOUGH_CALM { (all + once / 2) / once } else { 1 };
        match flood.peaks {
            (all, _) if looped || times > 1 => all / times,
            (_, frames) => frames,
        }
    }

    /// Takes the running second into account; call once at the end.
    pub(super) fn settle(&mut self) {
        let now = std::mem::take(&mut self.now);
        let mut shares = std::mem::take(&mut self.shares);
        if let Some(second) = self.second.take() {
            self.settle_second(second, &now, &mut shares);
        }
        shares.clear();
        self.shares = shares;
    }

    fn settle_second(&mut self, second: Second, now: &Count, shares: &mut Shares) {
        self.peak = self.peak.max(now.frames);
        let flooded = now.frames - now.streams >= FLOOD_PER_S
            || now.small >= SMALL_FLOOD_PER_S
            || now.frames >= STREAM_FLOOD_PER_S;
        if !flooded {
            if self.list.last().is_some_and(|flood| second.begin().since(flood.span.to) < 1.0) {
                return;
            }
            let calm = self.last.replace((now.all, now.copies));
            let (all, copies) = calm.unwrap_or_default();
            self.calm = (self.calm.0 + all, self.calm.1 + copies);
            return;
        }
        self.last = None;
        let Some(flood) = self.flood_at(second.begin()) else { return };
        flood.peaks = (flood.peaks.0.max(now.all), flood.peaks.1.max(now.frames));
        flood.frames += now.frames;
        flood.returned += now.returned;
        for (device, Share { frames, returned, .. }) in shares.sorted() {
            let new = || Sender { device, frames: 0, returned: 0 };
            if let Some(sender) = bounded::entry(&mut flood.senders, MAX_SENDERS, |s| s.device == device, new)
            {
                sender.frames += frames;
                sender.returned += returned;
            }
        }
    }

    /// The flood of which a second that begins here is a part.
    fn flood_at(&mut self, begin: Time) -> Option<&mut Flood> {
        let room = self.list.len() < MAX_FLOODS;
        let goes_on = |last: &Flood| !room || begin.since(last.span.to) <= APART_S;
        let span = Span::new(begin, begin.plus(1.0));
        if !self.list.last().is_some_and(goes_on) {
            self.list.push(Flood { span, frames: 0, returned: 0, senders: Vec::new(), peaks: (0, 0) });
        }
        let flood = self.list.last_mut()?;
        flood.span.to = flood.span.to.max(span.to);
        Some(flood)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::Doubles;

    /// Three seconds of `per_s` frames a second; `content` says what each holds.
    fn flood(per_s: i64, cast: Cast, content: impl Fn(i64) -> u64) -> Floods {
        let mut floods = Floods::default();
        let mut doubles = Doubles::default();
        for i in 0..3 * per_s {
            let time = Time(i * 1_000_000 / per_s);
            floods.frame(time, Some(DeviceId(0)), doubles.seen_hash(time, content(i)).as_ref(), cast);
        }
        floods.settle();
        floods
    }

    #[test]
    fn a_flood_is_seen_and_a_stream_is_none() {
        let storm = flood(1500, Cast::Signal, |i| i as u64);
        assert_eq!((storm.peak, storm.list[0].frames, storm.list[0].returned), (1500, 4500, 0));
        assert!((storm.list[0].span.seconds() - 3.0).abs() < 1e-9);
        assert_eq!(storm.list[0].senders, [Sender { device: DeviceId(0), frames: 4500, returned: 0 }]);
        let radar = flood(12_000, Cast::Stream, |i| i as u64);
        assert_eq!((radar.peak, radar.list.len()), (12_000, 0));
        assert_eq!(flood(6000, Cast::SmallStream, |i| i as u64).list.len(), 1, "no instrument sends so many");
        assert!(flood(3500, Cast::SmallStream, |i| i as u64).list.is_empty(), "two buses in datagrams");
        assert_eq!(flood(16_000, Cast::Stream, |i| i as u64).list.len(), 1, "even a stream may be too much");
        assert!(flood(900, Cast::Signal, |i| i as u64).list.is_empty());
    }

    #[test]
    fn a_mirror_port_makes_no_flood_and_a_loop_does() {
        // 400 frames a second, each of them seen by three mirrored ports within a millisecond.
        let mirrored = flood(1200, Cast::Signal, |i| i as u64 / 3);
        assert_eq!((mirrored.peak, mirrored.list.len()), (400, 0));
        let looped = flood(4000, Cast::Stream, |i| i as u64 % 6);
        assert_eq!(looped.list.len(), 1);
        let only = &looped.list[0];
        assert!(only.returned * 10 > only.frames * 9, "{only:?}");
        assert_eq!(looped.peak_of(only, true), 4000);
        let full = flood(2000, Cast::Stream, |i| i as u64 % 160);
        assert_eq!(full.list.len(), 1, "a frame comes back each 80 ms, as long as a full switch holds it");
    }

    /// Twenty seconds of a port that shows each frame so many times, and from the middle on two seconds of so many frames each.
    fn shown(times: i64, per_s: i64, content: impl Fn(i64) -> u64) -> Floods {
        let mut floods = Floods::default();
        let mut doubles = Doubles::default();
        let calm = (0..400).map(|i| (i * 50_000, i as u64 + 1_000_000));
        let flood = (0..2 * per_s).map(|i| (9_500_000 + i * 1_000_000 / per_s, content(i)));
        let mut frames: Vec<(i64, u64)> =
            calm.chain(flood).flat_map(|(t, c)| (0..times).map(move |n| (t + 4 * n, c))).collect();
        frames.sort_unstable();
        for (us, content) in frames {
            let copies = doubles.seen_hash(Time(us), content);
            floods.frame(Time(us), Some(DeviceId(0)), copies.as_ref(), Cast::Signal);
        }
        floods.settle();
        floods
    }

    #[test]
    fn what_a_mirror_port_doubles_is_counted_once() {
        let looped = shown(2, 3000, |i| i as u64 % 12);
        assert!((3000..3030).contains(&looped.peak_of(&looped.list[0], true)), "{:?}", looped.list);
        // Who asks for all addresses in turn says each a few times a second.
        let asks = shown(2, 1300, |i| i as u64 % 200);
        assert!((1300..1330).contains(&asks.peak_of(&asks.list[0], false)), "{:?}", asks.list);
        // At any other port the copies of the loop itself, which begins and ends within a second, double nothing.
        let plain = shown(1, 1500, |i| i as u64 % 2);
        assert!((1500..1530).contains(&plain.peak_of(&plain.list[0], true)), "{:?}", plain.list);
    }

    #[test]
    fn what_a_loop_brings_back_is_known_soon() {
        let come_back = |per_s: i64, held: i64, hosts: i64| {
            let (mut floods, mut doubles) = (Floods::default(), Doubles::default());
            let mut back = |i: i64| {
                let (time, content) = (Time(i * 1_000_000 / per_s), (i % held) as u64);
                let host = DeviceId((i % held / 4 % hosts) as u32);
                floods.frame(time, Some(host), doubles.seen_hash(time, content).as_ref(), Cast::Signal)
            };
            (0..per_s).filter(|i| back(*i)).count()
        };
        for (per_s, held) in [(1500, 30), (4000, 30), (2000, 160)] {
            assert!(come_back(per_s, held, 3) as i64 > 3 * per_s / 4, "{per_s}");
            assert_eq!(come_back(per_s, held, 2), 0, "{per_s}: two that repeat themselves");
        }
        assert_eq!(come_back(2000, 200, 3), 0, "ten times a second");
        assert_eq!(come_back(400, 20, 3), 0, "too few");
    }
}
