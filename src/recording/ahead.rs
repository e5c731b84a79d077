//! Reading ahead: a recording is read and taken apart into records on a thread of its own, in batches, so that whoever
//! books them does not wait for the disk, the unpacking and the search for the next record.

use super::can_frame::CanHead;
use super::{LinkType, Payload, Record, Recording, RecordingError, Summary, open};
use crate::time::Time;
use std::io::{Error, ErrorKind};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread;

/// Records of one batch at most: enough that handing over costs nothing, few enough to stay in a core's cache.
const MAX_ROWS: usize = 4096;

/// Bytes after which a batch is full; the last record may reach over it.
const FULL_BYTES: usize = 256 << 10;

/// Batches on their way at one time.
const BATCHES: usize = 4;

/// Room that a batch keeps after an unusually long record.
const KEPT_BYTES: usize = 1 << 20;

/// What a record holds; its bytes lie in the batch.
#[derive(Debug, Clone, Copy)]
enum Held {
    Packet { link: LinkType, to: usize, original: u32 },
    Can { head: CanHead, to: usize },
    Line { to: usize },
    Other,
}

impl Held {
    /// Where its bytes end, when they begin at `from`.
    fn end(&self, from: usize) -> usize {
        match self {
            Self::Packet { to, .. } | Self::Can { to, .. } | Self::Line { to } => *to,
            Self::Other => from,
        }
    }
}

/// One record of a batch. Its bytes begin where those of the one before end.
#[derive(Debug, Clone, Copy)]
struct Row {
    time: Option<Time>,
    wire: usize,
    held: Held,
}

/// Some records in a row.
#[derive(Debug, Default)]
struct Batch {
    rows: Vec<Row>,
    bytes: Vec<u8>,
    digests: Vec<u64>,
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

    fn add(&mut self, record: &Record<'_>) {
        let held = match &record.payload {
            Payload::Packet { link, bytes, original } => {
                self.bytes.extend_from_slice(bytes);
                Held::Packet { link: *link, to: self.bytes.len(), original: *original }
            }
            Payload::Can(frame) => {
                // Nearly every frame has eight bytes: a copy of a known length needs no call.
                match frame.data.first_chunk::<8>() {
                    Some(eight) if frame.data.len() == 8 => self.bytes.extend_from_slice(eight),
                    _ => self.bytes.extend_from_slice(frame.data),
                }
                let len = frame.data.len() as u8;
                let head = CanHead { id: frame.id, kind: frame.kind, fd: frame.fd, len };
                Held::Can { head, to: self.bytes.len() }
            }
            Payload::Line(line) => {
                self.bytes.extend_from_slice(line);
                Held::Line { to: self.bytes.len() }
            }
            Payload::Other => Held::Other,
        };
        self.rows.push(Row { time: record.time, wire: record.wire, held });
    }

    /// The record of a row whose bytes begin at `from`.
    #[inline]
    fn record(&self, row: &Row, from: usize) -> Record<'_> {
        let bytes = |to: usize| self.bytes.get(from..to).unwrap_or_default();
        let payload = match row.held {
            Held::Packet { link, to, original } => Payload::Packet { link, bytes: bytes(to), original },
            Held::Can { head, to } => Payload::Can(head.with(bytes(to))),
            Held::Line { to } => Payload::Line(bytes(to)),
            Held::Other => Payload::Other,
        };
        Record { time: row.time, wire: row.wire, payload }
    }

    /// Works out the digest of every record, one after the other, so that a processor can do several at once.
    fn digest(&mut self, digest: &mut Digest) {
        let mut digests = std::mem::take(&mut self.digests);
        let mut from = 0;
        for row in &self.rows {
            digests.push(digest(&self.record(row, from)));
            from = row.held.end(from);
        }
        self.digests = digests;
    }

    fn is_full(&self) -> bool {
        self.rows.len() >= MAX_ROWS || self.bytes.len() >= FULL_BYTES
    }
}

/// Works out a number of each record, on the thread that reads.
pub type Digest = Box<dyn FnMut(&Record<'_>) -> u64 + Send>;

/// As [`open`], with the reading on a thread of its own, which also works out a `digest` of each record.
///
/// # Errors
/// As [`open`].
pub fn open_ahead(path: &str, mut digest: Digest) -> Result<Box<dyn Recording>, RecordingError> {
    let (full, batches) = sync_channel(BATCHES);
    let (spent, empties) = channel();
    let (opened, opening) = channel();
    let owned = path.to_owned();
    let stopped = || RecordingError::Io {
        path: path.to_owned(),
        source: Error::new(ErrorKind::BrokenPipe, "the thread that reads it has stopped"),
    };
    thread::Builder::new()
        .name("reader".to_owned())
        .spawn(move || read(&owned, &mut digest, &opened, &full, &empties))
        .map_err(|source| RecordingError::Io { path: path.to_owned(), source })?;
    let summary = opening.recv().map_err(|_| stopped())??;
    let batch = Batch::default();
    Ok(Box::new(Ahead { batches, spent, summary, batch, next: 0, from: 0, to: 0 }))
}

/// The reading thread: opens the recording, tells how that went, and sends batches until the end or until nobody wants
/// them any more.
fn read(
    path: &str,
    digest: &mut Digest,
    opened: &Sender<Result<Summary, RecordingError>>,
    full: &SyncSender<Batch>,
    empties: &Receiver<Batch>,
) {
    let mut recording = match open(path) {
        Ok(recording) => recording,
        Err(error) => {
            // Whoever asked is still waiting for this answer, or gone.
            drop(opened.send(Err(error)));
            return;
        }
    };
    let mut wires = recording.summary().wires.len();
    if opened.send(Ok(recording.summary().clone())).is_err() {
        return;
    }
    loop {
        let mut batch = empties.try_recv().unwrap_or_default();
        batch.clear();
        while !batch.is_full() && batch.end.is_none() {
            match recording.advance() {
                Ok(true) => batch.add(&recording.record()),
                Ok(false) => batch.end = Some(Ok(())),
                Err(error) => batch.end = Some(Err(error)),
            }
        }
        batch.digest(digest);
        let summary = recording.summary();
        if batch.end.is_some() || summary.wires.len() != wires {
            wires = summary.wires.len();
            batch.summary = Some(summary.clone());
        }
        batch.progress = recording.progress();
        let is_last = batch.end.is_some();
        if full.send(batch).is_err() || is_last {
            return;
        }
    }
}

/// A recording that another thread reads.
struct Ahead {
    batches: Receiver<Batch>,
    /// Where batches go that have been looked through, to be filled again.
    spent: Sender<Batch>,
    summary: Summary,
    batch: Batch,
    /// Records of the batch that were looked at.
    next: usize,
    /// Where the bytes of the record that it stands on begin and end.
    from: usize,
    to: usize,
}

impl Ahead {
    /// Takes the next batch; `false` when there is none, as the last one has been looked through.
    fn turn(&mut self) -> Result<bool, RecordingError> {
        match self.batch.end.take() {
            Some(Err(error)) => {
                self.batch.end = Some(Ok(()));
                return Err(error);
            }
            Some(Ok(())) => {
                self.batch.end = Some(Ok(()));
                self.batch.clear();
                return Ok(false);
            }
            None => {}
        }
        let Ok(batch) = self.batches.recv() else {
            let source = Error::new(ErrorKind::BrokenPipe, "the thread that reads it has stopped");
            self.batch.end = Some(Ok(()));
            return Err(RecordingError::Io { path: self.summary.path.clone(), source });
        };
        // Nobody takes it when the reader has finished.
        drop(self.spent.send(std::mem::replace(&mut self.batch, batch)));
        if let Some(summary) = self.batch.summary.take() {
            self.summary = summary;
        }
        (self.next, self.from, self.to) = (0, 0, 0);
        Ok(true)
    }
}

impl Recording for Ahead {
    fn advance(&mut self) -> Result<bool, RecordingError> {
        while self.next >= self.batch.rows.len() {
            if !self.turn()? {
                return Ok(false);
            }
        }
        let Some(row) = self.batch.rows.get(self.next) else { return Ok(false) };
        self.from = self.to;
        self.to = row.held.end(self.from);
        self.next += 1;
        Ok(true)
    }

    fn record(&self) -> Record<'_> {
        match self.next.checked_sub(1).and_then(|at| self.batch.rows.get(at)) {
            Some(row) => self.batch.record(row, self.from),
            None => Record { time: None, wire: 0, payload: Payload::Line(&[]) },
        }
    }

    fn digest(&self) -> Option<u64> {
        self.batch.digests.get(self.next.checked_sub(1)?).copied()
    }

    fn summary(&self) -> &Summary {
        &self.summary
    }

    fn progress(&self) -> Option<f64> {
        self.batch.progress
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// Every record as text, and the summary at the end.
    fn drain(mut recording: Box<dyn Recording>) -> (Vec<String>, Summary) {
        let mut records = Vec::new();
        while recording.advance().unwrap() {
            let record = recording.record();
            assert!(recording.summary().wires.len() > record.wire, "the wire is named with its first record");
            records.push(format!("{record:?}"));
        }
        assert!(!recording.advance().unwrap(), "the end stays the end");
        let summary = recording.summary().clone();
        (records, summary)
    }

    #[test]
    fn the_same_records_as_without_a_thread() {
        let captures = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures");
        for file in ["healthy-network.pcapng.gz", "two-headings.log.gz", "healthy-line.log", "cut-short.pcap"]
        {
            let path = captures.join(file);
            let path = path.to_str().unwrap();
            let (ahead, plain) =
                (drain(open_ahead(path, Box::new(|_| 7)).unwrap()), drain(open(path).unwrap()));
            assert!(ahead.0.len() > MAX_ROWS / 4 && ahead == plain, "{file}");
        }
    }

    #[test]
    fn a_file_that_cannot_be_opened_says_so() {
        assert!(matches!(open_ahead("no/such/file", Box::new(|_| 0)), Err(RecordingError::Io { .. })));
        assert!(matches!(
            open_ahead(env!("CARGO_MANIFEST_DIR"), Box::new(|_| 0)),
            Err(RecordingError::Unknown { .. })
        ));
    }

    #[test]
    fn nobody_needs_to_read_to_the_end() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/captures/healthy-line.log");
        let length = |record: &Record<'_>| match record.payload {
            Payload::Line(line) => line.len() as u64,
            _ => 0,
        };
        let mut recording = open_ahead(path, Box::new(length)).unwrap();
        assert_eq!(recording.digest(), None);
        assert!(recording.advance().unwrap());
        assert_eq!(recording.digest(), Some(length(&recording.record())));
        drop(recording);
    }
}
