//! What stands around the packets of pcap and pcapng files: kept where reading needs it, blanked elsewhere.
//!
//! Source: IETF draft-ietf-opsawg-pcap and draft-ietf-opsawg-pcapng.

use super::Desk;
use super::bus::{BusKey, Frame};
use super::place::Place;
use crate::recording::{Held, Mark, Part, Recorded, Tape};

/// Type of the section header block.
const SECTION: u32 = 0x0A0D_0D0A;

impl Desk {
    /// A part of a capture.
    pub(super) fn capture_part(&mut self, tape: &mut Tape, mark: &Mark, record: Option<&Recorded>) {
        match mark.part {
            Part::PcapHeader => {
                // Time zone and accuracy: nothing reads them.
                if let Some(unread) = tape.get_mut(mark.at + 8, 8) {
                    unread.fill(0);
                }
            }
            Part::PcapRecord { big, head, can_at } => {
                self.pcap_head = head;
                self.pcap_time(tape, mark.at, big);
                let data = (mark.at + head as u64, mark.len.saturating_sub(head));
                self.captured(tape, data, can_at, record);
            }
            Part::PcapSkipped { big, captured } => {
                self.pcap_time(tape, mark.at, big);
                if let Some(captured) = captured
                    && let Some(field) = tape.get_mut(mark.at + 8, 4)
                {
                    let bytes = if big { captured.to_be_bytes() } else { captured.to_le_bytes() };
                    field.copy_from_slice(&bytes);
                }
            }
            Part::PacketBlock { kind, big, head, captured, can_at, resolution } => {
                if kind != 3 {
                    self.ticks(tape, mark.at, big, resolution);
                }
                self.captured(tape, (mark.at + head as u64, captured), can_at, record);
                let behind = head + captured;
                let len = mark.len.saturating_sub(4).saturating_sub(behind);
                if let Some(rest) = tape.get_mut(mark.at + behind as u64, len) {
                    let padding = captured.next_multiple_of(4) - captured;
                    let (filling, options) = rest.split_at_mut(padding.min(len));
                    filling.fill(0);
                    // epb_flags and epb_dropcount.
                    self.blanked.remarks += blank_options(options, big, &[2, 4]);
                }
            }
            Part::Block { kind, big } => {
                if let Some(block) = tape.get_mut(mark.at, mark.len) {
                    self.block(block, kind, big);
                }
            }
            Part::Cut => {
                if let Some(rest) = tape.get_mut(mark.at, mark.len) {
                    self.blanked.damaged += mark.len as u64;
                    let keep = match rest {
                        _ if self.pcapng => {
                            if rest.starts_with(&SECTION.to_be_bytes()) {
                                12
                            } else {
                                8
                            }
                        }
                        _ if mark.len >= self.pcap_head => self.pcap_head,
                        _ => 0,
                    };
                    rest.get_mut(keep..).unwrap_or_default().fill(0);
                    if !self.pcapng && keep > 0 {
                        self.pcap_time(tape, mark.at, self.pcap_big);
                    }
                }
            }
            Part::BlockFrame | Part::Line { .. } | Part::Blank => {}
        }
    }

    /// A block that holds no packet.
    fn block(&mut self, block: &mut [u8], kind: u32, big: bool) {
        self.pcapng = true;
        let len = block.len().saturating_sub(4);
        let body = block.get_mut(..len).unwrap_or_default();
        let mut options =
            |from: usize, keep: &[u16]| blank_options(body.get_mut(from..).unwrap_or_default(), big, keep);
        self.blanked.remarks += match kind {
            SECTION => options(24, &[]),
            1 => {
                // if_name, if_tsresol, if_fcslen, if_tsoffset.
                let blanked = options(16, &[2, 9, 13, 14]);
                each_option(body.get_mut(16..).unwrap_or_default(), big, &mut |code, value| {
                    if code == 2 {
                        self.interface_name(value);
                    }
                });
                blanked
            }
            5 => {
                // isb_ifrecv, isb_ifdrop, isb_filteraccept, isb_osdrop, isb_usrdeliv.
                let blanked = options(20, &[4, 5, 6, 7, 8]);
                body.get_mut(12..20).unwrap_or_default().fill(0);
                blanked
            }
            _ => {
                let rest = body.get_mut(8..).unwrap_or_default();
                rest.fill(0);
                rest.len() as u64
            }
        };
    }

    fn pcap_time(&mut self, tape: &mut Tape, at: u64, big: bool) {
        self.pcap_big = big;
        let shift = self.content.time_shift_us() / 1_000_000;
        if shift != 0
            && let Some([a, b, c, d]) = tape.get_mut(at, 4)
        {
            let raw = [*a, *b, *c, *d];
            let old = if big { u32::from_be_bytes(raw) } else { u32::from_le_bytes(raw) };
            let new = u32::try_from(i64::from(old).saturating_add(shift).max(0)).unwrap_or(u32::MAX);
            [*a, *b, *c, *d] = if big { new.to_be_bytes() } else { new.to_le_bytes() };
        }
    }

    /// The time of a packet block: two halves of a count of units.
    fn ticks(&mut self, tape: &mut Tape, at: u64, big: bool, resolution: u8) {
        let shift = self.content.time_shift_us();
        let Some(field) = tape.get_mut(at + 12, 8).filter(|_| shift != 0) else { return };
        let power = u32::from(resolution & 0x7F);
        let per_second =
            if resolution & 0x80 != 0 { 1i128.checked_shl(power) } else { 10i128.checked_pow(power) };
        let half = |bytes: &[u8]| {
            let raw: [u8; 4] = bytes.try_into().unwrap_or_default();
            u64::from(if big { u32::from_be_bytes(raw) } else { u32::from_le_bytes(raw) })
        };
        let (Some((high, low)), Some(unit)) = (field.split_at_checked(4), per_second) else { return };
        let old = half(high) << 32 | half(low);
        let new = i128::from(old) + i128::from(shift / 1_000_000).saturating_mul(unit);
        let new = u64::try_from(new.max(0)).unwrap_or(u64::MAX);
        let put = |value: u64| {
            let value = value as u32;
            if big { value.to_be_bytes() } else { value.to_le_bytes() }
        };
        if let Some((high, low)) = field.split_at_mut_checked(4) {
            high.copy_from_slice(&put(new >> 32));
            low.copy_from_slice(&put(new));
        }
    }

    /// A packet at `data` of the tape.
    fn captured(
        &mut self,
        tape: &mut Tape,
        data: (u64, usize),
        can_at: Option<usize>,
        record: Option<&Recorded>,
    ) {
        let (at, len) = data;
        match record.map(|record| (record, record.held)) {
            Some((record, Held::Packet { link, len: used, original })) => {
                let used = used.min(len);
                self.packet(tape, record, link, (at, used), original);
                // A frame check sequence: it would tell what the packet held.
                if let Some(rest) = tape.get_mut(at + used as u64, len - used) {
                    rest.fill(0);
                }
            }
            Some((record, Held::Can { id, kind, len: bytes })) => {
                let frame = Frame { id, kind, len: bytes, data: [0; 8] };
                self.socket_can(tape, (at, len), can_at.unwrap_or(0), record, frame);
            }
            _ => {
                // A frame that is too short for its length shall stay so.
                let keep = can_at.map_or(0, |head| head + 8);
                if let Some(bytes) = tape.get_mut(at, len) {
                    cooked_address(bytes, can_at.unwrap_or(0));
                    let rest = bytes.get_mut(keep..).unwrap_or_default();
                    self.blanked.payload += rest.len() as u64;
                    rest.fill(0);
                }
            }
        }
    }

    /// A CAN frame behind `head` bytes: identifier, length, flags, two unused bytes, data.
    fn socket_can(
        &mut self,
        tape: &mut Tape,
        data: (u64, usize),
        head: usize,
        record: &Recorded,
        mut frame: Frame,
    ) {
        let (at, len) = data;
        let Some(bytes) = tape.get_mut(at, len) else { return };
        cooked_address(bytes, head);
        let Some((header, body)) = bytes.split_at_mut_checked(head + 8) else { return };
        header.get_mut(head + 6..).unwrap_or_default().fill(0);
        if let Some(filling) = body.get_mut(frame.len.into()..).filter(|filling| !filling.is_empty()) {
            filling.fill(0);
        }
        // An error message has eight bytes (linux/can/error.h), too.
        if frame.len > 8 {
            body.fill(0);
            return;
        }
        match body.first_chunk() {
            Some(data) => frame.data = *data,
            None => frame.data.iter_mut().zip(&*body).for_each(|(to, from)| *to = *from),
        }
        let place = Place::Binary(at + (head + 8) as u64);
        match self.buses.get(BusKey::Wire(record.wire)) {
            Some(bus) => bus.frame(tape, &mut self.content, record.time, &frame, &place),
            None => body.fill(0),
        }
    }
}

/// Blanks the sender's address of a Linux cooked header of 16 or 20 bytes.
fn cooked_address(bytes: &mut [u8], head: usize) {
    let address = match head {
        16 => 6..14,
        20 => 12..20,
        _ => return,
    };
    if let Some(address) = bytes.get_mut(address) {
        address.fill(0);
    }
}

/// Blanks the values of options, and what follows them, but those of `keep`; says how many bytes.
fn blank_options(options: &mut [u8], big: bool, keep: &[u16]) -> u64 {
    let mut blanked = 0;
    let end = each_option(options, big, &mut |code, value| {
        if !keep.contains(&code) {
            blanked += value.len() as u64;
            value.fill(0);
        }
    });
    options.get_mut(end..).unwrap_or_default().fill(0);
    blanked
}

/// Calls `each` for every option; says where they end (behind the end mark, if there is one, or in front of a broken one's
/// value).
fn each_option(options: &mut [u8], big: bool, each: &mut dyn FnMut(u16, &mut [u8])) -> usize {
    let mut at = 0;
    loop {
        let Some(&[a, b, c, d]) = options.get(at..).and_then(|rest| rest.first_chunk()) else { return at };
        let word = |raw| if big { u16::from_be_bytes(raw) } else { u16::from_le_bytes(raw) };
        let (code, len) = (word([a, b]), usize::from(word([c, d])));
        at += 4;
        if code == 0 {
            return at;
        }
        let Some(value) = options.get_mut(at..at + len) else { return at };
        each(code, value);
        let filling = at + len..(at + len.next_multiple_of(4)).min(options.len());
        options.get_mut(filling).unwrap_or_default().fill(0);
        at = (at + len.next_multiple_of(4)).min(options.len());
    }
}
