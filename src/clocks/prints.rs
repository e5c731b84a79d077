//! Frames that can be known again in another recording.

use crate::time::Time;
use rustc_hash::FxHashMap;
use std::hash::Hasher;

/// Most prints that are kept of one recording.
const MAX_PRINTS: usize = 8192;

/// A mirror port may show a frame twice within this time, microseconds; later repeats are new frames with old content.
const DOUBLE_US: i64 = 5_000;

/// When each content was seen that came but once: a sample of the frames, the same sample in every recording.
///
/// The sample is drawn by the content's hash, so that two recorders that saw the same frame both keep it or both leave it
/// out. At most `MAX_PRINTS` are kept, however long the recording.
#[derive(Debug, Default)]
pub struct Prints {
    /// `None`: it came again, and tells nothing.
    seen: FxHashMap<u64, Option<Time>>,
    /// Only hashes with these bits clear are kept.
    mask: u64,
}

impl Prints {
    /// Notes a frame by what it holds; `kind` keeps frames of different networks apart.
    pub fn note(&mut self, kind: u8, content: &[u8], time: Time) {
        let mut hasher = rustc_hash::FxHasher::default();
        hasher.write_u8(kind);
        hasher.write(content);
        // The hasher's lowest bits are its weakest.
        let hash = hasher.finish().rotate_left(26).wrapping_mul(0x9E37_79B9_7F4A_7C15).swap_bytes();
        if hash & self.mask != 0 {
            return;
        }
        self.seen
            .entry(hash)
            .and_modify(|first| {
                if first.is_none_or(|first| time.micros_since(first).abs() > DOUBLE_US) {
                    *first = None;
                }
            })
            .or_insert(Some(time));
        if self.seen.len() > MAX_PRINTS {
            self.mask = self.mask << 1 | 1;
            let mask = self.mask;
            self.seen.retain(|hash, _| hash & mask == 0);
        }
    }

    /// When the contents were seen that came once here and not more than once in the other recording, of the sample that both
    /// kept.
    pub(super) fn told<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = Time> + 'a {
        let mask = self.mask | other.mask;
        let repeats = |hash: &u64| other.seen.get(hash).is_some_and(Option::is_none);
        self.seen
            .iter()
            .filter(move |(hash, _)| *hash & mask == 0 && !repeats(hash))
            .filter_map(|(_, at)| *at)
    }

    /// The times of the frames that came once in each of two recordings: ours and the other's, in order of the other's.
    #[must_use]
    pub(super) fn shared(&self, other: &Self) -> Vec<(Time, Time)> {
        let mut shared: Vec<(Time, Time)> = other
            .seen
            .iter()
            .filter_map(|(hash, theirs)| Some(((*self.seen.get(hash)?)?, (*theirs)?)))
            .collect();
        shared.sort_unstable_by_key(|(ours, theirs)| (*theirs, *ours));
        shared
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_both_saw_is_found_and_what_repeats_is_not() {
        let (mut one, mut two) = (Prints::default(), Prints::default());
        for i in 0..100_000_u32 {
            let content = i.to_le_bytes();
            one.note(1, &content, Time(i64::from(i) * 1000));
            if i >= 50_000 {
                two.note(1, &content, Time(i64::from(i) * 1000 + 77));
                two.note(1, &content, Time(i64::from(i) * 1000 + 99));
            }
            one.note(1, b"heartbeat", Time(i64::from(i) * 1000));
            two.note(1, b"heartbeat", Time(i64::from(i) * 1000));
        }
        let shared = one.shared(&two);
        assert!(shared.len() > 500, "{}", shared.len());
        assert!(shared.iter().all(|(a, b)| b.micros_since(*a) == 77));
        assert!(one.seen.len() <= MAX_PRINTS);
        assert!(one.shared(&Prints::default()).is_empty());
    }

    #[test]
    fn kinds_are_kept_apart() {
        let (mut one, mut two) = (Prints::default(), Prints::default());
        one.note(1, b"abc", Time(1));
        two.note(2, b"abc", Time(1));
        assert!(one.shared(&two).is_empty());
    }
}
