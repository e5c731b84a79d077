//! Multi-frame messages arrive with frames missing.

use super::presence::patience;
use super::words::percent;
use super::{Detector, Doc, Evidence, Finding, address_conflict, singles_missing};
use crate::books::Books;
use crate::books::inventory::{DeviceId, Identity};
use crate::books::timing::{Message, Stream};
use crate::books::wires::WireId;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "fast-packet-loss",
        severity: "warning; fault over 5 %; note when the recording itself is damaged or lost frames",
        meaning: "Messages that need several frames lack some of them, so the whole message is lost: satellites, AIS, engine \
                  details come late or not at all.",
        detection: "A following frame whose counter does not go on from the one before, a message cut off by the next, or \
                    nothing new for 750 ms. At least three in a sender's messages and 0.5 %, after one a message kind is given \
                    away for each silence of the sender, its wire or the recorder. A message of which \
                    only pieces come is told here; a pause in which not even these come is a message-dropout.",
        lookalikes: "A recorder that loses frames makes all senders look so: then it is told of all of them together, or where one alone \
                     sends such messages, by the single frames of the others that are missing as well. Two devices \
                     on one address mix their frames: address-conflict.",
        checks: "One sender: its software, then its drop cable and tee. All senders: the recorder's adapter and computer first, \
                 then bus load, terminators and error frames.",
        cautions: "Switch the bus off before you open its connectors.",
    },
    complaints: &["data-drops-out"],
    detect,
};

/// Fewer damaged messages than this are chance, or the edges of the recording.
const ENOUGH: u64 = 3;

/// Share of damaged messages that is worth a look (common practice, no source: a sound bus loses none, a USB adapter a
/// few in a thousand).
const WORTH_SHARE: f64 = 0.005;

/// Above this share messages are missed aboard.
const GRAVE_SHARE: f64 = 0.05;

/// Frames in the wrong order: one in so many makes a recording that tells no loss.
const DISORDER: u64 = 200;

/// This share of a silence lies in a stretch of broken messages that explains it.
const MOSTLY: f64 = 0.8;

/// What to do where frames of many senders are missing.
const OTHER_ADAPTER: &str = "Record again with another adapter or computer; if it stays, look at bus load, terminators and error frames.";

/// What one sender lost.
struct Loss {
    device: DeviceId,
    address: u8,
    incomplete: u64,
    total: u64,
    messages: Vec<String>,
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, _) in books.buses.iter() {
        if is_cut(books, wire) {
            continue;
        }
        let (senders, losses) = losses(evidence, wire);
        // One recorder or one bus that loses, not several senders that fail together.
        if losses.len() >= 2 && losses.len() * 2 > senders {
            findings.extend(finding(evidence, &losses));
        } else {
            findings.extend(losses.chunks(1).filter_map(|one| finding(evidence, one)));
        }
    }
    findings
}

/// How many senders of multi-frame messages there are, and which of them lose more than silences explain.
fn losses(evidence: &Evidence<'_>, wire: WireId) -> (usize, Vec<Loss>) {
    let books = evidence.books;
    let mut all: Vec<Loss> = Vec::new();
    let Some(bus) = books.buses.get(wire) else { return (0, all) };
    let of_wire =
        evidence.presence.wires.iter().filter(|(w, _, _)| *w == wire).count() + bus.errors.lost_at.len();
    for stream in &bus.losses {
        let holder =
            books.inventory.iter().find(|(_, d)| d.wire == wire && d.address() == Some(stream.source));
        let Some((device, _)) = holder else { continue };
        if address_conflict::involves(books, device) {
            continue;
        }
        let own = evidence.presence.devices.get(&device).map_or(0, Vec::len)
            + evidence.presence.restarts.get(&device).map_or(0, Vec::len);
        let unexplained = stream.incomplete.saturating_sub((of_wire + own) as u64);
        let at = all.iter().position(|l| l.device == device).unwrap_or(all.len());
        if at == all.len() {
            let messages = Vec::new();
            all.push(Loss { device, address: stream.source, incomplete: 0, total: 0, messages });
        }
        let Some(loss) = all.get_mut(at) else { continue };
        loss.incomplete += unexplained;
        loss.total += stream.complete + stream.incomplete;
        if unexplained > 0 {
            loss.messages.push(stream.pgn.to_string());
        }
    }
    let senders = all.len();
    all.retain(|l| l.incomplete >= ENOUGH && l.incomplete as f64 >= WORTH_SHARE * l.total as f64);
    (senders, all)
}

/// Whether one of a device's messages was silent because it came in pieces only, and that is told here.
pub(super) fn explains(
    evidence: &Evidence<'_>,
    id: DeviceId,
    message: Option<Message>,
    silence: Span,
) -> bool {
    let books = evidence.books;
    let Some((device, Message::Pgn(pgn))) = books.inventory.get(id).zip(message) else { return false };
    let (Some(bus), Some(wire)) = (books.buses.get(device.wire), books.wires.get(device.wire)) else {
        return false;
    };
    let Identity::N2k { addresses, .. } = &device.identity else { return false };
    let Some(pulse) = books.timing.get(id, Message::Pgn(pgn)).and_then(Stream::pulse_s) else { return false };
    // A pause in which not even a piece came is a silence, wherever it lies.
    let patience = patience(books, pulse, wire);
    let in_pieces = bus.broken.iter().any(|broken| {
        broken.pgn == pgn
            && addresses.contains(&broken.source)
            && broken.longest_us as f64 / 1e6 <= patience
            && broken.span.shared_s(silence) >= MOSTLY * silence.seconds()
    });
    in_pieces && {
        let told = |loss: &Loss| loss.device == id && loss.messages.contains(&pgn.to_string());
        !is_cut(books, device.wire) && losses(evidence, device.wire).1.iter().any(told)
    }
}

/// Whether frames of a bus stand behind the recorder's cut: they are no loss.
fn is_cut(books: &Books, wire: WireId) -> bool {
    books.wires.get(wire).and_then(|w| w.host).is_some_and(|host| books.lines_cut(host))
}

fn finding(evidence: &Evidence<'_>, losses: &[Loss]) -> Option<Finding> {
    let books = evidence.books;
    let first = losses.first()?;
    let incomplete: u64 = losses.iter().map(|l| l.incomplete).sum();
    let total: u64 = losses.iter().map(|l| l.total).sum();
    let share = incomplete as f64 / total.max(1) as f64;
    let wire = books.inventory.get(first.device).map(|d| d.wire)?;
    let disordered = books.wires.get(wire).is_some_and(|wire| wire.out_of_order * DISORDER > wire.frames);
    let recorder = books.recording_suffers(wire) || disordered;
    let all = losses.len() > 1;
    let everyone = if all { None } else { singles_missing::all_over(books, wire, first.device) };
    let severity = match share > GRAVE_SHARE {
        _ if recorder => Severity::Note,
        true if everyone.is_none() => Severity::Fault,
        _ => Severity::Warning,
    };
    let who = if all { "most senders".to_owned() } else { books.inventory.label(first.device) };
    let mut finding = Finding::new(
        severity,
        format!("{} of the multi-frame messages of {who} lack a frame", percent(share)),
    )
    .devices(losses.iter().map(|l| l.device))
    .messages(losses.iter().flat_map(|l| l.messages.iter().cloned()))
    .count("incomplete", incomplete)
    .count("total", total);
    for loss in losses.iter().take(4) {
        finding = finding.evidence(format!(
            "Address {}: {} of {} messages with a frame missing (PGN {}).",
            loss.address,
            loss.incomplete,
            loss.total,
            loss.messages.join(", ")
        ));
    }
    if disordered {
        finding = finding.evidence(
            "Stamps run backwards again and again: frames stand in the wrong order in the recording, and the messages \
             may have been whole aboard.",
        );
    } else if recorder {
        finding = finding.evidence(
            "The recording itself lost frames or is damaged: the messages may have been whole aboard.",
        );
    }
    let others: u64 = books
        .buses
        .get(wire)
        .map_or(0, |bus| bus.losses.iter().filter(|l| l.source != first.address).map(|l| l.incomplete).sum());
    Some(if all {
        finding
            .evidence("Most senders lose frames alike, so the recorder may be the one that loses them.")
            .check(OTHER_ADAPTER)
    } else if let Some((losing, judged)) = everyone {
        finding
            .evidence(format!(
                "Single frames of {losing} of {judged} other senders are missing now and then too: the recorder loses \
                 frames of all, and {who} need not be to blame."
            ))
            .check(OTHER_ADAPTER)
    } else {
        finding
            .evidence(if others == 0 {
                "The multi-frame messages of all others come whole.".to_owned()
            } else {
                format!("Of all others' multi-frame messages {others} lack a frame.")
            })
            .check(format!("Look at the drop cable and tee of {who}; update its software."))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::n2k::StreamLosses;
    use crate::recording::WireKind;

    fn found(senders: &[(u8, u64, u64)]) -> Vec<Finding> {
        found_in(senders, 0)
    }

    /// The same on a wire of ten thousand frames of which so many are out of order.
    fn found_in(senders: &[(u8, u64, u64)], out_of_order: u64) -> Vec<Finding> {
        let mut books = Books::default();
        let wire = books.wires.add(0, WireKind::Can, None, None);
        let frames = books.wires.get_mut(wire).unwrap();
        (frames.frames, frames.out_of_order) = (10_000, out_of_order);
        for &(source, complete, incomplete) in senders {
            books.inventory.node(wire, source);
            books.buses.of(wire).losses.push(StreamLosses { source, pgn: 129_029, complete, incomplete });
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn a_lossy_sender_is_told_apart_from_a_lossy_recorder() {
        let one = found(&[(3, 480, 20), (4, 500, 0), (5, 300, 1)]);
        assert_eq!((one.len(), one[0].devices.len(), one[0].severity), (1, 1, Severity::Warning));
        let all = found(&[(3, 400, 40), (4, 400, 50), (5, 300, 30)]);
        assert_eq!((all.len(), all[0].devices.len(), all[0].severity), (1, 3, Severity::Fault));
    }

    #[test]
    fn frames_in_the_wrong_order_are_not_lost() {
        let severity = |out_of_order| found_in(&[(3, 200, 300), (4, 500, 0)], out_of_order)[0].severity;
        assert_eq!((severity(3), severity(400)), (Severity::Fault, Severity::Note));
    }

    #[test]
    fn the_edges_of_a_recording_are_no_loss() {
        assert!(found(&[(3, 100, 2), (4, 500, 0)]).is_empty());
        assert!(found(&[(3, 9000, 4), (4, 500, 0)]).is_empty());
    }
}
