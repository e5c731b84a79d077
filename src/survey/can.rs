//! CAN frames into the books.

use super::Intake;
use super::ledger::Told;
use crate::books::inventory::DeviceId;
use crate::books::wires::WireId;
use crate::frames::{FrameBits, MANY};
use crate::messages::n2k::{self, Assembler, CanId, Message, NetworkMessage};
use crate::recording::{CanKind, LentFrame};
use crate::time::Time;

/// Counts the bits of frames.
#[derive(Default)]
pub(super) struct Bits(FrameBits);

impl Bits {
    /// The bits that a frame takes on the wire; none for an error message of the recorder's controller.
    pub(super) fn of(&mut self, frame: &LentFrame<'_>) -> u64 {
        let (extended, remote) = match frame.kind {
            CanKind::Error => return 0,
            CanKind::Extended => (true, false),
            CanKind::Standard => (false, false),
            CanKind::Remote => (frame.id > 0x7FF, true),
        };
        u64::from(self.0.of(frame.id, extended, remote, frame.data))
    }
}

/// Counts the bits of many frames, most of them together.
pub(super) struct BitsOfMany {
    bits: Bits,
    /// The usual ones, extended data frames of eight bytes, that wait until there are enough.
    waiting: [(u32, [u8; 8]); MANY],
    /// Where the bits of each go.
    places: [usize; MANY],
    count: usize,
}

impl Default for BitsOfMany {
    fn default() -> Self {
        Self { bits: Bits::default(), waiting: [(0, [0; 8]); MANY], places: [0; MANY], count: 0 }
    }
}

impl BitsOfMany {
    /// Puts the bits that a frame takes on the wire at the end of `told`, or leaves a place for them.
    #[inline]
    pub(super) fn tell(&mut self, frame: &LentFrame<'_>, told: &mut Vec<u64>) {
        let LentFrame { id, kind: CanKind::Extended, data, .. } = *frame else {
            told.push(self.bits.of(frame));
            return;
        };
        let Some(data) = data.as_array::<8>() else {
            told.push(self.bits.of(frame));
            return;
        };
        if let (Some(waiting), Some(place)) =
            (self.waiting.get_mut(self.count), self.places.get_mut(self.count))
        {
            (*waiting, *place) = ((id, *data), told.len());
        }
        told.push(0);
        self.count += 1;
        if self.count == MANY {
            self.settle(told);
        }
    }

    /// Fills the places that are left.
    pub(super) fn settle(&mut self, told: &mut [u64]) {
        if self.count == 0 {
            return;
        }
        let bits = self.bits.0.of_many(&self.waiting);
        for (bits, place) in bits.iter().zip(&self.places).take(self.count) {
            if let Some(place) = told.get_mut(*place) {
                *place = u64::from(*bits);
            }
        }
        self.count = 0;
    }
}

/// PGNs whose frames were found to be whole messages, each in the one place that it leads to.
pub(super) struct Wholes([u32; 256]);

impl Default for Wholes {
    fn default() -> Self {
        Self([u32::MAX; 256])
    }
}

impl Wholes {
    /// As [`Assembler::is_whole`], which needs not be asked for the few dozen that come again and again.
    #[inline(always)]
    fn has(&mut self, pgn: u32) -> bool {
        let Some(place) = self.0.get_mut((pgn ^ pgn >> 8) as usize % 256) else { return false };
        if *place != pgn {
            if !Assembler::is_whole(pgn) {
                return false;
            }
            *place = pgn;
        }
        true
    }
}

impl Intake {
    /// Books a CAN frame of a wire, which takes so many bits on it.
    #[inline(always)]
    pub(super) fn can(&mut self, wire: WireId, time: Option<Time>, frame: &LentFrame<'_>, bits: u64) {
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, frame.data.len() as u64, bits);
        }
        match frame.kind {
            CanKind::Extended => self.n2k_frame(wire, time, frame),
            CanKind::Error => self.books.buses.of(wire).error(time, frame.id, frame.data),
            CanKind::Standard | CanKind::Remote => self.books.buses.of(wire).foreign += 1,
        }
    }

    #[inline(always)]
    fn n2k_frame(&mut self, wire: WireId, time: Option<Time>, frame: &LentFrame<'_>) {
        let id = CanId::from_bits(frame.id);
        let bytes = frame.data.len() as u64;
        if id.pgn == 60_928 {
            self.claim(wire, time, id, frame.data);
            return;
        }
        let Some(device) = self.books.inventory.node(wire, id.source) else { return };
        self.books.inventory.frame(device, time, bytes);
        if self.wholes.has(id.pgn) {
            self.assemblers.of(wire.0 as usize).pass(time);
            self.n2k_message(wire, time, device, &Message { id, data: frame.data });
            return;
        }
        let mut assembler = self.assemblers.take(wire.0 as usize);
        assembler.part(time, id, frame.data, &mut |message| self.n2k_message(wire, time, device, &message));
        self.assemblers.put(wire.0 as usize, assembler);
    }

    fn claim(&mut self, wire: WireId, time: Option<Time>, id: CanId, data: &[u8]) {
        let Some(NetworkMessage::Claim { name, .. }) = n2k::network(id, data) else { return };
        let Some(device) = self.books.inventory.claim(wire, id.source, name) else { return };
        let silent_since = self.books.inventory.get(device).and_then(|d| d.last);
        let bus = self.books.buses.of(wire);
        bus.answer(time, device, id.pgn);
        bus.claim(time, id.source, name, device, silent_since);
        self.books.inventory.frame(device, time, data.len() as u64);
    }

    #[inline(always)]
    fn n2k_message(&mut self, wire: WireId, time: Option<Time>, device: DeviceId, message: &Message<'_>) {
        let (id, data) = (message.id, message.data);
        self.tell(device, time, Told::Pgn(id.pgn, data));
        if let Some(network) = n2k::network(id, data) {
            if let NetworkMessage::Request { pgn } = network {
                let asked = (id.destination != n2k::GLOBAL)
                    .then(|| self.books.inventory.node(wire, id.destination))
                    .flatten();
                self.books.buses.of(wire).request(time, id.destination, asked, pgn);
                return;
            }
            self.books.inventory.describe(device, &network);
            self.books.buses.of(wire).network(time, device, &network);
        }
        self.books.buses.of(wire).answer(time, device, id.pgn);
    }
}
