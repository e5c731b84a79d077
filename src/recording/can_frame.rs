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

impl CanFrame {
    /// A frame with the given data; bytes past the 64th are dropped.
    #[must_use]
    pub fn new(id: u32, kind: CanKind, data: &[u8]) -> Self {
        let mut bytes = [0; 64];
        let len = data.len().min(64);
        for (to, from) in bytes.iter_mut().zip(data) {
            *to = *from;
        }
        Self { id, kind, fd: false, len: len as u8, bytes }
    }

    /// The data bytes.
    #[must_use]
    pub fn data(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or(&self.bytes)
    }
}
