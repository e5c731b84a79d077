//! Frames in, whole messages out, whichever way a message is spread over frames.

use super::fast_packet::FastPackets;
use super::framing::{Frames, frames_of};
use super::id::CanId;
use super::losses::{Broken, Ledger, StreamLosses};
use super::transport::Transport;
use crate::time::Time;

/// PGN of the transport protocol's connection management.
const TP_CONNECTION: u32 = 60_416;

/// PGN of the transport protocol's data.
const TP_DATA: u32 = 60_160;

/// One whole message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Message<'a> {
    /// Priority, PGN, sender and destination.
    pub id: CanId,
    /// The payload, without any framing bytes.
    pub data: &'a [u8],
}

/// Puts the messages of one bus together. Memory is bounded; nothing is allocated per frame once warm.
#[derive(Debug, Default)]
pub struct Assembler {
    fast: FastPackets,
    transport: Transport,
    ledger: Ledger,
    latest: Option<Time>,
}

impl Assembler {
    /// An assembler that has seen nothing.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether each frame of this PGN is a whole message.
    #[must_use]
    #[inline]
    pub fn is_whole(pgn: u32) -> bool {
        !matches!(pgn, TP_CONNECTION | TP_DATA) && frames_of(pgn) != Frames::Fast
    }

    /// As [`push`](Self::push), of a frame that is a [whole message](Self::is_whole), and that the caller delivers.
    #[inline]
    pub fn pass(&mut self, time: Option<Time>) {
        self.latest = time.or(self.latest);
    }

    /// Takes one extended data frame, in recording order; `sink` gets the message that it completes, if any.
    ///
    /// Frames of the transport protocol itself are no messages. Groups whose framing is not known count as single
    /// frames. `time` is only compared with other times, for time-outs.
    pub fn push(&mut self, time: Option<Time>, id: CanId, data: &[u8], sink: &mut dyn FnMut(Message<'_>)) {
        if Self::is_whole(id.pgn) {
            self.pass(time);
            sink(Message { id, data });
        } else {
            self.part(time, id, data, sink);
        }
    }

    /// As [`push`](Self::push), of a frame that is no [whole message](Self::is_whole).
    pub fn part(&mut self, time: Option<Time>, id: CanId, data: &[u8], sink: &mut dyn FnMut(Message<'_>)) {
        self.pass(time);
        match id.pgn {
            TP_CONNECTION => self.transport.manage(time, id, data, &mut self.ledger),
            TP_DATA => {
                let deliver = &mut |id: CanId, data: &[u8]| sink(Message { id, data });
                self.transport.data(time, id, data, &mut self.ledger, deliver);
            }
            _ => {
                let deliver = &mut |data: &[u8]| sink(Message { id, data });
                self.fast.push(time, id, data, &mut self.ledger, deliver);
            }
        }
    }

    /// Multi-frame messages that [`losses`](Self::losses) does not tell of, for want of room.
    #[must_use]
    pub fn unbooked(&self) -> u64 {
        self.ledger.unbooked()
    }

    /// The stretches in which frames of a fast packet came and no whole message.
    #[must_use]
    pub fn broken(&self) -> Vec<Broken> {
        self.ledger.broken()
    }

    /// What became of the multi-frame messages, by sender, then PGN.
    ///
    /// A message still under way counts as damaged only when its time-out has passed; at the end of a recording its
    /// rest may lie behind the end.
    #[must_use]
    pub fn losses(&self) -> Vec<StreamLosses> {
        let mut streams = self.ledger.streams().to_vec();
        for number in self.fast.overdue(self.latest).chain(self.transport.overdue(self.latest)) {
            if let Some(stream) = streams.get_mut(number) {
                stream.incomplete += 1;
            }
        }
        streams.sort_unstable_by_key(|stream| (stream.source, stream.pgn));
        streams
    }
}
