//! Addresses that several NAMEs claim: who took them from whom.

use super::bounded;
use super::inventory::DeviceId;
use crate::time::{Span, Time};

/// Most claimants of one address that are told apart; the first ones are enough to tell of a quarrel.
const MAX_CLAIMANTS: usize = 8;

/// Two claims of one address by different NAMEs within this time are contention, seconds.
pub(super) const CONTENTION_S: f64 = 2.0;

/// An address changes hands and back within this time: both mean to keep it, seconds.
pub(super) const TUG_S: f64 = 120.0;

/// An address that several NAMEs claim.
#[derive(Debug, Clone)]
pub struct Contention {
    /// The address.
    pub address: u8,
    /// Who claims it.
    pub claimants: Vec<Claimant>,
    /// Each two of them that took it from each other.
    pub tugs: Vec<Tug>,
    turns: u64,
}

/// One that claims a contended address.
#[derive(Debug, Clone, Copy)]
pub struct Claimant {
    /// Who.
    pub device: DeviceId,
    /// Its claims of the address while it was contended.
    pub claims: u64,
    last: Time,
    /// Which of all claims its last one was: stamps may be too coarse to tell their order.
    turn: u64,
}

/// Two that claim one address, whoever else does.
#[derive(Debug, Clone, Copy)]
pub struct Tug {
    /// The two.
    pub devices: [DeviceId; 2],
    /// First and last claim of theirs.
    pub span: Span,
    /// How often it went from one of them to the other.
    pub changes: u64,
    /// Whether both claimed it within `CONTENTION_S`.
    pub at_once: bool,
}

impl Contention {
    /// A contention that one claim opened, which another will follow.
    pub(super) fn new(address: u8, device: DeviceId, at: Time) -> Self {
        let first = Claimant { device, claims: 1, last: at, turn: 0 };
        Self { address, claimants: vec![first], tugs: Vec::new(), turns: 0 }
    }

    /// Whether a device is one of those who claim the address.
    pub(super) fn knows(&self, device: DeviceId) -> bool {
        self.claimants.iter().any(|c| c.device == device)
    }

    /// Books a further claim; `false` when there was no room to tell its claimant apart.
    pub(super) fn claim(&mut self, device: DeviceId, time: Time) -> bool {
        self.turns += 1;
        let new = || Claimant { device, claims: 0, last: time, turn: 0 };
        let is_it = |c: &Claimant| c.device == device;
        let Some(claimant) = bounded::entry(&mut self.claimants, MAX_CLAIMANTS, is_it, new) else {
            return false;
        };
        claimant.claims += 1;
        claimant.last = time;
        let before = std::mem::replace(&mut claimant.turn, self.turns);
        for other in self.claimants.iter().filter(|c| c.device != device) {
            let devices = [other.device, device];
            let taken = other.turn >= before && time.since(other.last) <= TUG_S;
            let tug = self.tugs.iter_mut().find(|t| t.devices.iter().all(|d| devices.contains(d)));
            let span = Span::new(other.last, time);
            let at_once = taken && span.seconds() <= CONTENTION_S;
            match tug {
                Some(tug) => {
                    tug.changes += u64::from(taken);
                    tug.at_once |= at_once;
                    tug.span.to = tug.span.to.max(time);
                }
                // As many as there are pairs of claimants.
                None if taken => self.tugs.push(Tug { devices, span, changes: 1, at_once }),
                None => {}
            }
        }
        true
    }

    /// Puts other devices in the place of those that claimed.
    pub(super) fn rename(&mut self, renamed: impl Fn(&mut DeviceId)) {
        self.claimants.iter_mut().for_each(|c| renamed(&mut c.device));
        self.tugs.iter_mut().flat_map(|t| &mut t.devices).for_each(renamed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: DeviceId = DeviceId(0);
    const B: DeviceId = DeviceId(1);
    const C: DeviceId = DeviceId(2);

    #[test]
    fn a_third_one_does_not_add_to_what_two_do() {
        let at = |seconds: f64| Time(0).plus(seconds);
        let mut contention = Contention::new(28, A, at(0.0));
        for (seconds, who) in [(0.1, B), (20.0, A), (20.1, B), (30.0, C), (30.1, A), (40.0, A), (40.1, B)] {
            assert!(contention.claim(who, at(seconds)));
        }
        let told: Vec<_> = contention.tugs.iter().map(|t| (t.devices, t.changes, t.at_once)).collect();
        assert_eq!(told, [([A, B], 5, true), ([A, C], 2, true), ([B, C], 2, false)]);
        let claims: Vec<_> = contention.claimants.iter().map(|c| (c.device, c.claims)).collect();
        assert_eq!(claims, [(A, 4), (B, 3), (C, 1)]);
    }
}
