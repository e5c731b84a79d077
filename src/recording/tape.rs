//! The raw bytes behind the records, for whoever writes a recording anew: what a reader took out of its input stays on a
//! tape with marks that say what each stretch was, until it is taken off.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::io::{Error, Read, Result};
use std::rc::Rc;

/// Most bytes on the tape: what is held back, the longest record, and a stretch of damage. A longer stretch without any
/// record is no recording that is worth a copy. While the tape grows, half as much again is in use.
const MAX_TAPE: usize = 64 << 20;

/// Bytes that were taken off and still take room, before the rest is moved.
const MOVE_FROM: usize = 1 << 20;

/// What a stretch of a recording is. What bears no mark is damaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The header of a pcap file.
    PcapHeader,
    /// A record of a pcap file; numbers are big endian or not.
    PcapRecord {
        /// Byte order.
        big: bool,
        /// Length of the record's own header.
        head: usize,
        /// Bytes in front of a CAN frame's identifier, when the link may carry one.
        can_at: Option<usize>,
    },
    /// A pcapng block that holds a packet.
    PacketBlock {
        /// Block type.
        kind: u32,
        /// Byte order.
        big: bool,
        /// Where the packet begins in the block.
        head: usize,
        /// Captured bytes of the packet.
        captured: usize,
        /// As in `PcapRecord`.
        can_at: Option<usize>,
        /// Unit of the time, as `if_tsresol`.
        resolution: u8,
    },
    /// Another pcapng block.
    Block {
        /// Block type.
        kind: u32,
        /// Byte order.
        big: bool,
    },
    /// A line of text without its end.
    Line {
        /// Whether a line end follows.
        ended: bool,
    },
    /// Line ends and the like between lines.
    Blank,
    /// The beginning of a record or block that the end of the file cut off.
    Cut,
}

/// A stretch of the recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    /// Offset in the unpacked stream.
    pub at: u64,
    /// Length in bytes.
    pub len: usize,
    /// What it is.
    pub part: Part,
}

/// Bytes that were read and not yet taken off, and the marks on them.
#[derive(Debug, Default)]
pub struct Tape {
    bytes: Vec<u8>,
    head: usize,
    base: u64,
    marks: VecDeque<Mark>,
}

impl Tape {
    /// Offset of the first byte that is still there.
    #[must_use]
    pub const fn begin(&self) -> u64 {
        self.base
    }

    /// Offset past the last byte that was read.
    #[must_use]
    pub const fn end(&self) -> u64 {
        self.base + (self.bytes.len() - self.head) as u64
    }

    /// The next mark, in the order of the recording.
    pub fn next_mark(&mut self) -> Option<Mark> {
        self.marks.pop_front()
    }

    /// `len` bytes from `at` on; `None` when they are not all there.
    pub fn get_mut(&mut self, at: u64, len: usize) -> Option<&mut [u8]> {
        let from = usize::try_from(at.checked_sub(self.base)?).ok()?.checked_add(self.head)?;
        self.bytes.get_mut(from..from.checked_add(len)?)
    }

    /// Takes everything before `to` off and gives it to `take` first.
    ///
    /// # Errors
    /// Those of `take`.
    pub fn take_off(&mut self, to: u64, take: impl FnOnce(&[u8]) -> Result<()>) -> Result<()> {
        let wanted = usize::try_from(to.saturating_sub(self.base)).unwrap_or(usize::MAX);
        let len = wanted.min(self.bytes.len() - self.head);
        take(self.bytes.get(self.head..self.head + len).unwrap_or_default())?;
        self.head += len;
        self.base += len as u64;
        if self.head >= MOVE_FROM && self.head * 2 > self.bytes.len() {
            self.bytes.copy_within(self.head.., 0);
            self.bytes.truncate(self.bytes.len() - self.head);
            self.head = 0;
        }
        Ok(())
    }

    pub(super) fn mark(&mut self, mark: Mark) {
        self.marks.push_back(mark);
    }

    fn append(&mut self, bytes: &[u8]) -> Result<()> {
        if self.bytes.len() - self.head + bytes.len() > MAX_TAPE {
            let most = MAX_TAPE >> 20;
            return Err(Error::other(format!(
                "more than {most} MiB in a row hold no record; cut them out first"
            )));
        }
        self.bytes.extend_from_slice(bytes);
        Ok(())
    }
}

/// An input whose bytes go onto a tape as they are read.
pub(super) struct Taped {
    /// Where the bytes come from.
    pub(super) input: Box<dyn Read>,
    /// Where they are kept.
    pub(super) tape: Rc<RefCell<Tape>>,
}

impl Read for Taped {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        let n = self.input.read(out)?;
        self.tape.borrow_mut().append(out.get(..n).unwrap_or_default())?;
        Ok(n)
    }
}
