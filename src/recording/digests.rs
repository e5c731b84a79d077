//! What is worked out of records where they are read.

/// More of a record than a number: words that only whoever worked them out can read.
pub type Marks = [u64; 3];

/// What was worked out of the records of a batch.
#[derive(Debug, Default)]
pub struct Digests {
    /// A number of each record, in their order.
    pub numbers: Vec<u64>,
    /// The marks of those that have some, in their order, each with the record's place in the batch.
    marks: Vec<(u32, Marks)>,
}

impl Digests {
    /// Forgets everything.
    pub fn clear(&mut self) {
        self.numbers.clear();
        self.marks.clear();
    }

    /// Adds the marks of the record whose number comes next; none when one of them is none.
    #[inline(always)]
    pub fn mark(&mut self, marks: impl Iterator<Item = Option<Marks>>) {
        let (before, record) = (self.marks.len(), self.numbers.len() as u32);
        for marks in marks {
            let Some(marks) = marks else { return self.marks.truncate(before) };
            self.marks.push((record, marks));
        }
    }

    /// The marks of the record at this place, when `next` is the number of the first marks that no record before it has;
    /// moves on behind them.
    #[inline(always)]
    pub(super) fn marks(&self, next: &mut usize, record: usize) -> &[(u32, Marks)] {
        let from = *next;
        while self.marks.get(*next).is_some_and(|(at, _)| *at as usize == record) {
            *next += 1;
        }
        self.marks.get(from..*next).unwrap_or_default()
    }

    /// The number of the first marks of this record or one behind it.
    pub(super) fn marks_from(&self, record: usize) -> usize {
        self.marks.partition_point(|(at, _)| (*at as usize) < record)
    }
}
