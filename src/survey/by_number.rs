//! What is remembered for each wire, by its number.

/// One value for each of a few small numbers, made at first use. Bounded by the numbers: those of wires and recordings.
#[derive(Debug)]
pub(super) struct ByNumber<T>(Vec<Option<Box<T>>>);

impl<T> Default for ByNumber<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Default> ByNumber<T> {
    /// The value of a number, to look at or change.
    #[inline(always)]
    pub(super) fn of(&mut self, number: usize) -> &mut T {
        if !matches!(self.0.get(number), Some(Some(_))) {
            self.put(number, Box::default());
        }
        #[allow(clippy::indexing_slicing, reason = "the value was found or made just above")]
        self.0[number].get_or_insert_default()
    }

    #[cold]
    fn put(&mut self, number: usize, value: Box<T>) {
        if self.0.len() <= number {
            self.0.resize_with(number + 1, || None);
        }
        if let Some(place) = self.0.get_mut(number) {
            *place = Some(value);
        }
    }

    /// The value of a number, when it has one.
    pub(super) fn get(&self, number: usize) -> Option<&T> {
        self.0.get(number)?.as_deref()
    }
}
