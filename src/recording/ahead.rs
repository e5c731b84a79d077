//! Reading ahead: a recording is read and taken apart into records by a [`Crew`], in batches, so that whoever books them
//! does not wait for the disk, the unpacking and the search for the next record.

mod frames;
mod packets;

pub use frames::{Frames, StampedFrames, UsualFrame};
pub use packets::{Packets, ReadyPacket};

use super::can_frame::CanHead;
use super::digests::Digests;
use super::open::open_pieces;
use super::{CanKind, LentFrame, LinkType, Payload, Record, Recording, RecordingError, Summary};
use crate::crew::{Crew, Source};
use crate::soon;
use crate::time::Time;
use std::ops::Range;

/// Records of one batch at most: enough that handing over costs nothing.
const MAX_ROWS: usize = 8192;

/// Bytes after which a batch is full; the last record may reach over it.
const FULL_BYTES: usize = 512 << 10;

/// Room that a batch keeps after an unusually long record.
const KEPT_BYTES: usize = 1 << 20;

/// What a record holds; its bytes lie in the batch, between `from` and `to`.
#[derive(Debug, Clone, Copy)]
enum Held {
    Packet {
        link: LinkType,
        from: u32,
        to: u32,
        original: u32,
    },
    /// A data frame with a 29-bit identifier and eight bytes, which nearly all are: they lie here.
    Eight {
        id: u32,
        data: [u8; 8],
    },
    /// As many bytes as its head says.
    Can {
        head: CanHead,
        from: u32,
    },
    Line {
        from: u32,
        to: u32,
    },
    Other,
}

/// One record of a batch, which is far shorter than 4 GiB. It goes from one core's cache to another's: the smaller, the sooner.
#[derive(Debug, Clone, Copy)]
struct Row {
    /// Its stamp, if it has one.
    stamp: Time,
    /// Twice the number of the wire, and one more when it has a stamp.
    wire: u32,
    held: Held,
}

impl Row {
    #[inline(always)]
    fn new(time: Option<Time>, wire: usize, held: Held) -> Self {
        let mark = (wire as u32) << 1 | u32::from(time.is_some());
        Self { stamp: time.unwrap_or(Time(0)), wire: mark, held }
    }

    #[inline(always)]
    fn time(&self) -> Option<Time> {
        (self.wire & 1 != 0).then_some(self.stamp)
    }

    #[inline(always)]
    const fn wire(&self) -> usize {
        (self.wire >> 1) as usize
    }
}

/// Some records in a row.
#[derive(Debug, Default)]
pub(super) struct Batch {
    rows: Vec<Row>,
    bytes: Vec<u8>,
    digests: Digests,
    progress: Option<f64>,
    /// The summary, when it names more wires than before or is complete.
    summary: Option<Summary>,
    /// Set on the last batch: how reading ended.
    end: Option<Result<(), RecordingError>>,
}

impl Batch {
    fn clear(&mut self) {
        self.rows.clear();
        self.digests.clear();
        self.bytes.clear();
        self.bytes.shrink_to(KEPT_BYTES);
    }

    /// As [`add`](Self::add), of a usual frame: a data frame with a 29-bit identifier and eight bytes.
    #[inline(always)]
    pub(super) fn add_usual(&mut self, time: Time, wire: usize, id: u32, data: &[u8; 8]) {
        self.rows.push(Row::new(Some(time), wire, Held::Eight { id, data: *data }));
    }

    #[inline(always)]
    pub(super) fn add(&mut self, record: &Record<'_>) {
        let from = self.bytes.len() as u32;
        let held = match &record.payload {
            Payload::Packet { link, bytes, original } => {
                self.bytes.extend_from_slice(bytes);
                Held::Packet { link: *link, from, to: self.bytes.len() as u32, original: *original }
            }
            Payload::Can(LentFrame { id, kind: CanKind::Extended, fd: false, data })
                if let Some(data) = data.as_array() =>
            {
                Held::Eight { id: *id, data: *data }
            }
            Payload::Can(frame) => {
                self.bytes.extend_from_slice(frame.data);
                let len = frame.data.len() as u8;
                let head = CanHead { id: frame.id, kind: frame.kind, fd: frame.fd, len };
                Held::Can { head, from }
            }
            Payload::Line(line) => {
                self.bytes.extend_from_slice(line);
                Held::Line { from, to: self.bytes.len() as u32 }
            }
            Payload::Other => Held::Other,
        };
        self.rows.push(Row::new(record.time, record.wire, held));
    }

    /// Begins a stretch of packets, of one wire and link.
    pub(super) fn stretch(&mut self, wire: usize, link: LinkType) -> Stretch<'_> {
        let base = self.bytes.len();
        Stretch { batch: self, base, wire, link }
    }

    /// The record of a row.
    #[inline(always)]
    fn record<'a>(&'a self, row: &'a Row) -> Record<'a> {
        let bytes = |from: u32, to: u32| self.bytes.get(from as usize..to as usize).unwrap_or_default();
        let payload = match &row.held {
            Held::Packet { link, from, to, original } => {
                Payload::Packet { link: *link, bytes: bytes(*from, *to), original: *original }
            }
            Held::Eight { id, data } => {
                Payload::Can(LentFrame { id: *id, kind: CanKind::Extended, fd: false, data })
            }
            Held::Can { head, from } => {
                Payload::Can(head.with(bytes(*from, from.saturating_add(u32::from(head.len)))))
            }
            Held::Line { from, to } => Payload::Line(bytes(*from, *to)),
            Held::Other => Payload::Other,
        };
        Record { time: row.time(), wire: row.wire(), payload }
    }

    /// Works out the digest of every record.
    fn digest(&mut self, digest: &mut Digest) {
        let mut digests = std::mem::take(&mut self.digests);
        digests.numbers.reserve(self.rows.len());
        digest(Payloads { batch: self, rows: self.rows.iter() }, &mut digests);
        self.digests = digests;
    }

    pub(super) fn is_full(&self) -> bool {
        self.rows.len() >= MAX_ROWS || self.bytes.len() >= FULL_BYTES
    }

    /// How many records without bytes of their own find room yet, where there is room for any; the place for them is made.
    pub(super) fn room(&mut self) -> usize {
        let room = MAX_ROWS.saturating_sub(self.rows.len());
        self.rows.reserve(room);
        room
    }
}

/// Whole packets that lie in one stretch of a file, with something else between them. The stretch is copied at once, which takes
/// less time than to copy each packet.
pub(super) struct Stretch<'a> {
    batch: &'a mut Batch,
    /// Where the stretch begins in the batch.
    base: usize,
    wire: usize,
    link: LinkType,
}

impl Stretch<'_> {
    /// Whether the batch is full with so many bytes of the stretch.
    #[inline(always)]
    pub(super) fn is_full(&self, len: usize) -> bool {
        self.batch.rows.len() >= MAX_ROWS || self.base + len >= FULL_BYTES
    }

    /// Adds the packet that lies there in the stretch.
    #[inline(always)]
    pub(super) fn add(&mut self, time: Time, place: Range<usize>) {
        let (from, to) = ((self.base + place.start) as u32, (self.base + place.end) as u32);
        let held = Held::Packet { link: self.link, from, to, original: to - from };
        self.batch.rows.push(Row::new(Some(time), self.wire, held));
    }

    /// Copies the stretch; its packets count from here on.
    pub(super) fn close(self, stretch: &[u8]) {
        self.batch.bytes.extend_from_slice(stretch);
    }
}

/// What each record of a batch holds, in their order.
pub struct Payloads<'a> {
    batch: &'a Batch,
    rows: std::slice::Iter<'a, Row>,
}

impl<'a> Payloads<'a> {
    /// Whether a usual frame comes next.
    #[inline(always)]
    #[must_use]
    pub fn come_usual(&self) -> bool {
        matches!(self.rows.as_slice().first(), Some(Row { held: Held::Eight { .. }, .. }))
    }

    /// Identifiers and data of the usual frames that come next: data frames with a 29-bit identifier and eight bytes.
    #[inline(always)]
    pub fn usual_frames(&mut self) -> impl Iterator<Item = (u32, &'a [u8; 8])> {
        std::iter::from_fn(|| {
            let Held::Eight { id, data } = &self.rows.as_slice().first()?.held else { return None };
            self.rows.next();
            Some((*id, data))
        })
    }
}

impl<'a> Iterator for Payloads<'a> {
    type Item = Payload<'a>;

    #[inline]
    fn next(&mut self) -> Option<Payload<'a>> {
        Some(self.batch.record(self.rows.next()?).payload)
    }
}

/// What follows a record, as far as it lies ready.
#[derive(Debug, Clone, Copy)]
pub struct Coming<'a> {
    batch: &'a Batch,
    /// That of the record.
    row: usize,
}

impl<'a> Coming<'a> {
    /// Fetches the head of the packet so many records after this one; its row must have come, and those further on are
    /// fetched.
    #[inline(always)]
    pub fn fetch(&self, after: usize) {
        let at = self.row + after;
        if let Some(Row { held: Held::Packet { from, .. }, .. }) = self.batch.rows.get(at)
            && let Some(byte) = self.batch.bytes.get(*from as usize)
        {
            soon::fetch(byte);
        }
        if let Some(row) = self.batch.rows.get(at + after) {
            soon::fetch(row);
        }
    }

    /// The packet so many records after this one and its digest, when that is one.
    #[inline(always)]
    #[must_use]
    pub fn packet(&self, after: usize) -> Option<(LinkType, &'a [u8], u64)> {
        let at = self.row + after;
        let row = self.batch.rows.get(at)?;
        let Held::Packet { link, from, to, .. } = &row.held else { return None };
        let bytes = self.batch.bytes.get(*from as usize..*to as usize)?;
        Some((*link, bytes, *self.batch.digests.numbers.get(at)?))
    }
}

/// Who takes records that lie ready.
pub trait Take {
    /// Takes a record and its [digest](Recording::digest); `false` when it does not take it.
    fn record(&mut self, record: &Record<'_>, digest: u64) -> bool;

    /// Takes usual frames of a wire of the recording: all that `frames` gives, or none.
    fn frames(&mut self, wire: usize, frames: &mut Frames<'_>);

    /// Takes packets of a wire of the recording: all that `packets` gives, or none.
    fn packets(&mut self, wire: usize, packets: &mut Packets<'_>);
}

/// Works out a digest of what each record holds, where they are read.
pub type Digest = Box<dyn FnMut(Payloads<'_>, &mut Digests) + Send>;

/// As [`open`](super::open()), with the reading left to a crew, which also works out a digest of each record when it has the
/// time; else whoever takes the records does. `digest` makes one for each of the two.
///
/// # Errors
/// As [`open`](super::open()).
pub fn open_ahead(path: &str, digest: impl Fn() -> Digest, crew: &Crew) -> Result<Ahead, RecordingError> {
    let mut recording = open_pieces(path)?;
    let summary = recording.summary().clone();
    let mut wires = summary.wires.len();
    let mut digest_ahead = digest();
    let source = Source::new(crew, move |batch: &mut Batch, urgent| {
        batch.clear();
        batch.end = match recording.load(batch) {
            Ok(true) => None,
            Ok(false) => Some(Ok(())),
            Err(error) => Some(Err(error)),
        };
        if !urgent {
            batch.digest(&mut digest_ahead);
        }
        let summary = recording.summary();
        if batch.end.is_some() || summary.wires.len() != wires {
            wires = summary.wires.len();
            batch.summary = Some(summary.clone());
        }
        batch.progress = recording.progress();
        batch.end.is_some()
    });
    Ok(Ahead { source, digest: digest(), summary, batch: Batch::default(), next: 0 })
}

/// A recording that is read ahead.
pub struct Ahead {
    source: Source<Batch>,
    digest: Digest,
    summary: Summary,
    batch: Batch,
    /// Records of the batch that were looked at.
    next: usize,
}

impl Ahead {
    /// Takes the next batch; `false` when there is none, as the last one has been looked through.
    fn turn(&mut self) -> Result<bool, RecordingError> {
        if let Some(end) = self.batch.end.take() {
            self.batch.clear();
            self.batch.end = Some(Ok(()));
            return end.map(|()| false);
        }
        let Some(batch) = self.source.next(std::mem::take(&mut self.batch)) else { return Ok(false) };
        self.batch = batch;
        if self.batch.digests.numbers.is_empty() {
            self.batch.digest(&mut self.digest);
        }
        if let Some(summary) = self.batch.summary.take() {
            self.summary = summary;
        }
        self.next = 0;
        Ok(true)
    }
}

impl Recording for Ahead {
    #[inline]
    fn advance(&mut self) -> Result<bool, RecordingError> {
        while self.next >= self.batch.rows.len() {
            if !self.turn()? {
                return Ok(false);
            }
        }
        self.next += 1;
        Ok(true)
    }

    #[inline]
    fn record(&self) -> Record<'_> {
        match self.next.checked_sub(1).and_then(|at| self.batch.rows.get(at)) {
            Some(row) => self.batch.record(row),
            None => Record { time: None, wire: 0, payload: Payload::Line(&[]) },
        }
    }

    #[inline]
    fn run(&mut self, take: &mut impl Take) {
        let batch = &self.batch;
        let digests = &batch.digests;
        let mut marks = digests.marks_from(self.next);
        while let (Some(row), Some(digest)) = (batch.rows.get(self.next), digests.numbers.get(self.next)) {
            let next = match row.held {
                Held::Eight { .. } => {
                    let rows = batch.rows.get(self.next..).unwrap_or_default();
                    let digests = digests.numbers.get(self.next..).unwrap_or_default();
                    let mut frames = Frames::of(row.wire, rows, digests);
                    take.frames(row.wire(), &mut frames);
                    batch.rows.len() - frames.left()
                }
                Held::Packet { .. } => {
                    let mut packets = Packets::of(batch, self.next, marks);
                    take.packets(row.wire(), &mut packets);
                    let (next, rest) = packets.rest();
                    marks = rest;
                    next
                }
                Held::Can { .. } | Held::Line { .. } | Held::Other => {
                    self.next + usize::from(take.record(&batch.record(row), *digest))
                }
            };
            if next == self.next {
                return;
            }
            self.next = next;
        }
    }

    #[inline]
    fn digest(&self) -> Option<u64> {
        self.batch.digests.numbers.get(self.next.checked_sub(1)?).copied()
    }

    fn summary(&self) -> &Summary {
        &self.summary
    }

    fn progress(&self) -> Option<f64> {
        self.batch.progress
    }
}

#[cfg(test)]
#[path = "ahead_tests.rs"]
mod tests;
