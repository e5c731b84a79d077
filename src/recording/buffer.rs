//! One growing read buffer with a cap: the only memory that a recording's bytes take.

use super::reel::{Spool, Spooled, held};
use super::tape::{Mark, Part};
use std::io::{ErrorKind, Read, Result};
use std::sync::{Arc, Mutex};

/// The most bytes that one request can have in view: a record or block of 4 MiB and the headers around it. Recorders write
/// 256 KiB a packet at most; twice as much as is in view is held.
pub(super) const MAX_VIEW: usize = (4 << 20) + 4096;

/// First size of the buffer: large reads, yet nothing to speak of.
const FIRST_SIZE: usize = 256 << 10;

/// Bytes of a stream, seen through a window that moves forward.
pub(super) struct Buffer {
    input: Box<dyn Read + Send>,
    bytes: Vec<u8>,
    start: usize,
    end: usize,
    offset: u64,
    ended: bool,
    spool: Option<Arc<Mutex<Spool>>>,
}

impl Buffer {
    /// A window at the beginning of `input`.
    pub(super) fn new(input: Box<dyn Read + Send>) -> Self {
        Self { input, bytes: vec![0; FIRST_SIZE], start: 0, end: 0, offset: 0, ended: false, spool: None }
    }

    /// As `new`; what is read also goes onto `spool`, with the marks that the reader makes.
    pub(super) fn spooled(input: Box<dyn Read + Send>, spool: Arc<Mutex<Spool>>) -> Self {
        let input = Box::new(Spooled { input, spool: Arc::clone(&spool) });
        Self { spool: Some(spool), ..Self::new(input) }
    }

    /// Marks the next `len` bytes of the window for whoever writes the recording anew, if anybody does.
    pub(super) fn mark(&self, len: usize, part: Part) {
        if let Some(spool) = &self.spool {
            held(spool).mark(Mark { at: self.offset, len, part });
        }
    }

    /// Whether anybody does.
    pub(super) const fn is_spooled(&self) -> bool {
        self.spool.is_some()
    }

    /// Reads until `wanted` bytes (at most [`MAX_VIEW`]) are in view or the input ends; says whether they are.
    ///
    /// # Errors
    /// When the input cannot be read.
    #[inline]
    pub(super) fn ensure(&mut self, wanted: usize) -> Result<bool> {
        if self.end - self.start >= wanted { Ok(true) } else { self.read_on(wanted.min(MAX_VIEW)) }
    }

    #[cold]
    fn read_on(&mut self, wanted: usize) -> Result<bool> {
        while self.end - self.start < wanted {
            if self.ended {
                return Ok(false);
            }
            self.make_room(wanted);
            let free = self.bytes.get_mut(self.end..).unwrap_or_default();
            match self.input.read(free) {
                Ok(0) => self.ended = true,
                Ok(n) => self.end = self.end.saturating_add(n).min(self.bytes.len()),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(true)
    }

    /// Makes room behind the window. Twice the wish is allotted, so that a window is moved only after it has
    /// advanced by its own length: the copying stays linear.
    fn make_room(&mut self, wanted: usize) {
        if self.start.saturating_add(wanted) <= self.bytes.len() && self.end < self.bytes.len() {
            return;
        }
        self.bytes.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        if wanted.saturating_mul(2) > self.bytes.len() {
            self.bytes.resize(wanted.saturating_mul(2), 0);
        }
    }

    /// The bytes in view.
    pub(super) fn data(&self) -> &[u8] {
        self.bytes.get(self.start..self.end).unwrap_or_default()
    }

    /// Moves the window forward by `n` bytes. What lay there can be lent by [`stored`](Self::stored) until the next
    /// [`ensure`](Self::ensure).
    pub(super) fn consume(&mut self, n: usize) {
        let n = n.min(self.end - self.start);
        self.start += n;
        self.offset = self.offset.saturating_add(n as u64);
    }

    /// Where the window begins within the store, for [`stored`](Self::stored).
    pub(super) fn position(&self) -> usize {
        self.start
    }

    /// A stretch of the store by positions.
    #[inline]
    pub(super) fn stored(&self, from: usize, to: usize) -> &[u8] {
        self.bytes.get(from..to).unwrap_or_default()
    }

    /// Bytes of the stream before the window.
    pub(super) fn offset(&self) -> u64 {
        self.offset
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives one byte at a time.
    struct Drip(std::vec::IntoIter<u8>);

    impl Read for Drip {
        fn read(&mut self, out: &mut [u8]) -> Result<usize> {
            match (self.0.next(), out.first_mut()) {
                (Some(byte), Some(slot)) => {
                    *slot = byte;
                    Ok(1)
                }
                _ => Ok(0),
            }
        }
    }

    #[test]
    fn the_window_sees_every_byte_once() {
        let all: Vec<u8> = (0..1_000_000u32).map(|n| (n * 7 % 251) as u8).collect();
        let mut buffer = Buffer::new(Box::new(Drip(all.clone().into_iter())));
        let (mut seen, mut step) = (Vec::new(), 1);
        while buffer.ensure(step).unwrap() {
            assert_eq!(buffer.offset(), seen.len() as u64);
            seen.extend_from_slice(&buffer.data()[..step]);
            buffer.consume(step);
            step = step * 3 % 100_003 + 1;
        }
        seen.extend_from_slice(buffer.data());
        assert!(seen == all);
    }
}
