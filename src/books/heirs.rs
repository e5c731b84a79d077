//! Claims that took over what a nameless node had sent from their address, until what comes from there shows whose that was.
//!
//! Mostly it was the claimant's own: it starts anew, or claims late. But the node may have been switched off, or lost its address
//! and found no other; then what its successor sends is something else.

use super::bounded;
use super::inventory::{Device, DeviceId};
use super::ousted::{AT_ONCE_S, HEARD_S, WAITS_S};
use crate::messages::n2k::{self, Name};
use crate::time::Time;

/// Most claims, and most pasts without a claimant, that are kept together, a bus: addresses change hands seldom.
const MAX_HEIRS: usize = 8;

/// Most messages (PGNs) that are known to come still, a claim.
const MAX_CAME: usize = 64;

/// What the standard has sent as often as this would have been heard of a node before, seconds (NMEA 2000 appendix B: a tank's level
/// every 2.5 s, and few live values more seldom).
const LIVE_S: f64 = 2.5;

/// By then whoever sent live messages before has sent one again, seconds: twice their longest interval.
const TOLD_S: f64 = 2.0 * LIVE_S;

/// Whether a node that sends this PGN at all sends it all the time.
pub(super) fn is_live(pgn: u32) -> bool {
    n2k::lookup(pgn).and_then(|known| known.interval_s).is_some_and(|interval| interval <= LIVE_S)
}

/// A claim of the address of a node whose NAME nobody had told.
#[derive(Debug, Clone)]
pub struct Heir {
    /// When.
    pub at: Time,
    /// The address.
    pub address: u8,
    /// Who claims it.
    pub name: Name,
    /// The node that it was taken for.
    pub device: DeviceId,
    /// That node as it was before.
    pub past: Box<Device>,
    /// The messages (PGNs) that had come from there.
    pub sent: Vec<u32>,
    /// Whether they came until then: who sent them did not go before the claim.
    pub spoke: bool,
    /// Those of them that came since.
    pub came: Vec<u32>,
    /// Whether a live message came since that had not come before.
    pub is_new: bool,
    /// The NAME that said right after that it cannot claim an address: whoever lost this one.
    pub gave_up: Option<Name>,
}

/// What was sent from an address that another node claimed after.
#[derive(Debug, Clone)]
pub struct Left {
    /// The address.
    pub address: u8,
    /// The node that sent it.
    pub device: DeviceId,
    /// The messages (PGNs).
    pub sent: Vec<u32>,
}

/// The heirs of a bus that have not shown whether they are.
#[derive(Debug, Clone, Default)]
pub struct Heirs {
    waiting: Vec<Heir>,
    left: Vec<Left>,
}

impl Heirs {
    /// Whether a message may tell of an heir.
    #[inline(always)]
    pub const fn waits(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// Notes a claim that took over a past.
    pub fn came(&mut self, heir: Heir) {
        self.left.retain(|left| left.device != heir.device);
        self.waiting.retain(|other| other.address != heir.address);
        bounded::push(&mut self.waiting, MAX_HEIRS, heir);
    }

    /// Notes a claim of any address.
    pub fn claimed(&mut self, name: Name, address: u8) {
        self.waiting.retain(|heir| heir.name != name || heir.address == address);
        for heir in self.waiting.iter_mut().filter(|heir| heir.gave_up == Some(name)) {
            heir.gave_up = None;
        }
    }

    /// Notes that a new NAME can claim no address, which nobody had asked.
    pub fn cannot_claim(&mut self, at: Time, name: Name) {
        let lost = |heir: &&mut Heir| heir.spoke && heir.gave_up.is_none() && at.since(heir.at) <= AT_ONCE_S;
        if let Some(heir) = self.waiting.iter_mut().rev().find(lost) {
            heir.gave_up = Some(name);
        }
    }

    /// Forgets a claim: whoever spoke from the address before has shown itself.
    pub fn forget(&mut self, address: u8) {
        self.waiting.retain(|heir| heir.address != address);
    }

    /// The claim that took over another one's past, by what came from its address since: messages that had not come from there before,
    /// and not all that had.
    pub fn disproved(&mut self, time: Option<Time>, address: u8, pgn: u32) -> Option<Heir> {
        let time = time?;
        self.waiting.retain(|heir| (0.0..=HEARD_S).contains(&time.since(heir.at)));
        let index = self.waiting.iter().position(|heir| heir.address == address)?;
        let heir = self.waiting.get_mut(index)?;
        let since = time.since(heir.at);
        // Until a newcomer may speak, it is whoever was there that does.
        if since >= WAITS_S && heir.sent.contains(&pgn) {
            bounded::note(&mut heir.came, MAX_CAME, pgn);
        }
        heir.is_new |= is_live(pgn) && !heir.sent.contains(&pgn);
        if since < TOLD_S {
            return None;
        }
        let is_own = heir.sent.iter().all(|pgn| heir.came.contains(pgn) || !is_live(*pgn));
        if is_own {
            self.waiting.remove(index);
            return None;
        }
        heir.is_new.then(|| self.waiting.remove(index))
    }

    /// Notes a past that is nobody's who is known.
    pub fn leave(&mut self, left: Left) {
        self.left.retain(|other| other.address != left.address);
        bounded::push(&mut self.left, MAX_HEIRS, left);
    }

    /// What somebody nameless sent from an address before another node claimed it.
    #[must_use]
    pub fn left(&self, address: u8) -> Option<&Left> {
        self.left.iter().find(|left| left.address == address)
    }
}
