//! The fields of a sentence of NMEA 0183, by their numbers.
//!
//! Source: NMEA 0183 clause 5, IEC 61162-1 clause 7 (fields stand between commas, counted from 1 after the address).

use super::framed::{Fault, Framed, text};
use super::scan::MAX_INDEXED;
use std::ops::Deref;

/// A sentence and where its fields stand. What its frame tells is [`Framed`]'s.
#[derive(Debug, Clone, Copy)]
pub struct Sentence<'a> {
    framed: Framed<'a>,
    /// Offsets of the first commas.
    commas: [u8; MAX_INDEXED],
    /// How many of them are known.
    known: u8,
}

impl<'a> Deref for Sentence<'a> {
    type Target = Framed<'a>;

    fn deref(&self) -> &Framed<'a> {
        &self.framed
    }
}

impl<'a> Sentence<'a> {
    /// Takes a line apart, as [`Framed::parse`] does.
    ///
    /// # Errors
    /// [`Fault`], when the line is no sentence or a damaged one.
    pub fn parse(line: &'a [u8]) -> Result<Self, Fault> {
        Framed::parse(line).map(Self::of)
    }

    pub(super) fn of(framed: Framed<'a>) -> Self {
        let (commas, known) = framed.outline().0.commas();
        Self { framed, commas, known }
    }

    /// Field `n`, counted from 1 after the address as the standard does; `None` when the sentence ends before.
    #[must_use]
    pub fn field(&self, n: usize) -> Option<&'a str> {
        self.field_bytes(n).map(text)
    }

    /// As [`field`](Self::field), as bytes.
    #[must_use]
    #[inline]
    pub fn field_bytes(&self, n: usize) -> Option<&'a [u8]> {
        let (text, count, known) = (self.framed.text(), self.field_count(), usize::from(self.known));
        if n == 0 || n > count {
            return None;
        }
        if n > known || n == known && n < count {
            return text.split(|byte| *byte == b',').nth(n);
        }
        let from = usize::from(*self.commas.get(n - 1)?) + 1;
        let to = if n == count { text.len() } else { usize::from(*self.commas.get(n)?) };
        text.get(from..to)
    }

    /// The fields after the address, in order.
    pub fn fields(&self) -> impl Iterator<Item = &'a str> + use<'a> {
        self.framed.text().split(|byte| *byte == b',').skip(1).map(text)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Address, Checksum};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn takes_a_sentence_apart() {
        let line = b"  $SDDPT,15.2,0.5*64\r\n";
        let s = Sentence::parse(line).unwrap();
        assert_eq!(s.address(), Address::Talker { talker: "SD", formatter: "DPT" });
        assert_eq!((s.name(), s.talker(), s.formatter()), ("SDDPT", "SD", Some("DPT")));
        assert_eq!((s.field(0), s.field(1), s.field(2), s.field(3)), (None, Some("15.2"), Some("0.5"), None));
        assert_eq!((s.checksum(), s.field_count()), (Checksum::Good, 2));
        assert!(!s.is_encapsulated() && s.tag().is_none() && !s.over_82());
    }

    proptest! {
        #[test]
        fn a_built_sentence_reads_back(fields in proptest::collection::vec("[0-9A-Z .-]{0,9}", 0..40)) {
            let body = format!("IIXDR{}", fields.iter().map(|f| format!(",{f}")).collect::<String>());
            let sum = body.bytes().fold(0, |sum, b| sum ^ b);
            let line = format!("${body}*{sum:02X}");
            let s = Sentence::parse(line.as_bytes()).unwrap();
            let (outline, text) = s.outline();
            prop_assert_eq!(format!("{s:?}"), format!("{:?}", Framed::of(&outline, text).sentence()));
            prop_assert_eq!(s.checksum(), Checksum::Good);
            prop_assert_eq!(s.fields().collect::<Vec<_>>(), &fields[..]);
            for (n, field) in fields.iter().enumerate() {
                prop_assert_eq!(s.field(n + 1), Some(field.as_str()));
            }
        }
    }
}
