//! CAN frames into the books.

mod usual;

use super::Intake;
use super::ledger::{Origin, Place, Told};
use super::scribe::Scribe;
use crate::books::bus::{Adoption, Bus};
use crate::books::heirs::{Heir, Left};
use crate::books::inventory::{DeviceId, Inventory};
use crate::books::ousted::Takeover;
use crate::books::wires::{Wire, WireId};
use crate::books::{Books, Rewinds};
use crate::frames::{FrameBits, MANY, ManyBits};
use crate::messages::n2k::{self, Assembler, CanId, Message, NetworkMessage, Standing};
use crate::recording::{CanKind, LentFrame};
use crate::time::Time;
use rustc_hash::FxHashSet;

/// Counts the bits of frames.
#[derive(Default)]
pub(super) struct Bits(FrameBits);

impl Bits {
    /// The bits that a frame takes on the wire; none for an error message of the recorder's controller.
    pub(super) fn of(&mut self, frame: &LentFrame<'_>) -> u64 {
        let (extended, remote) = match frame.kind {
            CanKind::Error => return 0,
            CanKind::Extended => (true, false),
            CanKind::Standard => (false, false),
            CanKind::Remote => (frame.id > 0x7FF, true),
        };
        u64::from(self.0.of(frame.id, extended, remote, frame.data))
    }
}

/// Counts the bits of many frames, most of them together.
pub(super) struct BitsOfMany {
    bits: Bits,
    /// The usual ones, extended data frames of eight bytes, that wait until there are enough.
    waiting: ManyBits,
    /// Where the bits of each go.
    places: [usize; MANY],
    count: usize,
}

impl Default for BitsOfMany {
    fn default() -> Self {
        Self { bits: Bits::default(), waiting: ManyBits::default(), places: [0; MANY], count: 0 }
    }
}

impl BitsOfMany {
    /// Puts the bits that a frame takes on the wire at the end of `told`.
    pub(super) fn tell(&mut self, frame: &LentFrame<'_>, told: &mut Vec<u64>) {
        told.push(self.bits.of(frame));
    }

    /// As [`tell`](Self::tell), of usual frames in a row: it leaves places for them.
    #[inline(always)]
    pub(super) fn usual<'a>(
        &mut self,
        frames: &mut impl Iterator<Item = (u32, &'a [u8; 8])>,
        told: &mut Vec<u64>,
    ) {
        loop {
            let end = self.waiting.add(self.count, frames.by_ref());
            let places = self.places.get_mut(self.count..end).unwrap_or_default();
            for (place, at) in places.iter_mut().zip(told.len()..) {
                *place = at;
            }
            told.resize(told.len() + places.len(), 0);
            self.count = end;
            if end < MANY {
                return;
            }
            self.settle(told);
        }
    }

    /// Fills the places that are left.
    #[inline(never)]
    pub(super) fn settle(&mut self, told: &mut [u64]) {
        let Some((first, last)) = self.places.first().zip(self.places.get(self.count.wrapping_sub(1))) else {
            return;
        };
        let bits = self.waiting.bits();
        let bits = bits.iter().take(self.count);
        if last - first < self.count {
            // Nothing stands between them, as nearly always.
            for (told, bits) in told.get_mut(*first..=*last).unwrap_or_default().iter_mut().zip(bits) {
                *told = u64::from(*bits);
            }
        } else {
            for (bits, place) in bits.zip(&self.places) {
                if let Some(place) = told.get_mut(*place) {
                    *place = u64::from(*bits);
                }
            }
        }
        self.count = 0;
    }
}

/// What the identifiers say that come again and again, each in the one place that it leads to.
pub(super) struct Identifiers {
    known: Box<[Known; IDENTIFIERS]>,
    /// Those that had to make room for another one.
    ousted: FxHashSet<u32>,
}

/// Places for identifiers: many more than most buses have, so that few share one.
pub(super) const IDENTIFIERS: usize = 1024;

/// Most identifiers that are remembered after they had to make room: several times as many as a full bus has.
const MAX_OUSTED_IDENTIFIERS: usize = 4096;

/// The identifier of an empty place, which nothing has.
const NOTHING: u32 = u32::MAX;

/// What an identifier says, and what its PGN means for the way of its frames.
#[derive(Clone, Copy)]
struct Known {
    /// The identifier as it stands in a frame.
    bits: u32,
    id: CanId,
    /// See [`Assembler::is_whole`].
    is_whole: bool,
    /// See [`n2k::is_network`].
    is_network: bool,
    standing: Standing,
}

impl Known {
    fn new(bits: u32) -> Self {
        let id = CanId::from_bits(bits);
        let (is_whole, is_network) = (Assembler::is_whole(id.pgn), n2k::is_network(id.pgn));
        Self { bits, id, is_whole, is_network, standing: Standing::of(id.pgn) }
    }
}

impl Default for Identifiers {
    fn default() -> Self {
        let known = Box::new([Known { bits: NOTHING, ..Known::new(0) }; IDENTIFIERS]);
        Self { known, ousted: FxHashSet::default() }
    }
}

impl Identifiers {
    /// What an identifier says, and its place.
    #[inline(always)]
    fn of(&mut self, bits: u32) -> (Known, u16) {
        // The upper bits of a product with an odd number depend on all bits.
        let place = bits.wrapping_mul(0x9E37_79B1) >> (u32::BITS - IDENTIFIERS.ilog2());
        let Some(known) = self.known.get_mut(place as usize) else { return (Known::new(bits), 0) };
        if known.bits != bits {
            let before = std::mem::replace(known, Known::new(bits)).bits;
            if before != NOTHING && self.ousted.len() < MAX_OUSTED_IDENTIFIERS {
                self.ousted.insert(before);
            }
        }
        (*known, place as u16)
    }
}

impl Identifiers {
    /// The messages that came from an address by identifiers that are known; what a node says of itself and the network is none.
    fn sent_from(&self, address: u8) -> Vec<u32> {
        let ousted = self.ousted.iter().map(|bits| Known::new(*bits));
        let known = self.known.iter().copied().filter(|known| known.bits != NOTHING).chain(ousted);
        let mut sent: Vec<u32> =
            known.filter(|k| k.id.source == address && !k.is_network).map(|k| k.id.pgn).collect();
        sent.sort_unstable();
        sent.dedup();
        sent
    }

    /// Whether those are all: what is not among them has not come.
    fn are_all(&self) -> bool {
        self.ousted.len() < MAX_OUSTED_IDENTIFIERS
    }
}

/// One bus, and what its frames are booked with.
struct Desk<'a> {
    wire: Option<&'a mut Wire>,
    rewinds: &'a mut Rewinds,
    identifiers: &'a mut Identifiers,
    assembler: &'a mut Assembler,
    /// As [`Bus::waits`], which only claims and what is settled after them change.
    waits: bool,
    messages: Messages<'a>,
}

/// What the messages of a bus are booked with.
struct Messages<'a> {
    wire: WireId,
    bus: &'a mut Bus,
    inventory: &'a mut Inventory,
    scribe: &'a mut Scribe,
    /// The record that is being taken in.
    place: &'a mut Place,
}

impl Intake {
    #[inline(always)]
    fn desk(&mut self, wire: WireId) -> Desk<'_> {
        let Books { wires, inventory, buses, rewinds, .. } = &mut self.books;
        let (bus, scribe, place) = (buses.of(wire), &mut self.scribe, &mut self.place);
        Desk {
            wire: wires.get_mut(wire),
            rewinds,
            identifiers: &mut self.identifiers,
            assembler: self.assemblers.of(wire),
            waits: bus.waits(),
            messages: Messages { wire, bus, inventory, scribe, place },
        }
    }

    /// Books a CAN frame of a wire, which takes so many bits on it.
    pub(super) fn can(&mut self, wire: WireId, time: Option<Time>, frame: &LentFrame<'_>, bits: u64) {
        self.desk(wire).frame(time, frame, bits);
    }
}

impl Desk<'_> {
    #[inline(never)]
    fn frame(&mut self, time: Option<Time>, frame: &LentFrame<'_>, bits: u64) {
        if let Some(wire) = &mut self.wire {
            wire.frame(time, frame.data.len() as u64, bits);
        }
        match frame.kind {
            CanKind::Extended => self.extended(time, frame.id, frame.data),
            CanKind::Error => self.messages.bus.error(time, frame.id, frame.data),
            CanKind::Standard | CanKind::Remote => self.messages.bus.foreign += 1,
        }
    }

    #[inline(always)]
    fn extended(&mut self, time: Option<Time>, id: u32, data: &[u8]) {
        let (Known { id, is_whole, is_network, standing, .. }, place) = self.identifiers.of(id);
        let messages = &mut self.messages;
        if id.pgn == 60_928 {
            messages.claim(time, id, data, self.identifiers);
            self.waits = messages.bus.waits();
            return;
        }
        let mut former = None;
        if self.waits {
            former = messages.settle(time, id);
            self.waits = messages.bus.waits();
        }
        let holder = || messages.inventory.node(messages.wire, id.source);
        let Some(device) = former.or_else(holder) else { return };
        messages.inventory.frame(device, time, data.len() as u64);
        if is_whole {
            self.assembler.pass(time);
            messages.message(time, device, &Message { id, data }, (standing, place), is_network);
            return;
        }
        self.part(time, device, id, data);
    }

    /// Takes a frame of a message that has several.
    #[inline(never)]
    fn part(&mut self, time: Option<Time>, device: DeviceId, id: CanId, data: &[u8]) {
        let Self { assembler, messages, .. } = self;
        // Who sends any frame of what it is asked for answers, be the others lost.
        messages.bus.answer(time, device, id.pgn);
        assembler.part(time, id, data, &mut |message| {
            let pgn = message.id.pgn;
            messages.message(time, device, &message, (Standing::of(pgn), 0), n2k::is_network(pgn));
        });
    }
}

impl Messages<'_> {
    #[cold]
    fn claim(&mut self, time: Option<Time>, id: CanId, data: &[u8], identifiers: &Identifiers) {
        let Some(NetworkMessage::Claim { name, .. }) = n2k::network(id, data) else { return };
        let (wire, address) = (self.wire, id.source);
        let contested = self.contested(time, address, name);
        let past = self.inventory.past_of(wire, address, name);
        // Who had answered and claims another address then was ousted.
        let had_answered = self.bus.ousted.had_answered(name);
        let answers = !had_answered && time.is_some_and(|at| self.bus.answers(at, address, name));
        let unasked = time.filter(|_| address != n2k::NULL_ADDRESS && !answers);
        let spoke = unasked.filter(|at| past.is_some_and(|past| self.inventory.still_speaks(past, *at)));
        let moves = had_answered || !self.inventory.knows(wire, name);
        if let Some(at) = unasked.filter(|_| moves) {
            // It may have gone on from there a moment before its claim.
            let first = past.and_then(|past| self.inventory.get(past)?.first);
            let before = |since| match first {
                Some(first) if first >= since => Vec::new(),
                _ => identifiers.sent_from(address),
            };
            self.bus.ousted.claimed(at, address, name, before);
        }
        let speaker = time.and_then(|at| self.inventory.speaker(wire, address, at));
        let heir = unasked.filter(|_| contested.is_none()).and_then(|at| {
            let spoke = spoke.is_some();
            self.heir(at, address, name, past, spoke, identifiers)
        });
        self.bus.heirs.claimed(name, address);
        if let Some(at) = time.filter(|_| address == n2k::NULL_ADDRESS && !answers && moves) {
            self.bus.heirs.cannot_claim(at, name);
        }
        if let Some(device) = self.inventory.nameless(wire, address).filter(|_| past.is_none()) {
            self.bus.heirs.leave(Left { address, device, sent: identifiers.sent_from(address) });
        }
        let Some(device) = self.inventory.claim(wire, address, name) else { return };
        if let Some(at) = time.filter(|_| past.is_some() || contested.is_some()) {
            let since = contested.map_or(at, |contested| contested.since);
            self.bus.adopted(Adoption { at, since, address, name, device, answered: answers });
        }
        if let Some(at) = spoke {
            let sent = identifiers.sent_from(address);
            let answered = contested.filter(|contested| contested.answered).map(|contested| contested.name);
            self.bus.ousted.taken_over(Takeover { at, address, device, sent, arrives: Vec::new(), answered });
        }
        if let Some(heir) = heir {
            self.bus.heirs.came(heir);
        }
        self.comes(time, address, device, speaker, identifiers);
        if let Some((left, holder)) = self.bus.sharers.claimed(device, address) {
            self.inventory.keeps(wire, left, holder);
        }
        if let Some((at, contested)) = time.zip(contested)
            && let Some(newcomer) = self.inventory.named(wire, contested.name)
        {
            self.contests(at, address, [device, newcomer], identifiers.sent_from(address));
        }
        let silent_since = self.inventory.get(device).and_then(|d| self.bus.silent_since(time, address, d));
        self.bus.answer(time, device, id.pgn);
        self.bus.claim(time, id.source, name, device, silent_since);
        self.inventory.frame(device, time, data.len() as u64);
    }

    /// The claim that one of this NAME contests, after which the past of the address is the latter's.
    fn contested(&mut self, time: Option<Time>, address: u8, name: n2k::Name) -> Option<Adoption> {
        let claim = self.bus.contested(time?, address, name)?;
        let Some(own) = self.inventory.hand_on(self.wire, &claim, name) else {
            self.bus.adopted(claim);
            return None;
        };
        self.bus.rebook(claim, own);
        self.bus.ousted.defended(address);
        self.bus.heirs.forget(address);
        Some(claim)
    }

    /// What a claim takes over: the past of the nameless node that holds its address, or of one that spoke from there earlier.
    fn heir(
        &mut self,
        at: Time,
        address: u8,
        name: n2k::Name,
        past: Option<DeviceId>,
        spoke: bool,
        identifiers: &Identifiers,
    ) -> Option<Heir> {
        let left = self.bus.heirs.left(address).filter(|_| past.is_none());
        let (device, sent) = match (past, left) {
            (Some(past), _) => (past, identifiers.sent_from(address)),
            (None, Some(left)) => (left.device, left.sent.clone()),
            (None, None) => return None,
        };
        if past.is_none() && !self.inventory.comes_back(self.wire, address, name, device) {
            return None;
        }
        let tells = identifiers.are_all() && self.inventory.has_started(device);
        let past = Box::new(self.inventory.get(device).filter(|_| tells)?.clone());
        Some(Heir {
            at,
            address,
            name,
            device,
            past,
            sent,
            came: Vec::new(),
            is_new: false,
            spoke,
            gave_up: None,
        })
    }

    /// Notes that a node defends the address from which it speaks against a newcomer.
    fn contests(&mut self, at: Time, address: u8, two: [DeviceId; 2], sent: Vec<u32>) {
        let [holder, newcomer] = two;
        if holder != newcomer && self.inventory.has_started(holder) {
            self.bus.sharers.contest(at, address, two, sent);
        }
    }

    /// Notes a device that claims an address from which another one spoke until now.
    fn comes(
        &mut self,
        time: Option<Time>,
        address: u8,
        device: DeviceId,
        speaker: Option<DeviceId>,
        identifiers: &Identifiers,
    ) {
        let former = self.bus.newcomers.former(address).or(speaker);
        let defended = self.bus.newcomers.claimed(time, device, address);
        if let Some((at, newcomer)) = time.zip(defended) {
            self.contests(at, address, [device, newcomer.device], newcomer.sent);
        }
        let former = former.filter(|former| *former != device && address != n2k::NULL_ADDRESS);
        if let Some((at, former)) = time.zip(former) {
            let sent = identifiers.sent_from(address);
            if let Some(manner) = self.inventory.manner(former) {
                self.bus.sharers.came(at, address, [former, device], sent.clone(), manner);
            }
            self.bus.newcomers.came(at, address, device, former, sent);
        }
    }

    /// Looks whether a message tells whose what came from an address before a newcomer's claim was. Gives the node that speaks, where that is
    /// not the one that claimed the address last.
    #[cold]
    fn settle(&mut self, time: Option<Time>, id: CanId) -> Option<DeviceId> {
        if let Some(it) = self.bus.ousted.settled(time, id.source, id.pgn)
            && let Some(newcomer) = self.inventory.moved(self.wire, &it)
        {
            self.bus.moved(&it, newcomer);
            self.bus.heirs.forget(it.from.address);
        }
        if let Some(heir) = self.bus.heirs.disproved(time, id.source, id.pgn)
            && !self.bus.ousted.may_have_left(heir.address)
            && let Some(newcomer) = self.inventory.part(&heir)
        {
            self.bus.parted(heir, newcomer);
        }
        let newcomer = self.bus.sharers.sender(time, id.source, id.pgn);
        newcomer.or_else(|| self.bus.newcomers.sender(time, id.source, id.pgn))
    }

    #[inline(always)]
    fn message(
        &mut self,
        time: Option<Time>,
        device: DeviceId,
        message: &Message<'_>,
        (standing, place): (Standing, u16),
        is_network: bool,
    ) {
        let (id, data) = (message.id, message.data);
        match data.as_array() {
            Some(data) => self.scribe.book_eight((device, time), self.place, (id.pgn, standing, place), data),
            None => {
                let origin = Origin { device, time, record: *self.place };
                self.scribe.book(origin, Told::Pgn(id.pgn, standing, data));
            }
        }
        if is_network && let Some(network) = n2k::network(id, data) {
            self.network(time, device, id, &network);
            if matches!(network, NetworkMessage::Request { .. }) {
                return;
            }
        }
        self.bus.answer(time, device, id.pgn);
    }

    #[cold]
    fn network(&mut self, time: Option<Time>, device: DeviceId, id: CanId, network: &NetworkMessage) {
        if let NetworkMessage::Request { pgn } = *network {
            let asked = (id.destination != n2k::GLOBAL)
                .then(|| self.inventory.node(self.wire, id.destination))
                .flatten();
            self.bus.request(time, (id.source, id.destination), asked, pgn);
            return;
        }
        self.inventory.describe(device, network);
        self.bus.network(time, device, network);
    }
}
