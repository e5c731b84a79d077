//! The stuff bits of many CAN frames at once: a bit of each word is a frame, a word is a place on the wire.
//!
//! What a walk over the bits of one frame decides bit by bit, a few operations on words decide for all of them. Source: ISO
//! 11898-1 (CRC-15, bit stuffing from start of frame to the end of the CRC).

use wide::u64x2;

/// Frames that go together: as many as a pair of words has bits, which every processor works on as one.
pub(super) const FRAMES: usize = 2 * WORD;

/// Bits of one word.
const WORD: usize = 64;

/// Bits of the data of a frame of eight bytes.
const DATA_BITS: usize = 64;

/// Bits of the CRC sequence.
const CRC_BITS: usize = 15;

/// Where the walk over a frame stands when its data begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Start {
    /// The CRC so far.
    pub(super) crc: u16,
    /// The last bit, 0 or 1.
    pub(super) last: u8,
    /// How many bits in a row have been like it, 1 to 4.
    pub(super) run: u8,
}

impl Start {
    /// Bits 0 to 14: CRC; 15: the last bit; 16 to 18: whether the run is of two, three, four at least.
    pub(super) const fn packed(self) -> u32 {
        let runs = match self.run {
            0 | 1 => 0,
            2 => 0b1,
            3 => 0b11,
            _ => 0b111,
        };
        runs << 16 | (self.last as u32) << 15 | self.crc as u32
    }
}

/// The stuff bits that data and CRC of each frame call for.
///
/// `starts` are [packed](Start::packed); `data` are the eight bytes of each frame, the first one in the highest place.
pub(super) fn stuff_bits(starts: &[u32; FRAMES], data: &[u64; FRAMES]) -> [u32; FRAMES] {
    let (left, right) = data.split_at(WORD);
    let mut data = [u64x2::ZERO; WORD];
    for (pair, (left, right)) in data.iter_mut().zip(left.iter().zip(right)) {
        *pair = u64x2::new([*left, *right]);
    }
    turn(&mut data);
    let mut start = [u64x2::ZERO; WORD / 2];
    let mut quarters = starts.chunks_exact(WORD / 2);
    let mut quarter = || quarters.next().unwrap_or_default().iter().map(|start| u64::from(*start));
    let left = quarter().zip(quarter()).map(|(lower, upper)| upper << 32 | lower);
    let right = quarter().zip(quarter()).map(|(lower, upper)| upper << 32 | lower);
    for (pair, (left, right)) in start.iter_mut().zip(left.zip(right)) {
        *pair = u64x2::new([left, right]);
    }
    turn(&mut start);
    let mut walk =
        Walk { last: start[15], runs: [start[16], start[17], start[18]], counts: [u64x2::ZERO; 5] };
    // The CRC moves up by one place with every bit; here its places stand and the beginning moves down.
    let mut crc = [u64x2::ZERO; DATA_BITS + CRC_BITS];
    if let (Some(to), Some(from)) = (crc.last_chunk_mut::<CRC_BITS>(), start.first_chunk()) {
        *to = *from;
    }
    for (four, bits) in data.as_chunks::<4>().0.iter().enumerate().rev() {
        if let Some(crc) = crc.get_mut(4 * four..).and_then(<[u64x2]>::first_chunk_mut) {
            crc_step::<3>(crc, bits[3]);
            crc_step::<2>(crc, bits[2]);
            crc_step::<1>(crc, bits[1]);
            crc_step::<0>(crc, bits[0]);
        }
        walk.four(bits);
    }
    for bits in crc.get(..CRC_BITS).unwrap_or_default().rchunks(4) {
        walk.four(bits);
    }
    let mut counts = [u64x2::ZERO; WORD / 2];
    if let Some(planes) = counts.first_chunk_mut() {
        *planes = walk.counts;
    }
    turn(&mut counts);
    let mut told = [0; FRAMES];
    let mut quarters = told.chunks_exact_mut(WORD / 2);
    let mut quarter = || quarters.next().unwrap_or_default().iter_mut();
    let (left, right) = (quarter().zip(quarter()), quarter().zip(quarter()));
    for (count, (left, right)) in counts.iter().zip(left.zip(right)) {
        let [of_left, of_right] = count.to_array();
        (*left.0, *left.1) = (of_left as u32, (of_left >> 32) as u32);
        (*right.0, *right.1) = (of_right as u32, (of_right >> 32) as u32);
    }
    told
}

/// One bit into the CRC: before it stands behind the place `AT`, after it from there on, the lowest term first.
/// Polynomial: x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1.
#[allow(clippy::indexing_slicing, reason = "known when the program is made: `AT` is below 4")]
#[inline(always)]
fn crc_step<const AT: usize>(crc: &mut [u64x2; CRC_BITS + 4], bit: u64x2) {
    let invert = bit ^ crc[AT + CRC_BITS];
    crc[AT] = invert;
    for term in [3, 4, 7, 8, 10, 14] {
        crc[AT + term] ^= invert;
    }
}

/// The walk over the bits.
struct Walk {
    /// The last bit on the wire.
    last: u64x2,
    /// Whether the run that it ends is of two, three, four at least.
    runs: [u64x2; 3],
    /// Stuff bits so far, as numbers of five bits.
    counts: [u64x2; 5],
}

impl Walk {
    /// Up to four bits, the last first. After a stuff bit four more are needed for the next: these have one at most.
    #[inline(always)]
    fn four(&mut self, bits: &[u64x2]) {
        let mut carry = bits.iter().rev().fold(u64x2::ZERO, |any, bit| any | self.bit(*bit));
        for count in &mut self.counts {
            (*count, carry) = (*count ^ carry, *count & carry);
        }
    }

    /// One bit on; says for which frames a stuff bit follows. It is inverse to the run of five and begins the next run.
    #[inline(always)]
    fn bit(&mut self, bit: u64x2) -> u64x2 {
        let alike = !(bit ^ self.last);
        let [two, three, four] = self.runs;
        let stuffed = alike & four;
        let longer = alike & !four;
        self.runs = [longer, longer & two, longer & three];
        self.last = bit ^ stuffed;
        stuffed
    }
}

/// Makes rows of columns, on either side of the pairs: afterwards bit `i` of word `k` is what bit `k` of word `i` was. With half
/// as many words as a word has bits, it does so with the lower and the upper halves of the words.
fn turn<const N: usize>(pairs: &mut [u64x2; N]) {
    if N > 32 {
        swap::<32>(pairs);
    }
    swap::<16>(pairs);
    swap::<8>(pairs);
    swap::<4>(pairs);
    swap::<2>(pairs);
    swap::<1>(pairs);
}

/// In squares of twice `SIDE` words and bits: swaps what stands upper right with what stands lower left.
fn swap<const SIDE: usize>(pairs: &mut [u64x2]) {
    // As many ones as the side is long, as many zeros, and so on.
    let mask = u64x2::splat(u64::MAX / ((1 << SIDE) + 1));
    for square in pairs.chunks_exact_mut(2 * SIDE) {
        let (first, second) = square.split_at_mut(SIDE);
        for (first, second) in first.iter_mut().zip(second) {
            let differing = (*first >> SIDE as u32 ^ *second) & mask;
            *second ^= differing;
            *first ^= differing << SIDE as u32;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn rows_become_columns(words in prop::array::uniform32(any::<[[u64; 2]; 2]>())) {
            let words: [u64x2; 64] = std::array::from_fn(|i| u64x2::new(words[i / 2][i % 2]));
            let mut whole = words;
            turn(&mut whole);
            let mut halves: [u64x2; 32] = *words.first_chunk().unwrap();
            turn(&mut halves);
            for side in 0..2 {
                for (row, word) in words.iter().map(|pair| pair.as_array()[side]).enumerate() {
                    for column in 0..64 {
                        prop_assert_eq!(whole[column].as_array()[side] >> row & 1, word >> column & 1);
                        let half = column / 32 * 32;
                        if row < 32 {
                            let turned = halves[column % 32].as_array()[side];
                            prop_assert_eq!(turned >> (half + row) & 1, word >> column & 1);
                        }
                    }
                }
            }
        }
    }
}
