//! pcapng files: sections, blocks, and finding back to the blocks after damage.
//!
//! Source: IETF draft-ietf-opsawg-pcapng.

mod interfaces;

use super::Record;
use super::account::{Account, Rank, counted, counted_are, counted_were};
use super::ahead::Batch;
use super::buffer::Buffer;
use super::bytes::{u16_at, u32_at};
use super::compressed::Origin;
use super::cursor::Cursor;
use super::open::Refusal;
use super::reader::{Reader, usual_parts};
use super::tape::Part;
use crate::time::Time;
use interfaces::Interfaces;
use std::sync::Arc;

/// Longest block that is believed.
const MAX_BLOCK: u32 = 4 << 20;

/// Type of the section header block: the same in both byte orders.
const SECTION: u32 = 0x0A0D_0D0A;

/// Type of the enhanced packet block.
const ENHANCED: u32 = 6;

/// A pcapng file being read.
pub(super) struct Pcapng {
    buffer: Buffer,
    account: Account,
    cursor: Cursor,
    big: bool,
    interfaces: Interfaces,
    mismatched: u64,
    broken_blocks: u64,
}

/// A block's type and total length.
#[derive(Debug, Clone, Copy)]
struct Block {
    kind: u32,
    total: u32,
    big: bool,
}

impl Block {
    /// The block that begins at `at`, when its length is possible (and, for a section header, its byte order is told).
    fn at(bytes: &[u8], at: usize, big: bool) -> Option<Self> {
        let big = if bytes.get(at..at.checked_add(4)?)? == SECTION.to_be_bytes() {
            match bytes.get(at.checked_add(8)?..at.checked_add(12)?)? {
                [0x1A, 0x2B, 0x3C, 0x4D] => true,
                [0x4D, 0x3C, 0x2B, 0x1A] => false,
                _ => return None,
            }
        } else {
            big
        };
        let (kind, total) = (u32_at(bytes, at, big)?, u32_at(bytes, at.checked_add(4)?, big)?);
        let least = if kind == SECTION { 28 } else { 12 };
        ((least..=MAX_BLOCK).contains(&total) && total.is_multiple_of(4)).then_some(Self { kind, total, big })
    }

    /// Whether the type is one that recorders write: 1 to 6 of the draft, 9 and 10 of the registry, custom blocks.
    fn is_known(self) -> bool {
        matches!(self.kind, 1..=6 | 9 | 10 | SECTION | 0x0000_0BAD | 0x4000_0BAD)
    }
}

/// What a block says of the packet in it.
#[derive(Debug, Clone, Copy)]
struct Packet {
    time: Option<Time>,
    interface: u32,
    /// Where its bytes begin in the block.
    at: usize,
    captured: u32,
    original: u32,
}

impl Pcapng {
    /// Looks at the first section header; the reading begins there.
    pub(super) fn new(mut buffer: Buffer, origin: Arc<Origin>) -> Result<Self, Refusal> {
        buffer.ensure(28)?;
        let Some(first) = Block::at(buffer.data(), 0, false).filter(|_| buffer.data().len() >= 28) else {
            return Err(Refusal::Unknown("a pcapng section header that is cut off or broken".to_owned()));
        };
        Ok(Self {
            buffer,
            account: Account::new(origin, "pcapng"),
            cursor: Cursor::default(),
            big: first.big,
            interfaces: Interfaces::default(),
            mismatched: 0,
            broken_blocks: 0,
        })
    }

    /// Deals with what is at the window. `Some(true)`: a record; `Some(false)`: the end; `None`: look again.
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        if !self.buffer.ensure(12)? {
            return Ok(Some(self.end()));
        }
        let Some(block) = Block::at(self.buffer.data(), 0, self.big) else {
            return self.resynchronise().map(|()| None);
        };
        let total = block.total as usize;
        self.buffer.ensure(total + 12)?;
        if self.buffer.data().len() < total {
            // Cut off, unless whole blocks follow: then the length lies.
            let end = self.buffer.data().len();
            return match self.find(1, end)? {
                Some(start) => {
                    self.skip(start);
                    Ok(None)
                }
                None => Ok(Some(self.end())),
            };
        }
        let mismatched = u32_at(self.buffer.data(), total - 4, block.big) != Some(block.total);
        if mismatched {
            if !self.block_follows(total, block.big) {
                return self.resynchronise().map(|()| None);
            }
            self.mismatched += 1;
        }
        let found = self.read(block);
        if found.is_none() {
            self.broken_blocks += 1;
            self.account.damage(self.buffer.offset(), total as u64);
            self.pass_broken(total, mismatched);
            return Ok(None);
        }
        if mismatched {
            self.account.summary.damaged_bytes = self.account.summary.damaged_bytes.saturating_add(4);
        }
        if found == Some(false) {
            self.buffer.mark(total, Part::Block { kind: block.kind, big: block.big });
        }
        self.buffer.consume(total);
        Ok(found.filter(|&is_record| is_record))
    }

    /// The end of the file; what is left there was cut off.
    fn end(&mut self) -> bool {
        let rest = self.buffer.data().len();
        if rest > 0 {
            self.account.truncated(rest as u64);
            self.buffer.mark(rest, Part::Cut);
            self.buffer.consume(rest);
        }
        false
    }

    /// Whether a believable block of a known type, or the end, follows at `at`.
    fn block_follows(&self, at: usize, big: bool) -> bool {
        let data = self.buffer.data();
        data.len() == at || Block::at(data, at, big).is_some_and(Block::is_known)
    }

    /// Reads the block at the window; whether it gave a record, or `None` when its content is broken.
    fn read(&mut self, block: Block) -> Option<bool> {
        let from = self.buffer.position();
        let bytes = self.buffer.data().get(..block.total as usize - 4).unwrap_or_default();
        match block.kind {
            SECTION => {
                self.big = block.big;
                self.interfaces.new_section(bytes, self.big);
            }
            1 => self.interfaces.describe(bytes, self.big)?,
            5 => self.interfaces.statistics(bytes, self.big)?,
            2 | 3 | ENHANCED => {
                let packet = self.packet(block, bytes)?;
                let end = packet.at + packet.captured as usize;
                let data = bytes.get(packet.at..end)?;
                let dropped = match block.kind {
                    2 => u16_at(bytes, 10, self.big).filter(|&drops| drops != u16::MAX).map_or(0, u64::from),
                    ENHANCED => self.interfaces.packet_drops(bytes.get(end.next_multiple_of(4)..), self.big),
                    _ => 0,
                };
                let interface = self.interfaces.get_mut(packet.interface)?;
                interface.lost_before_packets = interface.lost_before_packets.saturating_add(dropped);
                let (wire, content) =
                    interface.link.take(&mut self.account, data, from + packet.at, packet.original);
                self.cursor.stand(packet.time, wire, content);
                let (can_at, resolution) = (interface.link.can_at(), interface.resolution);
                let part = Part::PacketBlock {
                    kind: block.kind,
                    big: self.big,
                    head: packet.at,
                    captured: packet.captured as usize,
                    can_at,
                    resolution,
                };
                self.buffer.mark(block.total as usize, part);
                return Some(true);
            }
            _ => {}
        }
        Some(false)
    }

    /// What a block of a packet says of it; `None` when it is broken.
    #[inline(always)]
    fn packet(&self, block: Block, bytes: &[u8]) -> Option<Packet> {
        let word = |at| u32_at(bytes, at, self.big);
        if block.kind == 3 {
            let original = word(8)?;
            let captured = original.min(self.interfaces.snaplen(0)?);
            // Padding apart, the block holds no more than its length.
            let captured = captured.min(block.total.saturating_sub(16));
            return Some(Packet { time: None, interface: 0, at: 12, captured, original });
        }
        let interface = match block.kind {
            2 => u16_at(bytes, 8, self.big)?.into(),
            _ => word(8)?,
        };
        let time = Some(self.interfaces.time(interface, word(12)?, word(16)?)?);
        Some(Packet { time, interface, at: 28, captured: word(20)?, original: word(24)? })
    }

    /// The enhanced packet block at `at`, when it lies there whole and has no options: its length, what it says of its packet,
    /// and the packet's bytes.
    #[inline(always)]
    fn plain_packet<'a>(&self, data: &'a [u8], at: usize) -> Option<(usize, Packet, &'a [u8])> {
        let block = Block::at(data, at, self.big).filter(|block| block.kind == ENHANCED)?;
        let total = block.total as usize;
        let bytes = data.get(at..at + total)?;
        if u32_at(bytes, total - 4, self.big) != Some(block.total) {
            return None;
        }
        let packet = self.packet(block, bytes)?;
        let to = packet.at + packet.captured as usize;
        let is_all = to.next_multiple_of(4) + 4 == total;
        Some((total, packet, bytes.get(packet.at..to).filter(|_| is_all)?))
    }

    /// Passes over a block that is broken inside. Its frame is marked: a copy is broken there as well, and no more than there.
    fn pass_broken(&mut self, total: usize, mismatched: bool) {
        const FRAME_END: usize = 4;
        self.mark_head(total);
        self.buffer.consume(total - FRAME_END);
        if !mismatched {
            self.buffer.mark(FRAME_END, Part::BlockFrame);
        }
        self.buffer.consume(FRAME_END);
    }

    /// Marks the head of the block at the window, which is skipped with so many bytes: a copy keeps it, as the block before it
    /// may have been believed for what stands behind it.
    fn mark_head(&self, skipped: usize) {
        let Some(block) = Block::at(self.buffer.data(), 0, self.big).filter(|block| block.is_known()) else {
            return;
        };
        let head = if block.kind == SECTION { 12 } else { 8 };
        if skipped >= head {
            self.buffer.mark(head, Part::BlockFrame);
        }
    }

    /// Skips to the next whole block of a known type, or to the end.
    fn resynchronise(&mut self) -> std::io::Result<()> {
        let offset = self.buffer.offset();
        let mut from = 1;
        loop {
            // In portions, so that the window can move on over any length of damage.
            const PORTION: usize = 64 << 10;
            let more = self.buffer.ensure(PORTION + 12)?;
            let end = if more { PORTION } else { self.buffer.data().len() };
            let found = self.find(from, end)?;
            if from > 0 {
                self.mark_head(found.unwrap_or(end));
            }
            from = 0;
            self.buffer.consume(found.unwrap_or(end));
            if found.is_some() || !more {
                self.account.damage(offset, self.buffer.offset().saturating_sub(offset));
                return Ok(());
            }
        }
    }

    fn skip(&mut self, bytes: usize) {
        self.mark_head(bytes);
        self.account.damage(self.buffer.offset(), bytes as u64);
        self.buffer.consume(bytes);
    }

    /// The first place in `from..to` of the window where a whole block of a known type begins.
    fn find(&mut self, from: usize, to: usize) -> std::io::Result<Option<usize>> {
        for at in from..to {
            let Some(block) = Block::at(self.buffer.data(), at, self.big).filter(|block| block.is_known())
            else {
                continue;
            };
            let end = at + block.total as usize;
            self.buffer.ensure(end)?;
            if u32_at(self.buffer.data(), end - 4, block.big) == Some(block.total) {
                return Ok(Some(at));
            }
        }
        Ok(None)
    }

    /// Says at the end what the blocks said of themselves.
    fn end_of_section(&mut self) {
        let (packets, statistics) = self.interfaces.close();
        let lost = self.interfaces.lost;
        self.account.summary.lost_frames = lost;
        if lost > 0 {
            self.account.note(
                Rank::Loss,
                format!(
                    "the recorder lost {}: its packets name {packets}, its statistics name {statistics}",
                    counted(lost, "frame")
                ),
            );
        }
        if self.mismatched > 0 {
            let blocks = counted(self.mismatched, "block");
            self.account
                .note(Rank::Damage, format!("the two lengths of {blocks} differ; the first was believed"));
        }
        if self.broken_blocks > 0 {
            let text = format!("{} broken inside and skipped", counted_are(self.broken_blocks, "block"));
            self.account.note(Rank::Damage, text);
        }
        if self.interfaces.broken_options > 0 {
            let text = format!(
                "an option of {} has an impossible length; the options after it were not read",
                counted(self.interfaces.broken_options, "block")
            );
            self.account.note(Rank::Damage, text);
        }
        if self.interfaces.ignored > 0 {
            let text = format!("{} too many and ignored", counted_were(self.interfaces.ignored, "interface"));
            self.account.note(Rank::Loss, text);
        }
    }
}

impl Reader for Pcapng {
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        Self::step(self)
    }

    /// Whole enhanced packet blocks of interfaces whose packets are all alike, as they lie in view.
    fn run(&mut self, batch: &mut Batch) {
        if self.buffer.is_spooled() {
            return;
        }
        let data = self.buffer.data();
        let (mut at, mut plain) = (0, 0);
        let mut usual = None;
        while !batch.is_full() {
            let Some((total, packet, bytes)) = self.plain_packet(data, at) else { break };
            let alike = match usual {
                Some((interface, alike)) if interface == packet.interface => alike,
                _ => {
                    let Some(alike) = self.interfaces.usual(packet.interface) else { break };
                    usual = Some((packet.interface, alike));
                    alike
                }
            };
            let Some((wire, payload)) = alike.payload(bytes, packet.original) else { break };
            batch.add(&Record { time: packet.time, wire, payload });
            plain += 1;
            at += total;
        }
        self.account.frames(plain);
        self.buffer.consume(at);
    }

    fn finish(&mut self) {
        if self.account.is_open() {
            self.end_of_section();
            self.account.finish();
        }
    }

    usual_parts!();
}
