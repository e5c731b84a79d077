//! Who speaks with one IPv4 address.

use super::bounded;
use super::inventory::DeviceId;
use crate::time::{Span, Time};
use std::ops::Deref;

/// Most claimants of one address.
const MAX_CLAIMANTS: usize = 8;

/// A host that claims an address.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Claimant {
    /// Who.
    pub device: DeviceId,
    /// First and last time it spoke with this address.
    pub span: Span,
    /// How often.
    pub count: u64,
    /// How often of these in ARP, which nobody forwards.
    pub arp: u64,
    /// How often it spoke with the address after another host had.
    pub turns: u64,
}

/// The claimants of an address, in order of appearance. At most `MAX_CLAIMANTS`.
#[derive(Debug, Clone, Default)]
pub struct Claimants {
    list: Vec<Claimant>,
    /// Who of them spoke last. Stamps alone do not tell: two that answer one question may have the same.
    latest: Option<DeviceId>,
}

impl Deref for Claimants {
    type Target = [Claimant];

    fn deref(&self) -> &Self::Target {
        &self.list
    }
}

impl<'a> IntoIterator for &'a Claimants {
    type Item = &'a Claimant;
    type IntoIter = std::slice::Iter<'a, Claimant>;

    fn into_iter(self) -> Self::IntoIter {
        self.list.iter()
    }
}

impl Claimants {
    /// The only one, when there is but one.
    #[must_use]
    pub fn only(&self) -> Option<DeviceId> {
        match self.list.as_slice() {
            [only] => Some(only.device),
            _ => None,
        }
    }

    /// Books that a host spoke with the address; `false` when it found no room.
    pub(super) fn claim(&mut self, device: DeviceId, by_arp: bool, time: Time) -> bool {
        if self.claim_again(device, by_arp, time) {
            return true;
        }
        let new = || Claimant { device, span: Span::new(time, time), count: 0, arp: 0, turns: 0 };
        let Some(claimant) = bounded::entry(&mut self.list, MAX_CLAIMANTS, |c| c.device == device, new)
        else {
            return false;
        };
        claimant.count += 1;
        claimant.arp += u64::from(by_arp);
        let before = self.latest.replace(device);
        claimant.turns += u64::from(before.is_some_and(|before| before != device));
        claimant.span.to = claimant.span.to.max(time);
        true
    }

    /// As [`claim`](Self::claim), when nobody but this host speaks with it, as nearly every address is one host's; says whether
    /// that is so.
    #[inline]
    pub(super) fn claim_again(&mut self, device: DeviceId, by_arp: bool, time: Time) -> bool {
        let [only] = self.list.as_mut_slice() else { return false };
        if only.device != device {
            return false;
        }
        only.count += 1;
        only.arp += u64::from(by_arp);
        only.span.to = only.span.to.max(time);
        true
    }
}
