//! Broadcast and group frames, second by second, and who sent them while they flooded the network.

use super::bounded;
use super::inventory::DeviceId;
use super::second::Second;
use crate::frames::Copies;
use crate::time::{Span, Time};
use rustc_hash::FxHashMap;

/// Most stretches of flood that are remembered, a network.
const MAX_FLOODS: usize = 64;

/// Most senders of floods that are remembered, a network.
const MAX_SENDERS: usize = 256;

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

/// Frames of one second.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    all: u64,
    /// Without the copies that a mirror port makes.
    frames: u64,
    returned: u64,
    streams: u64,
    /// Small ones among the streams.
    small: u64,
}

/// Broadcast and group frames of a network.
#[derive(Debug, Clone, Default)]
pub struct Floods {
    /// Most in one second, without the copies that a mirror port makes.
    pub peak: u64,
    /// Most in one flooded second, with all copies.
    pub peak_with_copies: u64,
    /// Stretches of flooded seconds.
    pub spans: Vec<Span>,
    /// Frames in flooded seconds, and those of them that came back again and again.
    pub flooded: (u64, u64),
    /// Who sent them.
    pub senders: Vec<Sender>,
    second: Option<Second>,
    now: Count,
    senders_now: FxHashMap<DeviceId, (u64, u64)>,
}

impl Floods {
    /// Books a frame for many, with the copies that were seen of it.
    pub fn frame(&mut self, time: Time, sender: Option<DeviceId>, copies: &Copies, cast: Cast) {
        if !self.second.is_some_and(|second| second.holds(time)) {
            self.settle();
            self.second = Some(Second::of(time));
        }
        let returned = copies.within_second > MIRRORS;
        self.now.all += 1;
        if copies.is_copy() && !returned {
            return;
        }
        self.now.frames += 1;
        self.now.returned += u64::from(returned);
        self.now.streams += u64::from(cast != Cast::Signal && !returned);
        self.now.small += u64::from(cast == Cast::SmallStream && !returned);
        let Some(sender) = sender else { return };
        if let Some((frames, again)) = self.senders_now.get_mut(&sender) {
            *frames += 1;
            *again += u64::from(returned);
        } else if self.senders_now.len() < MAX_SENDERS {
            self.senders_now.insert(sender, (1, u64::from(returned)));
        }
    }

    /// Takes the running second into account; call once at the end.
    pub(super) fn settle(&mut self) {
        let now = std::mem::take(&mut self.now);
        let mut senders: Vec<_> = self.senders_now.drain().collect();
        let Some(second) = self.second.take() else { return };
        self.peak = self.peak.max(now.frames);
        let flooded = now.frames - now.streams >= FLOOD_PER_S
            || now.small >= SMALL_FLOOD_PER_S
            || now.frames >= STREAM_FLOOD_PER_S;
        if !flooded {
            return;
        }
        self.peak_with_copies = self.peak_with_copies.max(now.all);
        self.flooded.0 += now.frames;
        self.flooded.1 += now.returned;
        senders.sort_unstable();
        for (device, (frames, returned)) in senders {
            let new = || Sender { device, frames: 0, returned: 0 };
            if let Some(sender) = bounded::entry(&mut self.senders, MAX_SENDERS, |s| s.device == device, new)
            {
                sender.frames += frames;
                sender.returned += returned;
            }
        }
        let at = second.begin();
        bounded::stretch(&mut self.spans, MAX_FLOODS, Span::new(at, at.plus(1.0)), 2.0);
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
            floods.frame(time, Some(DeviceId(0)), &doubles.seen_hash(time, content(i)), cast);
        }
        floods.settle();
        floods
    }

    #[test]
    fn a_flood_is_seen_and_a_stream_is_none() {
        let storm = flood(1500, Cast::Signal, |i| i as u64);
        assert_eq!((storm.peak, storm.flooded), (1500, (4500, 0)));
        assert!((storm.spans[0].seconds() - 3.0).abs() < 1e-9);
        assert_eq!(storm.senders, [Sender { device: DeviceId(0), frames: 4500, returned: 0 }]);
        let radar = flood(12_000, Cast::Stream, |i| i as u64);
        assert_eq!((radar.peak, radar.spans.len()), (12_000, 0));
        assert_eq!(
            flood(6000, Cast::SmallStream, |i| i as u64).spans.len(),
            1,
            "no instrument sends so many"
        );
        assert!(flood(3500, Cast::SmallStream, |i| i as u64).spans.is_empty(), "two buses in datagrams");
        assert_eq!(flood(16_000, Cast::Stream, |i| i as u64).spans.len(), 1, "even a stream may be too much");
        assert!(flood(900, Cast::Signal, |i| i as u64).spans.is_empty());
    }

    #[test]
    fn a_mirror_port_makes_no_flood_and_a_loop_does() {
        // 400 frames a second, each of them seen by three mirrored ports within a millisecond.
        let mirrored = flood(1200, Cast::Signal, |i| i as u64 / 3);
        assert_eq!((mirrored.peak, mirrored.spans.len()), (400, 0));
        let looped = flood(4000, Cast::Stream, |i| i as u64 % 6);
        assert_eq!(looped.spans.len(), 1);
        assert!(looped.flooded.1 * 10 > looped.flooded.0 * 9, "{:?}", looped.flooded);
        assert_eq!(looped.peak_with_copies, 4000);
        let full = flood(2000, Cast::Stream, |i| i as u64 % 160);
        assert_eq!(full.spans.len(), 1, "a frame comes back each 80 ms, as long as a full switch holds it");
    }
}
