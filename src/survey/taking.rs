//! Records that lie ready into the books, in one loop.

use super::Intake;
use super::window::Window;
use crate::books::wires::WireId;
use crate::recording::{Frames, Packets, Record, Take};
use crate::time::{Span, Time};

/// Takes in what lies ready of one recording.
pub(super) struct Taking<'a, 'o> {
    intake: &'a mut Intake,
    /// The recording's.
    number: usize,
    window: &'a mut Window<'o>,
    /// The wire of the last record, in the recording and in the books: the next one mostly comes on the same.
    wire: (usize, Option<WireId>),
    taken: Taken,
}

/// What was taken in.
#[derive(Clone, Copy)]
pub(super) struct Taken {
    /// First and last time.
    span: (Time, Time),
    frames: u64,
}

impl Taken {
    /// Notes so many records in order, with the stamps of the first and the last.
    #[inline(always)]
    pub(super) fn note(&mut self, count: u64, first: Option<Time>, last: Option<Time>) {
        if let Some((first, last)) = first.zip(last) {
            self.span = (self.span.0.min(first), self.span.1.max(last));
        }
        self.frames += count;
    }
}

impl<'a, 'o> Taking<'a, 'o> {
    /// With the number of the recording, a wire of it, and which moments are asked for.
    pub(super) fn new(
        intake: &'a mut Intake,
        number: usize,
        wire: usize,
        window: &'a mut Window<'o>,
    ) -> Self {
        let wire = (wire, intake.wire(number, wire));
        let taken = Taken { span: (Time(i64::MAX), Time(i64::MIN)), frames: 0 };
        Self { intake, number, window, wire, taken }
    }

    /// How many frames were taken in.
    pub(super) fn close(self) -> u64 {
        let Taken { span: (from, to), frames } = self.taken;
        self.intake.note_bounds();
        self.intake.lasted(self.number, (from <= to).then_some(Span { from, to }));
        frames
    }

    /// Where a wire is booked, once it is known.
    #[inline(always)]
    fn wire(&mut self, wire: usize) -> Option<WireId> {
        if wire != self.wire.0 {
            self.wire = (wire, self.intake.wire(self.number, wire));
        }
        self.wire.1
    }
}

impl Take for Taking<'_, '_> {
    #[inline(always)]
    fn record(&mut self, record: &Record<'_>, digest: u64) -> bool {
        if !self.window.holds(record.time) {
            return true;
        }
        let Some(wire) = self.wire(record.wire) else { return false };
        self.taken.note(1, record.time, record.time);
        self.intake.take(self.number, wire, record, Some(digest));
        true
    }

    #[inline(always)]
    fn frames(&mut self, wire: usize, frames: &mut Frames<'_>) {
        let Some(wire) = self.wire(wire) else { return };
        let Self { intake, number, window, taken, .. } = self;
        intake.usual_frames(*number, wire, frames, window, taken);
    }

    #[inline(always)]
    fn packets(&mut self, wire: usize, packets: &mut Packets<'_>) {
        let Some(wire) = self.wire(wire) else { return };
        let Self { intake, number, window, taken, .. } = self;
        intake.packets(*number, wire, packets, window, taken);
    }
}
