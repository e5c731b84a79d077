//! Two that contested an address and both go on speaking from it.
//!
//! Who loses a contest is silent until it has another address (ISO 11783-5 4.4). When it is not, what it sends shows by messages that
//! the other one had never sent from there.

use super::bounded;
use super::heirs::is_live;
use super::inventory::DeviceId;
use super::ousted::HEARD_S;
use crate::time::{Span, Time};

/// Most contests that are remembered, a bus.
const MAX_SHARED: usize = 64;

/// Most messages (PGNs) by which a newcomer is told apart.
const MAX_HEARD: usize = 16;

/// A contest, and what came from the address after it.
#[derive(Debug, Clone)]
pub struct Shared {
    /// The address.
    pub address: u8,
    /// Who spoke from it before.
    pub holder: DeviceId,
    /// Who claimed it then.
    pub newcomer: DeviceId,
    /// The messages (PGNs) that only the newcomer sends.
    pub heard: Vec<u32>,
    /// How often they came.
    pub messages: u64,
    /// From the first to the last of them.
    pub span: Option<Span>,
    /// When the holder was heard last while they came.
    holder_last: Option<Time>,
    /// The last time that both claimed it.
    pub at: Time,
    /// The messages (PGNs) that the holder had sent.
    sent: Vec<u32>,
    is_open: bool,
}

impl Shared {
    /// The time in which both spoke.
    #[must_use]
    pub fn both(&self) -> Option<Span> {
        let span = self.span?;
        let to = span.to.min(self.holder_last?);
        (to > span.from).then(|| Span::new(span.from, to))
    }

    /// Whether it is between these two.
    #[must_use]
    pub fn is_between(&self, devices: [DeviceId; 2]) -> bool {
        devices.contains(&self.holder) && devices.contains(&self.newcomer)
    }
}

/// The contests of a bus.
#[derive(Debug, Clone, Default)]
pub struct Sharers {
    all: Vec<Shared>,
    open: usize,
}

impl Sharers {
    /// All contests.
    pub fn iter(&self) -> impl Iterator<Item = &Shared> {
        self.all.iter()
    }

    /// Whether a message may be of somebody else than the last one who claimed its address.
    #[inline(always)]
    pub const fn waits(&self) -> bool {
        self.open > 0
    }

    /// Notes that the holder of an address claims it against a newcomer.
    pub fn contest(&mut self, at: Time, address: u8, [holder, newcomer]: [DeviceId; 2], sent: Vec<u32>) {
        let again = |s: &&mut Shared| s.is_open && s.address == address && s.is_between([holder, newcomer]);
        if let Some(shared) = self.all.iter_mut().find(again) {
            shared.at = at;
            return;
        }
        self.close(|s| s.address == address);
        let new = Shared {
            address,
            holder,
            newcomer,
            heard: Vec::new(),
            messages: 0,
            span: None,
            holder_last: None,
            at,
            sent,
            is_open: true,
        };
        bounded::push(&mut self.all, MAX_SHARED, new);
        self.count();
    }

    /// Notes a claim: who claims another address has left the one that it contested.
    pub fn claimed(&mut self, device: DeviceId, address: u8) {
        if self.waits() {
            self.close(|s| s.address != address && [s.holder, s.newcomer].contains(&device));
        }
    }

    /// The newcomer, when a message from an address is its.
    pub fn sender(&mut self, time: Option<Time>, address: u8, pgn: u32) -> Option<DeviceId> {
        let time = time?;
        self.close(|s| {
            let last = s.span.map_or(s.at, |span| span.to.max(s.at));
            time.since(last) > HEARD_S
        });
        let shared = self.all.iter_mut().find(|s| s.is_open && s.address == address)?;
        if shared.sent.contains(&pgn) {
            shared.holder_last = Some(time);
            return None;
        }
        let comes_up = time.since(shared.at) <= HEARD_S && is_live(pgn);
        if comes_up {
            bounded::note(&mut shared.heard, MAX_HEARD, pgn);
        }
        if !shared.heard.contains(&pgn) {
            return None;
        }
        shared.messages += 1;
        shared.span.get_or_insert(Span::new(time, time)).to = time;
        Some(shared.newcomer)
    }

    /// Puts other devices in the place of those that contested.
    pub(super) fn rename(&mut self, renamed: impl Fn(&mut DeviceId)) {
        self.all.iter_mut().flat_map(|s| [&mut s.holder, &mut s.newcomer]).for_each(renamed);
    }

    fn close(&mut self, is_over: impl Fn(&Shared) -> bool) {
        for shared in self.all.iter_mut().filter(|s| s.is_open) {
            shared.is_open = !is_over(shared);
        }
        self.count();
    }

    fn count(&mut self) {
        self.open = self.all.iter().filter(|s| s.is_open).count();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLDER: DeviceId = DeviceId(0);
    const NEWCOMER: DeviceId = DeviceId(1);

    fn at(seconds: f64) -> Time {
        Time(0).plus(seconds)
    }

    /// The holder of 35 defends it at 10 s; then the two speak in turn, each once a second, until the newcomer moves.
    fn shared(pgn: u32, moves_at: f64) -> Sharers {
        let mut sharers = Sharers::default();
        sharers.contest(at(10.0), 35, [HOLDER, NEWCOMER], vec![127_250]);
        for s in 11..30 {
            let s = f64::from(s);
            if s >= moves_at {
                sharers.claimed(NEWCOMER, 40);
            }
            assert_eq!(sharers.sender(Some(at(s)), 35, 127_250), None);
            let its = pgn == 128_267 && s < moves_at;
            assert_eq!(sharers.sender(Some(at(s + 0.1)), 35, pgn), its.then_some(NEWCOMER));
        }
        sharers
    }

    #[test]
    fn what_only_the_newcomer_sends_is_its() {
        let both = |pgn, moves_at| shared(pgn, moves_at).iter().next().and_then(Shared::both);
        assert_eq!(both(128_267, 20.0), Some(Span::new(at(11.1), at(19.0))));
        assert_eq!(both(128_267, 10.2), None, "it moves at once");
        assert_eq!(both(127_250, 20.0), None, "the holder alone");
        assert_eq!(both(126_996, 20.0), None, "what a node says when it is asked");
    }
}
