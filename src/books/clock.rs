//! Clocks: the recorder's time against the boat's own.

use super::bounded;
use super::inventory::DeviceId;
use super::rewinds::Rewind;
use super::timing::Message;
use crate::time::{DAY_US, Span, Time};
use rustc_hash::FxHashMap;

/// Most sources of time that are followed.
const MAX_CLOCKS: usize = 64;

/// Most steps that are remembered.
const MAX_STEPS: usize = 64;

/// Most readings that are kept of one source of time.
const MAX_SHOWN: usize = 512;

/// A change of the difference between the two clocks that is a step, seconds: time messages are whole seconds for many
/// senders, and they wait in queues.
const STEP_S: f64 = 2.5;

/// While a recorder's clock is set, less than this share of the step passes; a boat's clock that shows more was set too.
const MOST_LOST: f64 = 0.25;

/// A step of the recorder's clock against the boat's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockStep {
    /// The boat's last time message before it and the first after it, in recording time.
    pub span: Span,
    /// Seconds by which the recorder's clock moved ahead of the boat's; negative when it was set back.
    pub size_s: f64,
}

/// What one source of time showed, thinned evenly over the recording.
#[derive(Debug, Clone)]
pub struct Shown {
    /// Whose.
    pub device: DeviceId,
    /// In which message.
    pub message: Message,
    /// Whether the boat's times bear a date; without one they are microseconds since midnight.
    pub dated: bool,
    /// Recording time, and the boat's time in microseconds since 1970-01-01 or since midnight.
    pub samples: Vec<(Time, i64)>,
    stride: u64,
    seen: u64,
}

impl Shown {
    /// Whether the next one is kept; the stride is a power of two.
    const fn is_wanted(&self) -> bool {
        self.seen & (self.stride - 1) == 0
    }

    fn push(&mut self, time: Time, boat_us: i64) {
        if self.is_wanted() {
            if self.samples.len() >= MAX_SHOWN {
                let mut keep = false;
                self.samples.retain(|_| {
                    keep = !keep;
                    keep
                });
                self.stride = if self.stride < 1 << 62 { 2 * self.stride } else { self.stride };
            }
            if self.is_wanted() {
                self.samples.push((time, boat_us));
            }
        }
        self.seen += 1;
    }
}

/// The boat's clocks against the recorder's. Bounded by `MAX_CLOCKS`, `MAX_STEPS` and `MAX_SHOWN`.
#[derive(Debug, Default)]
pub struct Clock {
    last: FxHashMap<(DeviceId, Message), (Time, Option<i64>, i64)>,
    steps: Vec<ClockStep>,
    shown: Vec<Shown>,
}

impl Clock {
    /// Books a time message: microseconds of the day that the boat's clock shows at `time`, and the day (since
    /// 1970-01-01) when the message gives it.
    pub fn reading(
        &mut self,
        device: DeviceId,
        message: Message,
        time: Time,
        days: Option<i64>,
        of_day_us: i64,
    ) {
        self.show(device, message, time, days, of_day_us);
        if self.last.len() >= MAX_CLOCKS && !self.last.contains_key(&(device, message)) {
            return;
        }
        let Some((before, day, shown)) = self.last.insert((device, message), (time, days, of_day_us)) else {
            return;
        };
        let recorder = time.micros_since(before);
        let boat = of_day_us.saturating_sub(shown);
        let ahead = recorder.saturating_sub(boat);
        // A receiver's date may be wrong until it has a fix: it is asked only where the stamps leap by that much.
        let ahead = match days.zip(day).filter(|_| recorder.saturating_abs() >= DAY_US / 2) {
            Some((now, then)) => ahead.saturating_sub(now.saturating_sub(then).saturating_mul(DAY_US)),
            None => (ahead.saturating_add(DAY_US / 2)).rem_euclid(DAY_US) - DAY_US / 2,
        };
        let size_s = ahead as f64 / 1e6;
        // A receiver without fix may stand still; then its clock is no witness.
        if size_s.abs() > STEP_S && boat != 0 {
            bounded::push(&mut self.steps, MAX_STEPS, ClockStep { span: Span::new(before, time), size_s });
        }
    }

    fn show(&mut self, device: DeviceId, message: Message, time: Time, days: Option<i64>, of_day_us: i64) {
        let dated = days.is_some();
        let is_it = |s: &Shown| s.device == device && s.message == message && s.dated == dated;
        let make = || Shown { device, message, dated, samples: Vec::new(), stride: 1, seen: 0 };
        if let Some(shown) = bounded::entry(&mut self.shown, MAX_CLOCKS, is_it, make) {
            let day_us = days.unwrap_or(0).saturating_mul(DAY_US);
            shown.push(time, day_us.saturating_add(of_day_us));
        }
    }

    /// What each source of time showed.
    #[must_use]
    pub fn shown(&self) -> &[Shown] {
        &self.shown
    }

    /// The time that passed while the recorder's clock was set back or forth, seconds, as the boat's clocks tell; `None` when
    /// none does, or one that was set itself.
    #[must_use]
    pub fn lost_s(&self, rewind: &Rewind) -> Option<f64> {
        let Span { from, to } = rewind.running;
        let passed = |shown: &Shown| {
            let after = shown.samples.partition_point(|(time, _)| *time < to);
            let (then, first) = shown.samples.get(after)?;
            let before = shown.samples.get(..after)?.iter().rev().find(|(time, _)| *time <= from)?;
            let boat = first.saturating_sub(before.1);
            let boat = if shown.dated { boat } else { boat.rem_euclid(DAY_US) };
            let lost_s = boat.saturating_sub(then.micros_since(before.0)) as f64 / 1e6;
            (-STEP_S..=MOST_LOST * rewind.size_s().abs()).contains(&lost_s).then_some(lost_s.max(0.0))
        };
        self.shown.iter().find_map(passed)
    }

    /// The steps, in order.
    #[must_use]
    pub fn steps(&self) -> &[ClockStep] {
        &self.steps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recorder_that_is_set_shows_and_a_pause_does_not() {
        let mut clock = Clock::default();
        let mut show = |t: i64, boat: i64| {
            clock.reading(DeviceId(0), Message::Pgn(126_992), Time(t * 1_000_000), None, boat * 1_000_000);
        };
        show(100, 86_398);
        show(101, 86_399);
        show(112, 10);
        show(813, 11);
        show(114, 12);
        let steps: Vec<_> = clock.steps().iter().map(|s| s.size_s).collect();
        assert_eq!(steps, [700.0, -700.0]);
    }

    #[test]
    fn a_leap_by_whole_days_shows_by_the_date() {
        let mut clock = Clock::default();
        let mut show = |t: i64, day: i64, boat: i64| {
            let time = Time(t * 1_000_000);
            clock.reading(DeviceId(0), Message::Pgn(129_029), time, Some(day), boat * 1_000_000);
        };
        show(100, 7, 50);
        show(101, 7, 51);
        show(102 + 86_400, 7, 52);
        show(103 + 3 * 86_400, 9, 53);
        let steps: Vec<_> = clock.steps().iter().map(|s| s.size_s).collect();
        assert_eq!(steps, [86_400.0], "two days of silence are no leap");
    }

    #[test]
    fn what_a_clock_showed_is_thinned_evenly() {
        let mut clock = Clock::default();
        for t in 0..5000_i64 {
            let time = Time(t * 1_000_000);
            clock.reading(DeviceId(0), Message::Pgn(126_992), time, Some(1), t * 1_000_000);
        }
        let samples = &clock.shown()[0].samples;
        assert!(samples.len() <= MAX_SHOWN && samples.len() > MAX_SHOWN / 4, "{}", samples.len());
        assert!(samples.windows(2).all(|w| w[1].0.micros_since(w[0].0) == 16_000_000));
        assert!(samples.iter().all(|(time, boat)| time.0 + DAY_US == *boat));
    }
}
