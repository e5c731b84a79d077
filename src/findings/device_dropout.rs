//! All of a device's periodic messages pause together, and the wire goes on.

use super::handed_on::is_own;
use super::presence::went_on;
use super::words::{GUEST, how_often, labels, longest, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::{Device, DeviceId, Identity};
use crate::report::model::Severity;
use crate::time::Span;
use std::collections::BTreeSet;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "device-dropout",
        severity: "fault when the device comes back; warning when it does not, for it may have been switched off; note when it \
                   said goodbye, is a phone or a tablet, or everything is being switched off",
        meaning: "A whole device falls silent while the others on its wire go on: its supply, its connector or its drop cable, \
                  or the device itself.",
        detection: "No frame of the device for five intervals of its fastest periodic message (at least 1.5 s, and five stamps \
                    of the recorder) while the wire goes on, which may have been silent for a part of it, and no sign that it came up \
                    anew. A TCP connection that was closed or broken off, or whose receiver fell silent or acknowledges nothing, is not missed, nor is what it carried: \
                    the sender repeats itself ever more seldom meanwhile. Nor are datagrams to the one at its other end that stop \
                    with it, or acknowledgments when there is nothing to acknowledge. Talkers of one gateway that are silent only \
                    and always together are one finding. A satellite \
                    receiver that changes its talker goes on, and so does a node that takes another address. What a host sends in one stream must fill \
                    six tenths of the time in which it was there: not of one in which somebody asked for its address in vain, or after which its link came \
                    up. A device that \
                    starts may pause in its first 10 s, and one that is lost with its wire may come a minute after it. Where a message's intervals are \
                    equal end to end they are its pace at that time, and none is a silence. Messages \
                    that come at any moment alike, as when somebody turns a switch, are not periodic; what a maker sends while there is \
                    something to say is not missed after it; those of a route are \
                    missed when another message of the device is, and what a packet that the recorder cut holds, never. In a log without stamps the \
                    times are the boat's own; where the talker that gives them is silent, the other sentences tell the time by \
                    their number.",
        lookalikes: "Every device silent at once: wire-outage or recording-gap. A device that announces itself anew: \
                     device-restart or link-flap. A phone, tablet or laptop that sleeps; those whose \
                     hardware address is drawn by lot are told as a note. A full 0183 line leaves sentences out for up to 30 s: \
                     line-overloaded. Where a quarter of a talker's sentences or more came damaged meanwhile: bad-checksum or \
                     garbled-sentence.",
        checks: "Wiggle the device's connector and drop cable while someone watches its data; measure its supply at the plug; \
                 swap its tee or port with a neighbour's to tell the cable from the device.",
        cautions: "Switch the supply off before you open connectors; fuse before you measure current.",
    },
    complaints: &[
        "no-depth",
        "no-heading",
        "no-position",
        "data-drops-out",
        "display-disconnects",
        "heading-jumps",
    ],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    let mut told: BTreeSet<DeviceId> = BTreeSet::new();
    for (id, silences) in &evidence.presence.devices {
        let Some(device) = books.inventory.get(*id).filter(|_| !told.contains(id)) else { continue };
        let mut silences = silences.clone();
        silences.retain(|s| is_own(evidence, *id, None, s.span));
        if silences.is_empty() {
            continue;
        }
        let spans: Vec<Span> = silences.iter().map(|s| s.span).collect();
        let longest = longest(&spans);
        let back = silences.iter().any(|s| s.returned);
        let said_goodbye = evidence.presence.goodbyes.contains(id);
        let switching_off = evidence.presence.switched_off.contains(&device.wire) && !back;
        let guest = books.is_guest(*id);
        let severity = match (said_goodbye || switching_off || guest, back) {
            (true, _) => Severity::Note,
            (false, true) => Severity::Fault,
            (false, false) => Severity::Warning,
        };
        let who = books.inventory.label(*id);
        let known = format!("{who}{}", carrying(books, *id));
        let heard_again = spans.iter().all(|span| device.last.is_some_and(|last| last > span.to));
        let summary = if back {
            format!("{known} falls silent {}", how_often(&spans))
        } else if heard_again {
            format!("{known} stops {} before a recording ends, and is back in a later one", seconds(longest))
        } else {
            format!("{known} stops {} before the end and is not seen again", seconds(longest))
        };
        let mut finding = Finding::new(severity, summary)
            .devices([*id])
            .messages(super::presence::periodic(books, *id).map(|s| s.message.to_string()))
            .count("gaps", spans.len() as u64)
            .real("longest_s", longest)
            .evidence(format!(
                "All of its messages stop together and the wire goes on; it sent {} frames in the recording.",
                device.frames
            ))
            .spans(spans);
        if said_goodbye {
            finding =
                finding.evidence("It said goodbye before: it was switched off or went to sleep by itself.");
        } else if switching_off {
            finding = finding
                .evidence("Most devices of this wire stop towards the end: the boat was being switched off.");
        } else if guest {
            finding = finding.evidence(GUEST);
        } else if !back {
            finding = finding.evidence("It may have been switched off; the recording cannot tell.");
        }
        findings.push(if let Some(host) = books.carrier(*id).filter(|_| matches!(device.identity, Identity::Talker { .. })) {
            let went_on = finding.spans.iter().all(|silence| went_on(books, host, *silence));
            let host = books.inventory.label(host);
            if went_on {
                finding = finding.evidence(format!("{host}, which sends its sentences, went on meanwhile: its supply and network cable held."));
            }
            let beside = beside(evidence, *id, &finding.spans);
            // What is silent only and always together is one event.
            let with = |other: &DeviceId| evidence.presence.devices.get(other).is_some_and(|s| s.len() == silences.len());
            let with: Vec<DeviceId> = beside.iter().copied().filter(with).collect();
            if !with.is_empty() {
                finding = together(evidence, finding, &host, &with, back);
                told.extend(with);
            } else if went_on && !beside.is_empty() {
                finding = finding
                    .evidence(format!(
                        "{} {} together with it: what they have in common is {host} itself, and not a sensor.",
                        labels(books, &beside),
                        if beside.len() == 1 { "is silent" } else { "are silent" }
                    ))
                    .check(format!("Look at {host} first: its output to the network, its settings, its software, its inputs' supply."));
            }
            finding
                .check(format!("Look at the sensor behind {who} and its cable, and whether {host} has that output switched on."))
        } else {
            finding
                .check(format!("Wiggle the connector and cable of {who} while someone watches its data."))
                .check("Measure its supply at the plug; swap its tee or port with a neighbour's.")
        });
    }
    findings
}

/// The finding on a talker, as one on all that are silent together with it.
fn together(
    evidence: &Evidence<'_>,
    mut finding: Finding,
    host: &str,
    with: &[DeviceId],
    back: bool,
) -> Finding {
    let books = evidence.books;
    finding.devices.extend(with);
    for id in with {
        for message in super::presence::periodic(books, *id).map(|stream| stream.message.to_string()) {
            if !finding.messages.contains(&message) {
                finding.messages.push(message);
            }
        }
    }
    let who = labels(books, &finding.devices);
    finding.summary = if back {
        format!("{who} fall silent together {}", how_often(&finding.spans))
    } else {
        format!("{who} stop together {} before the end", seconds(longest(&finding.spans)))
    };
    finding
        .evidence(format!(
            "They are silent only together: what they have in common is {host} itself, and not a sensor."
        ))
        .check(format!(
            "Look at {host} first: its output to the network, its settings, its software, its inputs' supply."
        ))
}

/// Talkers of one host are silent together when their silences begin and end this close to each other, seconds: each speaks once a
/// second or so.
const TOGETHER_S: f64 = 2.5;

/// The other talkers of a talker's host that are silent whenever it is.
fn beside(evidence: &Evidence<'_>, id: DeviceId, spans: &[Span]) -> Vec<DeviceId> {
    let (books, silent) = (evidence.books, &evidence.presence.devices);
    let near = |one: Span, other: Span| {
        one.from.since(other.from).abs() <= TOGETHER_S && one.to.since(other.to).abs() <= TOGETHER_S
    };
    let carried = books.carrier(id).map_or(&[][..], |host| books.carried(host));
    let others = carried.iter().filter(|other| !books.inventory.same(**other, id));
    let together = |other: &&DeviceId| {
        silent
            .get(*other)
            .is_some_and(|silences| spans.iter().all(|span| silences.iter().any(|s| near(s.span, *span))))
    };
    others.filter(together).copied().collect()
}

/// Talkers that a host's name is said with.
const NAMED: usize = 2;

/// What a host without a name of its own is known by: the talkers whose sentences it sends.
fn carrying(books: &Books, host: DeviceId) -> String {
    let named = |d: &Device| d.called.is_some() || !d.hostnames.is_empty();
    let nameless = books.inventory.get(host).is_some_and(|d| d.mac().is_some() && !named(d));
    let carried = books.carried(host).iter().filter_map(|id| books.inventory.get(*id));
    let talkers = carried.filter(|d| matches!(d.identity, Identity::Talker { .. }));
    let mut names: Vec<String> = talkers.map(Device::label).collect();
    names.truncate(NAMED);
    if nameless && !names.is_empty() {
        format!(", which sends {},", names.join(" and "))
    } else {
        String::new()
    }
}
