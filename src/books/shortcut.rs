//! A shortcut into a table: messages come in the same few kinds again and again, and finding a row by a hash of the whole
//! key costs more than to look at the row where the last alike was found.

/// Hashes told apart: some times more than streams are kept, so that few share a slot.
const SLOTS: usize = 16_384;

/// The row that was found last for each of a few thousand hashes. It may be a wrong row: whoever asks compares the key.
#[derive(Debug, Clone)]
pub(super) struct Shortcut(Vec<u32>);

impl Default for Shortcut {
    fn default() -> Self {
        Self(vec![0; SLOTS])
    }
}

impl Shortcut {
    /// The row to look at first.
    #[inline(always)]
    pub(super) fn row(&self, hash: u32) -> usize {
        self.0.get(slot(hash)).map_or(0, |row| *row as usize)
    }

    /// Notes the row that was found.
    pub(super) fn note(&mut self, hash: u32, row: usize) {
        if let Some(place) = self.0.get_mut(slot(hash)) {
            *place = row as u32;
        }
    }
}

/// The upper bits of a product with an odd number (2 to the 32nd by the golden ratio) depend on all bits.
fn slot(hash: u32) -> usize {
    (hash.wrapping_mul(0x9E37_79B1) >> (u32::BITS - SLOTS.ilog2())) as usize
}
