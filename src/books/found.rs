//! Where the readings of a message were booked last.

/// Where the source of one of a message's readings was found, and that of the fix which goes with a position: one message
/// of one device brings the same few readings again and again, and then none is looked for by its key.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    /// The number of the message's stream, where it has one.
    pub(super) stream: Option<u32>,
    pub(super) reading: u32,
    pub(super) fix: u32,
}

impl Found {
    /// Not found yet, for the messages of this stream.
    #[must_use]
    pub fn of(stream: usize) -> Self {
        Self { stream: u32::try_from(stream).ok(), ..Self::default() }
    }
}

impl Default for Found {
    /// Not found yet, for messages without a stream of their own.
    fn default() -> Self {
        Self { stream: None, reading: u32::MAX, fix: u32::MAX }
    }
}
