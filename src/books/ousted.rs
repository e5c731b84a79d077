//! Nodes that gave their address to a newcomer before any claim had told their NAME.
//!
//! A claim of an address from which somebody nameless speaks is mostly that one's own. When a newcomer's claim wins the address
//! instead, the node that spoke from it claims another one at once and goes on there (fact sheet NMEA 2000, section 4; ISO 11783-5
//! 4.4): what comes from the new address then tells whose the messages from the old one were.

use super::bounded;
use super::inventory::DeviceId;
use crate::messages::n2k::Name;
use crate::time::Time;

/// Who lost its address claims another one within this time, seconds (ISO 11783-5: a node answers within 250 ms; common practice,
/// no source: some take several times as long).
pub(super) const AT_ONCE_S: f64 = 1.0;

/// It is heard from there within this time, seconds: its slowest message may have to come round (NMEA 2000 appendix B: a tank's
/// level every 2.5 s).
pub(super) const HEARD_S: f64 = 10.0;

/// A newcomer sends nothing for so long after its claim, seconds (ISO 11783-5 4.4): what comes sooner is of who was there.
pub(super) const WAITS_S: f64 = 0.25;

/// Most claims and moves, each, that are looked at together, a bus: a chain of nodes that oust each other is short.
const MAX_OUSTED: usize = 8;

/// A claim of an address from which a nameless node spoke until then.
#[derive(Debug, Clone)]
pub struct Takeover {
    /// When.
    pub at: Time,
    /// The address.
    pub address: u8,
    /// The node that spoke from it, taken for the claim's.
    pub device: DeviceId,
    /// The messages (PGNs) that had come from there.
    pub sent: Vec<u32>,
    /// Those that whoever claims it sent from another address, from which it was ousted itself.
    pub arrives: Vec<u32>,
    /// The NAME that had answered for the address just before.
    pub answered: Option<Name>,
}

/// A claim of another address right after a takeover.
#[derive(Debug, Clone)]
pub struct Move {
    /// The claim that may have ousted it.
    pub from: Takeover,
    /// When it claimed.
    pub at: Time,
    /// Which address.
    pub address: u8,
    /// Who.
    pub name: Name,
    /// Messages that came from that address before.
    others: Vec<u32>,
}

/// The takeovers and moves of a bus that are not settled.
#[derive(Debug, Clone, Default)]
pub struct Ousted {
    takeovers: Vec<Takeover>,
    moves: Vec<Move>,
}

impl Ousted {
    /// Notes a takeover that nobody asked for.
    pub fn taken_over(&mut self, mut takeover: Takeover) {
        let ousted = self.moves.iter().filter(|m| m.address == takeover.address);
        takeover.arrives = ousted.flat_map(|m| m.from.sent.iter().copied()).collect();
        self.takeovers.retain(|t| takeover.at.since(t.at).abs() <= AT_ONCE_S);
        bounded::push(&mut self.takeovers, MAX_OUSTED, takeover);
    }

    /// Whether a NAME had answered for an address that was taken over.
    #[must_use]
    pub fn had_answered(&self, name: Name) -> bool {
        self.takeovers.iter().any(|t| t.answered == Some(name))
    }

    /// Notes the first claim of a NAME, or of one that had answered for its address: the first one of another address after a takeover may be of the node that was ousted.
    /// `others` gives the messages that had come from its address before that moment.
    pub fn claimed(&mut self, at: Time, address: u8, name: Name, others: impl FnOnce(Time) -> Vec<u32>) {
        self.takeovers.retain(|t| at.since(t.at).abs() <= AT_ONCE_S);
        let from = self.takeovers.iter().rposition(|t| t.address != address);
        if let Some(from) = from {
            let from = self.takeovers.remove(from);
            let others = others(from.at);
            bounded::push(&mut self.moves, MAX_OUSTED, Move { from, at, address, name, others });
        }
    }

    /// Whether a message may settle a move.
    #[inline(always)]
    pub const fn waits(&self) -> bool {
        !self.moves.is_empty()
    }

    /// The move that a message settles: one that had come from the old address, and only from there, comes from the new one.
    pub fn settled(&mut self, time: Option<Time>, source: u8, pgn: u32) -> Option<Move> {
        let time = time?;
        self.moves.retain(|m| {
            let stays = m.from.address == source
                && time.since(m.from.at) < WAITS_S
                && m.from.sent.contains(&pgn)
                && !m.from.arrives.contains(&pgn);
            time.since(m.at).abs() <= HEARD_S && !stays
        });
        let is_it = |m: &Move| m.address == source && m.from.sent.contains(&pgn) && !m.others.contains(&pgn);
        let index = self.moves.iter().position(is_it)?;
        Some(self.moves.remove(index))
    }

    /// Whether whoever spoke from an address may have moved to another one.
    #[must_use]
    pub fn may_have_left(&self, address: u8) -> bool {
        self.moves.iter().any(|m| m.from.address == address)
    }

    /// Forgets what was thought of an address: its owner defended it.
    pub fn defended(&mut self, address: u8) {
        self.takeovers.retain(|t| t.address != address);
        self.moves.retain(|m| m.from.address != address);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OUSTED: Name = Name(3);

    fn at(seconds: f64) -> Time {
        Time(0).plus(seconds)
    }

    fn takeover(s: f64, address: u8, device: u32, sent: u32) -> Takeover {
        Takeover {
            at: at(s),
            address,
            device: DeviceId(device),
            sent: vec![sent],
            arrives: Vec::new(),
            answered: None,
        }
    }

    /// Address 35 is taken over at 10 s; then somebody claims 40 and sends.
    fn settled(claimed: f64, others: &[u32], heard: f64, source: u8, pgn: u32) -> bool {
        let mut ousted = Ousted::default();
        ousted.taken_over(takeover(10.0, 35, 0, 127_250));
        ousted.claimed(at(claimed), 40, OUSTED, |_| others.to_vec());
        ousted.settled(Some(at(heard)), source, pgn).is_some_and(|m| m.name == OUSTED)
    }

    #[test]
    fn who_goes_on_from_another_address_was_ousted() {
        assert!(settled(10.1, &[], 10.2, 40, 127_250));
        assert!(!settled(12.0, &[], 12.1, 40, 127_250), "too late");
        assert!(!settled(10.1, &[127_250], 10.2, 40, 127_250), "that came from there before");
        assert!(!settled(10.1, &[], 10.2, 40, 127_251), "it never sent that");
        assert!(!settled(10.1, &[], 10.2, 35, 127_250), "it stays where it was");
        assert!(!settled(10.1, &[], 30.0, 40, 127_250), "much later");
    }

    #[test]
    fn who_sends_at_once_stays_where_it_was() {
        for (heard, is_ousted) in [(10.2, false), (10.4, true)] {
            let mut ousted = Ousted::default();
            ousted.taken_over(takeover(10.0, 35, 0, 127_250));
            ousted.claimed(at(10.1), 40, OUSTED, |_| Vec::new());
            assert!(ousted.settled(Some(at(heard)), 35, 127_250).is_none());
            assert_eq!(ousted.settled(Some(at(10.5)), 40, 127_250).is_some(), is_ousted);
        }
    }

    #[test]
    fn each_of_a_chain_ousts_the_next() {
        let mut ousted = Ousted::default();
        ousted.taken_over(takeover(10.0, 35, 0, 127_250));
        ousted.claimed(at(10.1), 40, Name(3), |_| vec![128_267]);
        ousted.taken_over(takeover(10.1, 40, 1, 128_267));
        ousted.claimed(at(10.4), 50, Name(4), |_| Vec::new());
        let first = ousted.settled(Some(at(10.5)), 50, 128_267).unwrap();
        assert_eq!((first.name, first.from.device), (Name(4), DeviceId(1)));
        assert!(ousted.waits());
        let second = ousted.settled(Some(at(10.6)), 40, 127_250).unwrap();
        assert_eq!((second.name, second.from.device), (Name(3), DeviceId(0)));
        assert!(!ousted.waits());
    }
}
