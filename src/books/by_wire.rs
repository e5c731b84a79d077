//! A table of one account per wire.

use super::wires::WireId;

/// One account per wire, in order of first use. Bounded as [`Wires`](super::wires::Wires) are.
#[derive(Debug)]
pub struct ByWire<T> {
    /// By the wire's number.
    accounts: Vec<Option<Box<T>>>,
    /// The wires that have one, in order of first use.
    wires: Vec<WireId>,
}

impl<T> Default for ByWire<T> {
    fn default() -> Self {
        Self { accounts: Vec::new(), wires: Vec::new() }
    }
}

impl<T: Default> ByWire<T> {
    /// The account of a wire; a new one when it has none yet.
    #[inline(always)]
    pub fn of(&mut self, wire: WireId) -> &mut T {
        let number = wire.0 as usize;
        if !matches!(self.accounts.get(number), Some(Some(_))) {
            self.add(wire);
        }
        #[allow(clippy::indexing_slicing, reason = "the place was found or made just above")]
        self.accounts[number].get_or_insert_default()
    }

    #[cold]
    fn add(&mut self, wire: WireId) {
        let number = wire.0 as usize;
        if self.accounts.len() <= number {
            self.accounts.resize_with(number + 1, || None);
        }
        if let Some(place) = self.accounts.get_mut(number) {
            *place = Some(Box::default());
        }
        self.wires.push(wire);
    }

    /// Every account with its wire.
    pub fn iter(&self) -> impl Iterator<Item = (WireId, &T)> {
        self.wires.iter().filter_map(|wire| Some((*wire, self.get(*wire)?)))
    }

    /// Does something with every account.
    pub fn change(&mut self, mut change: impl FnMut(WireId, &mut T)) {
        for wire in &self.wires {
            if let Some(Some(account)) = self.accounts.get_mut(wire.0 as usize) {
                change(*wire, account);
            }
        }
    }

    /// The account of a wire, when it has one.
    #[must_use]
    #[inline]
    pub fn get(&self, wire: WireId) -> Option<&T> {
        self.accounts.get(wire.0 as usize)?.as_deref()
    }
}
