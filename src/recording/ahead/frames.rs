//! Usual CAN frames that lie ready.

use super::{Held, Row};
use crate::time::Time;

/// A CAN data frame with a 29-bit identifier and eight bytes, which nearly all are.
#[derive(Debug, Clone, Copy)]
pub struct UsualFrame<'a> {
    /// When it was read.
    pub time: Option<Time>,
    /// Identifier.
    pub id: u32,
    /// Data.
    pub data: &'a [u8; 8],
    /// The record's [digest](crate::recording::Recording::digest).
    pub digest: u64,
}

/// Usual frames of one wire in a row.
#[derive(Debug)]
pub struct Frames<'a> {
    /// As in a row that has a stamp.
    wire: u32,
    rows: &'a [Row],
    digests: &'a [u64],
}

impl<'a> Frames<'a> {
    /// Those that come first, of the first one's wire; `digests` are those of the rows.
    pub(super) fn of(wire: u32, rows: &'a [Row], digests: &'a [u64]) -> Self {
        Self { wire: wire | 1, rows, digests }
    }

    /// How many rows have not been taken.
    pub(super) const fn left(&self) -> usize {
        self.rows.len()
    }

    /// Stamps and digests of those that come next, up to one without a stamp.
    #[inline(always)]
    pub fn stamped(&self) -> impl Iterator<Item = (Time, u64)> + use<'a> {
        let wire = self.wire;
        self.rows.iter().zip(self.digests).map_while(move |(row, digest)| {
            let Held::Eight { .. } = row.held else { return None };
            (row.wire == wire).then_some((row.stamp, *digest))
        })
    }

    /// The stamp of the first one, if it has one.
    #[must_use]
    pub fn first(&self) -> Option<Time> {
        self.rows.first()?.time()
    }

    /// Takes so many of those that [are stamped](Self::stamped).
    pub fn take_stamped(&mut self, count: usize) -> StampedFrames<'a> {
        let (rows, rest) = self.rows.split_at_checked(count).unwrap_or((self.rows, &[]));
        self.rows = rest;
        self.digests = self.digests.get(count..).unwrap_or_default();
        StampedFrames(rows)
    }
}

/// Usual frames that are stamped: stamp, identifier and data of each.
#[derive(Debug)]
pub struct StampedFrames<'a>(&'a [Row]);

impl StampedFrames<'_> {
    /// The stamp of the first one.
    #[must_use]
    pub fn starts(&self) -> Option<Time> {
        self.0.first().map(|row| row.stamp)
    }

    /// The stamp of the last one.
    #[must_use]
    pub fn ends(&self) -> Option<Time> {
        self.0.last().map(|row| row.stamp)
    }
}

impl<'a> Iterator for StampedFrames<'a> {
    type Item = (Time, u32, &'a [u8; 8]);

    #[inline(always)]
    fn next(&mut self) -> Option<Self::Item> {
        let (row, rest) = self.0.split_first()?;
        self.0 = rest;
        let Held::Eight { id, data } = &row.held else { return None };
        Some((row.stamp, *id, data))
    }
}

impl<'a> Iterator for Frames<'a> {
    type Item = UsualFrame<'a>;

    fn next(&mut self) -> Option<UsualFrame<'a>> {
        let ((row, rows), (digest, digests)) = self.rows.split_first().zip(self.digests.split_first())?;
        let Held::Eight { id, data } = &row.held else { return None };
        if row.wire | 1 != self.wire {
            return None;
        }
        (self.rows, self.digests) = (rows, digests);
        Some(UsualFrame { time: row.time(), id: *id, data, digest: *digest })
    }
}
