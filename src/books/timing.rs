//! Timing: the intervals of every message of every device, and the pauses between them.

pub use super::gaps::Gaps;
use super::histogram::Histogram;
use super::inventory::DeviceId;
pub use super::message::Message;
use super::rhythm;
pub use super::sentence_name::SentenceName;
use super::shortcut::Shortcut;
use super::stream_key::StreamKey;
use crate::soon;
use crate::time::{Span, Time};
use rustc_hash::FxHashMap;

/// Most streams that are kept; messages of further ones are counted with their device only.
pub const MAX_STREAMS: usize = 4096;

/// Memory that all histograms together may take, bytes: 800 of the largest, or the usual few dozen bytes of each stream.
const MAX_GROWTH: usize = 12 << 20;

/// Longest interval that the histograms hold: an hour. Longer ones count as that.
const MAX_INTERVAL_US: u64 = 3_600_000_000;

/// Arrivals of one message that are closer than this bear one stamp or come out of one batch: no message of a boat is sent
/// that fast, microseconds.
const GROUP_US: i64 = 15_000;

/// Records an interval; the histogram grows with its longest, an hour at most.
pub(super) fn record(histogram: &mut Histogram, us: u64) {
    histogram.record(us.clamp(1, MAX_INTERVAL_US));
}

/// As [`record`], as long as there is `room` to grow, bytes; says whether the interval was taken.
fn record_within(histogram: &mut Histogram, us: u64, room: &mut usize) -> bool {
    histogram.record_within(us.clamp(1, MAX_INTERVAL_US), room)
}

/// One message of one device. What every arrival touches stands first and in 128 bytes, so that it comes from memory soon.
#[derive(Debug, Clone)]
#[repr(C, align(64))]
pub struct Stream {
    /// Who sends it.
    pub device: DeviceId,
    /// Which of several alike (engine, battery, satellite system), 0 when there is but one.
    pub part: u32,
    /// What it is.
    pub message: Message,
    /// Messages.
    pub count: u64,
    /// The timed one that came last.
    pub last: Option<Time>,
    /// Intervals between groups of arrivals, from the first group of more than one on; until then each arrival is a group.
    groups: Option<Box<Groups>>,
    /// Pauses.
    pub gaps: Gaps,
    max_us: i64,
    /// Intervals in microseconds.
    pub intervals: Histogram,
    /// The timed one that came first.
    pub first: Option<Time>,
    /// Interval of the standard, seconds.
    pub standard_s: Option<f64>,
    /// Steps backwards in time.
    pub steps_back: u64,
}

/// Groups of arrivals: what comes within [`GROUP_US`] is one.
#[derive(Debug, Clone)]
struct Groups {
    /// Microseconds.
    intervals: Histogram,
    /// When the running one began.
    began: Time,
}

impl Groups {
    /// Books an arrival; says whether the histogram took it (see [`record_within`]).
    fn arrival(&mut self, time: Time, room: &mut usize) -> bool {
        let step = time.micros_since(self.began);
        if (0..GROUP_US).contains(&step) {
            return true;
        }
        self.began = time;
        step < 0 || record_within(&mut self.intervals, step as u64, room)
    }
}

impl Stream {
    /// The interval that a share `q` of the arrivals does not exceed, seconds (nearest rank, two digits).
    ///
    /// `None` with fewer than two messages.
    #[must_use]
    pub fn quantile_s(&self, q: f64) -> Option<f64> {
        (!self.intervals.is_empty())
            .then(|| (self.intervals.value_at_quantile(q) as f64 / 1e6).min(self.max_s()))
    }

    /// The longest interval, seconds.
    #[must_use]
    pub fn max_s(&self) -> f64 {
        self.max_us as f64 / 1e6
    }

    /// The median interval, seconds.
    #[must_use]
    pub fn median_s(&self) -> Option<f64> {
        self.quantile_s(0.5)
    }

    /// Whether the message comes by a clock of its own: at least eight intervals, most of them near the median.
    #[must_use]
    pub fn is_periodic(&self) -> bool {
        self.is_steady(&self.intervals)
    }

    /// What hosts tell each other comes as it is needed, and how long it may stay away is judged by its usual pauses; names are asked
    /// for and told as somebody looks for them, unless a clock shows (RFC 6762 5.2).
    fn is_steady(&self, intervals: &Histogram) -> bool {
        let of_its_kind = match self.message {
            Message::Protocol(name) => name != "mdns" || rhythm::by_clock(intervals),
            Message::Pgn(_) | Message::Sentence(_) => !rhythm::by_chance(intervals),
        };
        of_its_kind && rhythm::steady(intervals)
    }

    /// The interval that the message's rhythm has, seconds: its median, or, when a gateway or a coarse clock put several
    /// arrivals on one moment, the median between such groups; when it comes unevenly, its longer intervals. `None` without a
    /// rhythm.
    #[must_use]
    pub fn pulse_s(&self) -> Option<f64> {
        let steady = self.rhythm().map(|intervals| intervals.value_at_quantile(0.5) as f64 / 1e6);
        steady.or_else(|| {
            let by_boat = !matches!(self.message, Message::Protocol(_));
            self.mean_but_longest_s().filter(|_| by_boat).and_then(|s| rhythm::uneven_s(&self.intervals, s))
        })
    }

    /// The time that its messages, or groups of them, fill at that rhythm, seconds; nothing without a rhythm.
    #[must_use]
    pub fn filled_s(&self) -> f64 {
        let groups = self.rhythm().filter(|_| !self.is_periodic()).map(|intervals| intervals.len() + 1);
        let times = groups.unwrap_or(self.count);
        self.pulse_s().unwrap_or(0.0) * times as f64
    }

    /// Whether the recorder's clock was set back so far that what came after it is stamped before what came first.
    #[must_use]
    pub fn is_parted(&self) -> bool {
        self.first.zip(self.last).is_some_and(|(first, last)| last < first)
    }

    fn rhythm(&self) -> Option<&Histogram> {
        if self.is_periodic() {
            return Some(&self.intervals);
        }
        self.groups.as_ref().map(|groups| &groups.intervals).filter(|groups| self.is_steady(groups))
    }

    /// The mean interval, seconds; `None` with fewer than two messages.
    #[must_use]
    pub fn mean_s(&self) -> Option<f64> {
        let (first, last) = self.first.zip(self.last)?;
        (self.count >= 2).then(|| last.since(first) / (self.count - 1) as f64)
    }

    /// The mean of all intervals but the longest, which may be a silence, seconds.
    fn mean_but_longest_s(&self) -> Option<f64> {
        let (first, last) = self.first.zip(self.last)?;
        (self.count >= 3).then(|| (last.since(first) - self.max_s()) / (self.count - 2) as f64)
    }

    /// Takes back the intervals that are none: as long as a clock's leap, they are among the longest, which stay where silences
    /// are looked for.
    fn leave_out(&mut self, is_none: impl Fn(Span) -> bool) {
        let (none, others): (Vec<Span>, Vec<Span>) =
            self.gaps.over(0.0).into_iter().partition(|gap| is_none(*gap));
        if none.is_empty() {
            return;
        }
        let length = |us: i64| us.cast_unsigned().clamp(1, MAX_INTERVAL_US);
        for us in none.iter().map(|gap| gap.micros()) {
            self.intervals.take_back(length(us));
            if let Some(groups) = &mut self.groups {
                // From the first of a group on it is a little longer.
                let _ = [us, us + GROUP_US].into_iter().any(|us| groups.intervals.take_back(length(us)));
            }
        }
        let longest = others.iter().map(|gap| gap.micros()).max();
        self.max_us = longest.unwrap_or_else(|| self.intervals.value_at_quantile(1.0).cast_signed());
    }

    #[inline(always)]
    fn is(&self, key: &StreamKey) -> bool {
        self.device == key.device && self.part == key.part && self.message.is(&key.message)
    }

    /// Books an arrival; says whether the histograms took it (see [`record_within`]).
    #[inline(never)]
    fn arrival(&mut self, time: Option<Time>, room: &mut usize) -> bool {
        self.count += 1;
        let Some(time) = time else { return true };
        let Some(last) = self.last.replace(time) else {
            self.first = Some(time);
            return true;
        };
        let step = time.micros_since(last);
        let mut taken = true;
        if (0..GROUP_US).contains(&step) && self.groups.is_none() {
            let intervals = self.intervals.copy_within(room);
            taken &= intervals.is_some();
            self.groups = Some(Box::new(Groups { intervals: intervals.unwrap_or_default(), began: last }));
        }
        if step < 0 {
            self.steps_back += 1;
        } else {
            taken &= record_within(&mut self.intervals, step as u64, room);
            self.max_us = self.max_us.max(step);
            self.gaps.interval_of(step, last, time);
        }
        if let Some(groups) = &mut self.groups {
            taken &= groups.arrival(time, room);
        }
        taken
    }
}

/// The streams of one device in the table: the first and the last of a chain.
#[derive(Debug, Clone, Copy)]
struct Chain {
    first: u32,
    last: u32,
}

/// Every stream. At most [`MAX_STREAMS`].
#[derive(Debug)]
pub struct Timing {
    streams: Vec<Stream>,
    index: FxHashMap<StreamKey, u32>,
    shortcut: Shortcut,
    /// By the device's number.
    chains: Vec<Option<Chain>>,
    /// The next stream of the same device, for each stream; its own number at the end of the chain.
    next_alike: Vec<u32>,
    room: usize,
    /// Messages that found no room.
    pub unbooked: u64,
    /// Long intervals that found no room in the histograms; the longest pauses have them all the same.
    pub unmeasured: u64,
}

impl Default for Timing {
    fn default() -> Self {
        Self {
            streams: Vec::new(),
            index: FxHashMap::default(),
            shortcut: Shortcut::default(),
            chains: Vec::new(),
            next_alike: Vec::new(),
            room: MAX_GROWTH,
            unbooked: 0,
            unmeasured: 0,
        }
    }
}

impl Timing {
    /// Books a message; says the number of its stream, unless there was no room for it.
    #[inline(always)]
    pub fn message(
        &mut self,
        device: DeviceId,
        message: Message,
        part: u32,
        standard_s: Option<f64>,
        time: Option<Time>,
    ) -> Option<usize> {
        let key = StreamKey { device, message, part };
        let row = self.row(&key, standard_s)?;
        self.arrival(row, time)
    }

    /// As [`message`](Self::message), where `guess` is the stream that the last one was of which came the same way, most likely this
    /// one's too.
    #[inline(always)]
    pub fn message_again(
        &mut self,
        guess: &mut u32,
        device: DeviceId,
        message: Message,
        part: u32,
        standard_s: Option<f64>,
        time: Option<Time>,
    ) -> Option<usize> {
        let key = StreamKey { device, message, part };
        if !self.streams.get(*guess as usize).is_some_and(|stream| stream.is(&key)) {
            *guess = self.row(&key, standard_s)? as u32;
        }
        self.arrival(*guess as usize, time)
    }

    #[inline(always)]
    fn arrival(&mut self, row: usize, time: Option<Time>) -> Option<usize> {
        let taken = self.streams.get_mut(row)?.arrival(time, &mut self.room);
        self.unmeasured += u64::from(!taken);
        Some(row)
    }

    /// The row of a stream, a new one when it is not known.
    #[inline(always)]
    fn row(&mut self, key: &StreamKey, standard_s: Option<f64>) -> Option<usize> {
        let row = self.shortcut.row(key.mark());
        match self.streams.get(row) {
            Some(stream) if stream.is(key) => Some(row),
            _ => self.find(*key, standard_s),
        }
    }

    /// Fetches what the booking of a message will touch.
    pub(crate) fn fetch(&self, device: DeviceId, message: Message, part: u32) {
        let key = StreamKey { device, message, part };
        if let Some(stream) = self.streams.get(self.shortcut.row(key.mark())) {
            soon::fetch(stream);
            soon::fetch(&stream.gaps);
        }
    }

    /// As [`fetch`](Self::fetch), for what lies further: that must have come.
    pub(crate) fn fetch_behind(&self, device: DeviceId, message: Message, part: u32) {
        let key = StreamKey { device, message, part };
        if let Some(stream) = self.streams.get(self.shortcut.row(key.mark())) {
            stream.intervals.fetch();
            stream.gaps.fetch();
        }
    }

    /// How many streams there are.
    pub(crate) fn count(&self) -> usize {
        self.streams.len()
    }

    /// The row of a stream that was not found at once, a new one when it is not known.
    #[inline(never)]
    fn find(&mut self, key: StreamKey, standard_s: Option<f64>) -> Option<usize> {
        let next = self.streams.len();
        let index = match self.index.get(&key) {
            Some(&index) => index as usize,
            None if next >= MAX_STREAMS => {
                self.unbooked += 1;
                return None;
            }
            None => {
                let StreamKey { device, message, part } = key;
                self.index.insert(key, next as u32);
                self.enchain(device, next as u32);
                self.streams.push(Stream {
                    device,
                    message,
                    part,
                    standard_s,
                    count: 0,
                    first: None,
                    last: None,
                    max_us: 0,
                    gaps: Gaps::default(),
                    intervals: Histogram::default(),
                    groups: None,
                    steps_back: 0,
                });
                next
            }
        };
        self.shortcut.note(key.mark(), index);
        Some(index)
    }

    /// Puts a new stream at the end of its device's chain.
    fn enchain(&mut self, device: DeviceId, stream: u32) {
        self.next_alike.push(stream);
        let number = device.0 as usize;
        if self.chains.len() <= number {
            self.chains.resize(number + 1, None);
        }
        let Some(chain) = self.chains.get_mut(number) else { return };
        let before = chain.map_or(stream, |chain| chain.last);
        *chain = Some(Chain { first: chain.map_or(stream, |chain| chain.first), last: stream });
        if let Some(next) = self.next_alike.get_mut(before as usize) {
            *next = stream;
        }
    }

    /// Takes the intervals that `is_none` picks out of all rhythms.
    pub(super) fn leave_out(&mut self, is_none: impl Fn(Span) -> bool) {
        self.streams.iter_mut().for_each(|stream| stream.leave_out(&is_none));
    }

    /// Every stream, in order of first appearance.
    pub fn iter(&self) -> impl Iterator<Item = &Stream> {
        self.streams.iter()
    }

    /// The streams of one device, in order of first appearance.
    pub fn of(&self, device: DeviceId) -> impl Iterator<Item = &Stream> {
        let first = self.chains.get(device.0 as usize).copied().flatten().map(|chain| chain.first);
        let next = |at: &u32| self.next_alike.get(*at as usize).copied().filter(|next| next != at);
        std::iter::successors(first, next).filter_map(|at| self.streams.get(at as usize))
    }

    pub(super) fn numbered(&self, stream: u32) -> Option<&Stream> {
        self.streams.get(stream as usize)
    }

    /// The stream of one message of a device; of several parts, the busiest.
    #[must_use]
    pub fn get(&self, device: DeviceId, message: Message) -> Option<&Stream> {
        self.of(device).filter(|s| s.message == message).max_by_key(|s| s.count)
    }
}

#[cfg(test)]
mod tests {
    use super::super::longest::MAX_LONGEST;
    use super::*;

    fn stream(times: impl Iterator<Item = i64>) -> Timing {
        let mut timing = Timing::default();
        for t in times {
            timing.message(DeviceId(0), Message::Pgn(127_250), 0, Some(0.1), Some(Time(t)));
        }
        timing
    }

    #[test]
    fn a_steady_message_is_periodic_and_its_pause_is_found() {
        let timing = stream((0..100).map(|i| i * 100_000 + if i >= 50 { 4_000_000 } else { 0 }));
        let s = timing.iter().next().unwrap();
        assert!(s.is_periodic());
        assert!((s.median_s().unwrap() - 0.1).abs() < 0.001);
        let gaps = s.gaps.over(0.5);
        assert_eq!(gaps, [Span::new(Time(4_900_000), Time(9_000_000))]);
        assert!((s.max_s() - 4.1).abs() < 1e-9);
    }

    #[test]
    fn pairs_close_together_have_the_rhythm_of_their_groups() {
        let timing = stream((0..100).map(|i| i / 2 * 1_000_000 + i % 2 * 5_000));
        let s = timing.iter().next().unwrap();
        assert!(!s.is_periodic());
        assert!((s.pulse_s().unwrap() - 1.0).abs() < 0.02);
        assert!((s.mean_s().unwrap() - 0.495).abs() < 0.01);
    }

    #[test]
    fn only_the_longest_pauses_are_remembered() {
        let timing = stream((0..1000).map(|i| i * i * 1000));
        let s = timing.iter().next().unwrap();
        assert_eq!(s.gaps.over(0.0).len(), MAX_LONGEST);
        assert!((s.gaps.over(0.0).last().unwrap().seconds() - 1.997).abs() < 1e-9);
    }

    #[test]
    fn histograms_of_many_streams_share_what_they_may_grow() {
        let mut timing = Timing::default();
        // A microsecond, then an hour: the histogram must reach over all that lies between.
        for time in [0, 1, 3_600_000_001] {
            for pgn in 0..MAX_STREAMS as u32 + 1 {
                timing.message(DeviceId(0), Message::Pgn(pgn), 0, None, Some(Time(time)));
            }
        }
        assert_eq!(timing.unbooked, 3);
        assert!(timing.unmeasured > 0 && timing.room < 16 << 10, "{}", timing.room);
        let last = timing.iter().last().unwrap();
        assert_eq!((last.intervals.len(), last.count), (1, 3), "an interval that found no room is none");
        assert_eq!((last.max_s(), last.gaps.over(1.0).len()), (3600.0, 1), "yet the pause is remembered");
    }

    /// One alone and two in a group, a second apart, with a leap of ten minutes.
    #[test]
    fn a_leap_that_is_left_out_is_no_interval() {
        for group in [1, 2] {
            let leap = |second: i64| if second >= 50 { 600 } else { 0 };
            let at = |i: i64| (i / group + leap(i / group)) * 1_000_000 + i % group * 5_000;
            let mut timing = stream((0..100 * group).map(at));
            timing.leave_out(|span| span.seconds() > 300.0);
            let s = timing.iter().next().unwrap();
            assert!((s.max_s() - 1.0).abs() < 0.01 && s.quantile_s(1.0).unwrap() < 1.1);
            assert_eq!(s.intervals.len() as i64, 100 * group - 2);
            assert!((s.pulse_s().unwrap() - 1.0).abs() < 0.02);
            assert_eq!(s.gaps.over(300.0).len(), 1, "silences are judged elsewhere");
        }
    }

    #[test]
    fn a_step_back_is_no_interval() {
        let timing = stream([5_000_000, 6_000_000, 1_000_000, 2_000_000].into_iter());
        let s = timing.iter().next().unwrap();
        assert_eq!((s.steps_back, s.intervals.len()), (1, 2));
    }
}
