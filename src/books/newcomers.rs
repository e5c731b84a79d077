//! Newcomers that claim an address from which its holder still speaks.
//!
//! The holder defends it at once, or moves away (ISO 11783-5 4.4). Until the newcomer may speak, what comes from the address is
//! the holder's: the claim alone does not make the holder's messages the newcomer's.

use super::bounded;
use super::inventory::DeviceId;
use super::ousted::WAITS_S;
use crate::time::Time;

/// Most newcomers that are looked at together, a bus; they wait for a moment only.
const MAX_NEWCOMERS: usize = 8;

/// A holder that wants its address back claims it within this time, seconds (ISO 11783-5: a node answers within 250 ms; common
/// practice, no source: some take several times as long).
const DEFENDS_S: f64 = 2.0;

/// A claim of an address from which another node spoke until then.
#[derive(Debug, Clone)]
pub struct Newcomer {
    at: Time,
    address: u8,
    /// Who claims it.
    pub device: DeviceId,
    /// Who spoke from there.
    former: DeviceId,
    /// The messages (PGNs) that had come from there.
    pub sent: Vec<u32>,
}

/// The newcomers of a bus that have not spoken yet.
#[derive(Debug, Clone, Default)]
pub struct Newcomers(Vec<Newcomer>);

impl Newcomers {
    /// Whether a message may be of somebody else than the last one who claimed its address.
    #[inline(always)]
    pub const fn waits(&self) -> bool {
        !self.0.is_empty()
    }

    /// Who spoke from an address before the last claim of it, when nobody has spoken from it since.
    #[must_use]
    pub fn former(&self, address: u8) -> Option<DeviceId> {
        self.0.iter().find(|n| n.address == address).map(|n| n.former)
    }

    /// Notes a claim of an address from which `former` spoke until then, of these messages.
    pub fn came(&mut self, at: Time, address: u8, device: DeviceId, former: DeviceId, sent: Vec<u32>) {
        self.0.retain(|n| n.address != address);
        bounded::push(&mut self.0, MAX_NEWCOMERS, Newcomer { at, address, device, former, sent });
    }

    /// Notes a claim of a node that spoke from somewhere before: it has its address back, or has left it. Gives the newcomer against
    /// whom it defends its address.
    pub fn claimed(&mut self, at: Option<Time>, device: DeviceId, address: u8) -> Option<Newcomer> {
        let defends = |n: &Newcomer| {
            n.former == device && n.address == address && at.is_some_and(|at| at.since(n.at) <= DEFENDS_S)
        };
        let defended = self.0.iter().position(defends).map(|index| self.0.remove(index));
        self.0.retain(|n| n.former != device);
        defended
    }

    /// Whose a message is that comes from an address before the newcomer may speak there.
    pub fn sender(&mut self, time: Option<Time>, address: u8, pgn: u32) -> Option<DeviceId> {
        let time = time?;
        self.0.retain(|n| {
            let since = time.since(n.at);
            (0.0..=DEFENDS_S).contains(&since) && (n.address != address || since < WAITS_S)
        });
        self.0.iter().find(|n| n.address == address && n.sent.contains(&pgn)).map(|n| n.former)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLDER: DeviceId = DeviceId(3);
    const NEWCOMER: DeviceId = DeviceId(4);

    fn at(seconds: f64) -> Time {
        Time(0).plus(seconds)
    }

    fn came() -> Newcomers {
        let mut newcomers = Newcomers::default();
        newcomers.came(at(10.0), 35, NEWCOMER, HOLDER, vec![127_250]);
        newcomers
    }

    #[test]
    fn until_a_newcomer_may_speak_the_holder_does() {
        let sender = |seconds, address, pgn| came().sender(Some(at(seconds)), address, pgn);
        assert_eq!(sender(10.05, 35, 127_250), Some(HOLDER));
        assert_eq!(sender(10.05, 35, 130_306), None, "what the holder never sent");
        assert_eq!(sender(10.05, 36, 127_250), None, "another address");
        assert_eq!(sender(10.3, 35, 127_250), None, "the newcomer may speak by now");
    }

    #[test]
    fn who_claims_anew_waits_for_nothing() {
        let mut newcomers = came();
        assert_eq!(newcomers.former(35), Some(HOLDER));
        let defended = newcomers.claimed(Some(at(10.1)), HOLDER, 35);
        assert_eq!(defended.map(|n| n.device), Some(NEWCOMER));
        assert!(!newcomers.waits());
        assert!(came().claimed(Some(at(10.1)), HOLDER, 40).is_none(), "it moves away");
        let mut newcomers = came();
        assert_eq!(newcomers.sender(Some(at(13.0)), 36, 127_250), None);
        assert!(!newcomers.waits(), "much later");
    }
}
