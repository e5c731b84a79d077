//! Findings that share a cause: the root is named in what follows from it, and comes first.

use super::Finding;
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::wires::WireId;
use crate::report::model::Severity;
use crate::time::Span;

/// What a root brings about, and how that is told.
struct Rule {
    root: &'static str,
    effects: &'static [&'static str],
    bond: Bond,
}

/// What two findings must have in common.
#[derive(Clone, Copy)]
enum Bond {
    /// Most of the effect's moments begin while the root lasts, or up to this many seconds after.
    Moments(f64),
    /// As `Moments`, on the root's wire or on one that it carries.
    MomentsOnWire(f64),
    /// As `Moments`, of the same device.
    MomentsOfDevice(f64),
    /// As `Moments`, where both devices supply the quantity: one hands on what the other measures.
    MomentsOf(&'static str, f64),
    /// A device.
    Device,
    /// A wire.
    Wire,
}

/// Devices start again within this time after their supply is back, seconds (common practice, no source).
const START_S: f64 = 15.0;

/// A gateway goes on with the last value for no longer than this when the sensor behind it is silent, seconds (common practice, no
/// source).
const HANDED_ON_S: f64 = 10.0;

/// Where two recorders' clocks could not be compared, everything must begin so soon, by the stamps as they are, seconds (common
/// practice, no source): what meets by chance meets now and then.
const BY_STAMPS_S: f64 = 5.0;

/// The nearest to the supply first: an effect is given to the first root that fits.
const RULES: &[Rule] = &[
    Rule {
        root: "low-supply-voltage",
        effects: &[
            "wire-outage",
            "bus-error",
            "device-restart",
            "device-dropout",
            "message-dropout",
            "link-flap",
            "fix-lost",
            "depth-not-available",
            "fast-packet-loss",
        ],
        bond: Bond::Moments(START_S),
    },
    Rule {
        root: "wire-outage",
        effects: &["link-flap", "device-restart", "device-dropout", "message-dropout", "fix-lost"],
        bond: Bond::MomentsOnWire(START_S),
    },
    Rule {
        root: "bus-error",
        effects: &["device-restart", "device-dropout", "message-dropout", "fast-packet-loss", "fix-lost"],
        bond: Bond::MomentsOnWire(5.0),
    },
    Rule { root: "bus-load-high", effects: &["fast-packet-loss", "irregular-message"], bond: Bond::Wire },
    Rule {
        root: "broadcast-storm",
        effects: &[
            "link-saturated",
            "link-flap",
            "device-dropout",
            "message-dropout",
            "irregular-message",
            "tcp-retransmission",
        ],
        bond: Bond::MomentsOnWire(5.0),
    },
    Rule {
        root: "link-saturated",
        effects: &["device-dropout", "message-dropout", "irregular-message", "tcp-retransmission"],
        bond: Bond::MomentsOnWire(5.0),
    },
    Rule {
        root: "line-overloaded",
        effects: &[
            "bad-checksum",
            "garbled-sentence",
            "irregular-message",
            "message-dropout",
            "slow-message",
        ],
        bond: Bond::Wire,
    },
    Rule {
        root: "address-conflict",
        effects: &[
            "address-claim-failed",
            "device-restart",
            "device-dropout",
            "message-dropout",
            "request-unanswered",
        ],
        bond: Bond::Device,
    },
    Rule {
        root: "ip-conflict",
        effects: &["link-flap", "device-dropout", "tcp-retransmission", "arp-unanswered"],
        bond: Bond::Device,
    },
    Rule { root: "heading-misaligned", effects: &["duplicate-heading-source"], bond: Bond::Device },
    Rule { root: "compass-deviation", effects: &["duplicate-heading-source"], bond: Bond::Device },
    Rule { root: "rival-dhcp-servers", effects: &["split-subnet", "ip-conflict"], bond: Bond::Wire },
    Rule { root: "dhcp-unanswered", effects: &["self-assigned-address"], bond: Bond::Device },
    Rule { root: "self-assigned-address", effects: &["split-subnet"], bond: Bond::Device },
    Rule {
        root: "device-restart",
        effects: &["device-dropout", "message-dropout", "fix-lost", "poor-fix"],
        bond: Bond::MomentsOfDevice(60.0),
    },
    Rule {
        root: "device-restart",
        effects: &["depth-not-available"],
        bond: Bond::MomentsOf("depth", HANDED_ON_S),
    },
    Rule { root: "device-restart", effects: &["fix-lost"], bond: Bond::MomentsOf("position", HANDED_ON_S) },
    Rule {
        root: "device-dropout",
        effects: &["depth-not-available"],
        bond: Bond::MomentsOf("depth", HANDED_ON_S),
    },
    Rule { root: "device-dropout", effects: &["fix-lost"], bond: Bond::MomentsOf("position", HANDED_ON_S) },
    Rule {
        root: "fix-lost",
        effects: &["position-jump", "poor-fix", "position-frozen"],
        bond: Bond::MomentsOfDevice(60.0),
    },
];

/// A root may be told a little after what it brings about began: a battery status comes every 1.5 s, seconds.
const TOLD_LATE_S: f64 = 3.0;

/// What is said where the two were recorded by clocks that nobody compared.
const BY_STAMPS: &str = "It began together with what it follows from, by the two recorders' stamps; their clocks could not be compared.";

/// What lasts for more than this share of the recording coincides with everything and explains nothing.
const ALWAYS: f64 = 0.5;

/// Most findings that are named in the evidence of another.
const MOST_NAMED: usize = 3;

/// What a technician looks at before anything else of the same severity: supply and wiring, then addresses, then single
/// devices, then what they say. Kinds that are not here follow in the order of the catalogue.
const FIRST: [&str; 17] = [
    "low-supply-voltage",
    "wire-outage",
    "bus-error",
    "broadcast-storm",
    "link-saturated",
    "bus-load-high",
    "line-overloaded",
    "address-conflict",
    "address-claim-failed",
    "ip-conflict",
    "rival-dhcp-servers",
    "dhcp-unanswered",
    "split-subnet",
    "device-restart",
    "link-flap",
    "device-dropout",
    "message-dropout",
];

/// Puts the findings into the order in which they should be looked at, and has those that share a cause name each other.
///
/// The order: by severity; what follows from another finding after that one; supply and wiring first.
pub(super) fn settle(books: &Books, mut findings: Vec<Finding>) -> Vec<Finding> {
    let rank = |f: &Finding| FIRST.iter().position(|kind| *kind == f.kind).unwrap_or(FIRST.len());
    findings.sort_by_key(|f| (std::cmp::Reverse(f.severity), rank(f)));
    let roots: Vec<Option<usize>> =
        findings.iter().enumerate().map(|(at, effect)| root_of(books, &findings, at, effect)).collect();
    // What follows from another goes behind all that stands for itself.
    let mut order: Vec<usize> = (0..findings.len()).collect();
    order.sort_by_key(|at| {
        let severity = findings.get(*at).map(|f| f.severity);
        (std::cmp::Reverse(severity), roots.get(*at).copied().flatten().is_some())
    });
    let place = |at: usize| order.iter().position(|old| *old == at);
    let mut settled: Vec<Finding> = Vec::with_capacity(findings.len());
    for at in &order {
        let Some(mut finding) = findings.get(*at).cloned() else { continue };
        let root = roots.get(*at).copied().flatten();
        if root.and_then(|root| findings.get(root)).is_some_and(|root| !clocks_known(books, root, &finding)) {
            finding.evidence.push(BY_STAMPS.to_owned());
        }
        finding.follows_from = root.and_then(place);
        settled.push(finding);
    }
    name_each_other(&mut settled);
    settled
}

/// The finding that this one follows from.
fn root_of(books: &Books, findings: &[Finding], at: usize, effect: &Finding) -> Option<usize> {
    let rules = RULES.iter().filter(|rule| rule.effects.contains(&effect.kind));
    rules
        .flat_map(|rule| findings.iter().enumerate().map(move |(i, root)| (rule, i, root)))
        .find(|(rule, i, root)| {
            *i != at
                && root.kind == rule.root
                && root.severity > Severity::Note
                && holds(books, rule.bond, root, effect)
        })
        .map(|(_, i, _)| i)
}

fn holds(books: &Books, bond: Bond, root: &Finding, effect: &Finding) -> bool {
    let device = || root.devices.iter().any(|d| effect.devices.iter().any(|e| books.inventory.same(*d, *e)));
    let wire = || {
        let ours = wires(books, root);
        wires(books, effect).iter().any(|wire| {
            let carrier = books.wires.get(*wire).and_then(|w| w.carried_by);
            ours.contains(wire) || carrier.is_some_and(|carrier| ours.contains(&carrier))
        })
    };
    match bond {
        Bond::Moments(after_s) if clocks_known(books, root, effect) => coincide(books, root, effect, after_s),
        Bond::Moments(_) => within(books, root, effect, BY_STAMPS_S).is_some_and(|(n, of)| n == of),
        Bond::MomentsOf(quantity, after_s) => {
            let supplies = |finding: &Finding| {
                let of_it =
                    |d: &DeviceId| books.series.of(quantity).any(|s| books.inventory.same(s.key.device, *d));
                finding.devices.iter().any(of_it)
            };
            supplies(root) && supplies(effect) && holds(books, Bond::Moments(after_s), root, effect)
        }
        Bond::MomentsOnWire(after_s) => wire() && coincide(books, root, effect, after_s),
        Bond::MomentsOfDevice(after_s) => device() && coincide(books, root, effect, after_s),
        Bond::Device => device(),
        Bond::Wire => wire(),
    }
}

/// The wires that a finding is about.
fn wires(books: &Books, finding: &Finding) -> Vec<WireId> {
    let of_devices = finding.devices.iter().filter_map(|d| books.inventory.get(*d)).map(|d| d.wire);
    of_devices.chain(finding.wires.iter().copied()).collect()
}

/// Whether times of the two can be compared at all.
fn clocks_known(books: &Books, root: &Finding, effect: &Finding) -> bool {
    let recording = |wire: WireId| books.wires.get(wire).map(|w| w.recording);
    let told = |number: usize| {
        let reckoning = books.recordings.get(number).and_then(|r| r.reckoning.as_ref());
        reckoning.is_none_or(|r| r.uncertainty_s.is_some())
    };
    let of = |finding| wires(books, finding).into_iter().filter_map(recording).collect::<Vec<_>>();
    let (ours, theirs) = (of(root), of(effect));
    theirs.iter().all(|r| ours.contains(r)) || ours.iter().chain(&theirs).all(|r| told(*r))
}

/// Whether at least half of the effect's moments begin while the root lasts or soon after.
fn coincide(books: &Books, root: &Finding, effect: &Finding, after_s: f64) -> bool {
    within(books, root, effect, after_s).is_some_and(|(n, of)| n * 2 >= of)
}

/// How many of the effect's moments begin while the root lasts or soon after, and of how many.
fn within(books: &Books, root: &Finding, effect: &Finding, after_s: f64) -> Option<(usize, usize)> {
    let whole_s = books.lasted_s();
    let lasts_s: f64 = root.spans.iter().map(|s| s.seconds()).sum();
    if root.spans.is_empty() || effect.spans.is_empty() || lasts_s > ALWAYS * whole_s {
        return None;
    }
    let within = |moment: &&Span| {
        root.spans
            .iter()
            .any(|r| moment.from >= r.from.plus(-TOLD_LATE_S) && moment.from <= r.to.plus(after_s))
    };
    Some((effect.spans.iter().filter(within).count(), effect.spans.len()))
}

/// Writes into each finding's evidence what it follows from, and what follows from it.
fn name_each_other(findings: &mut [Finding]) {
    let named: Vec<(String, Option<usize>)> =
        findings.iter().map(|f| (format!("{} ({})", f.summary, f.kind), f.follows_from)).collect();
    for (at, finding) in findings.iter_mut().enumerate() {
        if let Some((root, _)) = finding.follows_from.and_then(|root| named.get(root)) {
            finding.evidence.push(format!("Follows from another finding: {root}."));
        }
        let mut effects = named.iter().filter(|(_, root)| *root == Some(at)).map(|(name, _)| name.as_str());
        let shown: Vec<&str> = effects.by_ref().take(MOST_NAMED).collect();
        if !shown.is_empty() {
            let more = effects.count();
            let more = if more > 0 { format!("; and {more} more") } else { String::new() };
            finding.evidence.push(format!("Goes with it: {}{more}.", shown.join("; ")));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::WireKind;
    use crate::time::Time;

    fn finding(kind: &'static str, severity: Severity, device: u32, spans: &[(f64, f64)]) -> Finding {
        let span = |(from, to): &(f64, f64)| Span::new(Time(0).plus(*from), Time(0).plus(*to));
        let mut finding = Finding::new(severity, kind.to_uppercase())
            .devices([DeviceId(device)])
            .spans(spans.iter().map(span));
        finding.kind = kind;
        finding
    }

    fn books() -> Books {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        for t in [0, 600] {
            books.wires.get_mut(wire).unwrap().frame(Some(Time(t * 1_000_000)), 8, 131);
        }
        for address in 0..4 {
            books.inventory.node(wire, address).unwrap();
        }
        books
    }

    #[test]
    fn what_follows_from_a_dip_says_so_and_comes_after_it() {
        let settled = settle(
            &books(),
            vec![
                finding("message-dropout", Severity::Warning, 2, &[(300.0, 310.0)]),
                finding("heading-jump", Severity::Fault, 3, &[(1.0, 2.0)]),
                finding("device-restart", Severity::Fault, 1, &[(101.0, 104.0)]),
                finding("low-supply-voltage", Severity::Fault, 0, &[(100.0, 103.0)]),
            ],
        );
        let kinds: Vec<_> = settled.iter().map(|f| f.kind).collect();
        assert_eq!(kinds, ["low-supply-voltage", "heading-jump", "device-restart", "message-dropout"]);
        assert_eq!(settled.iter().map(|f| f.follows_from).collect::<Vec<_>>(), [None, None, Some(0), None]);
        assert_eq!(settled[0].evidence, ["Goes with it: DEVICE-RESTART (device-restart)."]);
        assert_eq!(
            settled[2].evidence,
            ["Follows from another finding: LOW-SUPPLY-VOLTAGE (low-supply-voltage)."]
        );
    }

    #[test]
    fn a_battery_that_is_low_throughout_explains_no_single_moment() {
        let low = finding("low-supply-voltage", Severity::Fault, 0, &[(0.0, 600.0)]);
        let restart = finding("device-restart", Severity::Fault, 1, &[(101.0, 104.0)]);
        assert!(settle(&books(), vec![low, restart]).iter().all(|f| f.follows_from.is_none()));
    }

    #[test]
    fn most_moments_must_fit() {
        let low = finding("low-supply-voltage", Severity::Fault, 0, &[(100.0, 103.0)]);
        let often =
            finding("device-dropout", Severity::Fault, 1, &[(20.0, 25.0), (101.0, 104.0), (400.0, 409.0)]);
        assert!(settle(&books(), vec![low, often]).iter().all(|f| f.follows_from.is_none()));
    }

    #[test]
    fn a_conflict_takes_its_own_devices_only() {
        let conflict = finding("address-conflict", Severity::Fault, 1, &[]);
        let own = finding("device-dropout", Severity::Fault, 1, &[(5.0, 9.0)]);
        let other = finding("device-dropout", Severity::Fault, 2, &[(5.0, 9.0)]);
        let settled = settle(&books(), vec![other, own, conflict]);
        let follows: Vec<_> = settled.iter().map(|f| (f.devices[0].0, f.follows_from)).collect();
        assert_eq!(follows, [(1, None), (2, None), (1, Some(0))]);
    }

    #[test]
    fn every_kind_that_is_named_exists() {
        let known: Vec<&str> = super::super::kinds().collect();
        let named = RULES.iter().flat_map(|r| r.effects.iter().chain([&r.root])).chain(&FIRST);
        for kind in named {
            assert!(known.contains(kind), "{kind}");
        }
    }
}
