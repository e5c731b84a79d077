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

    /// The marks of this record and those behind it.
    pub(super) fn marks_from(&self, record: usize) -> &[(u32, Marks)] {
        let before = self.marks.partition_point(|(at, _)| (*at as usize) < record);
        self.marks.get(before..).unwrap_or_default()
    }
}

/// The marks of a record, of those that no record before it has; they are taken off.
#[inline(always)]
pub(super) fn marks_of<'a>(rest: &mut &'a [(u32, Marks)], record: usize) -> &'a [(u32, Marks)] {
    // Most records have none.
    if rest.first().is_none_or(|(at, _)| *at as usize != record) {
        return &[];
    }
    let count = rest.iter().take_while(|(at, _)| *at as usize == record).count();
    let (own, behind) = rest.split_at_checked(count).unwrap_or_default();
    *rest = behind;
    own
}
