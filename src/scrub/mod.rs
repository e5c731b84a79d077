//! A copy of a recording that tells the fault and not the place, the owner or the gear.
//!
//! The bytes of the recording pass on a tape. What is known of them is rewritten in place, everything else is blanked, and
//! nothing changes its length. What lies in several records (a fast packet, a line in a stream) is held back until it is
//! whole; then the tape is written out up to the oldest byte that is still undecided.
//!
//! Three threads stand in a row: one reads and says what each stretch is, the desk rewrites, one packs and writes.

mod belt;
mod blank;
mod bus;
mod capture;
pub mod content;
mod dhcp;
mod discovery;
mod fix;
mod fragments;
mod ip;
mod line;
mod link;
mod names;
mod order;
mod pack;
mod place;
mod session;
mod spots;
mod stamps;
mod stream;
mod tag_block;

pub use content::{Anchor, Content, ContentOptions, Key, NOT_HIDDEN};
pub use pack::Packer;

use crate::recording::{Part, RecordingError, Reel, Row, Summary, Tape};
use belt::Belt;
use bus::Buses;
use fix::Fix;
use fragments::Fragments;
use line::Carried;
use order::Orders;
use stamps::Stamps;
use std::collections::VecDeque;
use std::io;
use stream::Streams;

/// Bytes after which the tape is written out: few enough to stay in a processor's cache.
const PORTION: u64 = 256 << 10;

/// What is undecided for so many bytes of the recording is given up and blanked. It bounds what is held back.
const MAX_HELD: u64 = 8 << 20;

/// Why no copy could be made.
#[derive(Debug, thiserror::Error)]
pub enum ScrubError {
    /// The recording could not be read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// The copy could not be written.
    #[error("cannot write the copy")]
    Write(#[source] io::Error),
}

/// Bytes blanked outside of messages, for the closing words.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Blanked {
    /// Bytes of packets and streams whose content is not known.
    pub payload: u64,
    /// Bytes of comments, names and options of the recorder.
    pub remarks: u64,
    /// Bytes that are no record, or the rest of one that was cut.
    pub damaged: u64,
}

/// What a run did.
#[derive(Debug)]
pub struct Outcome {
    /// What was read.
    pub summary: Summary,
    /// What the messages held, and the anchor of the places.
    pub content: Content,
    /// What was blanked besides.
    pub blanked: Blanked,
}

/// A recording that is open for copying.
pub struct Copying {
    reel: Reel,
}

impl Copying {
    /// Opens the recording at `path`; `-` is standard input.
    ///
    /// # Errors
    /// When it cannot be opened or is of no kind that is read.
    pub fn open(path: &str) -> Result<Self, RecordingError> {
        Reel::open(path).map(|reel| Self { reel })
    }

    /// The compression of the recording, as its summary names it.
    #[must_use]
    pub const fn compression(&self) -> Option<&'static str> {
        self.reel.summary().compression
    }

    /// Writes the copy; `watch` is told the share read (when known) and the number of records now and then.
    ///
    /// # Errors
    /// When the recording cannot be read on, or the copy cannot be written.
    pub fn run(
        mut self,
        content: Content,
        out: &mut Packer<'_>,
        watch: &mut dyn FnMut(Option<f64>, u64),
    ) -> Result<Outcome, ScrubError> {
        let text = matches!(self.reel.summary().container, "can-log" | "line-log");
        let mut desk = Desk::new(content, text);
        std::thread::scope(|scope| {
            let belt = Belt::start(scope, &mut *out, desk.content.marker()).map_err(ScrubError::Write)?;
            let passed = self.pass(&mut desk, &belt, watch);
            // Why the packer stopped matters more than that the desk noticed it.
            belt.end().map_err(ScrubError::Write)?;
            passed
        })?;
        let summary = self.reel.summary().clone();
        let cut = summary.problems.iter().any(|problem| problem.contains("stream is cut off"));
        out.finish(!cut).map_err(ScrubError::Write)?;
        Ok(Outcome { summary, content: desk.content, blanked: desk.blanked })
    }

    /// The pass itself: every stretch over the desk and onto the belt.
    fn pass(
        &mut self,
        desk: &mut Desk,
        belt: &Belt<'_>,
        watch: &mut dyn FnMut(Option<f64>, u64),
    ) -> Result<(), ScrubError> {
        let mut tape = Tape::default();
        while self.reel.turn(&mut tape)? {
            if desk.text {
                desk.stamps.look(&mut tape, self.reel.rows());
            }
            for row in self.reel.rows() {
                desk.row(&mut tape, row);
                if desk.done.saturating_sub(tape.begin()) >= PORTION.max(desk.held.saturating_mul(2)) {
                    desk.hand_on(&mut tape, belt).map_err(ScrubError::Write)?;
                }
            }
            let (share, frames) = self.reel.progress();
            watch(share, frames);
        }
        let end = tape.end();
        desk.gap(&mut tape, end);
        desk.done = end;
        desk.finish(&mut tape);
        desk.hand_on(&mut tape, belt).map_err(ScrubError::Write)
    }
}

/// Everything that is remembered while a recording passes.
struct Desk {
    content: Content,
    /// Whether the recording is text.
    text: bool,
    /// Whether no record came yet: a recorder's heading may be in any language.
    before_first: bool,
    /// Offset up to which everything was looked at.
    done: u64,
    /// Bytes that were held back when the tape was last handed on.
    held: u64,
    /// Which numbers in front of its lines are times.
    stamps: Stamps,
    buses: Buses,
    streams: Streams,
    fragments: Fragments,
    /// Checksums to be made good once their bytes are final, in the order of the recording.
    fixes: VecDeque<Fix>,
    /// What the packer is to do.
    orders: Orders,
    /// Frames in lines of the packet at hand.
    carried: Vec<Carried>,
    /// Header length and byte order of pcap records.
    pcap_head: usize,
    pcap_big: bool,
    /// Whether the capture is of the newer form.
    pcapng: bool,
    blanked: Blanked,
    /// Room for the packet at hand as it was, and for what it carries as it is to be.
    packet: Vec<u8>,
    payload: Vec<u8>,
}

impl Desk {
    fn new(content: Content, text: bool) -> Self {
        Self {
            content,
            text,
            before_first: true,
            done: 0,
            held: 0,
            stamps: Stamps::default(),
            buses: Buses::default(),
            streams: Streams::default(),
            fragments: Fragments::default(),
            fixes: VecDeque::new(),
            orders: Orders::default(),
            carried: Vec::new(),
            pcap_head: 16,
            pcap_big: false,
            pcapng: false,
            blanked: Blanked::default(),
            packet: Vec::new(),
            payload: Vec::new(),
        }
    }

    /// Blanks what lies before `to` and bore no mark.
    fn gap(&mut self, tape: &mut Tape, to: u64) {
        let len = to.saturating_sub(self.done) as usize;
        if len > 0
            && let Some(bytes) = tape.get_mut(self.done, len)
        {
            self.blanked.damaged += len as u64;
            if self.text {
                blank::text(bytes);
            } else {
                // Zeros could pass for parts of a header.
                bytes.fill(0xFF);
            }
        }
    }

    /// Rewrites a stretch, and what lies between it and the one before.
    fn row(&mut self, tape: &mut Tape, row: &Row) {
        let Row { mark, blanks, record } = row;
        self.gap(tape, mark.at.saturating_sub(*blanks as u64));
        let record = record.as_ref();
        match mark.part {
            Part::Line { ended, seen } => self.recorded_line(tape, (mark.at, mark.len), record, ended, seen),
            Part::Blank => {}
            _ => self.capture_part(tape, mark, record),
        }
        self.before_first &= record.is_none();
        self.done = mark.at.saturating_add(mark.len as u64);
    }

    /// Writes out what is decided; gives up what waits for too long.
    fn hand_on(&mut self, tape: &mut Tape, belt: &Belt<'_>) -> io::Result<()> {
        let oldest = self.done.saturating_sub(MAX_HELD);
        self.give_up(tape, oldest);
        let mut front = self.done;
        front = front.min(self.buses.front()).min(self.streams.front()).min(self.fragments.front());
        while self.fixes.front().is_some_and(|fix| fix.end() <= front) {
            if let Some(fix) = self.fixes.pop_front() {
                fix.apply(tape, &mut self.streams);
            }
        }
        // A packet whose checksum waits cannot leave in part.
        if let Some(fix) = self.fixes.front() {
            front = front.min(fix.begin());
        }
        // Nor can one that waits for its mark.
        front = self.orders.cut(front);
        self.held = self.done.saturating_sub(front);
        let from = tape.begin();
        tape.take_off(front, |bytes| belt.put(from, bytes, &mut self.orders))
    }

    /// Gives up what waits and began before `oldest`.
    fn give_up(&mut self, tape: &mut Tape, oldest: u64) {
        self.buses.give_up(tape, oldest);
        self.fragments.give_up(tape, oldest, &mut self.blanked.payload);
        self.give_up_streams(tape, oldest);
    }

    /// The end: nothing more comes.
    fn finish(&mut self, tape: &mut Tape) {
        self.finish_streams(tape);
        self.give_up(tape, u64::MAX);
    }
}
