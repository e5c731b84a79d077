//! A bounded table that forgets what has not been used for longest, in constant time.

use foldhash::fast::RandomState;
use std::collections::HashMap;
use std::hash::Hash;

/// Keys with values, in two generations: when the young one is full the old one is forgotten and the young one grows
/// old; whatever is used becomes young again. So at most `2 * generation` stay, and the last `generation` different
/// keys always do.
///
/// The hasher has a random key: a recording's writer must not choose which keys collide.
pub(super) struct Recent<K, V> {
    young: HashMap<K, V, RandomState>,
    old: HashMap<K, V, RandomState>,
    generation: usize,
}

impl<K: Copy + Eq + Hash + Ord, V> Recent<K, V> {
    pub(super) fn new(generation: usize) -> Self {
        Self { young: HashMap::default(), old: HashMap::default(), generation }
    }

    /// The value of `key`, made when missing. `forget` gets what had to go, in the order of the keys.
    pub(super) fn get_or(
        &mut self,
        key: K,
        make: impl FnOnce() -> V,
        mut forget: impl FnMut(K, V),
    ) -> &mut V {
        let mut kept = None;
        if self.young.len() >= self.generation && !self.young.contains_key(&key) {
            kept = self.old.remove(&key);
            let mut gone: Vec<_> = std::mem::take(&mut self.old).into_iter().collect();
            gone.sort_unstable_by_key(|(key, _)| *key);
            for (key, value) in gone {
                forget(key, value);
            }
            self.old = std::mem::take(&mut self.young);
        }
        let old = &mut self.old;
        self.young.entry(key).or_insert_with(|| kept.or_else(|| old.remove(&key)).unwrap_or_else(make))
    }

    /// The value of `key`, when it is there; does not count as use.
    pub(super) fn peek_mut(&mut self, key: &K) -> Option<&mut V> {
        self.young.get_mut(key).or_else(|| self.old.get_mut(key))
    }

    /// Everything, in the order of the keys.
    pub(super) fn sorted(&self) -> Vec<(K, &V)> {
        let mut all: Vec<_> = self.young.iter().chain(&self.old).map(|(key, value)| (*key, value)).collect();
        all.sort_unstable_by_key(|(key, _)| *key);
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_what_is_used() {
        let mut table = Recent::new(10);
        let mut gone = Vec::new();
        for key in 1..=95 {
            *table.get_or(0, || 0, |key, _| gone.push(key)) += 1;
            *table.get_or(key, || key, |key, _| gone.push(key)) += 1;
        }
        assert_eq!(table.peek_mut(&0), Some(&mut 95), "used all the time");
        assert_eq!(table.peek_mut(&95), Some(&mut 96));
        assert_eq!(table.peek_mut(&1), None);
        assert!(table.sorted().len() <= 20);
        assert!(gone.is_sorted(), "forgotten in order");
        assert_eq!(gone.len() + table.sorted().len(), 96, "every key is here or was forgotten");
    }
}
