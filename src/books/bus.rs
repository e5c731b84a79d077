//! CAN buses: claims, restarts, requests and answers, lost multi-frame messages, error frames.

use super::bounded;
use super::by_wire::ByWire;
use super::contention::{CONTENTION_S, Contention, TUG_S};
use super::heirs::{Heir, Heirs, Left};
use super::inventory::{Device, DeviceId};
use super::newcomers::Newcomers;
use super::ousted::{Move, Ousted};
use super::sharers::Sharers;
use crate::messages::n2k::{Broken, GLOBAL, NULL_ADDRESS, Name, NetworkMessage, StreamLosses};
use crate::time::{Span, Time};
use rustc_hash::FxHashMap;

/// Most claims that are remembered with their times, a bus; all are counted.
const MAX_CLAIMS: usize = 512;

/// Most contended addresses that are remembered, a bus.
const MAX_CONTENTIONS: usize = 64;

/// Most requests that are kept apart by asked node and PGN, a bus.
const MAX_REQUESTS: usize = 1024;

/// Most bursts of error frames that are remembered, a bus.
const MAX_BURSTS: usize = 64;

/// A claim is an answer when a request for claims came at most this long before it, seconds (ISO 11783-5: a node
/// answers within 250 ms, a requester waits 1.25 s).
pub const ANSWER_S: f64 = 1.5;

/// Error frames further apart than this are two bursts, seconds.
const BURST_S: f64 = 5.0;

/// A request for claims.
#[derive(Debug, Clone, Copy)]
struct Asked {
    at: Time,
    /// The address from which it came; none (254) of a node that has none yet.
    by: u8,
    /// Whose claims, or everybody's.
    of: u8,
}

/// An address claim that nobody asked for and that is no part of a contention: the node has just started.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// Who.
    pub device: DeviceId,
    /// Its last frame before, when it was seen before.
    pub silent_since: Option<Time>,
    /// When it claimed.
    pub at: Time,
    /// Whether it had asked from its own address just before.
    pub has_asked: bool,
    /// Whether it had claimed the address by another NAME, as one does that gets another instance.
    pub is_renamed: bool,
}

/// Who asked last for anything, again and again for no longer than an answer takes.
#[derive(Debug, Clone, Copy)]
struct Asker {
    by: u8,
    first: Time,
    last: Time,
}

/// Requests for one message of one node.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Requests {
    /// How often it was asked.
    pub asked: u64,
    /// How often an answer came in time.
    pub answered: u64,
    /// When it was first asked.
    pub first: Option<Time>,
    /// When it was last asked.
    pub last: Option<Time>,
    waiting: Option<Time>,
}

/// Error messages of the recorder's controller, by class (linux/can/error.h).
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ErrorFrames {
    /// All of them.
    pub total: u64,
    /// Transmission timed out.
    pub tx_timeout: u64,
    /// Lost arbitration.
    pub arbitration: u64,
    /// Controller problem: buffer overflow in the recorder.
    pub overflow: u64,
    /// Controller problem: warning level reached.
    pub warning: u64,
    /// Controller problem: error passive.
    pub passive: u64,
    /// Protocol violation.
    pub protocol: u64,
    /// Transceiver.
    pub transceiver: u64,
    /// No acknowledgement.
    pub no_ack: u64,
    /// Bus off.
    pub bus_off: u64,
    /// Bus error.
    pub bus_error: u64,
    /// Restarted after bus off.
    pub restarted: u64,
    /// Largest transmit and receive error counters that the controller told.
    pub counters: Option<(u8, u8)>,
    /// Stretches of error frames.
    pub bursts: Vec<Span>,
    /// Times at which the recorder says that it lost frames.
    pub lost_at: Vec<Time>,
}

/// One bus.
#[derive(Debug, Clone, Default)]
pub struct Bus {
    /// Data frames with an 11-bit identifier or remote frames: no NMEA 2000.
    pub foreign: u64,
    /// Claims in all.
    pub claims: u64,
    /// The first claims: when, which address, who.
    pub claim_list: Vec<(Time, u8, DeviceId)>,
    /// Starts, in order; at most `MAX_CLAIMS`.
    pub starts: Vec<Start>,
    /// Addresses that more than one NAME claims.
    pub contentions: Vec<Contention>,
    /// Nodes that say that they cannot claim an address, with the moments.
    pub homeless: Vec<(DeviceId, Time)>,
    /// Requests to single nodes, by node and PGN.
    pub requests: Vec<((DeviceId, u32), Requests)>,
    /// Error messages.
    pub errors: ErrorFrames,
    /// Multi-frame messages by sender address and PGN; filled in at the end.
    pub losses: Vec<StreamLosses>,
    /// Stretches in which frames of a fast packet came and no whole message; filled in at the end.
    pub broken: Vec<Broken>,
    /// Where the requests for a message stand in `requests`, and how many of them wait for an answer.
    request_index: FxHashMap<(DeviceId, u32), usize>,
    waiting: usize,
    /// Requests and contentions that found no room, and multi-frame messages whose losses are not told.
    pub unbooked: u64,
    asked_for_claims: Option<Asked>,
    asker: Option<Asker>,
    /// Claims that answer a request, unless whoever claims asked itself, as a node may that has just started.
    pub perhaps_starts: Vec<Start>,
    last_claim: FxHashMap<u8, (Time, Name, DeviceId)>,
    /// The last claim that took over what was sent from its address before.
    adoption: Option<Adoption>,
    /// Such claims that may have ousted who sent it.
    pub ousted: Ousted,
    /// Claims of addresses from which others still spoke.
    pub newcomers: Newcomers,
    /// Claims that took over what was sent before, until that shows to be their own.
    pub heirs: Heirs,
    /// Contests for an address, and who spoke from it after them.
    pub sharers: Sharers,
}

/// A claim of an address from which somebody had been heard who claimed nothing.
#[derive(Debug, Clone, Copy)]
pub struct Adoption {
    /// When.
    pub at: Time,
    /// The first such claim of those that contest each other.
    pub since: Time,
    /// The address.
    pub address: u8,
    /// Who claimed it.
    pub name: Name,
    /// The node that it was taken for.
    pub device: DeviceId,
    /// Whether it answered a request: who answers held the address before.
    pub answered: bool,
}

impl Bus {
    /// Notes a claim that took over what was sent from its address before.
    pub fn adopted(&mut self, adoption: Adoption) {
        self.adoption = Some(adoption);
    }

    /// The claim that another NAME contests now, by a claim of the same address: who spoke from it before defends it at once
    /// (fact sheet NMEA 2000, section 4).
    pub fn contested(&mut self, time: Time, address: u8, name: Name) -> Option<Adoption> {
        let is_it = |a: &Adoption| a.address == address && a.name != name && time.since(a.at) <= CONTENTION_S;
        self.adoption.take_if(|a| is_it(a))
    }

    /// Books a claim with another node than the one that it was taken for, and what that one claimed with the latter.
    pub fn rebook(&mut self, claim: Adoption, device: DeviceId) {
        self.exchange(claim.device, device);
    }

    /// Books claims with the other one of two nodes: the one that claimed first had not spoken from its address before (see
    /// [`Ousted`]).
    pub fn moved(&mut self, it: &Move, newcomer: DeviceId) {
        let past = it.from.device;
        self.exchange(past, newcomer);
        // Who goes on from another address has not started.
        self.starts.retain(|start| (start.device, start.at) != (past, it.at));
        self.adoption.take_if(|adoption| adoption.device == past);
    }

    /// Books claims with the other one of two nodes: the one that claimed had not spoken from its address before.
    pub fn parted(&mut self, heir: Heir, newcomer: DeviceId) {
        self.exchange(heir.device, newcomer);
        self.adoption.take_if(|adoption| adoption.device == heir.device);
        if heir.gave_up.is_none() {
            self.heirs.leave(Left { address: heir.address, device: heir.device, sent: heir.sent });
        }
    }

    /// Books what each of two nodes claimed with the other one; the newcomer was not heard before it claimed.
    fn exchange(&mut self, past: DeviceId, newcomer: DeviceId) {
        let swap = |id: &mut DeviceId| {
            *id = match *id {
                id if id == past => newcomer,
                id if id == newcomer => past,
                id => id,
            };
        };
        self.claim_list.iter_mut().for_each(|(_, _, by)| swap(by));
        self.homeless.iter_mut().for_each(|(by, _)| swap(by));
        self.last_claim.values_mut().for_each(|(_, _, by)| swap(by));
        self.contentions.iter_mut().for_each(|c| c.rename(swap));
        self.sharers.rename(swap);
        self.starts.iter_mut().chain(&mut self.perhaps_starts).for_each(|start| swap(&mut start.device));
        for start in self.starts.iter_mut().filter(|start| start.device == newcomer) {
            start.silent_since = None;
        }
    }

    /// Whether a message may be of another node than the one that claimed its address last.
    #[inline(always)]
    pub const fn waits(&self) -> bool {
        self.ousted.waits() || self.newcomers.waits() || self.heirs.waits() || self.sharers.waits()
    }

    /// Whether a claim of an address answers a request. One that comes after another NAME's answer does not: that one held it.
    #[must_use]
    pub fn answers(&self, time: Time, address: u8, name: Name) -> bool {
        let answered = |asked: Time| {
            self.last_claim.get(&address).is_some_and(|(at, other, _)| *other != name && *at >= asked)
        };
        self.was_asked(time, address) && !self.asked_for_claims.is_some_and(|asked| answered(asked.at))
    }

    /// Whether somebody asked for the claim of an address just before.
    fn was_asked(&self, time: Time, address: u8) -> bool {
        self.asked_for_claims.is_some_and(|asked| {
            time.since(asked.at) <= ANSWER_S && (asked.of == GLOBAL || asked.of == address)
        })
    }

    /// The last frame of a node, or where all that it sent since a pause were requests from its address just now, the last one before
    /// these: one that starts with the address that it had may ask before it claims it again.
    #[must_use]
    pub fn silent_since(&self, time: Option<Time>, address: u8, device: &Device) -> Option<Time> {
        let just_now = |asker: &Asker| {
            asker.by == address
                && device.last == Some(asker.last)
                && time.is_some_and(|time| time.since(asker.first) <= ANSWER_S)
        };
        let before = self.asker.filter(just_now).and_then(|asker| {
            let pauses = device.gaps.over(0.0);
            pauses.iter().find(|pause| pause.to == asker.first).map(|pause| pause.from)
        });
        before.or(device.last)
    }

    /// Whether a node that was silent since a moment may itself have asked for all claims before it made its own, as one may that
    /// starts (ISO 11783-5 4.4): without an address, or from the one that it claims.
    fn may_have_asked(&self, address: u8, silent_since: Option<Time>) -> bool {
        let by_it = |by: u8| by == NULL_ADDRESS || by == address;
        let asked = self.asked_for_claims.filter(|asked| by_it(asked.by) && asked.of == GLOBAL);
        asked.zip(silent_since).is_some_and(|(asked, since)| asked.at.since(since) > ANSWER_S)
    }

    /// Books a request for a message.
    pub fn request(
        &mut self,
        time: Option<Time>,
        (by, destination): (u8, u8),
        asked: Option<DeviceId>,
        pgn: u32,
    ) {
        let Some(time) = time else { return };
        let again = self.asker.filter(|asker| asker.by == by && time.since(asker.first) <= ANSWER_S);
        self.asker = Some(Asker { by, first: again.map_or(time, |asker| asker.first), last: time });
        if pgn == 60_928 {
            self.asked_for_claims = Some(Asked { at: time, by, of: destination });
        }
        let Some(asked) = asked.filter(|_| destination != GLOBAL) else { return };
        let key = (asked, pgn);
        let next = self.requests.len();
        let index = match self.request_index.get(&key) {
            Some(index) => *index,
            None if next >= MAX_REQUESTS => return,
            None => {
                self.request_index.insert(key, next);
                self.requests.push((key, Requests::default()));
                next
            }
        };
        if let Some((_, requests)) = self.requests.get_mut(index) {
            requests.asked += 1;
            self.waiting += usize::from(requests.waiting.is_none());
            requests.waiting = Some(time);
            requests.first.get_or_insert(time);
            requests.last = Some(time);
        } else {
            self.unbooked += 1;
        }
    }

    /// Books a message that may answer a request: the message itself, or an acknowledgement that names it.
    #[inline]
    pub fn answer(&mut self, time: Option<Time>, sender: DeviceId, pgn: u32) {
        if let Some(time) = time.filter(|_| self.waiting > 0) {
            self.answer_waiting(time, sender, pgn);
        }
    }

    fn answer_waiting(&mut self, time: Time, sender: DeviceId, pgn: u32) {
        let index = self.request_index.get(&(sender, pgn)).copied();
        if let Some((_, requests)) = index.and_then(|index| self.requests.get_mut(index))
            && let Some(asked) = requests.waiting.take()
        {
            self.waiting -= 1;
            requests.answered += u64::from(time.since(asked) <= ANSWER_S);
        }
    }

    /// Books an address claim. `silent_since` is the node's last frame before it.
    pub fn claim(
        &mut self,
        time: Option<Time>,
        address: u8,
        name: Name,
        device: DeviceId,
        silent_since: Option<Time>,
    ) {
        self.claims += 1;
        let Some(time) = time else { return };
        bounded::push(&mut self.claim_list, MAX_CLAIMS, (time, address, device));
        if address == NULL_ADDRESS {
            bounded::push(&mut self.homeless, MAX_CLAIMS, (device, time));
            return;
        }
        let before = self.last_claim.insert(address, (time, name, device));
        let rival = before
            .filter(|(at, other, known)| *other != name && *known != device && time.since(*at) <= TUG_S);
        if let Some((at, _, other)) = rival {
            let new = || Contention::new(address, other, at);
            let contention =
                bounded::entry(&mut self.contentions, MAX_CONTENTIONS, |c| c.address == address, new);
            let booked = contention.is_some_and(|contention| contention.claim(device, time));
            self.unbooked += u64::from(!booked);
        } else if let Some(contention) =
            self.contentions.iter_mut().find(|c| c.address == address && c.knows(device))
        {
            contention.claim(device, time);
        }
        let asked = self.was_asked(time, address);
        let contended = rival.is_some_and(|(at, _, _)| time.since(at) <= CONTENTION_S)
            || self.sharers.is_ousted(time, device, address);
        let has_asked =
            self.asker.is_some_and(|asker| asker.by == address && time.since(asker.last) <= ANSWER_S);
        let is_renamed = before.is_some_and(|(_, other, known)| other != name && known == device);
        let start = Start { device, silent_since, at: time, has_asked, is_renamed };
        if !asked && !contended {
            bounded::push(&mut self.starts, MAX_CLAIMS, start);
        } else if !contended && self.may_have_asked(address, silent_since) {
            bounded::push(&mut self.perhaps_starts, MAX_CLAIMS, start);
        }
    }

    /// Books an error message of the controller: its classes and data bytes.
    pub fn error(&mut self, time: Option<Time>, classes: u32, data: &[u8]) {
        let errors = &mut self.errors;
        errors.total += 1;
        let byte = |i: usize| data.get(i).copied().unwrap_or(0);
        let has = |bit: u32| classes & bit != 0;
        errors.tx_timeout += u64::from(has(0x001));
        errors.arbitration += u64::from(has(0x002));
        if has(0x004) {
            errors.overflow += u64::from(byte(1) & 0x01 != 0);
            errors.warning += u64::from(byte(1) & 0x0C != 0);
            errors.passive += u64::from(byte(1) & 0x30 != 0);
        }
        errors.protocol += u64::from(has(0x008));
        errors.transceiver += u64::from(has(0x010));
        errors.no_ack += u64::from(has(0x020));
        errors.bus_off += u64::from(has(0x040));
        errors.bus_error += u64::from(has(0x080));
        errors.restarted += u64::from(has(0x100));
        if has(0x200) {
            let (tx, rx) = errors.counters.unwrap_or((0, 0));
            errors.counters = Some((tx.max(byte(6)), rx.max(byte(7))));
        }
        let Some(time) = time else { return };
        if has(0x004) && byte(1) & 0x01 != 0 {
            bounded::push(&mut errors.lost_at, MAX_BURSTS, time);
        }
        bounded::stretch(&mut errors.bursts, MAX_BURSTS, Span::new(time, time), BURST_S);
    }

    /// Books what a network message tells about requests; claims go to [`claim`](Self::claim).
    pub fn network(&mut self, time: Option<Time>, sender: DeviceId, message: &NetworkMessage) {
        if let NetworkMessage::Acknowledge { pgn, .. } = message {
            self.answer(time, sender, *pgn);
        }
    }
}

/// The buses of a run, by wire.
pub type Buses = ByWire<Bus>;

#[cfg(test)]
mod tests {
    use super::*;

    const A: Name = Name(0xC078_8C00_EF98_8350);
    const B: Name = Name(0x4078_8200_F769_AE1D);

    fn at(seconds: f64) -> Option<Time> {
        Some(Time(0).plus(seconds))
    }

    #[test]
    fn an_answer_is_no_start() {
        let mut bus = Bus::default();
        bus.request(at(10.0), (7, GLOBAL), None, 60_928);
        bus.claim(at(10.1), 28, A, DeviceId(0), at(10.0));
        assert!(bus.starts.is_empty());
        bus.claim(at(60.0), 28, A, DeviceId(0), at(55.0));
        assert_eq!(
            bus.starts,
            [Start {
                device: DeviceId(0),
                silent_since: at(55.0),
                at: at(60.0).unwrap(),
                has_asked: false,
                is_renamed: false
            }]
        );
        assert!(bus.contentions.is_empty());
    }

    #[test]
    fn two_names_on_one_address_contend() {
        let mut bus = Bus::default();
        for i in 0..5 {
            bus.claim(at(f64::from(i) * 20.0), 28, A, DeviceId(0), None);
            bus.claim(at(f64::from(i) * 20.0 + 0.1), 28, B, DeviceId(1), None);
        }
        let c = &bus.contentions[0];
        assert_eq!((c.address, c.tugs[0].changes), (28, 9));
        assert_eq!(c.claimants.iter().map(|c| c.claims).collect::<Vec<_>>(), [5, 5]);
    }

    #[test]
    fn requests_wait_for_their_answers() {
        let mut bus = Bus::default();
        for (i, answered) in [true, false, true].into_iter().enumerate() {
            let t = i as f64 * 5.0;
            bus.request(at(t), (7, 40), Some(DeviceId(3)), 126_996);
            if answered {
                bus.answer(at(t + 0.3), DeviceId(3), 126_996);
            }
        }
        let (_, requests) = bus.requests[0];
        assert_eq!((requests.asked, requests.answered), (3, 2));
    }

    #[test]
    fn error_classes_are_counted() {
        let mut bus = Bus::default();
        bus.error(at(1.0), 0x204, &[0, 0x10, 0, 0, 0, 0, 12, 128]);
        bus.error(at(2.0), 0x0A8, &[0, 0, 4, 0x19, 0, 0, 0, 0]);
        bus.error(at(30.0), 0x004, &[0, 1]);
        let e = &bus.errors;
        assert_eq!((e.total, e.passive, e.no_ack, e.bus_error, e.protocol, e.overflow), (3, 1, 1, 1, 1, 1));
        assert_eq!(e.counters, Some((12, 128)));
        assert_eq!(e.bursts.len(), 2);
    }
}
