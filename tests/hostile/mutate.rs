//! Damage by the dice: what cards, cables and strangers do to files, the same for the same seed.

/// A small generator (SplitMix64: Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `bound` (0 when that is 0).
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        if bound == 0 { 0 } else { (self.next() % bound as u64) as usize }
    }

    /// A stretch of at most `longest` bytes within `len`.
    fn stretch(&mut self, len: usize, longest: usize) -> std::ops::Range<usize> {
        let from = self.below(len);
        let most = longest.min(len - from);
        from..from + self.below(most + 1)
    }
}

/// Numbers that lengths and times get wrong with.
const EDGES: [u64; 12] = [
    0,
    1,
    0x7F,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x00FF_FFFF,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFFC,
    0xFFFF_FFFF,
    u64::MAX,
];

/// Longest block that is moved, doubled or taken out, bytes.
const BLOCK: usize = 4096;

/// Damages the bytes in one to six ways; `other` is a second recording to splice with.
pub(crate) fn mutate(dice: &mut Dice, bytes: &mut Vec<u8>, other: &[u8]) {
    for _ in 0..=dice.below(6) {
        if bytes.is_empty() {
            return;
        }
        once(dice, bytes, other);
    }
}

fn once(dice: &mut Dice, bytes: &mut Vec<u8>, other: &[u8]) {
    let len = bytes.len();
    match dice.below(12) {
        0 | 1 => {
            for _ in 0..=dice.below(32) {
                let at = dice.below(len);
                bytes[at] ^= 1 << dice.below(8);
            }
        }
        2 => bytes.truncate(dice.below(len)),
        3 => drop(bytes.drain(..dice.below(len.min(BLOCK)))),
        4 => drop(bytes.drain(dice.stretch(len, BLOCK))),
        5 => {
            let copy = bytes[dice.stretch(len, BLOCK)].to_vec();
            let at = dice.below(len);
            bytes.splice(at..at, copy);
        }
        6 => {
            let moved: Vec<u8> = bytes.drain(dice.stretch(len, BLOCK)).collect();
            let at = dice.below(bytes.len() + 1);
            bytes.splice(at..at, moved);
        }
        7 => {
            let foreign = other[dice.stretch(other.len(), 2 * BLOCK)].to_vec();
            let (at, over) = (dice.below(len), dice.below(2));
            let end = (at + over * foreign.len()).min(len);
            bytes.splice(at..end, foreign);
        }
        8 => {
            let fill = [0, 0xFF, b'\n', b'$'][dice.below(4)];
            bytes[dice.stretch(len, BLOCK)].fill(fill);
        }
        9 => {
            let noise: Vec<u8> = (0..dice.below(512)).map(|_| dice.next() as u8).collect();
            let at = dice.below(len);
            bytes.splice(at..at, noise);
        }
        10 => {
            let edge = EDGES[dice.below(EDGES.len())];
            let size = [1, 2, 4, 8][dice.below(4)];
            let at = dice.below(len) & !(size - 1);
            let word = if dice.below(2) == 0 {
                edge.to_le_bytes()
            } else {
                edge.rotate_left(64 - 8 * size as u32).to_be_bytes()
            };
            for (to, from) in bytes[at..].iter_mut().zip(word.iter().take(size)) {
                *to = *from;
            }
        }
        _ => {
            let line = bytes.iter().skip(dice.below(len)).position(|b| *b == b'\n').unwrap_or(0);
            let at = line.min(len - 1);
            bytes[at] = dice.next() as u8;
        }
    }
}
