//! The record a reader stands on, kept as positions in the read buffer.

use super::buffer::Buffer;
use super::can_frame::CanHead;
use super::{CanFrame, LinkType, Payload, Record};
use crate::time::Time;

/// What the current record holds.
#[derive(Debug, Clone, Copy, Default)]
pub(super) enum Content {
    /// Nothing: before the first record or after the end.
    #[default]
    Nothing,
    /// Packet bytes from one position of the buffer's store to another.
    Packet {
        /// How the bytes begin.
        link: LinkType,
        /// First byte.
        from: usize,
        /// Past the last byte.
        to: usize,
        /// Length on the wire.
        original: u32,
    },
    /// A CAN frame whose data stand in the cursor.
    Can(CanHead),
    /// A CAN frame whose data lies in the buffer from a position on.
    StoredCan {
        /// The frame without its data.
        head: CanHead,
        /// First byte.
        from: usize,
    },
    /// A line, by positions as above.
    Line {
        /// First byte.
        from: usize,
        /// Past the last byte.
        to: usize,
    },
    /// A packet that is not read.
    Other,
}

impl Content {
    /// What it is, lent from the buffer, or from `data` that were read from text.
    #[inline(always)]
    pub(super) fn payload<'a>(self, buffer: &'a Buffer, data: &'a [u8]) -> Payload<'a> {
        match self {
            Self::Nothing => Payload::Line(&[]),
            Self::Packet { link, from, to, original } => {
                Payload::Packet { link, bytes: buffer.stored(from, to), original }
            }
            Self::Can(head) => Payload::Can(head.with(data.get(..usize::from(head.len)).unwrap_or_default())),
            Self::StoredCan { head, from } => {
                Payload::Can(head.with(buffer.stored(from, from + usize::from(head.len))))
            }
            Self::Line { from, to } => Payload::Line(buffer.stored(from, to)),
            Self::Other => Payload::Other,
        }
    }
}

/// The record a reader stands on.
#[derive(Debug)]
pub(super) struct Cursor {
    /// When.
    pub(super) time: Option<Time>,
    /// Number of the wire.
    pub(super) wire: usize,
    /// What it holds.
    pub(super) content: Content,
    /// Data that were read from text.
    data: [u8; 64],
}

impl Default for Cursor {
    fn default() -> Self {
        Self { time: None, wire: 0, content: Content::Nothing, data: [0; 64] }
    }
}

impl Cursor {
    /// Moves to a record.
    #[inline]
    pub(super) fn stand(&mut self, time: Option<Time>, wire: usize, content: Content) {
        (self.time, self.wire, self.content) = (time, wire, content);
    }

    /// Moves to a frame that was read from text.
    pub(super) fn stand_on_frame(&mut self, time: Option<Time>, wire: usize, frame: &CanFrame) {
        let head = CanHead { id: frame.id, kind: frame.kind, fd: frame.fd, len: frame.len };
        self.stand(time, wire, Content::Can(head));
        self.data = frame.bytes;
    }

    /// The record, lent from the buffer.
    // Read as a whole, what has just been written in parts makes a processor wait.
    #[inline(always)]
    pub(super) fn record<'a>(&'a self, buffer: &'a Buffer) -> Record<'a> {
        Record { time: self.time, wire: self.wire, payload: self.content.payload(buffer, &self.data) }
    }
}
