//! A table of one account per wire.

use super::wires::WireId;

/// One account per wire, in order of first use. Bounded as [`Wires`](super::wires::Wires) are.
#[derive(Debug)]
pub struct ByWire<T>(Vec<(WireId, T)>);

impl<T> Default for ByWire<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Default> ByWire<T> {
    /// The account of a wire; a new one when it has none yet.
    pub fn of(&mut self, wire: WireId) -> &mut T {
        let index = match self.0.iter().position(|(id, _)| *id == wire) {
            Some(index) => index,
            None => {
                self.0.push((wire, T::default()));
                self.0.len() - 1
            }
        };
        #[allow(clippy::indexing_slicing, reason = "the index was found or made just above")]
        &mut self.0[index].1
    }

    /// Every account with its wire.
    pub fn iter(&self) -> impl Iterator<Item = (WireId, &T)> {
        self.0.iter().map(|(id, account)| (*id, account))
    }

    /// Every account with its wire.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (WireId, &mut T)> {
        self.0.iter_mut().map(|(id, account)| (*id, account))
    }

    /// The account of a wire, when it has one.
    #[must_use]
    pub fn get(&self, wire: WireId) -> Option<&T> {
        self.0.iter().find(|(id, _)| *id == wire).map(|(_, account)| account)
    }
}
