//! One look over the bytes of a sentence: its marks, its commas and its sum.

use super::framed::Fault;
use memchr::{memchr, memchr_iter, memchr2};

/// Fields that are found without scanning; later ones are reached by walking.
pub(super) const MAX_INDEXED: usize = 24;

/// Characters behind the start character whose commas are kept. The standard allows 82 in all.
const MARKED: usize = 128;

/// What the look finds. Offsets count from the start character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Scan {
    /// The exclusive or of the bytes that the checksum is of (NMEA 0183 clause 5).
    pub(super) sum: u8,
    /// Where the `*` of the checksum stands.
    pub(super) star: Option<usize>,
    /// Where another start character stands.
    pub(super) second_start: Option<usize>,
    pub(super) commas: Commas,
}

/// The commas between the fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Commas {
    /// A bit for each of the first characters behind the start character, 64 of them in a word: whether it is a comma.
    pub(super) marks: [u64; MARKED / 64],
    /// How many there are in all.
    pub(super) count: u16,
}

impl Commas {
    /// Offset of the first one in the sentence's text, which is where its address ends.
    #[inline]
    pub(super) fn first(&self, text: &[u8]) -> usize {
        match (self.marks, self.count) {
            ([first, _], _) if first != 0 => 1 + first.trailing_zeros() as usize,
            (_, 0) => text.len(),
            _ => memchr(b',', text).unwrap_or(text.len()),
        }
    }

    /// Offsets of the first of those that are kept, and how many they are.
    #[inline]
    pub(super) fn offsets(self) -> ([u8; MAX_INDEXED], u8) {
        let (mut offsets, mut count) = ([0; MAX_INDEXED], 0);
        for (mut word, begin) in self.marks.into_iter().zip([1, 65]) {
            while word != 0
                && let Some(slot) = offsets.get_mut(count)
            {
                *slot = begin + word.trailing_zeros() as u8;
                count += 1;
                word &= word - 1;
            }
        }
        (offsets, count as u8)
    }

    /// Notes one at this many characters behind the start character.
    fn note(&mut self, behind: usize) {
        if let Some(word) = self.marks.get_mut(behind / 64) {
            *word |= 1 << (behind % 64);
        }
        self.count += 1;
    }
}

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGHS: u64 = 0x80 * ONES;

impl Scan {
    /// Looks over a sentence from its start character on.
    ///
    /// # Errors
    /// When a byte is not 0x20 to 0x7E.
    pub(super) fn over(bytes: &[u8]) -> Result<Self, Fault> {
        let inner = bytes.get(1..).unwrap_or_default();
        if let Some((fields, [b'*', high, low])) = inner.split_last_chunk::<3>()
            && high.is_ascii_hexdigit()
            && low.is_ascii_hexdigit()
            && let Some((sum, commas)) = usual(fields)
        {
            return Ok(Self { sum, star: Some(bytes.len() - 3), second_start: None, commas });
        }
        Self::any(inner)
    }

    /// As [`over`](Self::over), of bytes that may hold anything, without the start character.
    fn any(inner: &[u8]) -> Result<Self, Fault> {
        if !inner.iter().all(|byte| (0x20..=0x7E).contains(byte)) {
            return Err(Fault::IllegalByte);
        }
        let star = memchr(b'*', inner);
        let fields = inner.get(..star.unwrap_or(inner.len())).unwrap_or_default();
        let mut commas = Commas::default();
        for at in memchr_iter(b',', fields) {
            commas.note(at);
        }
        Ok(Self {
            sum: fields.iter().fold(0, |sum, byte| sum ^ byte),
            star: star.map(|at| at + 1),
            second_start: memchr2(b'$', b'!', inner).map(|at| at + 1),
            commas,
        })
    }
}

/// The sum and the commas of the usual fields: of characters from `+` to `~` alone, which are neither blanks nor marks.
/// `None` when there are others.
///
/// Eight bytes are looked at at once: no byte of theirs is so large that a sum carries into the next.
fn usual(fields: &[u8]) -> Option<(u8, Commas)> {
    let (mut least, mut most, mut sum) = (u64::MAX, 0, 0);
    let mut commas = Commas::default();
    for (number, block) in fields.chunks(64).enumerate() {
        let (eights, rest) = block.as_chunks::<8>();
        let mut found = 0;
        let mut look = |eight: u64, at: usize, beyond: u64| {
            least &= (eight | beyond).wrapping_add((0x80 - b'+' as u64) * ONES);
            most |= eight | eight.wrapping_add(ONES);
            sum ^= eight;
            found |= commas_of(eight) << (8 * at);
        };
        for (at, eight) in eights.iter().enumerate() {
            look(u64::from_le_bytes(*eight), at, 0);
        }
        if !rest.is_empty() {
            look(last_of(block, rest), eights.len(), (u64::from(b'0') * ONES) << (8 * rest.len()));
        }
        if let Some(marks) = commas.marks.get_mut(number) {
            *marks = found;
        }
        commas.count += found.count_ones() as u16;
    }
    let is_usual = least & HIGHS == HIGHS && most & HIGHS == 0;
    for half in [32, 16, 8] {
        sum ^= sum >> half;
    }
    is_usual.then_some((sum as u8, commas))
}

/// As [`usual`], of the usual characters with which `bytes` begins, and how many they are.
pub(super) fn usual_front(bytes: &[u8]) -> (u8, Commas, usize) {
    let (mut sum, mut commas, mut end) = (0, Commas::default(), 0);
    let (eights, rest) = bytes.as_chunks::<8>();
    // A zero is none of them, so that what is filled up with zeros ends there.
    let words = eights.iter().map(|eight| u64::from_le_bytes(*eight)).chain([last_of(bytes, rest)]);
    for eight in words {
        let least = eight.wrapping_add((0x80 - b'+' as u64) * ONES);
        // Of bytes above 0x7F a sum may carry, but only into those behind them.
        let others = (!least | eight | eight.wrapping_add(ONES)) & HIGHS;
        let count = others.trailing_zeros() as usize / 8;
        let own = if others == 0 { eight } else { eight & ((1 << (8 * count)) - 1) };
        sum ^= own;
        let found = commas_of(own);
        if let Some(marks) = commas.marks.get_mut(end / 64) {
            *marks |= found << (end % 64);
        }
        commas.count = commas.count.wrapping_add(found.count_ones() as u16);
        end += count;
        if others != 0 {
            break;
        }
    }
    for half in [32, 16, 8] {
        sum ^= sum >> half;
    }
    (sum as u8, commas, end)
}

/// Which of eight bytes, none of them above 0x7F, are commas: a bit for each.
#[inline(always)]
fn commas_of(eight: u64) -> u64 {
    /// Whose product with bits 7, 15, 23 ... has them side by side at the top.
    const GATHER: u64 = 0x0002_0408_1020_4081;
    let others = eight ^ (u64::from(b',') * ONES);
    let found = !others.wrapping_add(0x7F * ONES) & HIGHS;
    found.wrapping_mul(GATHER) >> 56
}

/// The last bytes, fewer than eight, as a number with zeros above. `rest` is the end of `bytes`.
#[inline(always)]
fn last_of(bytes: &[u8], rest: &[u8]) -> u64 {
    match bytes.last_chunk::<8>() {
        Some(last) if !rest.is_empty() => u64::from_le_bytes(*last) >> (8 * (8 - rest.len())),
        _ => rest.iter().rev().fold(0, |all, byte| all << 8 | u64::from(*byte)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_quick_look_sees_what_the_slow_one_does(
            fields in prop_oneof![
                proptest::collection::vec(b'+'..=b'~', 0..200),
                proptest::collection::vec(prop_oneof![Just(b','), Just(b'-'), any::<u8>()], 0..20),
                proptest::collection::vec(prop_oneof![Just(b'+'), Just(b'~'), Just(b','), Just(b'*'), Just(0x7F)], 0..100),
            ],
            checksum in prop_oneof![Just(""), Just("*4F"), Just("*4"), Just("*G0")],
        ) {
            let mut line = vec![b'$'];
            line.extend(&fields);
            line.extend(checksum.bytes());
            prop_assert_eq!(Scan::over(&line), Scan::any(&line[1..]));
            let (sum, commas, end) = usual_front(&fields);
            prop_assert_eq!(end, fields.iter().position(|byte| !(b'+'..=b'~').contains(byte)).unwrap_or(fields.len()));
            prop_assert_eq!(Some((sum, commas)), usual(&fields[..end]));
            let is_usual = fields.iter().all(|byte| (b'+'..=b'~').contains(byte));
            prop_assert_eq!(usual(&fields).is_some(), is_usual);
        }
    }
}
