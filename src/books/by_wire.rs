//! A table of one account per wire.

use super::wires::WireId;

/// One account per wire, in order of first use. Bounded as [`Wires`](super::wires::Wires) are.
#[derive(Debug)]
pub struct ByWire<T> {
    accounts: Vec<(WireId, T)>,
    /// Where the account of a wire stands, by the wire's number.
    places: Vec<Option<u32>>,
}

impl<T> Default for ByWire<T> {
    fn default() -> Self {
        Self { accounts: Vec::new(), places: Vec::new() }
    }
}

impl<T: Default> ByWire<T> {
    /// The account of a wire; a new one when it has none yet.
    pub fn of(&mut self, wire: WireId) -> &mut T {
        let index = self.place(wire).unwrap_or_else(|| {
            let number = wire.0 as usize;
            if self.places.len() <= number {
                self.places.resize(number + 1, None);
            }
            if let Some(place) = self.places.get_mut(number) {
                *place = Some(self.accounts.len() as u32);
            }
            self.accounts.push((wire, T::default()));
            self.accounts.len() - 1
        });
        #[allow(clippy::indexing_slicing, reason = "the index was found or made just above")]
        &mut self.accounts[index].1
    }

    fn place(&self, wire: WireId) -> Option<usize> {
        self.places.get(wire.0 as usize).copied().flatten().map(|place| place as usize)
    }

    /// Every account with its wire.
    pub fn iter(&self) -> impl Iterator<Item = (WireId, &T)> {
        self.accounts.iter().map(|(id, account)| (*id, account))
    }

    /// Every account with its wire.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (WireId, &mut T)> {
        self.accounts.iter_mut().map(|(id, account)| (*id, account))
    }

    /// The account of a wire, when it has one.
    #[must_use]
    pub fn get(&self, wire: WireId) -> Option<&T> {
        self.accounts.get(self.place(wire)?).map(|(_, account)| account)
    }
}
