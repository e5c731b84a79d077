//! Datagrams in fragments: the pieces wait on the tape until all are there.

use super::spots::Spots;
use crate::recording::Tape;
use std::net::IpAddr;

/// Datagrams that may be in pieces at one time, and pieces of one (as `frames::Fragments`).
const MAX_OPEN: usize = 64;
const MAX_PIECES: usize = 64;

/// What names a datagram: sender, receiver, protocol, identification.
pub(super) type Name = (usize, IpAddr, IpAddr, u8, u32);

#[derive(Debug)]
struct Open {
    name: Name,
    /// Offset in the datagram, place on the tape, length.
    pieces: Vec<(usize, u64, usize)>,
    len: Option<usize>,
}

/// Datagrams in pieces.
#[derive(Debug, Default)]
pub(super) struct Fragments {
    open: Vec<Open>,
}

impl Fragments {
    /// Takes a fragment; gives the whole when it was the last one.
    pub(super) fn add(
        &mut self,
        tape: &mut Tape,
        name: Name,
        offset: usize,
        more: bool,
        piece: (u64, usize),
    ) -> Option<Spots> {
        let at = self.open.iter().position(|open| open.name == name).unwrap_or_else(|| {
            if self.open.len() >= MAX_OPEN {
                self.open.remove(0).blank(tape);
            }
            self.open.push(Open { name, pieces: Vec::new(), len: None });
            self.open.len() - 1
        });
        let open = self.open.get_mut(at)?;
        open.pieces.push((offset, piece.0, piece.1));
        if !more {
            open.len = Some(offset + piece.1);
        }
        if open.pieces.len() > MAX_PIECES {
            self.open.remove(at).blank(tape);
            return None;
        }
        let whole = open.whole()?;
        self.open.remove(at);
        Some(whole)
    }

    /// Offset of the first byte that waits.
    pub(super) fn front(&self) -> u64 {
        self.open.iter().flat_map(|open| open.pieces.iter().map(|piece| piece.1)).min().unwrap_or(u64::MAX)
    }

    /// Blanks what began before `oldest`.
    pub(super) fn give_up(&mut self, tape: &mut Tape, oldest: u64, blanked: &mut u64) {
        self.open.retain(|open| {
            let stays = open.pieces.first().is_none_or(|piece| piece.1 >= oldest);
            if !stays {
                *blanked += open.pieces.iter().map(|piece| piece.2 as u64).sum::<u64>();
                open.blank(tape);
            }
            stays
        });
    }
}

impl Open {
    /// The pieces in order, when they follow each other without hole or overlap.
    fn whole(&self) -> Option<Spots> {
        let len = self.len?;
        let mut pieces = self.pieces.clone();
        pieces.sort_unstable();
        let mut spots = Spots::default();
        for (offset, at, piece) in pieces {
            if offset != spots.len() {
                return None;
            }
            spots.push(at, piece);
        }
        (spots.len() == len).then_some(spots)
    }

    fn blank(&self, tape: &mut Tape) {
        for &(_, at, len) in &self.pieces {
            Spots::one(at, len).fill(tape, 0);
        }
    }
}
