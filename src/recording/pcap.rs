//! pcap files: file header, records, and finding back to the records after damage.
//!
//! Source: IETF draft-ietf-opsawg-pcap; pcap-savefile(5).

use super::account::Account;
use super::ahead::Batch;
use super::buffer::Buffer;
use super::bytes::u32_at;
use super::can_socket::usual_frame;
use super::compressed::Origin;
use super::cursor::Cursor;
use super::interface::{Interface, Usual};
use super::open::Refusal;
use super::reader::{Reader, usual_parts};
use super::tape::Part;
use super::{LinkType, Record};
use crate::time::{DAY_US, Time};
use std::sync::Arc;

/// File header length.
const FILE_HEADER: usize = 24;

/// Record header length, but for the old "modified" variant.
const RECORD_HEADER: usize = 16;

/// A SocketCAN frame of eight bytes.
const FRAME_BYTES: usize = 16;

/// Its record.
const FRAME_RECORD: usize = RECORD_HEADER + FRAME_BYTES;

/// Longest record that is believed.
const MAX_RECORD: u32 = 4 << 20;

/// Captured lengths up to this are believed even when the file names a smaller limit: writers round it carelessly.
const USUAL_SNAPLEN: u32 = 262_144;

/// Records in a row that make a place far from the last good time believable again.
const CHAIN_FAR: u32 = 3;

/// A pcap file being read.
pub(super) struct Pcap {
    buffer: Buffer,
    account: Account,
    cursor: Cursor,
    format: Format,
    interface: Interface,
    /// Time of the last good record.
    last: Option<i64>,
    /// The header at the window, when it was read already.
    ahead: Option<Header>,
    /// Whether what lies just before the window was damaged.
    damaged: bool,
}

/// What the file header says of the records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Format {
    big: bool,
    nanos: bool,
    /// 16, or 24 in the old "modified" variant.
    header: usize,
    max_captured: u32,
}

/// A record header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Header {
    time: i64,
    captured: u32,
    original: u32,
}

impl Format {
    /// Fractions of a second.
    fn units(&self) -> u32 {
        if self.nanos { 1_000_000_000 } else { 1_000_000 }
    }

    /// The record header at `at`, or `None` when it is cut or not believable.
    fn header(&self, bytes: &[u8], at: usize) -> Option<Header> {
        self.believed(bytes.get(at..).filter(|bytes| bytes.len() >= self.header)?.first_chunk()?)
    }

    /// As [`header`](Self::header), of its first bytes.
    #[inline(always)]
    fn believed(&self, bytes: &[u8; 16]) -> Option<Header> {
        let mut words = [0; 4];
        for (word, bytes) in words.iter_mut().zip(bytes.as_chunks::<4>().0) {
            *word = u32::from_le_bytes(*bytes);
        }
        if self.big {
            words = words.map(u32::swap_bytes);
        }
        let [seconds, fraction, captured, original] = words;
        let believable = fraction < self.units()
            && captured <= self.max_captured
            && original <= MAX_RECORD
            && (captured > 0 || original > 0);
        let micros = if self.nanos { fraction / 1000 } else { fraction };
        believable.then(|| Header {
            time: i64::from(seconds) * 1_000_000 + i64::from(micros),
            captured,
            original,
        })
    }

    /// Takes usual CAN frames (see [`usual_frame`]) as they lie in `data`, from the record at `at` on, which has the header
    /// `here`, and as long as a believable header follows; says where it stands then.
    fn frames(
        &self,
        data: &[u8],
        (at, last, here): (usize, Option<i64>, Header),
        wire: usize,
        batch: &mut Batch,
    ) -> (usize, Option<i64>, Header) {
        if self.header != RECORD_HEADER || here.captured != FRAME_BYTES as u32 || batch.is_full() {
            return (at, last, here);
        }
        let rest = data.get(at..).unwrap_or_default();
        let (count, last) = match self {
            // The most usual one: what does not change is settled before the loop.
            Self { big: false, nanos: false, .. } => {
                Self { big: false, nanos: false, ..*self }.frame_records(rest, (last, here.time), wire, batch)
            }
            _ => self.frame_records(rest, (last, here.time), wire, batch),
        };
        let at = at + count * FRAME_RECORD;
        (at, last, if count > 0 { self.header(data, at).unwrap_or(here) } else { here })
    }

    /// Takes usual CAN frames from the begin of `rest` on, where there is a record of that length and this time; says how many, and
    /// the time of the last one.
    #[inline(always)]
    fn frame_records(
        &self,
        rest: &[u8],
        (mut last, mut time): (Option<i64>, i64),
        wire: usize,
        batch: &mut Batch,
    ) -> (usize, Option<i64>) {
        let mut count = 0;
        // The last one has no header behind it here, and goes the plain way.
        let records = rest.as_chunks::<FRAME_RECORD>().0;
        for (record, behind) in records.iter().zip(records.iter().skip(1)).take(batch.room()) {
            let Some(next) = behind.first_chunk().and_then(|bytes| self.believed(bytes)) else { break };
            let Some((id, data)) = record.last_chunk().and_then(usual_frame) else { break };
            if is_stray(last, time, Some(next)) {
                break;
            }
            batch.add_usual(Time(time), wire, id, data);
            count += 1;
            (last, time) = (Some(time), next.time);
            if next.captured != FRAME_BYTES as u32 {
                break;
            }
        }
        (count, last)
    }

    /// As [`frames`](Self::frames), packets of a wire and link that were captured whole.
    #[inline(never)]
    fn packets(
        &self,
        data: &[u8],
        (begin, mut last, mut here): (usize, Option<i64>, Header),
        (wire, link): (usize, LinkType),
        batch: &mut Batch,
    ) -> (u64, usize, Option<i64>, Header) {
        let (mut count, mut at) = (0, begin);
        let mut stretch = batch.stretch(wire, link);
        while !stretch.is_full(at - begin) && here.original <= here.captured {
            let (from, to) = (at + self.header, at + self.header + here.captured as usize);
            let Some(next) = self.header(data, to) else { break };
            if is_stray(last, here.time, Some(next)) {
                break;
            }
            stretch.add(Time(here.time), from - begin..to - begin);
            count += 1;
            (at, last, here) = (to, Some(here.time), next);
        }
        stretch.close(data.get(begin..at).unwrap_or_default());
        (count, at, last, here)
    }
}

impl Pcap {
    /// Reads the file header.
    pub(super) fn new(mut buffer: Buffer, origin: Arc<Origin>) -> Result<Self, Refusal> {
        if !buffer.ensure(FILE_HEADER)? {
            let found = format!("a pcap header that is cut off after {} bytes", buffer.data().len());
            return Err(Refusal::Unknown(found));
        }
        let head = buffer.data();
        let big = head.first() == Some(&0xA1);
        let magic = u32_at(head, 0, big).unwrap_or(0);
        let word = |at| u32_at(head, at, big).unwrap_or(0);
        let (snaplen, link) = (word(16), word(20));
        let max_captured = if snaplen == 0 { MAX_RECORD } else { snaplen.clamp(USUAL_SNAPLEN, MAX_RECORD) };
        let header = if magic == 0xA1B2_CD34 { 24 } else { RECORD_HEADER };
        let format = Format { big, nanos: magic == 0xA1B2_3C4D, header, max_captured };
        // Bit 26: the length in bits 28 to 31 (16-bit units) is given.
        let fcs_len = if link & 0x0400_0000 != 0 { (link >> 28) * 2 } else { 0 };
        let interface = Interface::new(link as u16, None, 0, fcs_len);
        buffer.mark(FILE_HEADER, Part::PcapHeader);
        buffer.consume(FILE_HEADER);
        let account = Account::new(origin, "pcap");
        let cursor = Cursor::default();
        Ok(Self { buffer, account, cursor, format, interface, last: None, ahead: None, damaged: false })
    }

    /// Deals with what is at the window. `Some(true)`: a record; `Some(false)`: the end; `None`: look again.
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        let header = self.format.header;
        if !self.buffer.ensure(header)? {
            let rest = self.buffer.data().len();
            if rest > 0 {
                self.account.truncated(rest as u64);
                self.buffer.mark(rest, Part::Cut);
                self.buffer.consume(rest);
            }
            return Ok(Some(false));
        }
        let ahead = self.ahead.take();
        let Some(here) = ahead.or_else(|| self.format.header(self.buffer.data(), 0)) else {
            return self.resynchronise().map(|()| None);
        };
        let whole = header + here.captured as usize;
        self.buffer.ensure(whole + header)?;
        let available = self.buffer.data().len();
        let next = self.format.header(self.buffer.data(), whole);
        if available < whole || (available >= whole + header && next.is_none()) {
            // Either this captured length lies, or the file ends here or is damaged right after the record.
            if let Some(start) = self.find(header, whole.min(available))? {
                self.skip(start, self.astray(start));
                return Ok(None);
            }
            if available < whole {
                self.account.truncated(available as u64);
                self.buffer.mark(available, Part::Cut);
                self.buffer.consume(available);
                return Ok(Some(false));
            }
        }
        if is_stray(self.last, here.time, next) || self.damaged && is_off(self.last, here.time, next) {
            self.skip(whole, None);
            return Ok(None);
        }
        (self.last, self.damaged) = (Some(here.time), false);
        let from = self.buffer.position() + header;
        let bytes = self.buffer.data().get(header..whole).unwrap_or_default();
        let (wire, content) = self.interface.take(&mut self.account, bytes, from, here.original);
        self.cursor.stand(Some(Time(here.time)), wire, content);
        let part = Part::PcapRecord { big: self.format.big, head: header, can_at: self.interface.can_at() };
        self.buffer.mark(whole, part);
        self.buffer.consume(whole);
        self.ahead = next;
        Ok(Some(true))
    }

    /// Skips to the next place that looks like records, or to the end.
    fn resynchronise(&mut self) -> std::io::Result<()> {
        let offset = self.buffer.offset();
        self.damaged = true;
        loop {
            // In portions, so that the window can move on over any length of damage.
            const PORTION: usize = 64 << 10;
            let more = self.buffer.ensure(PORTION + self.format.header)?;
            let end = if more { PORTION } else { self.buffer.data().len() };
            let found = self.find(1, end)?;
            self.buffer.consume(found.unwrap_or(end));
            if found.is_some() || !more {
                self.account.damage(offset, self.buffer.offset().saturating_sub(offset));
                return Ok(());
            }
            // The first byte of the next portion has not been looked at.
            if self.starts_records(0)? {
                self.account.damage(offset, self.buffer.offset().saturating_sub(offset));
                return Ok(());
            }
        }
    }

    /// Skips a record whose header looks sound and is not. The header is marked: a copy keeps its time and its look, so that
    /// whoever reads the copy finds the same way through damage on damage.
    fn skip(&mut self, bytes: usize, captured: Option<u32>) {
        self.account.damage(self.buffer.offset(), bytes as u64);
        self.damaged = true;
        self.buffer.mark(self.format.header, Part::PcapSkipped { big: self.format.big, captured });
        self.buffer.consume(bytes);
    }

    /// A captured length that leads nowhere, for the record at the window that is skipped as another begins at `start`: it
    /// ends a few bytes into the header of that one. Where the length that lies leads depends on bytes that a copy blanks.
    fn astray(&self, start: usize) -> Option<u32> {
        let (data, big) = (self.buffer.data(), self.format.big);
        let ends_at = (start + 1..start + 4).find(|at| {
            let (fraction, captured) = (u32_at(data, at + 4, big), u32_at(data, at + 8, big));
            fraction.zip(captured).is_some_and(|(fraction, captured)| {
                fraction >= self.format.units() || captured > self.format.max_captured
            })
        })?;
        let captured = u32::try_from(ends_at.checked_sub(self.format.header)?).ok()?;
        (captured <= self.format.max_captured).then_some(captured)
    }

    /// The first place in `from..to` of the window where records begin.
    fn find(&mut self, from: usize, to: usize) -> std::io::Result<Option<usize>> {
        for at in from..to {
            if self.format.header(self.buffer.data(), at).is_some() && self.starts_records(at)? {
                return Ok(Some(at));
            }
        }
        Ok(None)
    }

    /// Whether a row of records begins at `at`: two when the time fits the last good one, more otherwise.
    fn starts_records(&mut self, at: usize) -> std::io::Result<bool> {
        let Some(first) = self.format.header(self.buffer.data(), at) else { return Ok(false) };
        let wanted = if self.last.is_some_and(|last| near(first.time, last)) { 1 } else { CHAIN_FAR };
        let (mut at, mut header) = (at, first);
        for _ in 0..wanted {
            at += self.format.header + header.captured as usize;
            self.buffer.ensure(at + self.format.header)?;
            if self.buffer.data().len() == at && wanted == 1 {
                return Ok(true);
            }
            match self.format.header(self.buffer.data(), at) {
                Some(next) if near(next.time, header.time) => header = next,
                _ => return Ok(false),
            }
        }
        Ok(true)
    }
}

/// Whether a time is alone more than a day from both its neighbours, which agree: then the header is damaged. A clock that
/// was set takes the records after it along.
#[inline(always)]
fn is_stray(last: Option<i64>, time: i64, next: Option<Header>) -> bool {
    let (Some(last), Some(next)) = (last, next) else { return false };
    !near(time, last) && !near(time, next.time) && near(last, next.time)
}

/// Records are stamped out of order by less than this, microseconds.
const DISORDER_US: i64 = 1_000_000;

/// Whether a time lies before or after both its neighbours, which are within a day of each other. Right behind damage the header is
/// then damaged as well: of a clock that was set the record after it would tell too.
fn is_off(last: Option<i64>, time: i64, next: Option<Header>) -> bool {
    let (Some(last), Some(next)) = (last, next) else { return false };
    let out = time > last.max(next.time) + DISORDER_US || time < last.min(next.time) - DISORDER_US;
    out && near(last, next.time)
}

/// Within a day of each other.
fn near(a: i64, b: i64) -> bool {
    a.abs_diff(b) <= DAY_US as u64
}

impl Reader for Pcap {
    fn step(&mut self) -> std::io::Result<Option<bool>> {
        Self::step(self)
    }

    /// Whole records with a believable one behind them, as they lie in view.
    fn run(&mut self, batch: &mut Batch) {
        let Some(mut here) = self.ahead else { return };
        if self.buffer.is_spooled() {
            return;
        }
        let (format, data, begins) = (self.format, self.buffer.data(), self.buffer.position());
        let (mut at, mut last) = (0, self.last);
        let usual = self.interface.usual();
        let mut plain = 0;
        while !batch.is_full() {
            match usual {
                Some(Usual::Can(wire)) => {
                    let before = at;
                    (at, last, here) = format.frames(data, (at, last, here), wire, batch);
                    plain += ((at - before) / FRAME_RECORD) as u64;
                }
                Some(Usual::Packet(wire, link)) => {
                    let count;
                    (count, at, last, here) = format.packets(data, (at, last, here), (wire, link), batch);
                    plain += count;
                }
                None => {}
            }
            if batch.is_full() {
                break;
            }
            let (from, to) = (at + format.header, at + format.header + here.captured as usize);
            let Some(next) = format.header(data, to) else { break };
            if is_stray(last, here.time, Some(next)) {
                break;
            }
            let bytes = data.get(from..to).unwrap_or_default();
            let (wire, payload) = match usual.and_then(|usual| usual.payload(bytes, here.original)) {
                Some(usual) => {
                    plain += 1;
                    usual
                }
                None => {
                    let at = begins + from;
                    let (wire, content) = self.interface.take(&mut self.account, bytes, at, here.original);
                    (wire, content.payload(&self.buffer, &[]))
                }
            };
            batch.add(&Record { time: Some(Time(here.time)), wire, payload });
            (at, last, here) = (to, Some(here.time), next);
        }
        self.account.frames(plain);
        (self.ahead, self.last) = (Some(here), last);
        self.buffer.consume(at);
    }

    fn finish(&mut self) {
        self.account.finish();
    }

    usual_parts!();
}
