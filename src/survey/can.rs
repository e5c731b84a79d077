//! CAN frames into the books.

use super::Intake;
use crate::books::inventory::DeviceId;
use crate::books::timing::Message as MessageName;
use crate::books::wires::WireId;
use crate::frames::frame_bits;
use crate::messages::n2k::{self, CanId, Message, NetworkMessage};
use crate::recording::{CanFrame, CanKind};
use crate::time::Time;

impl Intake {
    /// Books a CAN frame of a wire.
    pub(super) fn can(&mut self, wire: WireId, time: Option<Time>, frame: &CanFrame) {
        let extended = frame.kind == CanKind::Extended || (frame.kind == CanKind::Remote && frame.id > 0x7FF);
        let bits = match frame.kind {
            CanKind::Error => 0,
            kind => frame_bits(frame.id, extended, kind == CanKind::Remote, frame.data()),
        };
        if let Some(wire) = self.books.wires.get_mut(wire) {
            wire.frame(time, u64::from(frame.len), u64::from(bits));
        }
        match frame.kind {
            CanKind::Extended => self.n2k_frame(wire, time, frame),
            CanKind::Error => self.books.buses.of(wire).error(time, frame.id, frame.data()),
            CanKind::Standard | CanKind::Remote => self.books.buses.of(wire).foreign += 1,
        }
    }

    fn n2k_frame(&mut self, wire: WireId, time: Option<Time>, frame: &CanFrame) {
        let id = CanId::from_bits(frame.id);
        let bytes = u64::from(frame.len);
        if id.pgn == 60_928 {
            self.claim(wire, time, id, frame.data());
            return;
        }
        let Some(device) = self.books.inventory.node(wire, id.source) else { return };
        self.books.inventory.frame(device, time, bytes);
        let mut assembler = self.assemblers.take(wire.0 as usize);
        assembler.push(time, id, frame.data(), &mut |message| self.n2k_message(wire, time, device, &message));
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

    fn n2k_message(&mut self, wire: WireId, time: Option<Time>, device: DeviceId, message: &Message<'_>) {
        let (id, data) = (message.id, message.data);
        let known = n2k::lookup(id.pgn);
        let name = MessageName::Pgn(id.pgn);
        let part = part_of(id.pgn, data);
        self.books.timing.message(device, name, part, known.and_then(|pgn| pgn.interval_s), time);
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
        self.readings.clear();
        n2k::decode(id.pgn, data, &mut self.readings);
        self.book_readings(device, name, time);
    }
}

/// Which of several alike a message is, so that each keeps its own rhythm: engine, battery, tank, temperature source,
/// reference. 0 where there is but one.
fn part_of(pgn: u32, data: &[u8]) -> u32 {
    let byte = |i: usize| u32::from(data.get(i).copied().unwrap_or(0xFF));
    match pgn {
        127_245 | 127_488 | 127_489 | 127_501 | 127_505 | 127_508 => byte(0),
        127_506 => byte(1),
        127_250 => byte(7) & 0x03,
        129_026 => byte(1) & 0x03,
        130_306 => byte(5) & 0x07,
        130_311 => byte(1) & 0x3F,
        130_312 | 130_313 | 130_314 | 130_316 => byte(1) << 8 | byte(2),
        126_464 => byte(0),
        _ => 0,
    }
}
