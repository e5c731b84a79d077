//! Clocks: the recorder's time against the boat's own.

use super::bounded;
use super::inventory::DeviceId;
use super::timing::Message;
use crate::time::{DAY_US, Span, Time};
use rustc_hash::FxHashMap;

/// Most sources of time that are followed.
const MAX_CLOCKS: usize = 64;

/// Most steps that are remembered.
const MAX_STEPS: usize = 64;

/// A change of the difference between the two clocks that is a step, seconds: time messages are whole seconds for many
/// senders, and they wait in queues.
const STEP_S: f64 = 2.5;

/// A step of the recorder's clock against the boat's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockStep {
    /// The boat's last time message before it and the first after it, in recording time.
    pub span: Span,
    /// Seconds by which the recorder's clock moved ahead of the boat's; negative when it was set back.
    pub size_s: f64,
}

/// The boat's clocks against the recorder's. Bounded by `MAX_CLOCKS` and `MAX_STEPS`.
#[derive(Debug, Default)]
pub struct Clock {
    last: FxHashMap<(DeviceId, Message), (Time, i64)>,
    steps: Vec<ClockStep>,
}

impl Clock {
    /// Books a time message: microseconds of the day that the boat's clock shows at `time`.
    pub fn reading(&mut self, device: DeviceId, message: Message, time: Time, of_day_us: i64) {
        if self.last.len() >= MAX_CLOCKS && !self.last.contains_key(&(device, message)) {
            return;
        }
        let Some((before, shown)) = self.last.insert((device, message), (time, of_day_us)) else { return };
        let recorder = time.micros_since(before);
        let boat = of_day_us.saturating_sub(shown);
        let ahead = recorder.saturating_sub(boat);
        let ahead = (ahead.saturating_add(DAY_US / 2)).rem_euclid(DAY_US) - DAY_US / 2;
        let size_s = ahead as f64 / 1e6;
        // A receiver without fix may stand still; then its clock is no witness.
        if size_s.abs() > STEP_S && boat != 0 {
            bounded::push(&mut self.steps, MAX_STEPS, ClockStep { span: Span::new(before, time), size_s });
        }
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
            clock.reading(DeviceId(0), Message::Pgn(126_992), Time(t * 1_000_000), boat * 1_000_000);
        };
        show(100, 86_398);
        show(101, 86_399);
        show(112, 10);
        show(813, 11);
        show(114, 12);
        let steps: Vec<_> = clock.steps().iter().map(|s| s.size_s).collect();
        assert_eq!(steps, [700.0, -700.0]);
    }
}
