//! Usual CAN frames, which nearly all are: as many as lie ready of a bus are booked in loops of their own.

use super::super::Intake;
use super::super::taking::Taken;
use super::super::window::Window;
use super::Desk;
use crate::books::wires::WireId;
use crate::recording::{CanKind, Frames, LentFrame, UsualFrame};

impl Intake {
    /// Takes in usual frames of a recording's wire, whose digests are the bits that they take, as far as they are asked for.
    #[inline(never)]
    pub(in super::super) fn usual_frames(
        &mut self,
        number: usize,
        wire: WireId,
        frames: &mut Frames<'_>,
        window: &mut Window<'_>,
        taken: &mut Taken,
    ) {
        let mut desk = self.desk(wire);
        desk.messages.place.1 = number as u32;
        loop {
            let count = desk.run(frames, window);
            desk.take_run(count, frames, taken);
            // One that does not come in order, if any.
            let Some(UsualFrame { time, id, data, digest }) = frames.next() else { return };
            if window.holds(time) {
                taken.note(1, time, time);
                desk.messages.place.0 += 1;
                let latest = desk.wire.as_ref().and_then(|wire| wire.ended());
                let time = desk.rewinds.running(time, latest);
                desk.frame(time, &LentFrame { id, kind: CanKind::Extended, fd: false, data }, digest);
            }
        }
    }
}

impl Desk<'_> {
    /// Books frames with the wire, as far as they come in order and are asked for; says how many these are.
    #[inline(never)]
    fn run(&mut self, frames: &Frames<'_>, window: &mut Window<'_>) -> usize {
        let Some(wire) = self.wire.as_mut().filter(|_| self.rewinds.is_plain()) else { return 0 };
        let Some(first) = frames.first() else { return 0 };
        let (from, to) = window.ends_by(first);
        let count = wire.run(frames.stamped().take_while(|(time, _)| (from..=to).contains(time)));
        self.rewinds.ran(wire.ended());
        count as usize
    }

    /// Books what so many frames carry.
    #[inline(never)]
    fn take_run(&mut self, count: usize, frames: &mut Frames<'_>, taken: &mut Taken) {
        let run = frames.take_stamped(count);
        taken.note(count as u64, run.starts(), run.ends());
        for (time, id, data) in run {
            self.messages.place.0 += 1;
            self.extended(Some(time), id, data);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::alike::{part, reports, step, window};
    use proptest::prelude::*;

    /// The stamp of the first frame, microseconds.
    const BEGIN_US: i64 = 1_700_000_000_000_000;

    /// A SocketCAN capture: of each frame the step from the one before, microseconds, its identifier, and how many bytes it has.
    fn capture(frames: &[(i64, u32, usize)]) -> Vec<u8> {
        let mut file = [0xA1B2_C3D4_u32, 0x0004_0002, 0, 0, 0xFFFF, 227].map(u32::to_le_bytes).concat();
        let mut us = BEGIN_US;
        for (number, (step, id, len)) in frames.iter().enumerate() {
            us += step;
            let size = 8 + *len as u32;
            let header = [(us / 1_000_000) as u32, (us % 1_000_000) as u32, size, size];
            file.extend(header.map(u32::to_le_bytes).concat());
            file.extend((id | 0x8000_0000).to_be_bytes());
            file.extend([*len as u8, 0, 0, 0]);
            file.extend((number as u64).wrapping_mul(0x0101_0301_0100_0011).to_le_bytes().iter().take(*len));
        }
        file
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        /// Runs tell what frames one by one do, whatever order they come in and whatever part of them is asked for.
        #[test]
        fn runs_change_nothing(
            frames in prop::collection::vec(
                (
                    step(),
                    prop::sample::select(&[
                        0x09F1_1205_u32, 0x09F1_1323, 0x09F8_0123, 0x0DF5_0B22, 0x18EE_FF23, 0x18EE_FF22, 0x18EA_FF05,
                        0x0DF8_0523, 0x19FF_0442,
                    ][..]),
                    prop_oneof![9 => Just(8_usize), 1 => 0_usize..8],
                ),
                2..400,
            ),
            window in window(),
        ) {
            let (ahead, on) = reports(&capture(&frames), &part(BEGIN_US, window));
            prop_assert_eq!(ahead, on);
        }
    }
}
