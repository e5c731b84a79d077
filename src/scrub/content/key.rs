//! The secret of one call: everything that is replaced is replaced by it.

use foldhash::fast::RandomState;
use std::collections::HashMap;

/// Replacements of numbers that are remembered, so that a busy recording does not work them out anew (about 2 MiB).
const MAX_REMEMBERED: usize = 65_536;

/// Rounds of the Feistel network; four make it indistinguishable from chance (Luby and Rackoff 1988), six leave room.
const ROUNDS: u8 = 6;

/// A secret of 32 bytes. Copies made with one key belong together, and nobody without it can tell that.
#[derive(Clone, PartialEq, Eq)]
pub struct Key(pub [u8; 32]);

/// Bytes that are hashed at one go at most: most names, numbers and datagrams.
const SHORT: usize = 256;

/// Weeks that a shift takes at least, and how many different shifts there are: within a year, so that a model of the
/// earth's magnetic field still holds.
const LEAST_WEEKS: i64 = 4;
const SHIFTS: i64 = 40;

impl Key {
    /// Bytes that follow from the key and `data` alone, as many as are asked for.
    pub(super) fn fill(&self, domain: Domain, data: &[u8], out: &mut [u8]) {
        // The same hash without the state that a long input needs.
        let mut short = [0; SHORT];
        let (tag, room) = short.split_at_mut(2);
        if let (Some(room), true) = (room.get_mut(..data.len()), out.len() <= blake3::OUT_LEN) {
            tag.copy_from_slice(&domain.tag());
            room.copy_from_slice(data);
            let hash = blake3::keyed_hash(&self.0, short.get(..2 + data.len()).unwrap_or_default());
            for (to, from) in out.iter_mut().zip(hash.as_bytes()) {
                *to = *from;
            }
            return;
        }
        let mut hasher = blake3::Hasher::new_keyed(&self.0);
        hasher.update(&domain.tag()).update(data);
        hasher.finalize_xof().fill(out);
    }

    /// A number that follows from the key and `data` alone.
    pub(super) fn number(&self, domain: Domain, data: &[u8]) -> u64 {
        let mut bytes = [0; 8];
        self.fill(domain, data, &mut bytes);
        u64::from_le_bytes(bytes)
    }

    /// How many weeks times are shifted by with this key.
    #[must_use]
    pub fn weeks(&self) -> i64 {
        let hash = blake3::keyed_hash(&self.0, b"weeks");
        let number = hash.as_bytes().first_chunk().map_or(0, |bytes| u32::from_le_bytes(*bytes));
        LEAST_WEEKS + i64::from(number) % SHIFTS
    }
}

impl std::fmt::Debug for Key {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Key(secret)")
    }
}

/// What a number or a text is, so that equal bytes of different meaning get different replacements.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Domain {
    Unique,
    Maker,
    Product,
    Mmsi,
    Imo,
    Satellite,
    SentenceMaker,
    Station,
    MacMaker,
    Ip4,
    Ip4Third,
    Ip6,
    Place,
    Blank,
    Text(super::TextKind),
}

impl Domain {
    /// Two bytes that go into the hash before the value.
    const fn tag(self) -> [u8; 2] {
        match self {
            Self::Unique => [1, 0],
            Self::Maker => [2, 0],
            Self::Product => [3, 0],
            Self::Mmsi => [4, 0],
            Self::Imo => [5, 0],
            Self::Satellite => [6, 0],
            Self::SentenceMaker => [7, 0],
            Self::Station => [8, 0],
            Self::MacMaker => [9, 0],
            Self::Ip4 => [10, 0],
            Self::Ip4Third => [11, 0],
            Self::Ip6 => [12, 0],
            Self::Place => [13, 0],
            Self::Blank => [15, 0],
            Self::Text(kind) => [14, kind as u8],
        }
    }
}

/// A key with the replacements of numbers that it has given.
#[derive(Debug)]
pub(super) struct Keyed {
    key: Key,
    /// Its own random key keeps a recording's writer from choosing numbers that collide; it reaches no result.
    given: HashMap<(Domain, u64, u64), u64, RandomState>,
}

impl Keyed {
    pub(super) fn new(key: Key) -> Self {
        Self { key, given: HashMap::default() }
    }

    /// The key itself.
    pub(super) const fn key(&self) -> &Key {
        &self.key
    }

    /// As [`Key::fill`].
    pub(super) fn fill(&self, domain: Domain, data: &[u8], out: &mut [u8]) {
        self.key.fill(domain, data, out);
    }

    /// As [`Key::number`].
    pub(super) fn number(&self, domain: Domain, data: &[u8]) -> u64 {
        self.key.number(domain, data)
    }

    /// A fraction of 0 (included) to 1 (excluded) that follows from the key and `data` alone.
    pub(super) fn fraction(&self, domain: Domain, data: &[u8]) -> f64 {
        (self.number(domain, data) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Another number of 0 to `size` - 1: different ones for different ones, and never the number itself.
    ///
    /// A `value` outside the range, and a range of one, are given back as they are. `size` is at most 2^32.
    pub(super) fn permuted(&mut self, domain: Domain, value: u64, size: u64) -> u64 {
        if size < 2 || value >= size {
            return value;
        }
        let slot = (domain, value, size);
        if let Some(given) = self.given.get(&slot) {
            return *given;
        }
        // One cycle through the whole range in an order that only the key knows: no number stays where it is.
        let place = self.walk(domain, value, size, true);
        let other = self.walk(domain, (place + 1) % size, size, false);
        if self.given.len() < MAX_REMEMBERED {
            self.given.insert(slot, other);
        }
        other
    }

    /// A permutation of 0 to `size` - 1 or its inverse: a Feistel network over the next even number of bits, walked
    /// until it comes back into the range (Black and Rogaway 2002, "cycle walking").
    fn walk(&self, domain: Domain, value: u64, size: u64, forward: bool) -> u64 {
        let bits = u64::BITS - (size - 1).leading_zeros();
        let half = bits.div_ceil(2).max(1);
        let mut value = value;
        loop {
            value = self.feistel(domain, value, size, half, forward);
            if value < size {
                return value;
            }
        }
    }

    fn feistel(&self, domain: Domain, value: u64, size: u64, half: u32, forward: bool) -> u64 {
        let mask = (1_u64 << half) - 1;
        let (mut left, mut right) = (value >> half, value & mask);
        let mix = |round: u8, part: u64| {
            let mut data = [0; 17];
            let (head, rest) = data.split_at_mut(1);
            head.fill(round);
            let (a, b) = rest.split_at_mut(8);
            a.copy_from_slice(&part.to_le_bytes());
            b.copy_from_slice(&size.to_le_bytes());
            self.number(domain, &data) & mask
        };
        if forward {
            for round in 0..ROUNDS {
                (left, right) = (right, left ^ mix(round, right));
            }
        } else {
            for round in (0..ROUNDS).rev() {
                (left, right) = (right ^ mix(round, left), left);
            }
        }
        left << half | right
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_gets_another_and_none_twice() {
        let mut keyed = Keyed::new(Key([7; 32]));
        for size in [2, 3, 10, 31, 32, 1000, 2048] {
            let mut seen = vec![false; size as usize];
            for value in 0..size {
                let other = keyed.permuted(Domain::Maker, value, size);
                assert_ne!(other, value, "{value} of {size}");
                assert!(!std::mem::replace(&mut seen[other as usize], true), "{other} of {size} twice");
            }
        }
        assert_eq!(keyed.permuted(Domain::Maker, 0, 1), 0);
        assert_eq!(keyed.permuted(Domain::Maker, 9, 5), 9, "outside");
        assert!(keyed.permuted(Domain::Mmsi, 599_999_999, 600_000_000) < 600_000_000);
    }

    #[test]
    fn another_key_or_meaning_gives_another_order() {
        let order = |key: u8, domain| {
            let mut keyed = Keyed::new(Key([key; 32]));
            (0..2048).map(|v| keyed.permuted(domain, v, 2048)).collect::<Vec<_>>()
        };
        assert_eq!(order(1, Domain::Maker), order(1, Domain::Maker));
        for other in [order(2, Domain::Maker), order(1, Domain::Unique)] {
            let same = order(1, Domain::Maker).iter().zip(&other).filter(|(a, b)| a == b).count();
            // One in 2048 falls together by chance; ten is out of the question.
            assert!(same < 10, "{same}");
        }
    }

    /// The keyed hash is the one that its authors publish: BLAKE3 test_vectors.json (github.com/BLAKE3-team/BLAKE3),
    /// key "whats the Elvish word for friend", input of no bytes.
    #[test]
    fn the_hash_is_blake3() {
        let hash = blake3::keyed_hash(b"whats the Elvish word for friend", b"");
        assert!(hash.to_hex().starts_with("92b2b75604ed3c761f9d6f62392c8a92"));
    }

    #[test]
    fn a_key_does_not_show_itself() {
        assert_eq!(format!("{:?}", Key([9; 32])), "Key(secret)");
    }
}
