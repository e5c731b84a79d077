//! What tells one stream of messages from another.

use super::inventory::DeviceId;
use super::message::Message;
use std::hash::{Hash, Hasher};

/// What makes a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct StreamKey {
    pub(super) device: DeviceId,
    pub(super) message: Message,
    pub(super) part: u32,
}

impl StreamKey {
    /// A number that most streams do not share, quicker to make than a hash.
    #[inline(always)]
    pub(super) fn mark(&self) -> u32 {
        self.message.mark().wrapping_add(self.device.0 << 20) ^ self.part.wrapping_mul(0x0101_0101)
    }
}

impl Hash for StreamKey {
    /// Of a protocol, whose names are our own, the mark is enough; of a sentence all characters count, for a recording's
    /// writer chooses them.
    fn hash<H: Hasher>(&self, state: &mut H) {
        let rest = match self.message {
            Message::Sentence(name) => {
                let [.., a, b, c, d, e, f, g] = *name.as_bytes();
                u64::from_le_bytes([a, b, c, d, e, f, g, 0])
            }
            Message::Pgn(_) | Message::Protocol(_) => 0,
        };
        state.write_u64(u64::from(self.device.0) << 32 | u64::from(self.part));
        state.write_u64(u64::from(self.message.mark()) ^ rest << 8);
    }
}
