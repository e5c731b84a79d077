//! Text logs: every line is recognised for itself, so CAN frames and sentences may mix.

use super::account::{Account, Rank, counted_are};
use super::ahead::Batch;
use super::buffer::Buffer;
use super::clock::Clock;
use super::compressed::Origin;
use super::cursor::{Content, Cursor};
use super::line_text::{What, bare_sentence, checked, recognise_after};
use super::open::Refusal;
use super::prospect::Prospect;
use super::reader::{Reader, usual_parts};
use super::stamp::{Minute, Stamp};
use super::tape::{Part, Seen};
use super::{CanFrame, Payload, Record, WireKind};
use std::sync::Arc;

/// Longest line; what is longer has lost its line ends.
const MAX_LINE: usize = 4096;

/// How far the look ahead goes for a line that is one, and for a clock.
const LOOK_AHEAD: usize = 256 << 10;

/// Bytes of a strange first line that the error shows.
const SHOWN: usize = 60;

/// A text log being read.
pub(super) struct Text {
    buffer: Buffer,
    account: Account,
    cursor: Cursor,
    clock: Clock,
    minute: Minute,
    counts: Counts,
    other_lines: u64,
}

/// The lines that were records.
#[derive(Debug, Default)]
struct Counts {
    sentences: u64,
    sentences_with_checksum: u64,
    /// Ends of sentences whose beginnings were lost.
    headless: u64,
    can_frames: u64,
    can_frames_of_8: u64,
}

impl Counts {
    fn sentence(&mut self, sentence: &[u8]) {
        self.sentences += 1;
        self.sentences_with_checksum += u64::from(has_checksum(sentence));
    }

    fn frame(&mut self, frame: &CanFrame) {
        self.can_frames += 1;
        self.can_frames_of_8 += u64::from(frame.len == 8);
    }
}

/// A line at the window: its length, and whether it has a line end.
#[derive(Clone, Copy)]
struct Line {
    length: usize,
    ended: bool,
}

impl Text {
    /// Looks ahead for the first line that is one and for the clock.
    pub(super) fn new(mut buffer: Buffer, origin: Arc<Origin>) -> Result<Self, Refusal> {
        let mut wanted = MAX_LINE;
        let prospect = loop {
            let more = buffer.ensure(wanted)?;
            let view = buffer.data();
            let prospect = Prospect::of(view.get(..wanted).unwrap_or(view), !more);
            if prospect.is_settled() || !more || wanted >= LOOK_AHEAD {
                break prospect;
            }
            wanted *= 2;
        };
        let Some(first_is_can) = prospect.first_is_can else {
            return Err(Refusal::Unknown(describe(buffer.data())));
        };
        if buffer.data().starts_with(b"\xEF\xBB\xBF") {
            buffer.mark(3, Part::Blank);
            buffer.consume(3);
        }
        let mut account = Account::new(origin, if first_is_can { "can-log" } else { "line-log" });
        let clock = Clock::new(&prospect);
        account.summary.time_base = clock.base;
        Ok(Self {
            buffer,
            account,
            cursor: Cursor::default(),
            clock,
            minute: Minute::default(),
            counts: Counts::default(),
            other_lines: 0,
        })
    }

    /// Deals with the next line. `Some(true)`: a record; `Some(false)`: the end; `None`: look again.
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        self.skip_empty()?;
        let Some(line) = self.line()? else { return Ok(None) };
        if line.length == 0 {
            return Ok(Some(false));
        }
        let from = self.buffer.position();
        let text = self.buffer.data().get(..line.length).unwrap_or_default();
        let (stamp, what) = recognise_after(text, &mut self.minute);
        let seen = self.buffer.is_spooled().then(|| Seen::of(text, stamp.is_some(), &what));
        // Frames begin as a sentence or a frame does.
        let is_tail = matches!(what, What::Tail(_));
        let is_record = match what {
            What::Sentence(at) => {
                let sentence = text.get(at..).unwrap_or_default();
                let time = self.clock.time(stamp, Some(sentence));
                let counts = &mut self.counts;
                let mostly_with_checksum = counts.sentences_with_checksum * 2 > counts.sentences;
                let cut = !line.ended && !is_whole(sentence) && mostly_with_checksum;
                counts.sentence(sentence);
                if cut {
                    self.account.truncated(line.length as u64);
                } else if memchr::memchr(0, text).is_some() {
                    let nuls = memchr::memchr_iter(0, text).count() as u64;
                    self.account.damage(self.buffer.offset(), nuls);
                }
                let wire = self.account.wire(WireKind::Line, None);
                let content = Content::Line { from: from + at, to: from + line.length };
                self.cursor.stand(time, wire, content);
                true
            }
            What::Can(frame, name) => {
                if line.ended || !self.looks_cut(&frame) {
                    let time = self.clock.time(stamp, None);
                    self.counts.frame(&frame);
                    let wire = self.account.wire(WireKind::Can, name);
                    self.cursor.stand_on_frame(time, wire, &frame);
                    true
                } else {
                    self.account.truncated(line.length as u64);
                    false
                }
            }
            What::TagBlock => {
                self.clock.time(stamp, None);
                false
            }
            What::Comment => false,
            // Of the first line the recorder lost the beginning, and of the last one nobody knows.
            What::Tail(at) if self.counts.sentences > 0 && line.ended => {
                self.counts.headless += 1;
                let time = self.clock.time(stamp, None);
                let wire = self.account.wire(WireKind::Line, None);
                self.cursor.stand(time, wire, Content::Line { from: from + at, to: from + line.length });
                true
            }
            What::Incomplete | What::Tail(_) | What::Other => {
                let incomplete = matches!(what, What::Incomplete);
                self.strange(line, stamp, incomplete);
                false
            }
        };
        if is_record && !is_tail {
            self.account.frame();
        }
        if let Some(seen) = seen {
            self.buffer.mark(line.length, Part::Line { ended: line.ended, seen });
        }
        self.buffer.consume(line.length);
        Ok(is_record.then_some(true))
    }

    /// Books a line that is no sentence and no frame.
    fn strange(&mut self, line: Line, stamp: Option<Stamp>, incomplete: bool) {
        let text = self.buffer.data().get(..line.length).unwrap_or_default();
        let printable = text.iter().all(|byte| matches!(byte, b'\t' | b' '..=b'~'));
        // Headings of a recorder may be in any language.
        let heading = self.account.summary.frames == 0 && std::str::from_utf8(text).is_ok();
        let begins_like_a_record =
            stamp.is_some() || matches!(text.first(), Some(b'(' | b'[' | b'<' | b'{' | b'\\' | b'0'..=b'9'));
        if !printable && !heading {
            self.account.damage(self.buffer.offset(), line.length as u64);
        } else if !line.ended && (incomplete || begins_like_a_record) {
            self.account.truncated(line.length as u64);
            return;
        }
        if !text.trim_ascii().is_empty() {
            self.other_lines += 1;
        }
    }

    /// Whether the frame of a last line without line end is shorter than nearly all others. A request (PGN 59904) has three
    /// bytes, and no other usual message of NMEA 2000 fewer than eight.
    fn looks_cut(&self, frame: &CanFrame) -> bool {
        let counts = &self.counts;
        let is_request = frame.len == 3 && frame.id >> 16 & 0xFF == 0xEA;
        frame.len < 8
            && !is_request
            && counts.can_frames > 0
            && counts.can_frames_of_8 * 10 >= counts.can_frames * 9
    }

    /// Skips line ends, and the NULs that power losses leave.
    fn skip_empty(&mut self) -> std::io::Result<()> {
        let (mut nuls_at, mut nuls) = (0, 0u64);
        while self.buffer.ensure(1)? {
            let data = self.buffer.data();
            let n = data.iter().take_while(|byte| matches!(byte, b'\n' | b'\r' | 0)).count();
            let zeros = data.iter().take(n).filter(|byte| **byte == 0).count() as u64;
            if zeros > 0 && nuls == 0 {
                nuls_at = self.buffer.offset();
            }
            nuls += zeros;
            let all = n == data.len();
            self.buffer.mark(n, Part::Blank);
            self.buffer.consume(n);
            if !all {
                break;
            }
        }
        self.account.damage(nuls_at, nuls);
        Ok(())
    }

    /// The line at the window, of length 0 at the end of the file; `None` when an over-long one was skipped.
    fn line(&mut self) -> std::io::Result<Option<Line>> {
        self.buffer.ensure(MAX_LINE + 1)?;
        let data = self.buffer.data();
        let view = data.get(..MAX_LINE + 1).unwrap_or(data);
        if let Some(length) = memchr::memchr2(b'\n', b'\r', view) {
            return Ok(Some(Line { length, ended: true }));
        }
        if view.len() <= MAX_LINE {
            return Ok(Some(Line { length: view.len(), ended: false }));
        }
        let offset = self.buffer.offset();
        while self.buffer.ensure(1)? {
            let data = self.buffer.data();
            let end = memchr::memchr2(b'\n', b'\r', data);
            self.buffer.consume(end.unwrap_or(data.len()));
            if end.is_some() {
                break;
            }
        }
        self.account.damage(offset, self.buffer.offset().saturating_sub(offset));
        self.other_lines += 1;
        Ok(None)
    }

    fn end(&mut self) {
        if !self.account.is_open() {
            return;
        }
        self.account.summary.time_base = self.clock.base;
        for note in self.clock.notes() {
            self.account.note(Rank::Clock, note);
        }
        for (count, what) in [
            (self.other_lines, "no sentence and no frame"),
            (self.counts.headless, "the end of a sentence whose beginning is missing"),
        ] {
            if count > 0 {
                self.account.note(Rank::Note, format!("{} {what}", counted_are(count, "line")));
            }
        }
        self.account.finish();
    }
}

/// Whether a sentence has a checksum and it is right.
fn is_whole(sentence: &[u8]) -> bool {
    checked(bare_sentence(sentence)).1 == Some(true)
}

/// Whether a sentence ends in `*` and two characters.
fn has_checksum(sentence: &[u8]) -> bool {
    matches!(sentence.trim_ascii_end(), [.., b'*', _, _])
}

/// What a content is that holds no line of a log.
fn describe(content: &[u8]) -> String {
    let view = content.get(..MAX_LINE).unwrap_or(content);
    let odd =
        view.iter().filter(|byte| !matches!(byte, b'\t' | b'\n' | b'\r' | b' '..=b'~' | 0x80..)).count();
    let first = view.split(|byte| matches!(byte, b'\n' | b'\r')).find(|line| !line.trim_ascii().is_empty());
    let Some(first) = first else { return "only blank lines".to_owned() };
    let shown = first.trim_ascii();
    let dots = if shown.len() > SHOWN { "..." } else { "" };
    let shown = shown.get(..SHOWN).unwrap_or(shown).escape_ascii();
    if odd > 0 || std::str::from_utf8(view.get(..view.len().saturating_sub(4)).unwrap_or_default()).is_err() {
        format!("binary data of an unknown kind: it begins with {shown}{dots}")
    } else {
        let quoted = if view.split(|byte| matches!(byte, b'\n' | b'\r')).any(is_quoted) {
            "; some hold a sentence behind other characters, which must be taken off"
        } else {
            ""
        };
        format!(
            "text, but no line is a CAN frame or a 0183 sentence: the first line reads {shown}{dots}{quoted}"
        )
    }
}

/// Whether a sentence stands behind other characters, as a quotation mark.
fn is_quoted(line: &[u8]) -> bool {
    let Some(at) = memchr::memchr2(b'$', b'!', line) else { return false };
    let address = line.get(at + 1..at + 6).unwrap_or_default();
    address.len() == 5 && address.iter().all(u8::is_ascii_uppercase) && line.get(at + 6) == Some(&b',')
}

impl Reader for Text {
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        Self::step(self)
    }

    /// Whole lines that are a sentence or a frame and nothing else, as they lie in view.
    fn run(&mut self, batch: &mut Batch) {
        if self.buffer.is_spooled() {
            return;
        }
        let data = self.buffer.data();
        let mut done = 0;
        while !batch.is_full() {
            // Blank lines before one that is the next step's are that step's as well.
            let blank = data.iter().skip(done).take_while(|byte| matches!(byte, b'\n' | b'\r')).count();
            let at = done + blank;
            let view = data.get(at..data.len().min(at + MAX_LINE + 1)).unwrap_or_default();
            let Some(length) = memchr::memchr2(b'\n', b'\r', view) else { break };
            let text = view.get(..length).unwrap_or_default();
            let (stamp, what) = recognise_after(text, &mut self.minute);
            let (time, wire, payload) = match &what {
                What::Sentence(from) if memchr::memchr(0, text).is_none() => {
                    let sentence = text.get(*from..).unwrap_or_default();
                    self.counts.sentence(sentence);
                    let time = self.clock.time(stamp, Some(sentence));
                    (time, self.account.wire(WireKind::Line, None), Payload::Line(sentence))
                }
                What::Can(frame, name) => {
                    self.counts.frame(frame);
                    let time = self.clock.time(stamp, None);
                    (time, self.account.wire(WireKind::Can, *name), Payload::Can(frame.lent()))
                }
                _ => break,
            };
            self.account.frame();
            batch.add(&Record { time, wire, payload });
            done = at + length;
        }
        self.buffer.consume(done);
    }

    fn finish(&mut self) {
        self.end();
    }

    usual_parts!();
}
