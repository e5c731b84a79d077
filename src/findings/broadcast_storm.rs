//! Broadcast or group frames flood the network.

use super::network_address::once;
use super::words::{longest, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::floods::Floods;
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::books::wires::WireId;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "broadcast-storm",
        severity: "fault",
        meaning: "Frames for everyone flood the network. Every device must take each of them: displays slow down, drop connections \
                  or restart.",
        detection: "A thousand or more frames in a second that are broadcast or serve the network itself (common practice), five thousand \
                    with small frames of streams, or fifteen thousand with all streams of data. Copies that a mirror port makes are not counted. When the frames of several hosts \
                    come back again and again, a cable closes a loop; when one device sends most of them, it is the cause.",
        lookalikes: "A mirror port shows each frame several times: that is no loop. A camera, sonar or radar sends group frames fast by \
                     design.",
        checks: "Loop: look for a cable with both ends in the same switch, or two cables between two switches, and pull one. One \
                 sender: pull its cable and see whether the flood ends.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Of the flood, at least this share comes from one host for it to be the cause.
const MOST: f64 = 0.7;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (wire, network) in books.networks.iter() {
        let floods = &network.floods;
        if floods.spans.is_empty() {
            continue;
        }
        let (all, returned) = floods.flooded;
        let looped = is_loop(floods);
        let culprit = if looped { None } else { main_sender(floods) };
        let peak = if looped { floods.peak_with_copies } else { floods.peak };
        let summary = match culprit {
            Some(id) => format!(
                "{} floods the network: {peak} frames for everyone in a second",
                books.inventory.label(id)
            ),
            None if looped => {
                format!("A switching loop floods the network: {peak} frames for everyone in a second")
            }
            None => format!("The network is flooded: {peak} frames for everyone in a second"),
        };
        let finding = Finding::new(Severity::Fault, summary)
            .devices(culprit)
            .on(wire)
            .count("peak_per_s", peak)
            .text("loop", if looped { "yes" } else { "no" })
            .evidence(format!(
                "{all} broadcast and group frames from {} hosts in the flooded seconds; {returned} of them are earlier frames that came back.",
                floods.senders.len()
            ))
            .evidence(format!("The flood lasts up to {}.", seconds(longest(&floods.spans))))
            .spans(floods.spans.iter().copied());
        findings.push(if looped {
            finding
                .check("Look for a cable with both ends in the same switch, or two cables between two switches; pull one.")
        } else {
            finding.check("Pull the cable of the flooding device and see whether the network recovers.")
        });
    }
    once(books, findings)
}

/// When a loop returned the frames of a network: what was sent a while ago comes between what is sent now.
pub(super) fn looped(books: &Books) -> impl Iterator<Item = (WireId, Span)> {
    let loops = books.networks.iter().filter(|(_, network)| is_loop(&network.floods));
    loops.flat_map(|(wire, network)| network.floods.spans.iter().map(move |span| (wire, *span)))
}

/// What a loop holds comes back for so long before and after the seconds that are flooded, seconds.
const RETURNS_S: f64 = 2.0;

/// Whether a loop brought back old values of a source in a stretch of time.
pub(super) fn returned(books: &Books, source: &Source, span: Span) -> bool {
    let wire = books.inventory.get(source.key.device).map(|device| books.root(device.wire));
    looped(books).any(|(of, flooded)| Some(of) == wire && flooded.touches(span, RETURNS_S))
}

/// A loop returns everybody's frames. When only one host's come again while others' do not, that host repeats itself.
fn is_loop(floods: &Floods) -> bool {
    let (all, returned) = floods.flooded;
    let looped = floods.senders.iter().filter(|s| s.returned * 2 > s.frames).count();
    returned * 2 > all && (looped >= 2 || floods.senders.len() <= 1)
}

/// The host that sends most of the flood.
fn main_sender(floods: &Floods) -> Option<DeviceId> {
    let all: u64 = floods.senders.iter().map(|s| s.frames).sum();
    let most = floods.senders.iter().max_by_key(|s| (s.frames, std::cmp::Reverse(s.device)))?;
    (most.frames as f64 >= MOST * all as f64).then_some(most.device)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::floods::Cast;
    use crate::findings::network_address::tests::{Bench, at};
    use crate::frames::Doubles;
    use crate::report::model::Number;

    /// Three seconds of frames for everyone: `(host, content)` of the `i`th of 3000 a second.
    fn storm(frame: impl Fn(u32) -> (u32, u64)) -> Vec<Finding> {
        let mut bench = Bench::new(4);
        let mut doubles = Doubles::default();
        for i in 0..9000 {
            let time = at(20.0 + f64::from(i) / 3000.0).unwrap();
            let (host, content) = frame(i);
            let copies = doubles.seen_hash(time, content);
            bench.network().floods.frame(time, Some(DeviceId(host)), &copies, Cast::Signal);
        }
        bench.find(detect)
    }

    #[test]
    fn one_sender_is_named_even_when_it_repeats_itself() {
        // Every hundredth frame is another host's.
        for content in
            [|i: u32| u64::from(i), |i: u32| u64::from(if i.is_multiple_of(100) { i + 1 } else { 0 })]
        {
            let found = storm(|i| (u32::from(i.is_multiple_of(100)), content(i)));
            assert_eq!(found[0].devices, [DeviceId(0)]);
            assert_eq!(found[0].numbers["loop"], Number::Text("no".into()));
        }
    }

    #[test]
    fn everybodys_frames_that_come_back_are_a_loop() {
        let found = storm(|i| (i % 4, u64::from(i % 12)));
        assert_eq!(found[0].numbers["loop"], Number::Text("yes".into()));
        assert_eq!(found[0].numbers["peak_per_s"], Number::Count(3000));
        assert!(found[0].devices.is_empty());
    }
}
