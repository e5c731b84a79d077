//! Packets that lie ready.

use super::{Batch, Coming, Held};
use crate::recording::LinkType;
use crate::recording::digests::{Marks, marks_of};
use crate::time::Time;

/// A packet that lies ready.
#[derive(Debug, Clone, Copy)]
pub struct ReadyPacket<'a> {
    /// When it was read.
    pub time: Option<Time>,
    /// How its bytes begin.
    pub link: LinkType,
    /// What was recorded of it.
    pub bytes: &'a [u8],
    /// Bytes that it had on the link.
    pub original: u32,
    /// The record's [digest](crate::recording::Recording::digest).
    pub digest: u64,
    /// Its marks.
    pub marks: &'a [(u32, Marks)],
}

/// Packets of one wire in a row.
#[derive(Debug)]
pub struct Packets<'a> {
    batch: &'a Batch,
    /// The row of the next one.
    next: usize,
    /// Twice the number of the wire, as in a row that has no stamp.
    wire: u32,
    /// Those of this packet and of all that follow.
    marks: &'a [(u32, Marks)],
}

impl<'a> Packets<'a> {
    /// Those from this row of a batch on, of its wire; `marks` are those from there on.
    pub(super) fn of(batch: &'a Batch, row: usize, marks: &'a [(u32, Marks)]) -> Self {
        let wire = batch.rows.get(row).map_or(0, |row| row.wire & !1);
        Self { batch, next: row, wire, marks }
    }

    /// The row of the next one, and the marks from there on.
    pub(super) const fn rest(&self) -> (usize, &'a [(u32, Marks)]) {
        (self.next, self.marks)
    }

    /// What follows the next one.
    #[must_use]
    pub const fn coming(&self) -> Coming<'a> {
        Coming { batch: self.batch, row: self.next }
    }
}

impl<'a> Iterator for Packets<'a> {
    type Item = ReadyPacket<'a>;

    #[inline(always)]
    fn next(&mut self) -> Option<ReadyPacket<'a>> {
        let row = self.batch.rows.get(self.next)?;
        let Held::Packet { link, from, to, original } = row.held else { return None };
        if row.wire & !1 != self.wire {
            return None;
        }
        let digest = *self.batch.digests.numbers.get(self.next)?;
        let bytes = self.batch.bytes.get(from as usize..to as usize).unwrap_or_default();
        let marks = marks_of(&mut self.marks, self.next);
        self.next += 1;
        Some(ReadyPacket { time: row.time(), link, bytes, original, digest, marks })
    }
}
