//! A CAN frame, whichever way it was recorded.

/// What kind of frame the recorder saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CanKind {
    /// A data frame with an 11-bit (standard) identifier.
    Standard,
    /// A data frame with a 29-bit (extended) identifier: the only kind NMEA 2000 uses.
    Extended,
    /// A remote frame (no data), either identifier length.
    Remote,
    /// An error message made by the recorder's own controller; `id` holds the error classes.
    Error,
}

/// One CAN frame or controller error message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CanFrame {
    /// The identifier without flag bits (29 or 11 bits), or the error classes (29 bits).
    pub id: u32,
    /// What kind of frame it is.
    pub kind: CanKind,
    /// Whether it is a CAN FD frame.
    pub fd: bool,
    /// Number of valid bytes in `bytes`: 0 to 8, up to 64 with CAN FD.
    pub len: u8,
    /// The data, in bus order; bytes past `len` are zero.
    pub bytes: [u8; 64],
}

/// As [`CanFrame`], with data that lie elsewhere: what a reader lends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LentFrame<'a> {
    /// As [`CanFrame::id`].
    pub id: u32,
    /// As [`CanFrame::kind`].
    pub kind: CanKind,
    /// As [`CanFrame::fd`].
    pub fd: bool,
    /// The data, in bus order: 0 to 8 bytes, up to 64 with CAN FD.
    pub data: &'a [u8],
}

impl LentFrame<'_> {
    /// The frame with its data, to keep.
    #[must_use]
    pub fn kept(&self) -> CanFrame {
        CanFrame { fd: self.fd, ..CanFrame::new(self.id, self.kind, self.data) }
    }
}

/// A frame without its data, which lie elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct CanHead {
    /// As [`CanFrame::id`].
    pub(super) id: u32,
    /// As [`CanFrame::kind`].
    pub(super) kind: CanKind,
    /// As [`CanFrame::fd`].
    pub(super) fd: bool,
    /// As [`CanFrame::len`].
    pub(super) len: u8,
}

impl CanHead {
    /// The frame with its data.
    #[inline]
    pub(super) fn with(self, data: &[u8]) -> LentFrame<'_> {
        LentFrame { id: self.id, kind: self.kind, fd: self.fd, data }
    }
}

impl CanFrame {
    /// A frame with the given data; bytes past the 64th are dropped.
    #[must_use]
    pub fn new(id: u32, kind: CanKind, data: &[u8]) -> Self {
        let mut bytes = [0; 64];
        let len = data.len().min(64);
        // Nearly every frame has eight bytes: a copy of a known length needs no call.
        if let (Ok(data), Some(place)) = (<&[u8; 8]>::try_from(data), bytes.first_chunk_mut()) {
            *place = *data;
        } else if let (Some(data), Some(place)) = (data.get(..len), bytes.get_mut(..len)) {
            place.copy_from_slice(data);
        }
        Self { id, kind, fd: false, len: len as u8, bytes }
    }

    /// The frame, lent.
    #[must_use]
    pub fn lent(&self) -> LentFrame<'_> {
        LentFrame { id: self.id, kind: self.kind, fd: self.fd, data: self.data() }
    }

    /// The data bytes.
    #[must_use]
    pub fn data(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or(&self.bytes)
    }
}
