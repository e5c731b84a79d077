//! Two NAMEs on one address, and neither gives way.

use super::two_in_turn::InTurn;
use super::words::{labels, number};
use super::{Detector, Doc, Evidence, Finding, two_in_turn};
use crate::books::Books;
use crate::books::bus::Bus;
use crate::books::contention::{Contention, Tug};
use crate::books::inventory::DeviceId;
use crate::books::sharers::Shared;
use crate::report::model::Severity;
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "address-conflict",
        severity: "fault",
        meaning: "Two devices of the bus speak with one address. Every listener takes both for the same device: values of one \
                  are hidden by, or mixed with, those of the other.",
        detection: "Address claims of two NAMEs for one address that go on: both keep it after the claims, or they take it from \
                    each other four times or more; a third one that tries it and gives up is no part of it. Or the loser of a \
                    contest goes on speaking from the address for 2 s or more before it moves: messages come that the other \
                    one never sent. Or one claims an address from which another one speaks, which goes on without a pause and claims \
                    no other: messages come that it never sent, or its own come half as often again. Or, without any claim: the headings, positions or depths from one address change all \
                    the time between two that lie apart, and come as often as those of two.",
        lookalikes: "A short contest at power-up, after which one of the two moves to another address: that is how addresses are \
                     shared out. A device that was exchanged for another while recording. A device whose instance was changed: \
                     its NAME changes with it. A device that gives up: address-claim-failed. A gateway that hands on two sensors of \
                     another network with its own address.",
        checks: "Unplug one of the two and look whether the other's data come steadily. Update the software of both; give one of \
                 them another address or instance, where its menu allows.",
        cautions: "Switch the bus off before you open its connectors. Until it is solved trust neither of the two devices for \
                   steering or depth.",
    },
    complaints: &[
        "no-heading",
        "no-position",
        "no-depth",
        "heading-jumps",
        "position-jumps",
        "data-drops-out",
    ],
    detect,
};

/// The address goes to and fro this often in a quarrel; a normal contest is over after claim, defence and retreat (two
/// changes, ISO 11783-5 4.4).
const QUARREL_CHANGES: u64 = 4;

/// A contest may still be open when the recording ends so soon after it, seconds (a requester waits 1.25 s,
/// ISO 11783-5 4.4; the loser's next claim another 0.25 s).
const OPEN_S: f64 = 2.0;

/// Both speak from an address for so long after they contested it, seconds: the loser sends nothing until it has another address,
/// and has it within a fraction of this (ISO 11783-5 4.4: 250 ms).
const STAYS_S: f64 = 2.0;

/// So many messages of the loser are no stray ones.
const STAYS_MESSAGES: u64 = 3;

/// The bits of a NAME that stay with a device whatever its settings: unique number and manufacturer.
const OWN_BITS: u64 = 0xFFFF_FFFF;

/// Those of an address's claimants who do not give way, and how they contend.
struct Quarrel<'a> {
    address: u8,
    /// Their claims of it.
    claims: u64,
    /// Each two that do not give way to each other.
    tugs: Vec<&'a Tug>,
    /// All of them.
    devices: Vec<DeviceId>,
    /// The contests after which both spoke from the address.
    shared: Vec<&'a Shared>,
}

impl<'a> Quarrel<'a> {
    /// The quarrel in a contention, if there is one. Who claimed the address and gave way is no part of it, whatever the others
    /// had to claim against it.
    fn of(books: &Books, bus: &'a Bus, contention: &'a Contention, end: Option<Time>) -> Option<Self> {
        let lasts = |tug: &&Tug| lasts(books, bus, contention.address, tug, end);
        let tugs: Vec<&Tug> = contention.tugs.iter().filter(lasts).collect();
        let stays = |device: &DeviceId| tugs.iter().any(|tug| tug.devices.contains(device));
        let devices: Vec<_> = contention.claimants.iter().map(|c| c.device).filter(stays).collect();
        let shared = tugs.iter().flat_map(|tug| shared(bus, contention.address, tug.devices)).collect();
        let theirs = contention.claimants.iter().filter(|c| devices.contains(&c.device));
        let claims = theirs.map(|c| c.claims).sum();
        (!tugs.is_empty()).then_some(Self { address: contention.address, claims, tugs, devices, shared })
    }

    /// The quarrel of two who let each other's claims pass.
    fn unclaimed(bus: &'a Bus, both: &'a Shared) -> Option<Self> {
        let (address, devices) = (both.address, [both.holder, both.newcomer]);
        let of_two = |tug: &Tug| tug.devices.iter().all(|device| devices.contains(device));
        let contended = bus.contentions.iter().any(|c| c.address == address && c.tugs.iter().any(of_two));
        let first = shared(bus, address, devices).next().is_some_and(|first| std::ptr::eq(first, both));
        if contended || !first || devices.iter().any(|device| is_homeless(bus, *device)) {
            return None;
        }
        let claims = bus.claim_list.iter().filter(|(_, at, by)| *at == address && devices.contains(by));
        let (claims, shared) = (claims.count() as u64, shared(bus, address, devices).collect());
        Some(Self { address, claims, tugs: Vec::new(), devices: devices.to_vec(), shared })
    }

    fn changes(&self) -> u64 {
        self.tugs.iter().map(|tug| tug.changes).max().unwrap_or(0)
    }

    fn span(&self) -> Option<Span> {
        let spoken = self.shared.iter().filter_map(|s| Some(Span::new(s.at, s.both()?.to)));
        // What they claim after one of them has moved is no quarrel.
        let claimed = self.tugs.iter().filter(|tug| self.goes_on(tug)).map(|tug| tug.span);
        let spans: Vec<Span> = spoken.chain(claimed).collect();
        let from = spans.iter().map(|span| span.from).min()?;
        Some(Span::new(from, spans.iter().map(|span| span.to).max()?))
    }

    /// Whether two contend by their claims.
    fn goes_on(&self, tug: &Tug) -> bool {
        tug.changes >= QUARREL_CHANGES || !self.shared.iter().any(|shared| shared.is_between(tug.devices))
    }

    /// What shows that it is a quarrel.
    fn seen(&self, books: &Books, span: Span) -> String {
        let changes = self.changes();
        let stay = match self.tugs.as_slice() {
            [] => !moved(books, self.address, &self.devices),
            tugs => tugs.iter().any(|tug| !moved(books, self.address, &tug.devices)),
        };
        let end = if stay { "nobody moved away for good" } else { "one of them moved away in the end" };
        if self.tugs.is_empty() {
            return format!("Neither defended it when the other one claimed it, and {end}.");
        }
        let over = format!("{} claims over {} s", self.claims, number(span.seconds(), 0));
        format!("{over}; the address went from one to another {changes} times and {end}.")
    }
}

/// The contests of two for an address after which both spoke from it.
fn shared(bus: &Bus, address: u8, devices: [DeviceId; 2]) -> impl Iterator<Item = &Shared> {
    bus.sharers.iter().filter(move |shared| {
        let both = || shared.both().is_some_and(|both| both.seconds() >= STAYS_S);
        let enough = shared.messages >= STAYS_MESSAGES || shared.times_as_often().is_some();
        shared.address == address && shared.is_between(devices) && enough && both()
    })
}

/// Whether one of those that contended for an address has another one now.
fn moved(books: &Books, address: u8, devices: &[DeviceId]) -> bool {
    devices.iter().any(|id| books.inventory.get(*id).and_then(|device| device.address()) != Some(address))
}

/// Whether a node found no address.
fn is_homeless(bus: &Bus, id: DeviceId) -> bool {
    bus.homeless.iter().any(|(device, _)| *device == id)
}

/// Whether two go on to contend, so that it is a fault and no start-up contest.
fn lasts(books: &Books, bus: &Bus, address: u8, tug: &Tug, end: Option<Time>) -> bool {
    if tug.devices.iter().any(|id| is_homeless(bus, *id)) {
        return false;
    }
    if tug.changes >= QUARREL_CHANGES || shared(bus, address, tug.devices).next().is_some() {
        return true;
    }
    let keepers: Vec<_> = tug
        .devices
        .iter()
        .filter_map(|id| books.inventory.get(*id))
        .filter(|device| device.address() == Some(address))
        .filter_map(|device| device.name())
        .collect();
    let apart = keepers.iter().any(|a| keepers.iter().any(|b| a.0 & OWN_BITS != b.0 & OWN_BITS));
    // A single change may be an exchange of devices, unless both claimed within one round of answers.
    let both_there = tug.changes >= 2 || tug.at_once;
    // Who contends anew, and kept the address since the last time, has settled nothing.
    let settled = end.is_some_and(|end| end.since(tug.span.to) > OPEN_S) || tug.span.seconds() > OPEN_S;
    keepers.len() >= 2 && apart && both_there && settled
}

fn quarrels(books: &Books) -> impl Iterator<Item = Quarrel<'_>> {
    books.buses.iter().flat_map(move |(wire, bus)| {
        let end = books.wires.get(wire).and_then(|w| w.last);
        let contended = bus.contentions.iter().filter_map(move |c| Quarrel::of(books, bus, c, end));
        contended.chain(bus.sharers.iter().filter_map(move |both| Quarrel::unclaimed(bus, both)))
    })
}

/// Whether a device contends for its address with another that does not give way.
pub(super) fn involves(books: &Books, id: DeviceId) -> bool {
    rivals(books, id).next().is_some()
}

/// Those who contend for an address, this device among them, and do not give way.
pub(super) fn rivals(books: &Books, id: DeviceId) -> impl Iterator<Item = Vec<DeviceId>> {
    quarrels(books).map(|quarrel| quarrel.devices).filter(move |devices| devices.contains(&id))
}

/// Whether two devices contend for one address: whose values are whose is not known.
pub(super) fn between(books: &Books, one: DeviceId, other: DeviceId) -> bool {
    let claims = |c: &Contention, id: DeviceId| c.claimants.iter().any(|claimant| claimant.device == id);
    books.buses.iter().any(|(_, bus)| {
        bus.contentions.iter().any(|c| claims(c, one) && claims(c, other))
            || bus.sharers.iter().any(|both| shared(bus, both.address, [one, other]).next().is_some())
    })
}

/// What shows that both spoke from an address after they contested it.
fn spoken(books: &Books, shared: &Shared) -> String {
    let both = shared.both().map_or(0.0, Span::seconds);
    let messages: Vec<_> = shared.heard.iter().map(u32::to_string).collect();
    let newcomer = books.inventory.label(shared.newcomer);
    let both = format!("Both spoke from it for {} s after both had claimed it", number(both, 1));
    match shared.times_as_often() {
        Some(times) if shared.messages < STAYS_MESSAGES => {
            format!("{both}: since {newcomer} has, its messages come {} times as often.", number(times, 1))
        }
        _ => format!(
            "{both}: of {newcomer}, {} messages that the other one had never sent ({}).",
            shared.messages,
            messages.join(", ")
        ),
    }
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for quarrel in quarrels(books) {
        let Some(span) = quarrel.span() else { continue };
        let names: Vec<_> = quarrel
            .devices
            .iter()
            .filter_map(|id| Some(format!("{:016X}", books.inventory.get(*id)?.name()?.0)))
            .collect();
        let who = labels(books, &quarrel.devices);
        let address = quarrel.address;
        let mut finding = Finding::new(
            Severity::Fault,
            format!("{} devices use address {address}: {who}", quarrel.devices.len()),
        )
        .devices(quarrel.devices.iter().copied())
        .messages(["60928".to_owned()])
        .count("address", u64::from(address))
        .count("claims", quarrel.claims)
        .spans([span])
        .evidence(format!("NAMEs that claim it: {}.", names.join(", ")))
        .evidence(quarrel.seen(books, span));
        for shared in &quarrel.shared {
            finding.evidence.push(spoken(books, shared));
        }
        findings.push(
            finding
                .evidence(
                    "Messages from this address cannot be told apart by sender; values of both are mixed.",
                )
                .check("Unplug one of the two devices: the other's data must then come steadily.")
                .check(
                    "Update both; give one of them another device instance or address where its menu allows.",
                ),
        );
    }
    for two in two_in_turn::all(evidence) {
        add_two_in_turn(evidence, &mut findings, &two);
    }
    findings
}

/// One address whose values are those of two devices: with one NAME, or with none, the claims do not tell them apart.
fn add_two_in_turn(evidence: &Evidence<'_>, findings: &mut Vec<Finding>, two: &InTurn<'_>) {
    let books = evidence.books;
    let device = two.source.key.device;
    let Some(address) = two.address(evidence) else { return };
    if let Some(told) = findings.iter_mut().find(|f| f.devices.contains(&device)) {
        told.evidence.push(two.seen());
        return;
    }
    let who = books.inventory.label(device);
    let claims = books
        .buses
        .iter()
        .flat_map(|(_, bus)| &bus.claim_list)
        .filter(|(_, at, id)| *at == address && *id == device);
    findings.push(
        Finding::new(
            Severity::Fault,
            format!("Two devices speak with address {address}: the {}s of {who} are two, {} apart", two.source.key.quantity, two.apart()),
        )
        .devices([device])
        .messages([two.source.key.message.to_string()])
        .count("address", u64::from(address))
        .count("claims", claims.count() as u64)
        .spans(two.turns.spans.iter().copied())
        .evidence(two.seen())
        .evidence("Every listener takes them for one device; which value is whose does not show.")
        .evidence("A gateway that hands on two sensors with its own address would look alike.")
        .check("Unplug one of the devices that send this: where the values then come half as often and steady, it was one of the two.")
        .check("Two of one make with equal settings may bear one NAME: give one of them another device instance, or let its maker set it anew."),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::wires::WireId;
    use crate::findings::judge;
    use crate::messages::n2k::Name;
    use crate::recording::WireKind;

    const A: Name = Name(0xC078_8C00_EF98_8350);
    const B: Name = Name(0x4078_8200_F769_AE1D);
    const C: Name = Name(0xC078_8200_0AB0_1234);

    /// Claims (second, address, NAME) on a bus that is recorded for 200 s.
    fn found(claims: &[(f64, u8, Name)]) -> Vec<Finding> {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        for &(at, address, name) in claims {
            let time = Some(Time(0).plus(at));
            let device = books.inventory.claim(wire, address, name).unwrap();
            books.buses.of(wire).claim(time, address, name, device, None);
        }
        for at in [0, 200_000_000] {
            books.wires.get_mut(WireId(0)).unwrap().frame(Some(Time(at)), 8, 131);
        }
        let evidence = Evidence::of(&books);
        let found = detect(&evidence);
        assert_eq!(
            judge(&books).findings.iter().filter(|f| f.kind == "address-conflict").count(),
            found.len()
        );
        found
    }

    #[test]
    fn two_that_both_stay_are_in_conflict() {
        let found = found(&[(5.0, 28, B), (5.04, 28, A), (41.0, 28, A), (41.03, 28, B)]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].numbers["claims"], crate::report::model::Number::Count(4));
    }

    #[test]
    fn a_contest_that_ends_is_how_it_should_be() {
        assert!(found(&[(5.0, 28, A), (20.0, 28, B), (20.1, 29, A)]).is_empty(), "the lower NAME wins");
        assert!(found(&[(5.0, 28, B), (20.0, 28, A), (20.1, 28, B), (20.3, 29, A)]).is_empty(), "a defence");
    }

    #[test]
    fn an_exchange_is_no_conflict() {
        assert!(found(&[(5.0, 28, A), (90.0, 28, B)]).is_empty());
        let renamed = Name(A.0 | 0x0000_0001_0000_0000);
        assert!(found(&[(5.0, 28, A), (6.0, 28, renamed)]).is_empty(), "another device instance");
    }

    #[test]
    fn who_gives_up_is_no_part_of_it() {
        let two = [(5.0, 28, B), (5.04, 28, A), (41.0, 28, A), (41.03, 28, B)];
        let third = |at, moves_to| [(at, 28, C), (at + 0.01, 28, A), (at + 0.15, moves_to, C)];
        for moves_to in [29, crate::messages::n2k::NULL_ADDRESS] {
            let found = found(&[two.as_slice(), &third(60.0, moves_to)].concat());
            assert_eq!((found.len(), found[0].devices.len()), (1, 2));
            assert_eq!(found[0].numbers["claims"], crate::report::model::Number::Count(5));
            let settled = [(5.0, 28, A), (20.0, 28, B), (20.1, 28, A), (20.3, 29, B)];
            assert!(self::found(&[settled.as_slice(), &third(60.0, moves_to)].concat()).is_empty());
        }
    }

    #[test]
    fn a_tug_without_end_is_a_conflict() {
        let claims: Vec<_> = (0..6).map(|i| (f64::from(i), 28, if i % 2 == 0 { A } else { B })).collect();
        assert_eq!(found(&claims).len(), 1);
    }
}
