//! A host goes quiet and comes back announcing itself.

use super::words::{GUEST, longest, seconds, times};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::books::network::{Sign, Signs};
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "link-flap",
        severity: "fault; note for a phone or a tablet",
        meaning: "One device's network link goes down and up: its cable, its plug, its switch port, or its own supply.",
        detection: "A host with periodic traffic falls silent for five intervals (two and a half where it comes back with two sure \
                    signs, or one and a weaker one that it shows at no other time, or one that it shows at no other time and any weaker one after \
                    the longest silence by far; at least 1.5 s) while others go on, and within 8 s \
                    of coming back shows that its link came up: ARP probe or announcement, DHCP, router solicitation, IPv6 \
                    duplicate address check, group membership or service announcement that nobody asked for.",
        lookalikes: "All hosts at once: wire-outage (the switch or its supply); several at once while others go on: the report \
                     says that they share the cause. Silent without announcing itself: \
                     device-dropout. A device that said goodbye first went by itself. A phone, tablet \
                     or laptop comes and goes; those whose hardware address is drawn by lot are told as a note. One that waits for an address is quiet between its \
                     DHCP discovers, and until it gives itself an address. A capture at one host's own port does \
                     not see unicast between others, so that a quiet host may have been busy.",
        checks: "Swap the device's cable and port one at a time: the fault moves with the one that causes it. Look for a \
                 pulled or corroded plug, a cable without strain relief, a loose supply plug.",
        cautions: "Switch the supply off before you open connectors; route cables clear of the steering and the bow motor.",
    },
    complaints: &["display-disconnects", "data-drops-out", "no-depth", "no-heading", "no-position"],
    detect,
};

/// From so many hosts on that go down with it, one host's own cable is not the first place to look.
const SHARED: usize = 2;

/// Links that lose one supply go down and come up within this of each other, seconds (a display starts in that time).
const AT_ONCE_S: f64 = 5.0;

/// How many other hosts went down and came up with most of these flaps.
fn at_once(evidence: &Evidence<'_>, id: DeviceId, flaps: &[(Span, Signs)]) -> usize {
    let near =
        |a: Span, b: Span| a.from.since(b.from).abs() <= AT_ONCE_S && a.to.since(b.to).abs() <= AT_ONCE_S;
    let with = |others: &Vec<(Span, Signs)>| {
        flaps.iter().filter(|(span, _)| others.iter().any(|(other, _)| near(*span, *other))).count() * 2
            > flaps.len()
    };
    evidence.presence.flaps.iter().filter(|(other, others)| **other != id && with(others)).count()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    evidence
        .presence
        .flaps
        .iter()
        .map(|(id, flaps)| {
            let who = books.inventory.label(*id);
            let spans: Vec<Span> = flaps.iter().map(|(span, _)| *span).collect();
            let mut signs = Signs::default();
            flaps.iter().flat_map(|(_, signs)| signs.iter()).for_each(|sign| signs.add(sign));
            let came_back = if spans.len() == 1 { "It came back" } else { "Each time it came back" };
            let words: Vec<_> = signs.iter().map(Sign::words).collect();
            let guest = books.is_guest(*id);
            let finding = Finding::new(
                if guest { Severity::Note } else { Severity::Fault },
                format!(
                    "The network link of {who} goes down and up {}, longest {}",
                    times(spans.len()),
                    seconds(longest(&spans))
                ),
            )
            .devices([*id])
            .count("flaps", spans.len() as u64)
            .real("longest_s", longest(&spans))
            .evidence("Others went on meanwhile.")
            .evidence(format!("{came_back} announcing itself: {}.", words.join(", ")))
            .spans(spans);
            let finding = if guest { finding.evidence(GUEST) } else { finding };
            let together = at_once(evidence, *id, flaps);
            if together >= SHARED {
                finding
                    .evidence(format!("{together} more hosts went down and came up at the same times: they share the cause."))
                    .check("Look first at what these hosts share: the supply plug and fuse of their switch, or the cable between two switches.")
                    .check("If one host's link goes down alone later, swap its cable and port.")
            } else {
                finding
                    .check(format!(
                        "Swap the cable of {who} with a good one; then move it to another port of the switch."
                    ))
                    .check("If the fault stays with the device, look at its supply plug and fuse.")
            }
        })
        .collect()
}
