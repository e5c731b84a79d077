//! The raw bytes behind the records, for whoever writes a recording anew: what a reader took out of its input stays on a
//! tape until it is taken off, and marks say what each stretch was.

use super::line_text::What;
use super::{CanFrame, CanKind};
use std::io::{Error, Result};

/// Most bytes on the tape: what is held back, the longest record, and a stretch of damage. A longer stretch without any
/// record is no recording that is worth a copy. While the tape grows, half as much again is in use.
const MAX_TAPE: usize = 64 << 20;

/// Bytes that were taken off and still take room, before the rest is moved: few enough that the tape stays in a
/// processor's cache.
const MOVE_FROM: usize = 256 << 10;

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
    /// The header of a pcap record that looks sound and is not.
    PcapSkipped {
        /// Byte order.
        big: bool,
        /// The captured length that a copy is to state, with which it is skipped whatever becomes of the record behind it.
        captured: Option<u32>,
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
    /// Type and length of a pcapng block that is damaged behind them, or its length at the end: they stay as they are.
    BlockFrame,
    /// A line of text without its end.
    Line {
        /// Whether a line end follows.
        ended: bool,
        /// What its reader saw in it.
        seen: Seen,
    },
    /// Line ends and the like between lines.
    Blank,
    /// The beginning of a record or block that the end of the file cut off.
    Cut,
}

/// What the reader of a line saw in it, when it has one of the usual forms: nobody needs to look again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// A sentence without a TAG block.
    Sentence {
        /// Where it begins.
        at: u16,
        /// Whether a time stands in front of it.
        timed: bool,
    },
    /// A CAN frame of up to eight bytes behind the name of an interface.
    Can {
        /// Identifier and kind, as a frame has them.
        id: u32,
        /// See `id`.
        kind: CanKind,
        /// Bytes of data.
        len: u8,
        /// The data, and zeros.
        data: [u8; 8],
        /// Where the interface's name begins and ends.
        name: (u16, u16),
        /// Whether a time stands in front of it.
        timed: bool,
    },
    /// Anything else.
    Other,
}

impl Seen {
    /// Of `line`, in which its reader recognised `what` behind a time or none.
    pub(super) fn of(line: &[u8], timed: bool, what: &What<'_>) -> Self {
        match *what {
            What::Sentence(at) if matches!(line.get(at), Some(b'$' | b'!')) => {
                u16::try_from(at).map_or(Self::Other, |at| Self::Sentence { at, timed })
            }
            What::Can(CanFrame { id, kind, len, bytes, .. }, Some(name)) if len <= 8 => {
                // The name is lent from the line.
                let from = (name.as_ptr() as usize).wrapping_sub(line.as_ptr() as usize);
                let name = (u16::try_from(from).ok()).zip(u16::try_from(from.wrapping_add(name.len())).ok());
                let (Some(name), Some(data)) = (name, bytes.first_chunk()) else { return Self::Other };
                Self::Can { id, kind, len, data: *data, name, timed }
            }
            _ => Self::Other,
        }
    }
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

/// Bytes that were read and not yet taken off.
#[derive(Debug, Default)]
pub struct Tape {
    bytes: Vec<u8>,
    head: usize,
    base: u64,
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

    /// Adds bytes at the end.
    ///
    /// # Errors
    /// When more wait on the tape than a recording can need.
    pub(super) fn append(&mut self, bytes: &[u8]) -> Result<()> {
        if self.bytes.len() - self.head + bytes.len() > MAX_TAPE {
            let most = MAX_TAPE >> 20;
            return Err(Error::other(format!(
                "more than {most} MiB in a row hold no record; cut them out first"
            )));
        }
        self.make_room(bytes.len());
        self.bytes.extend_from_slice(bytes);
        Ok(())
    }

    /// Makes room for `more` bytes: twice what is there, or all that may ever be. While bytes move from one room to a larger
    /// one, both count.
    fn make_room(&mut self, more: usize) {
        let wanted = self.bytes.len() + more;
        if wanted <= self.bytes.capacity() {
            return;
        }
        if wanted > MAX_TAPE / 2 {
            self.bytes.drain(..self.head);
            self.head = 0;
        }
        let room = if wanted > MAX_TAPE / 2 { MAX_TAPE } else { wanted * 2 };
        self.bytes.reserve_exact(room.saturating_sub(self.bytes.len()).max(more));
    }
}
