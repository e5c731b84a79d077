//! Wires: frames, bytes, silences, and how finely their frames are stamped.

use super::bounded;
pub use super::load::{LASTING_S, LONG_S, Load};
use super::longest::{Lasting, Longest};
use super::timing::Gaps;
use crate::frames::Stall;
use crate::recording::{WireInfo, WireKind};
use crate::time::{Span, Time};
use std::borrow::Cow;
use std::net::IpAddr;

/// Index of a wire in [`Wires`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct WireId(pub u32);

/// Most wires of a kind that are kept apart: a week of recordings of a well-fitted boat. Every network and bus has
/// accounts of its own, so that their number bounds the memory.
const fn max_wires(kind: WireKind) -> usize {
    match kind {
        WireKind::Ethernet => 32,
        WireKind::Can | WireKind::Line => 64,
    }
}

/// Baud rates of 0183 lines: 4800 by IEC 61162-1, 38400 by IEC 61162-2, the two between by common practice. A character
/// takes ten bits.
pub const BAUD_RATES: [u32; 4] = [4800, 9600, 19_200, 38_400];

/// A recorder that begins a new file goes on within this time, seconds.
pub(crate) const NEXT_FILE_S: f64 = 30.0;

/// Packets of several interfaces or processors may be stamped out of order by less than this, seconds.
pub(crate) const DISORDER_S: f64 = 1.0;

/// Stamps closer than this on a 250 kbit/s bus cannot both be the frame's own: the shortest frame with one data byte
/// takes 300 us (fact sheet NMEA 2000, section 2).
const CAN_FRAME_US: i64 = 200;

/// Most steps back in time that are remembered, a wire.
const MAX_STEPS_BACK: usize = 64;

/// Steps back by less than this are packets that overtook each other, microseconds.
const OVERTAKEN_US: i64 = 500_000;

impl Lasting for Stall {
    fn micros(&self) -> i64 {
        self.span.micros()
    }
}

/// One wire.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Index of its recording; of several that are read as one, the first.
    pub recording: usize,
    /// Index of the last recording that goes on with it.
    pub goes_on_in: usize,
    /// What kind of link it is.
    pub kind: WireKind,
    /// The recorder's name for it, or the stream that carries it. Text from a stranger.
    pub label: Option<String>,
    /// The wire whose packets carry this one.
    pub carried_by: Option<WireId>,
    /// The host whose packets carry this one.
    pub host: Option<super::inventory::DeviceId>,
    /// Frames.
    pub frames: u64,
    /// Their bytes on the wire.
    pub bytes: u64,
    /// Stamp of the frame that came first, which need not be the earliest.
    pub began: Option<Time>,
    /// First timed frame, by time.
    pub first: Option<Time>,
    /// Last timed frame, by time.
    pub last: Option<Time>,
    /// Silences of the whole wire.
    pub gaps: Gaps,
    /// Bytes (Ethernet: octets on the wire; CAN: bits; line: characters) by second.
    pub load: Load,
    /// Frames that are stamped before the one in front of them, by however little.
    pub out_of_order: u64,
    /// Steps back in time, from the earlier stamp (which came later) to the later one.
    pub steps_back: Vec<Span>,
    /// Who gets a line that is sent in TCP connections.
    pub receivers: Vec<IpAddr>,
    /// When its connections were closed or broken off.
    pub ends: Vec<Time>,
    /// When its receiver acknowledged nothing, the longest times.
    stalls: Longest<Stall>,
    /// Between recordings that are read as one, when nobody recorded: from the last frame of one to the first of the next.
    pub breaks: Vec<Span>,
    latest: Option<Time>,
    grain_us: i64,
    crowded: u64,
    steps: u64,
    pauses: super::histogram::Histogram,
}

impl Wire {
    fn new(recording: usize, kind: WireKind, label: Option<String>, carried_by: Option<WireId>) -> Self {
        Self {
            recording,
            goes_on_in: recording,
            kind,
            label,
            carried_by,
            host: None,
            frames: 0,
            bytes: 0,
            began: None,
            first: None,
            last: None,
            gaps: Gaps::default(),
            load: Load::default(),
            out_of_order: 0,
            steps_back: Vec::new(),
            receivers: Vec::new(),
            ends: Vec::new(),
            stalls: Longest::default(),
            breaks: Vec::new(),
            latest: None,
            grain_us: 0,
            crowded: 0,
            steps: 0,
            pauses: super::histogram::Histogram::default(),
        }
    }

    /// From its first frame to its last, seconds; nothing without times.
    #[must_use]
    pub fn lasted_s(&self) -> f64 {
        self.first.zip(self.last).map_or(0.0, |(first, last)| last.since(first))
    }

    /// The stamp of the last frame that came: before [`last`](Self::last) where the recorder's clock was set back.
    #[must_use]
    pub const fn ended(&self) -> Option<Time> {
        self.latest
    }

    /// Notes that a recording goes on with it, of which the first frame was at `begins`.
    pub fn goes_on(&mut self, recording: usize, begins: Option<Time>) {
        self.goes_on_in = recording;
        let pause = self.latest.zip(begins).map(|(ended, begins)| Span::new(ended, begins));
        self.breaks.extend(pause.filter(|pause| pause.seconds() >= NEXT_FILE_S));
    }

    /// Books that its receiver acknowledged nothing for a while.
    pub fn stalled(&mut self, stall: Stall) {
        if self.stalls.admits(stall.micros()) {
            self.stalls.add(stall);
        }
    }

    /// When its receiver acknowledged nothing, the longest times.
    #[must_use]
    pub fn stalls(&self) -> Cow<'_, [Stall]> {
        self.stalls.get()
    }

    /// The steps back that are none of packets that overtook each other.
    pub fn set_back(&self) -> impl Iterator<Item = &Span> {
        self.steps_back.iter().filter(|back| back.seconds() >= DISORDER_S)
    }

    /// Whether its stamps are in no order: the clock was set back, or parts of the recording stand in the wrong order.
    #[must_use]
    pub fn is_rewound(&self) -> bool {
        self.set_back().next().is_some()
    }

    /// Books a frame of `bytes` that loads the wire with `load` units (bits, octets or characters).
    #[inline(always)]
    pub fn frame(&mut self, time: Option<Time>, bytes: u64, load: u64) {
        self.frames += 1;
        self.bytes += bytes;
        let Some(time) = time else { return };
        self.load.add(time, load);
        let Some(latest) = self.latest.replace(time) else {
            (self.began, self.first, self.last) = (Some(time), Some(time), Some(time));
            return;
        };
        let step = time.micros_since(latest);
        if step >= 0 {
            // Not before the latest and so not before the first.
            if self.last.is_none_or(|last| last < time) {
                self.last = Some(time);
            }
            self.measure(step);
            self.steps += 1;
            self.pause(step);
            self.gaps.interval_of(step, latest, time);
        } else {
            self.step_back(step, latest, time);
        }
    }

    /// As [`frame`](Self::frame), of frames of eight bytes in a row with the load of each, as far as they come in order; says how many
    /// these are. None of those that come first, or behind a step back.
    #[inline(always)]
    pub fn run(&mut self, frames: impl Iterator<Item = (Time, u64)>) -> u64 {
        let Some(before) = self.latest.filter(|latest| self.last == Some(*latest)) else { return 0 };
        // What changes with every frame is kept at hand.
        let (mut latest, mut count, mut units) = (before, 0, 0);
        let mut second = self.load.second.unwrap_or_default();
        for (time, load) in frames {
            let step = time.micros_since(latest);
            if step < 0 {
                break;
            }
            if !second.holds(time) {
                self.load.take(units);
                (second, units) = (self.load.begin(time), 0);
            }
            units += load;
            self.measure(step);
            self.pause(step);
            self.gaps.interval_of(step, latest, time);
            latest = time;
            count += 1;
        }
        self.load.take(units);
        (self.latest, self.last) = (Some(latest), Some(latest));
        self.frames += count;
        self.bytes += 8 * count;
        self.steps += count;
        count
    }

    /// Takes a step between two stamps, microseconds, for how finely they are made.
    #[inline(always)]
    fn measure(&mut self, step: i64) {
        if self.grain_us != 1 {
            self.grain_us = gcd(self.grain_us, step.unsigned_abs().min(1 << 40) as i64);
        }
    }

    #[cold]
    fn step_back(&mut self, step: i64, latest: Time, time: Time) {
        self.measure(step);
        self.first = self.first.map(|first| first.min(time));
        self.out_of_order += 1;
        if step <= -OVERTAKEN_US {
            bounded::push(&mut self.steps_back, MAX_STEPS_BACK, Span::new(time, latest));
        }
    }

    /// Books the pause between two frames, microseconds, of a bus.
    #[inline(always)]
    fn pause(&mut self, step: i64) {
        if self.kind != WireKind::Can {
            return;
        }
        if step < CAN_FRAME_US {
            self.crowded += 1;
        } else {
            super::timing::record(&mut self.pauses, step as u64);
        }
    }

    /// How finely the frames are stamped, in seconds: the largest step of which all stamps are multiples.
    ///
    /// `None` with fewer than 20 timed frames. A recorder that writes microseconds but polls shows 1 us here; its
    /// batches show in [`batch_s`](Self::batch_s).
    #[must_use]
    pub fn resolution_s(&self) -> Option<f64> {
        (self.steps >= 20).then(|| self.grain_us.max(1) as f64 / 1e6)
    }

    /// Seconds between batches, when frames carry the stamp of a batch instead of their own.
    ///
    /// Told by physics on a CAN bus: more than three in ten frames follow the one before faster than a bus of
    /// 250 kbit/s can carry them, and more bear one stamp than come between two such stamps. The answer is the 90th percentile
    /// of the pauses between batches.
    #[must_use]
    pub fn batch_s(&self) -> Option<f64> {
        let stamps = self.steps.saturating_sub(self.crowded).max(1);
        let fit = self.grain_us.cast_unsigned() / CAN_FRAME_US.cast_unsigned();
        let crowded = self.crowded * 10 > self.steps * 3 && self.steps > stamps.saturating_mul(fit);
        (self.kind == WireKind::Can && self.steps >= 50 && crowded)
            .then(|| self.pauses.value_at_quantile(0.9) as f64 / 1e6)
    }

    /// What a stamp can be trusted to, in seconds: the coarser of resolution and batch.
    #[must_use]
    pub fn stamp_s(&self) -> f64 {
        self.resolution_s().unwrap_or(0.0).max(self.batch_s().unwrap_or(0.0))
    }
}

fn gcd(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// All wires of a run. At most `max_wires` of a kind.
#[derive(Debug, Default)]
pub struct Wires {
    list: Vec<Wire>,
    /// Wires that found no room: what came on them is booked with the last of their kind.
    pub unbooked: u64,
}

impl Wires {
    /// Adds a wire; past the bound, gives the last one of its kind.
    pub fn add(
        &mut self,
        recording: usize,
        kind: WireKind,
        label: Option<String>,
        carried_by: Option<WireId>,
    ) -> WireId {
        let alike = self.iter().filter(|(_, wire)| wire.kind == kind).map(|(id, _)| id);
        let (count, last) = alike.fold((0, None), |(count, _), id| (count + 1, Some(id)));
        if let Some(last) = last.filter(|_| count >= max_wires(kind)) {
            self.unbooked += 1;
            return last;
        }
        self.list.push(Wire::new(recording, kind, label, carried_by));
        WireId(self.list.len().saturating_sub(1) as u32)
    }

    /// The wire of an earlier recording that a new recording goes on with, as far as its first record tells it: for recordings
    /// that could not be looked at before.
    ///
    /// It must be of the same kind, have `ended`, and have fallen silent less than `NEXT_FILE_S` before `begins`. Where both
    /// recordings name it, the names must be one: some containers have no room for a name.
    #[must_use]
    pub fn continued(
        &self,
        recording: usize,
        info: &WireInfo,
        begins: Time,
        ended: impl Fn(usize) -> bool,
    ) -> Option<WireId> {
        let goes_on = |wire: &Wire| {
            let pause = wire.last.map(|last| begins.since(last));
            wire.goes_on_in != recording
                && ended(wire.goes_on_in)
                && wire.carried_by.is_none()
                && wire.kind == info.kind
                && (wire.label == info.name || wire.label.is_none() || info.name.is_none())
                && pause.is_some_and(|pause| (0.0..NEXT_FILE_S).contains(&pause))
        };
        // One earlier wire only: with two alike nobody can tell which of them it is.
        let mut fitting = self.iter().filter(|(_, wire)| goes_on(wire));
        let (id, _) = fitting.next()?;
        fitting.next().is_none().then_some(id)
    }

    /// Adds a wire that a host's packets carry.
    pub fn add_carried(
        &mut self,
        carrier: WireId,
        host: super::inventory::DeviceId,
        kind: WireKind,
        label: Option<String>,
    ) -> WireId {
        let recording = self.get(carrier).map_or(0, |w| w.recording);
        let id = self.add(recording, kind, label, Some(carrier));
        if let Some(wire) = self.get_mut(id) {
            wire.host = Some(host);
        }
        id
    }

    /// The wire with this index.
    #[must_use]
    pub fn get(&self, id: WireId) -> Option<&Wire> {
        self.list.get(id.0 as usize)
    }

    /// The wire with this index.
    pub fn get_mut(&mut self, id: WireId) -> Option<&mut Wire> {
        self.list.get_mut(id.0 as usize)
    }

    /// Every wire with its index.
    pub fn iter(&self) -> impl Iterator<Item = (WireId, &Wire)> {
        self.list.iter().enumerate().map(|(i, w)| (WireId(i as u32), w))
    }

    /// Settles the running sums; call once at the end.
    pub fn settle(&mut self) {
        for wire in &mut self.list {
            wire.load.settle();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wire(stamps: impl Iterator<Item = i64>) -> Wire {
        let mut wire = Wire::new(0, WireKind::Can, None, None);
        for t in stamps {
            wire.frame(Some(Time(t)), 8, 131);
        }
        wire.load.settle();
        wire
    }

    #[test]
    fn resolution_is_the_common_step() {
        assert_eq!(wire((0..100).map(|i| 5_000 + i * 100_000)).resolution_s(), Some(0.1));
        assert_eq!(wire((0..100).map(|i| i * 7_000)).resolution_s(), Some(0.007));
        assert_eq!(wire((0..100).map(|i| i * 1001 + i * (i + 1) / 2)).resolution_s(), Some(1e-6));
        assert_eq!(wire((0..5).map(|i| i * 1000)).resolution_s(), None);
    }

    #[test]
    fn batches_are_told_from_a_busy_bus() {
        let batched = wire((0..400).map(|i| i / 20 * 250_000 + i % 20 * 30));
        let seconds = batched.batch_s().unwrap();
        assert!((seconds - 0.2494).abs() < 0.005, "{seconds}");
        assert_eq!(wire((0..400).map(|i| i * 540)).batch_s(), None, "a full bus");
    }

    /// Frames in bursts of eight, stamped to the microsecond and then cut to 10 ms.
    #[test]
    fn stamps_that_were_cut_are_no_batches() {
        let bursts = || (0..400).map(|i| i / 8 * 47_000 + i % 8 * 540);
        assert_eq!(wire(bursts()).batch_s(), None);
        let cut = wire(bursts().map(|us| us / 10_000 * 10_000));
        assert_eq!((cut.batch_s(), cut.resolution_s()), (None, Some(0.01)));
    }

    #[test]
    fn the_next_file_of_a_recorder_goes_on_with_its_wire() {
        let mut wires = Wires::default();
        let info = WireInfo { kind: WireKind::Can, name: Some("can0".to_owned()) };
        let id = wires.add(0, info.kind, info.name.clone(), None);
        wires.get_mut(id).unwrap().frame(Some(Time(5_000_000)), 8, 131);
        let over = |_| true;
        assert_eq!(wires.continued(1, &info, Time(5_200_000), over), Some(id));
        assert_eq!(wires.continued(1, &info, Time(5_200_000), |_| false), None, "two recorders");
        assert_eq!(wires.continued(0, &info, Time(5_200_000), over), None, "the same file");
        assert_eq!(wires.continued(1, &info, Time(4_000_000), over), None, "at the same time");
        assert_eq!(wires.continued(1, &info, Time(90_000_000), over), None, "another day");
        let nameless = WireInfo { name: None, ..info };
        assert_eq!(wires.continued(1, &nameless, Time(5_200_000), over), Some(id), "no room for a name");
        let other = WireInfo { name: Some("can1".to_owned()), ..nameless };
        assert_eq!(wires.continued(1, &other, Time(5_200_000), over), None, "another bus");
        wires.get_mut(id).unwrap().goes_on_in = 1;
        assert_eq!(
            wires.continued(2, &info, Time(5_300_000), |n| n != 1),
            None,
            "another file goes on with it"
        );
    }

    #[test]
    fn the_busiest_second_is_found() {
        let wire =
            wire((0..10).map(|i| i * 300_000).chain([5_000_000, 5_000_001, 5_000_002, 5_100_000, 5_200_000]));
        assert_eq!(wire.load.peak, Some((Time(5_000_000), 5 * 131)));
        assert_eq!(wire.load.total, 15 * 131);
    }
}
