//! Where the recorder's clock was set while it recorded, and how long wires were recorded without that.

use super::Books;
use super::bounded;
use super::clock::ClockStep;
use super::rewinds::MAX_SET_BACK;
use super::wires::{Wire, WireId};
use crate::recording::TimeBase;
use crate::time::Span;

/// Leaps closer than this are the same one, seen by two wires or clocks, seconds.
const SAME_S: f64 = 3.0;

/// A span is a leap when the leap makes more than this share of it, and lies in it with at least this share.
const LEAP_SHARE: f64 = 0.6;

/// Most leaps that are told.
const MAX_LEAPS: usize = 64;

/// A leap of a recorder's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leap {
    /// From the last frame before it to the first one after it.
    pub span: Span,
    /// The stamps of these two, the earlier one first.
    pub stamps: Span,
    /// Seconds by which the recorder's clock moved ahead; negative when it was set back.
    pub size_s: f64,
    /// How much of the time that passed the books' times do not show, seconds; negative where they show too much.
    lost_s: f64,
    /// Whether the boat's own time messages tell it, or the stamps alone.
    pub by_boat: bool,
}

impl Leap {
    /// Whether a span is little more than this leap ahead.
    fn makes(&self, span: Span) -> bool {
        self.size_s > LEAP_SHARE * span.seconds() && self.span.shared_s(span) >= LEAP_SHARE * self.size_s
    }
}

impl Books {
    /// The leaps that the recording itself shows, each once: stamps that [go back](Wire::set_back); stamps that leap
    /// ahead, with nothing in between, while the boat's own time messages show that hardly any time passed. They are looked for
    /// once, by who asks first, when everything is booked.
    #[must_use]
    pub fn leaps(&self) -> &[Leap] {
        self.leaps.get_or_init(|| self.find_leaps())
    }

    fn find_leaps(&self) -> Vec<Leap> {
        let mut leaps: Vec<Leap> = Vec::new();
        let mut note = |leap: Leap| {
            let same = |known: &Leap| {
                known.span.touches(leap.span, SAME_S) && (known.size_s - leap.size_s).abs() <= SAME_S
            };
            match leaps.iter_mut().find(|known| same(known)) {
                // The boat's clock tells the size without the time that passed meanwhile.
                Some(known) if leap.by_boat && !known.by_boat => {
                    (known.size_s, known.lost_s) = (leap.size_s, leap.lost_s);
                }
                Some(_) => {}
                None => bounded::push(&mut leaps, MAX_LEAPS, leap),
            }
        };
        for rewind in self.rewinds.list().iter().filter(|_| self.is_stamped(0)) {
            let (by_boat, lost_s) = self.clock.lost_s(rewind).map_or((false, 0.0), |lost_s| (true, lost_s));
            let (span, stamps) = (rewind.running, Span::new(rewind.from, rewind.to));
            note(Leap { span, stamps, size_s: rewind.size_s() - lost_s, lost_s, by_boat });
        }
        for (_, wire) in self.stamped_roots() {
            for back in wire.set_back() {
                let size_s = back.seconds();
                note(Leap { span: *back, stamps: *back, size_s: -size_s, lost_s: size_s, by_boat: false });
            }
        }
        for step in self.clock.steps() {
            if self.stamped_roots().any(|(_, wire)| shows(wire, step)) {
                let (span, size_s) = (step.span, step.size_s);
                note(Leap { span, stamps: span, size_s, lost_s: -size_s, by_boat: true });
            }
        }
        leaps
    }

    /// The wires with a clock of their own. Without stamps of the recorder the times are the boat's: nothing of the
    /// recorder's clock shows.
    fn stamped_roots(&self) -> impl Iterator<Item = (WireId, &Wire)> {
        self.wires.iter().filter(|(_, w)| w.carried_by.is_none() && self.is_stamped(w.recording))
    }

    fn is_stamped(&self, recording: usize) -> bool {
        let base = self.recordings.get(recording).map(|r| r.time_base);
        matches!(base, None | Some(TimeBase::Stamped | TimeBase::TimeOfDay))
    }

    /// When wires were not recorded, between two recordings that are read as one.
    fn breaks(&self) -> impl Iterator<Item = Span> {
        self.wires.iter().flat_map(|(_, wire)| &wire.breaks).copied()
    }

    /// How long a wire was recorded, seconds, without what the recorder's clock leapt meanwhile and without the time between two
    /// recordings; 0 without stamps.
    #[must_use]
    pub fn recorded_s(&self, wire: &Wire) -> f64 {
        let Some(span) = wire.first.zip(wire.last).map(|(first, last)| Span::new(first, last)) else {
            return 0.0;
        };
        let back = self.rewinds.list().iter().filter(|rewind| rewind.size_s() < 0.0);
        let disorder = back.count() + wire.set_back().count() > MAX_SET_BACK;
        let in_order = wire.began.zip(wire.ended()).filter(|_| !disorder);
        let stamps_s = in_order.map_or(span.seconds(), |(began, ended)| ended.since(began));
        let leaps = self.leaps().iter().filter(|leap| leap.span.touches(span, 0.0));
        let lost = leaps.map(|leap| leap.lost_s).filter(|lost_s| !disorder || *lost_s < 0.0);
        let breaks_s: f64 = wire.breaks.iter().map(|between| between.seconds()).sum();
        (stamps_s + lost.sum::<f64>() - breaks_s).max(0.0)
    }

    /// How long all of it lasted, seconds, without what clocks leapt meanwhile.
    #[must_use]
    pub fn lasted_s(&self) -> f64 {
        if self.leaps().is_empty() && self.breaks().next().is_none() {
            return self.range().map_or(0.0, |(first, last)| last.since(first));
        }
        let of_boat = self.leaps().is_empty();
        let roots = self.wires.iter().map(|(_, wire)| wire).filter(|wire| wire.carried_by.is_none());
        let roots = roots.filter(|wire| of_boat || self.is_stamped(wire.recording));
        roots.map(|wire| self.recorded_s(wire)).fold(0.0, f64::max)
    }

    /// Takes the intervals over which the recorder's clock leapt ahead, or nobody recorded, out of the rhythms: how long they were,
    /// nobody knows. To be called once, when everything is booked.
    pub fn leave_out_leaps(&mut self) {
        let ahead: Vec<Leap> = self.leaps().iter().filter(|leap| leap.size_s > 0.0).copied().collect();
        let breaks: Vec<Span> = self.breaks().collect();
        if !(ahead.is_empty() && breaks.is_empty()) {
            let is_break = |span: Span| breaks.iter().any(|between| makes(*between, span));
            self.timing.leave_out(|span| ahead.iter().any(|leap| leap.makes(span)) || is_break(span));
        }
    }

    /// Whether this span is little more than a leap ahead of the recorder's clock, which the boat's own clock did not make. A
    /// leap lies between two messages of the boat's clock: a span that only ends or begins there is none of it. Nor is one in
    /// which the recorder heard others: then those messages came late, as from a gateway that could not send. Nor does what lies
    /// between two recordings say anything.
    #[must_use]
    pub fn clock_leapt(&self, span: Span) -> bool {
        let is_break = self.breaks().any(|between| makes(between, span));
        is_break
            || self.clock.steps().iter().any(|step| {
                step.size_s > LEAP_SHARE * span.seconds()
                    && step.span.shared_s(span) >= LEAP_SHARE * step.size_s
                    && (self.stamped_roots().next().is_none()
                        || self.stamped_roots().any(|(_, wire)| shows(wire, step)))
            })
    }

    /// How long a span lasted, seconds, without what the recorder's clock leapt ahead within it.
    #[must_use]
    pub fn passed_s(&self, span: Span) -> f64 {
        let within = |leap: &&Leap| leap.size_s > 0.0 && leap.span.shared_s(span) >= LEAP_SHARE * leap.size_s;
        let ahead: f64 = self.leaps().iter().filter(within).map(|leap| leap.size_s).sum();
        let between: f64 = self.breaks().map(|between| between.shared_s(span).max(0.0)).sum();
        (span.seconds() - ahead - between).max(0.0)
    }
}

/// Whether a span is little more than the time between two recordings.
fn makes(between: Span, span: Span) -> bool {
    between.seconds() > LEAP_SHARE * span.seconds()
        && between.shared_s(span) >= LEAP_SHARE * between.seconds()
}

/// Whether a wire's stamps show a step of the recorder's clock: nothing came while they leapt ahead, or they go back.
fn shows(wire: &Wire, step: &ClockStep) -> bool {
    let size = step.size_s.abs();
    let hole = |gap: &Span| gap.touches(step.span, 0.0) && gap.seconds() >= 0.8 * size;
    let back = |back: &Span| back.touches(step.span, SAME_S) && back.seconds() >= 0.8 * size;
    if step.size_s > 0.0 {
        wire.gaps.over(0.8 * size).iter().any(hole)
    } else {
        wire.steps_back.iter().any(back)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::inventory::DeviceId;
    use crate::books::timing::Message;
    use crate::recording::WireKind;
    use crate::time::Time;

    /// How long a bus with a frame a second was recorded, on which so many devices tell the time; and how many leaps there are.
    fn recorded(devices: u32, stamps: impl Iterator<Item = i32>) -> (f64, usize) {
        let mut books = Books::default();
        let id = books.wires.add(0, WireKind::Can, None, None);
        for (boat, stamp) in stamps.enumerate() {
            let time = Time(0).plus(f64::from(stamp));
            books.wires.get_mut(id).unwrap().frame(Some(time), 8, 131);
            for device in 0..devices {
                let shown = boat as i64 * 1_000_000;
                books.clock.reading(DeviceId(device), Message::Pgn(126_992), time, None, shown);
            }
        }
        (books.recorded_s(books.wires.get(id).unwrap()), books.leaps().len())
    }

    #[test]
    fn a_leap_that_several_devices_tell_is_one() {
        let stamps = |t| if t < 30 { t } else { t + 700 };
        assert_eq!(recorded(2, (0..60).map(stamps)), (59.0, 1));
    }

    #[test]
    fn a_clock_that_is_set_back_does_not_shorten_what_was_recorded() {
        for by in [10, 40, 7000] {
            let stamps = |t| if t < 30 { t + by } else { t };
            assert_eq!(recorded(2, (0..60).map(stamps)), (59.0, 1), "set back by {by} s");
            // The second between the two stamps is lost.
            assert_eq!(recorded(0, (0..60).map(stamps)), (58.0, 1), "set back by {by} s");
        }
    }

    /// A gateway's messages come twelve seconds late from the thirtieth second on: a leap of the recorder's clock only when nobody
    /// else was heard meanwhile.
    #[test]
    fn messages_that_come_late_are_no_leap() {
        let leapt = |others: bool| {
            let mut books = Books::default();
            let id = books.wires.add(0, WireKind::Ethernet, None, None);
            for second in 0..90_u32 {
                let time = Time(0).plus(second.into());
                let waits = (31..43).contains(&second);
                if others || !waits {
                    books.wires.get_mut(id).unwrap().frame(Some(time), 60, 84);
                }
                if !waits {
                    let boat = if second > 42 { second - 12 } else { second };
                    let message = Message::Pgn(126_992);
                    books.clock.reading(DeviceId(0), message, time, None, i64::from(boat) * 1_000_000);
                }
            }
            books.clock_leapt(Span::new(Time(0).plus(30.0), Time(0).plus(43.0)))
        };
        assert!(leapt(false) && !leapt(true));
    }

    #[test]
    fn two_recordings_in_turns_are_as_long_as_their_stamps() {
        let stamps = |t| if t % 2 == 0 { t } else { t + 200 };
        assert_eq!(recorded(0, (0..60).map(stamps)).0, 259.0);
    }
}
