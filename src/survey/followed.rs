//! The networks whose streams, fragments and copies are followed: those that spoke last.

use super::packet::Tables;
use crate::books::wires::WireId;

/// Networks that are followed at one time; each may take some 7 MiB. A boat has one or two, and recordings that come one
/// after another make room for each other.
pub(super) const MAX_FOLLOWED: usize = 3;

/// What is remembered of the networks that spoke last.
#[derive(Default)]
pub(super) struct Followed {
    /// The one that spoke last stands last.
    tables: Vec<(WireId, Box<Tables>)>,
    /// How often a network had to make room.
    pub(super) given_up: u64,
}

impl Followed {
    /// Takes out the tables of a wire, new ones when it has none, and those of another that had to make room.
    #[inline]
    pub(super) fn take(&mut self, wire: WireId) -> (Box<Tables>, Option<(WireId, Box<Tables>)>) {
        if let Some((_, tables)) = self.tables.pop_if(|(known, _)| *known == wire) {
            return (tables, None);
        }
        if let Some(at) = self.tables.iter().position(|(known, _)| *known == wire) {
            return (self.tables.remove(at).1, None);
        }
        self.make()
    }

    /// New tables, which are large: nothing of them may stand on the stack of those who take a packet in.
    #[cold]
    #[inline(never)]
    fn make(&mut self) -> (Box<Tables>, Option<(WireId, Box<Tables>)>) {
        let full = self.tables.len() >= MAX_FOLLOWED;
        self.given_up += u64::from(full);
        let given_up = full.then(|| self.tables.remove(0));
        (Box::default(), given_up)
    }

    /// Puts the tables back when packets were dealt with.
    pub(super) fn put_back(&mut self, wire: WireId, tables: Box<Tables>) {
        self.tables.push((wire, tables));
    }

    /// Takes out all tables, in the order of their wires.
    pub(super) fn take_all(&mut self) -> Vec<(WireId, Box<Tables>)> {
        let mut all = std::mem::take(&mut self.tables);
        all.sort_unstable_by_key(|(wire, _)| *wire);
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_network_that_was_silent_for_longest_makes_room() {
        let mut followed = Followed::default();
        for wire in [1, 2, 3, 1] {
            let (tables, given_up) = followed.take(WireId(wire));
            assert!(given_up.is_none());
            followed.put_back(WireId(wire), tables);
        }
        let (tables, given_up) = followed.take(WireId(4));
        assert_eq!(given_up.map(|(wire, _)| wire), Some(WireId(2)));
        followed.put_back(WireId(4), tables);
        let left: Vec<_> = followed.take_all().into_iter().map(|(wire, _)| wire.0).collect();
        assert_eq!((left, followed.given_up), (vec![1, 3, 4], 1));
    }
}
