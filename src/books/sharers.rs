//! Two that claimed one address and both go on speaking from it.
//!
//! Who loses a contest is silent until it has another address (ISO 11783-5 4.4). When it is not, what it sends shows by messages that
//! the other one had never sent from there. So it does where the one who was there neither defends its address nor leaves it, and goes
//! on without a pause: what it had sent is its own still. Where the newcomer sends the very same, it comes more often than before.

use super::bounded;
use super::contention::CONTENTION_S;
use super::heirs::is_live;
use super::inventory::DeviceId;
use super::ousted::HEARD_S;
use crate::time::{Span, Time};

/// Most contests that are remembered, a bus.
const MAX_SHARED: usize = 64;

/// Most messages (PGNs) by which a newcomer is told apart.
const MAX_HEARD: usize = 16;

/// Who goes on may be so much later than usual, by this factor (common practice, no source).
const LATE: f64 = 1.5;

/// Two senders of the same messages send at least so many times as many as one (common practice, no source: the slower one of two may
/// send half as often).
const AS_OFTEN: f64 = 1.5;

/// How often they come shows after this time, seconds (common practice, no source).
const SHOWS_S: f64 = 10.0;

/// How a node spoke before another one claimed its address.
#[derive(Debug, Clone, Copy)]
pub struct Manner {
    /// Its last frame.
    pub last: Time,
    /// The pause that is usual with it, seconds.
    pub pause_s: f64,
    /// Frames a second.
    pub rate: f64,
}

/// A contest, or a claim of an address that its holder let pass, and what came from the address after it.
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
    /// How the holder spoke before, where it has not defended the address.
    undefended: Option<Undefended>,
    is_open: bool,
}

/// Of an address whose holder did not defend it.
#[derive(Debug, Clone, Copy)]
struct Undefended {
    manner: Manner,
    /// When it was claimed.
    since: Time,
    /// Messages that the holder had sent, since then.
    alike: u64,
}

impl Undefended {
    /// Whether the holder had paused before this message: then it is silent, and who speaks now is the newcomer.
    fn paused(&self, heard: Option<Time>, time: Time) -> bool {
        let last = heard.unwrap_or(self.manner.last);
        time.since(self.since) <= SHOWS_S && time.since(last) > LATE * self.manner.pause_s
    }
}

impl Shared {
    /// The time in which both spoke.
    #[must_use]
    pub fn both(&self) -> Option<Span> {
        let last = self.holder_last?;
        if let Some(undefended) = self.undefended.filter(|_| self.times_as_often().is_some()) {
            return Some(Span::new(undefended.since, last));
        }
        let span = self.span?;
        let to = span.to.min(last);
        (to > span.from).then(|| Span::new(span.from, to))
    }

    /// How many times as often what the holder had sent came since another one claimed its address, when that is as of two.
    #[must_use]
    pub fn times_as_often(&self) -> Option<f64> {
        let Undefended { manner, since, alike } = self.undefended?;
        let for_s = self.holder_last?.since(since);
        let times = alike as f64 / (manner.rate * for_s);
        (for_s >= SHOWS_S && manner.rate > 0.0 && times >= AS_OFTEN).then_some(times)
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
            shared.undefended = None;
            return;
        }
        self.open(at, address, [holder, newcomer], sent, None);
    }

    /// Notes that a newcomer claims an address from which its holder speaks until then.
    pub fn came(
        &mut self,
        at: Time,
        address: u8,
        [holder, newcomer]: [DeviceId; 2],
        sent: Vec<u32>,
        manner: Manner,
    ) {
        let again = |s: &Shared| s.is_open && s.address == address && s.is_between([holder, newcomer]);
        if !self.all.iter().any(again) {
            let undefended = Undefended { manner, since: at, alike: 0 };
            self.open(at, address, [holder, newcomer], sent, Some(undefended));
        }
    }

    fn open(
        &mut self,
        at: Time,
        address: u8,
        [holder, newcomer]: [DeviceId; 2],
        sent: Vec<u32>,
        undefended: Option<Undefended>,
    ) {
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
            undefended,
            is_open: true,
        };
        bounded::push(&mut self.all, MAX_SHARED, new);
        self.count();
    }

    /// Notes a claim: who claims another address has left the one that it contested. Gives the address that a newcomer leaves to the one
    /// who had not defended it, and that one.
    pub fn claimed(&mut self, device: DeviceId, address: u8) -> Option<(u8, DeviceId)> {
        if !self.waits() {
            return None;
        }
        let leaves = |s: &Shared| s.address != address && [s.holder, s.newcomer].contains(&device);
        let left_to = |s: &&Shared| {
            s.is_open
                && s.newcomer == device
                && leaves(s)
                && s.undefended.is_some()
                && s.holder_last.is_some()
        };
        let left = self.all.iter().find(left_to).map(|s| (s.address, s.holder));
        self.close(leaves);
        left
    }

    /// Whether a node that claims an address has just lost another one, from which it spoke, to a newcomer's claim.
    #[must_use]
    pub fn is_ousted(&self, time: Time, device: DeviceId, address: u8) -> bool {
        let ousts = |s: &Shared| {
            s.holder == device
                && s.address != address
                && s.undefended.is_some_and(|u| (0.0..=CONTENTION_S).contains(&time.since(u.since)))
        };
        self.all.iter().any(ousts)
    }

    /// The newcomer, when a message from an address is its, or the holder, when it is that one's who did not defend it.
    pub fn sender(&mut self, time: Option<Time>, address: u8, pgn: u32) -> Option<DeviceId> {
        let time = time?;
        self.close(|s| {
            let last = match s.undefended {
                Some(_) => s.holder_last.unwrap_or(s.at),
                None => s.span.map_or(s.at, |span| span.to.max(s.at)),
            };
            let speaks = s.address == address && s.sent.contains(&pgn);
            time.since(last) > HEARD_S
                || speaks && s.undefended.is_some_and(|u| u.paused(s.holder_last, time))
        });
        let shared = self.all.iter_mut().find(|s| s.is_open && s.address == address)?;
        if shared.sent.contains(&pgn) {
            shared.holder_last = Some(time);
            let undefended = shared.undefended.as_mut()?;
            undefended.alike += 1;
            return Some(shared.holder);
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
