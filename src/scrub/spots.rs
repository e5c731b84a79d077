//! Where the bytes of one message lie on the tape.

use crate::recording::Tape;

/// Stretches of the tape that make one message.
#[derive(Debug, Clone, Default)]
pub(super) struct Spots {
    /// Where the first stretch begins on the tape. Most messages lie in one.
    first: u64,
    /// Where each further one begins in the message and on the tape.
    more: Vec<(usize, u64)>,
    len: usize,
}

impl Spots {
    /// One stretch.
    pub(super) fn one(at: u64, len: usize) -> Self {
        Self { first: at, more: Vec::new(), len }
    }

    /// Adds a stretch at the end.
    pub(super) fn push(&mut self, at: u64, len: usize) {
        if len == 0 {
            return;
        }
        if self.len == 0 {
            self.first = at;
        } else {
            self.more.push((self.len, at));
        }
        self.len += len;
    }

    /// Whether it is one stretch.
    pub(super) const fn is_one(&self) -> bool {
        self.more.is_empty()
    }

    pub(super) const fn len(&self) -> usize {
        self.len
    }

    /// Where byte `n` lies.
    pub(super) fn at(&self, n: usize) -> Option<u64> {
        let piece = self.more.partition_point(|(from, _)| *from <= n).checked_sub(1);
        let (from, at) = piece.and_then(|piece| self.more.get(piece)).copied().unwrap_or((0, self.first));
        (n < self.len).then_some(at + (n - from) as u64)
    }

    /// Each stretch: offset on the tape and length.
    pub(super) fn stretches(&self) -> impl Iterator<Item = (u64, usize)> {
        let first = (self.len > 0).then_some((0, self.first));
        let ends = self.more.iter().map(|(from, _)| *from).chain([self.len]);
        let begins = first.into_iter().chain(self.more.iter().copied());
        begins.zip(ends).map(|((from, at), end)| (at, end.saturating_sub(from)))
    }

    /// The part of the message from `from` on, `len` bytes.
    pub(super) fn part(&self, from: usize, len: usize) -> Self {
        if self.more.is_empty() && from < self.len {
            return Self::one(self.first + from as u64, len.min(self.len - from));
        }
        let mut part = Self::default();
        let to = from.saturating_add(len);
        let mut n = 0;
        for (at, len) in self.stretches() {
            let (a, b) = (from.max(n), to.min(n + len));
            if a < b {
                part.push(at + (a - n) as u64, b - a);
            }
            n += len;
        }
        part
    }

    /// First byte on the tape.
    pub(super) fn begin(&self) -> u64 {
        self.stretches().map(|(at, _)| at).min().unwrap_or(u64::MAX)
    }

    /// Past the last byte on the tape.
    pub(super) fn end(&self) -> u64 {
        self.stretches().map(|(at, len)| at + len as u64).max().unwrap_or(0)
    }

    /// The message's bytes.
    pub(super) fn read(&self, tape: &mut Tape) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(self.len);
        for (at, len) in self.stretches() {
            match tape.get_mut(at, len) {
                Some(piece) => bytes.extend_from_slice(piece),
                None => bytes.resize(bytes.len() + len, 0),
            }
        }
        bytes
    }

    /// Writes the message's bytes.
    pub(super) fn write(&self, tape: &mut Tape, bytes: &[u8]) {
        let mut rest = bytes;
        for (at, len) in self.stretches() {
            let (head, behind) = rest.split_at_checked(len).unwrap_or((rest, &[]));
            if let Some(piece) = tape.get_mut(at, head.len()) {
                piece.copy_from_slice(head);
            }
            rest = behind;
        }
    }

    /// Fills all of it with one byte.
    pub(super) fn fill(&self, tape: &mut Tape, byte: u8) {
        for (at, len) in self.stretches() {
            if let Some(piece) = tape.get_mut(at, len) {
                piece.fill(byte);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_and_places() {
        let mut spots = Spots::one(100, 3);
        spots.push(200, 4);
        assert_eq!((spots.at(2), spots.at(3), spots.at(7)), (Some(102), Some(200), None));
        let part = spots.part(2, 3);
        assert_eq!(part.stretches().collect::<Vec<_>>(), [(102, 1), (200, 2)]);
        assert_eq!((part.len(), part.begin(), part.end()), (3, 102, 202));
    }
}
