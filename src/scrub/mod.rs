//! A copy of a recording that tells the fault and not the place, the owner or the gear.
//!
//! The bytes of the recording pass on a tape. What is known of them is rewritten in place, everything else is blanked, and
//! nothing changes its length. What lies in several records (a fast packet, a line in a stream) is held back until it is
//! whole; then the tape is written out up to the oldest byte that is still undecided.

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
mod pack;
mod spots;
mod stream;

pub use content::{Anchor, Content, ContentOptions, Key, NOT_HIDDEN};
pub use pack::Packer;

use crate::recording::{Mark, Part, Pieces, RecordingError, Summary, Tape, open_taped};
use bus::{Bus, BusKey};
use fix::Fix;
use fragments::Fragments;
use line::Carried;
use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::io;
use std::rc::Rc;
use stream::Streams;

/// Bytes after which the tape is written out: few enough to stay in a processor's cache.
const PORTION: u64 = 256 << 10;

/// What is undecided for so many bytes of the recording is given up and blanked. It bounds what is held back.
const MAX_HELD: u64 = 8 << 20;

/// Buses that frames are put together for; frames of further ones are blanked.
const MAX_BUSES: usize = 1024;

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
    recording: Box<dyn Pieces>,
    tape: Rc<RefCell<Tape>>,
}

impl Copying {
    /// Opens the recording at `path`; `-` is standard input.
    ///
    /// # Errors
    /// When it cannot be opened or is of no kind that is read.
    pub fn open(path: &str) -> Result<Self, RecordingError> {
        let (recording, tape) = open_taped(path)?;
        Ok(Self { recording, tape })
    }

    /// The compression of the recording, as its summary names it.
    #[must_use]
    pub fn compression(&self) -> Option<&'static str> {
        self.recording.summary().compression
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
        let text = matches!(self.recording.summary().container, "can-log" | "line-log");
        let mut desk = Desk::new(content, text);
        loop {
            let found = self.recording.piece()?;
            let mut tape = self.tape.borrow_mut();
            let tape = &mut *tape;
            while let Some(mark) = tape.next_mark() {
                desk.gap(tape, mark.at);
                desk.part(tape, &mark, (found == Some(true)).then(|| self.recording.record()).as_ref());
                desk.done = mark.at.saturating_add(mark.len as u64);
            }
            if desk.done.saturating_sub(tape.begin()) >= PORTION.max(desk.held.saturating_mul(2)) {
                desk.hand_on(tape, out).map_err(ScrubError::Write)?;
                watch(self.recording.progress(), self.recording.summary().frames);
            }
            if found == Some(false) {
                let end = tape.end();
                desk.gap(tape, end);
                desk.done = end;
                desk.finish(tape);
                desk.hand_on(tape, out).map_err(ScrubError::Write)?;
                break;
            }
        }
        let summary = self.recording.summary().clone();
        let cut = summary.problems.iter().any(|problem| problem.contains("stream is cut off"));
        out.finish(!cut).map_err(ScrubError::Write)?;
        Ok(Outcome { summary, content: desk.content, blanked: desk.blanked })
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
    buses: BTreeMap<BusKey, Bus>,
    streams: Streams,
    fragments: Fragments,
    /// Checksums to be made good once their bytes are final, in the order of the recording.
    fixes: VecDeque<Fix>,
    /// Frames in lines of the packet at hand.
    carried: Vec<Carried>,
    /// Header length and byte order of pcap records.
    pcap_head: usize,
    pcap_big: bool,
    /// Whether the capture is of the newer form.
    pcapng: bool,
    blanked: Blanked,
}

impl Desk {
    fn new(content: Content, text: bool) -> Self {
        Self {
            content,
            text,
            before_first: true,
            done: 0,
            held: 0,
            buses: BTreeMap::new(),
            streams: Streams::default(),
            fragments: Fragments::default(),
            fixes: VecDeque::new(),
            carried: Vec::new(),
            pcap_head: 16,
            pcap_big: false,
            pcapng: false,
            blanked: Blanked::default(),
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
                bytes.fill(0);
            }
        }
    }

    fn part(&mut self, tape: &mut Tape, mark: &Mark, record: Option<&crate::recording::Record<'_>>) {
        match mark.part {
            Part::Line { ended } => self.recorded_line(tape, mark, record, ended),
            Part::Blank => {}
            _ => self.capture_part(tape, mark, record),
        }
        self.before_first &= record.is_none();
    }

    /// Writes out what is decided; gives up what waits for too long.
    fn hand_on(&mut self, tape: &mut Tape, out: &mut Packer<'_>) -> io::Result<()> {
        let oldest = self.done.saturating_sub(MAX_HELD);
        self.give_up(tape, oldest);
        let mut front = self.done;
        for bus in self.buses.values_mut() {
            front = front.min(bus.front());
        }
        front = front.min(self.streams.front()).min(self.fragments.front());
        while self.fixes.front().is_some_and(|fix| fix.end() <= front) {
            if let Some(fix) = self.fixes.pop_front() {
                fix.apply(tape, &mut self.streams);
            }
        }
        // A packet whose checksum waits cannot leave in part.
        if let Some(fix) = self.fixes.front() {
            front = front.min(fix.begin());
        }
        self.held = self.done.saturating_sub(front);
        tape.take_off(front, |bytes| out.write(bytes))
    }

    /// Gives up what waits and began before `oldest`.
    fn give_up(&mut self, tape: &mut Tape, oldest: u64) {
        for bus in self.buses.values_mut() {
            bus.give_up(tape, oldest);
        }
        self.fragments.give_up(tape, oldest, &mut self.blanked.payload);
        self.give_up_streams(tape, oldest);
    }

    /// The end: nothing more comes.
    fn finish(&mut self, tape: &mut Tape) {
        self.finish_streams(tape);
        self.give_up(tape, u64::MAX);
    }
}
