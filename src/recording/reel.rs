//! A recording for whoever writes it anew: a thread of its own reads it and says what each stretch of it is, in batches of
//! bytes and rows, so that whoever rewrites them waits neither for the disk nor for the search for the next record.

use super::cursor::{Content, Cursor};
use super::open::open_onto;
use super::tape::{Mark, Part, Tape};
use super::{CanKind, LinkType, RecordingError, Summary};
use crate::time::Time;
use std::io::{Error, ErrorKind, Read, Result};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Rows of one batch at most: enough that handing over costs nothing, few enough to stay in a core's cache.
const MAX_ROWS: usize = 4096;

/// Bytes after which a batch is full, and the most that are read at once: none holds more than twice as many.
const FULL_BYTES: usize = 128 << 10;

/// Batches on their way at one time.
const BATCHES: usize = 4;

/// What a record holds, but for its bytes, which lie on the tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// A network packet.
    Packet {
        /// How the bytes begin.
        link: LinkType,
        /// Captured bytes without a frame check sequence.
        len: usize,
        /// As in [`Payload::Packet`](super::Payload::Packet).
        original: u32,
    },
    /// A CAN frame; in a capture its data lie behind the frame's head.
    Can {
        /// As in [`CanFrame`](super::CanFrame).
        id: u32,
        /// See `id`.
        kind: CanKind,
        /// Bytes of data.
        len: u8,
    },
    /// A 0183 line.
    Line,
    /// See [`Payload::Other`](super::Payload::Other).
    Other,
}

/// The record that a stretch of the recording gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recorded {
    /// When.
    pub time: Option<Time>,
    /// Number of the wire.
    pub wire: usize,
    /// What it holds.
    pub held: Held,
}

impl Recorded {
    pub(super) fn of(cursor: &Cursor) -> Self {
        let held = match cursor.content {
            Content::Packet { link, from, to, original } => {
                Held::Packet { link, len: to.saturating_sub(from), original }
            }
            Content::Can(frame) => Held::Can { id: frame.id, kind: frame.kind, len: frame.len },
            Content::StoredCan { head, .. } => Held::Can { id: head.id, kind: head.kind, len: head.len },
            Content::Line { .. } => Held::Line,
            Content::Other | Content::Nothing => Held::Other,
        };
        Self { time: cursor.time, wire: cursor.wire, held }
    }
}

/// A stretch of the recording and the record that it gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// What it is, and where.
    pub mark: Mark,
    /// Bytes of line ends and the like in front of it.
    pub blanks: usize,
    /// The record.
    pub record: Option<Recorded>,
}

/// Some rows, and bytes as they were read: most of them those of the rows.
#[derive(Debug, Default)]
struct Batch {
    rows: Vec<Row>,
    bytes: Vec<u8>,
    frames: u64,
    progress: Option<f64>,
    /// Set on the last batch: how reading ended, with the summary.
    end: Option<std::result::Result<Summary, RecordingError>>,
}

/// The reading thread's end: what was read and marked since the last batch.
pub(super) struct Spool {
    batch: Batch,
    /// Rows of the piece at hand, which bear no record yet.
    unfinished: usize,
    /// Line ends and the like at the end of what was marked.
    blanks: Option<Mark>,
    full: SyncSender<Batch>,
    empties: Receiver<Batch>,
}

impl Spool {
    /// Notes what a stretch is.
    pub(super) fn mark(&mut self, mark: Mark) {
        let blanks = match self.blanks.take() {
            Some(before) if before.at + before.len as u64 == mark.at => {
                if mark.part == Part::Blank {
                    self.blanks = Some(Mark { len: before.len + mark.len, ..before });
                    return;
                }
                before.len
            }
            Some(before) => {
                self.push(before, 0);
                0
            }
            None => 0,
        };
        if mark.part == Part::Blank {
            self.blanks = Some(mark);
        } else {
            self.push(mark, blanks);
        }
    }

    fn push(&mut self, mark: Mark, blanks: usize) {
        self.batch.rows.push(Row { mark, blanks, record: None });
        self.unfinished += 1;
    }

    /// Takes bytes that were read.
    fn append(&mut self, bytes: &[u8]) -> Result<()> {
        if self.batch.bytes.len() >= FULL_BYTES && self.unfinished == 0 {
            self.send()?;
        }
        self.batch.bytes.extend_from_slice(bytes);
        Ok(())
    }

    /// Ends a piece, which gave `record` or none.
    fn end_piece(&mut self, record: Option<Recorded>) {
        if let Some(blanks) = self.blanks.take() {
            self.push(blanks, 0);
        }
        let from = self.batch.rows.len().saturating_sub(self.unfinished);
        for row in self.batch.rows.iter_mut().skip(from) {
            row.record = record;
        }
        self.unfinished = 0;
    }

    /// Hands the batch over.
    fn send(&mut self) -> Result<()> {
        let mut empty = self.empties.try_recv().unwrap_or_default();
        empty.rows.clear();
        empty.bytes.clear();
        let batch = std::mem::replace(&mut self.batch, empty);
        self.full.send(batch).map_err(|_| stopped())
    }
}

/// An input whose bytes go onto a spool as they are read.
pub(super) struct Spooled {
    /// Where the bytes come from.
    pub(super) input: Box<dyn Read + Send>,
    /// Where they go.
    pub(super) spool: Arc<Mutex<Spool>>,
}

impl Read for Spooled {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        let portion = out.len().min(FULL_BYTES);
        let n = self.input.read(out.get_mut(..portion).unwrap_or_default())?;
        held(&self.spool).append(out.get(..n).unwrap_or_default())?;
        Ok(n)
    }
}

/// The spool, of which only the reading thread has a key.
pub(super) fn held(spool: &Mutex<Spool>) -> MutexGuard<'_, Spool> {
    spool.lock().unwrap_or_else(PoisonError::into_inner)
}

fn stopped() -> Error {
    Error::new(ErrorKind::BrokenPipe, "the thread at the other end has stopped")
}

/// A recording that a thread reads.
pub struct Reel {
    batches: Receiver<Batch>,
    /// Where batches go that have been looked through, to be filled again.
    spent: Sender<Batch>,
    summary: Summary,
    batch: Batch,
}

impl Reel {
    /// Opens the recording at `path`; `-` is standard input.
    ///
    /// # Errors
    /// As [`open`](super::open()).
    pub fn open(path: &str) -> std::result::Result<Self, RecordingError> {
        let (full, batches) = sync_channel(BATCHES);
        let (spent, empties) = channel();
        let (opened, opening) = channel();
        let owned = path.to_owned();
        let io = |source| RecordingError::Io { path: path.to_owned(), source };
        thread::Builder::new()
            .name("reader".to_owned())
            .spawn(move || read(&owned, &opened, full, empties))
            .map_err(io)?;
        let summary = opening.recv().map_err(|_| io(stopped()))??;
        Ok(Self { batches, spent, summary, batch: Batch::default() })
    }

    /// Takes the next batch and puts its bytes on the tape; `false` when there is none, as the recording has ended.
    ///
    /// # Errors
    /// As [`Recording::advance`](super::Recording::advance), or when too much waits on the tape.
    pub fn turn(&mut self, tape: &mut Tape) -> std::result::Result<bool, RecordingError> {
        let io = |source| RecordingError::Io { path: self.summary.path.clone(), source };
        match self.batch.end.take() {
            Some(Ok(summary)) => {
                self.summary = summary;
                self.batch.rows.clear();
                return Ok(false);
            }
            Some(Err(error)) => {
                self.batch.rows.clear();
                return Err(error);
            }
            None => {}
        }
        let batch = self.batches.recv().map_err(|_| io(stopped()))?;
        tape.append(&batch.bytes).map_err(io)?;
        // Nobody takes it when the reader has finished.
        drop(self.spent.send(std::mem::replace(&mut self.batch, batch)));
        Ok(true)
    }

    /// The rows of the batch at hand.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.batch.rows
    }

    /// What is known so far; complete after [`turn`](Self::turn) returned `false`.
    #[must_use]
    pub const fn summary(&self) -> &Summary {
        &self.summary
    }

    /// Share of the file that has been read, 0 to 1, when its size is known, and records read.
    #[must_use]
    pub const fn progress(&self) -> (Option<f64>, u64) {
        (self.batch.progress, self.batch.frames)
    }
}

/// The reading thread: opens the recording, tells how that went, and sends batches until the end or until nobody wants
/// them any more.
fn read(
    path: &str,
    opened: &Sender<std::result::Result<Summary, RecordingError>>,
    full: SyncSender<Batch>,
    empties: Receiver<Batch>,
) {
    let spool = Spool { batch: Batch::default(), unfinished: 0, blanks: None, full, empties };
    let spool = Arc::new(Mutex::new(spool));
    let mut pieces = match open_onto(path, &spool) {
        Ok(pieces) => pieces,
        Err(error) => {
            // Whoever asked is still waiting for this answer, or gone.
            drop(opened.send(Err(error)));
            return;
        }
    };
    if opened.send(Ok(pieces.summary().clone())).is_err() {
        return;
    }
    // What was marked while the recording was opened is a piece of its own.
    held(&spool).end_piece(None);
    loop {
        let found = pieces.piece();
        let mut spool = held(&spool);
        spool.end_piece(matches!(found, Ok(Some(true))).then(|| pieces.recorded()));
        let end = match found {
            Ok(Some(false)) => Some(Ok(pieces.summary().clone())),
            Ok(_) => None,
            Err(error) => Some(Err(error)),
        };
        let is_last = end.is_some();
        if is_last || spool.batch.rows.len() >= MAX_ROWS {
            spool.batch.end = end;
            spool.batch.progress = pieces.progress();
            spool.batch.frames = pieces.summary().frames;
            if spool.send().is_err() || is_last {
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Payload, open};
    use super::*;
    use std::path::Path;

    fn capture(file: &str) -> String {
        format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))
    }

    #[test]
    fn every_byte_and_every_record_once() {
        for file in ["healthy-network.pcapng.gz", "two-headings.log.gz", "healthy-line.log", "cut-short.pcap"]
        {
            let path = capture(file);
            let (mut reel, mut tape) = (Reel::open(&path).unwrap(), Tape::default());
            let mut plain = open(&path).unwrap();
            let mut done = 0;
            while reel.turn(&mut tape).unwrap() {
                for row in reel.rows() {
                    let Mark { at, len, .. } = row.mark;
                    assert!(at >= done + row.blanks as u64, "{file}: in order");
                    done = at + len as u64;
                    let Some(recorded) = row.record else { continue };
                    assert!(plain.advance().unwrap());
                    let record = plain.record();
                    assert_eq!((recorded.time, recorded.wire), (record.time, record.wire), "{file}");
                    let bytes = tape.get_mut(at, len).unwrap();
                    match (record.payload, recorded.held) {
                        (Payload::Line(line), Held::Line) => assert!(bytes.ends_with(line)),
                        (Payload::Can(frame), Held::Can { id, kind, len }) => {
                            assert_eq!((frame.id, frame.kind, frame.data.len() as u8), (id, kind, len));
                        }
                        (Payload::Packet { bytes: packet, original: full, .. }, held) => {
                            let Held::Packet { len, original, .. } = held else { panic!("{file}: {held:?}") };
                            assert_eq!((packet.len(), full), (len, original));
                            assert!(bytes.windows(packet.len()).any(|window| window == packet));
                        }
                        (payload, held) => panic!("{file}: {payload:?} is {held:?}"),
                    }
                }
            }
            assert!(!plain.advance().unwrap());
            assert_eq!(reel.summary(), plain.summary());
            if Path::new(file).extension().is_some_and(|end| end != "gz") {
                let all = std::fs::read(&path).unwrap();
                assert!(tape.get_mut(0, all.len()).is_some_and(|bytes| bytes == all), "{file}");
            }
        }
    }

    #[test]
    fn what_cannot_be_opened_says_so_and_nobody_needs_to_read_to_the_end() {
        assert!(matches!(Reel::open("no/such/file"), Err(RecordingError::Io { .. })));
        assert!(matches!(Reel::open(env!("CARGO_MANIFEST_DIR")), Err(RecordingError::Unknown { .. })));
        assert!(Reel::open(&capture("healthy-line.log")).unwrap().turn(&mut Tape::default()).unwrap());
    }
}
