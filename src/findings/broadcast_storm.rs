//! Broadcast or group frames flood the network.

use super::network_address::once;
use super::words::{longest, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::floods::{Flood, Floods};
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::books::wires::WireId;
use crate::report::model::Severity;
use crate::time::Span;
use std::collections::BTreeSet;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "broadcast-storm",
        severity: "fault",
        meaning: "Frames for everyone flood the network. Every device must take each of them: displays slow down, drop connections \
                  or restart.",
        detection: "A thousand or more frames in a second that are broadcast or serve the network itself (common practice), five thousand \
                    with small frames of streams, or fifteen thousand with all streams of data. Copies that a mirror port makes are not counted, by \
                    how often it shows each frame at other times. Each flood is judged for itself: when the frames of several hosts \
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
        // A loop and a flooding device are two faults, and so are two flooding devices.
        let mut causes: Vec<(Cause, Vec<&Flood>)> = Vec::new();
        for flood in &network.floods.list {
            let cause = cause(flood);
            match causes.iter_mut().find(|(known, _)| *known == cause) {
                Some((_, alike)) => alike.push(flood),
                None => causes.push((cause, vec![flood])),
            }
        }
        findings
            .extend(causes.iter().map(|(cause, alike)| tell(books, wire, &network.floods, *cause, alike)));
    }
    once(books, findings)
}

/// What makes a flood.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Cause {
    Loop,
    /// The host that sends most of it.
    Sender(DeviceId),
    Several,
}

fn cause(flood: &Flood) -> Cause {
    if is_loop(flood) { Cause::Loop } else { main_sender(flood).map_or(Cause::Several, Cause::Sender) }
}

/// Tells of the floods of one cause.
fn tell(books: &Books, wire: WireId, floods: &Floods, cause: Cause, alike: &[&Flood]) -> Finding {
    let looped = cause == Cause::Loop;
    let peak = alike.iter().map(|flood| floods.peak_of(flood, looped)).max().unwrap_or(0);
    let (culprit, who) = match cause {
        Cause::Sender(id) => (Some(id), format!("{} floods the network", books.inventory.label(id))),
        Cause::Loop => (None, "A switching loop floods the network".to_owned()),
        Cause::Several => (None, "The network is flooded".to_owned()),
    };
    let (mut all, mut returned, mut senders) = (0, 0, BTreeSet::new());
    for flood in alike {
        all += flood.frames;
        returned += flood.returned;
        senders.extend(flood.senders.iter().map(|sender| sender.device));
    }
    let spans: Vec<Span> = alike.iter().map(|flood| flood.span).collect();
    Finding::new(Severity::Fault, format!("{who}: {peak} frames for everyone in a second"))
        .devices(culprit)
        .on(wire)
        .count("peak_per_s", peak)
        .text("loop", if looped { "yes" } else { "no" })
        .evidence(format!(
            "{all} broadcast and group frames from {} hosts in the flooded seconds; {returned} of them are earlier frames that came back.",
            senders.len()
        ))
        .evidence(format!("The flood lasts up to {}.", seconds(longest(&spans))))
        .spans(spans)
        .check(if looped {
            "Look for a cable with both ends in the same switch, or two cables between two switches; pull one."
        } else {
            "Pull the cable of the flooding device and see whether the network recovers."
        })
}

/// When a loop returned the frames of a network: what was sent a while ago comes between what is sent now.
pub(super) fn looped(books: &Books) -> impl Iterator<Item = (WireId, Span)> {
    books.networks.iter().flat_map(|(wire, network)| {
        network.floods.list.iter().filter(|flood| is_loop(flood)).map(move |flood| (wire, flood.span))
    })
}

/// What a loop holds comes back for so long before and after the seconds that are flooded, seconds.
const RETURNS_S: f64 = 2.0;

/// Whether a loop brought back old values of a source in a stretch of time.
pub(super) fn returned(books: &Books, source: &Source, span: Span) -> bool {
    let wire = books.inventory.get(source.key.device).map(|device| books.root(device.wire));
    looped(books).any(|(of, flooded)| Some(of) == wire && flooded.touches(span, RETURNS_S))
}

/// A loop returns everybody's frames. When only one host's come again while others' do not, that host repeats itself.
pub(super) fn is_loop(flood: &Flood) -> bool {
    let looped = flood.senders.iter().filter(|s| s.returned * 2 > s.frames).count();
    flood.returned * 2 > flood.frames && (looped >= 2 || flood.senders.len() <= 1)
}

/// The host that sends most of the flood.
fn main_sender(flood: &Flood) -> Option<DeviceId> {
    let all: u64 = flood.senders.iter().map(|s| s.frames).sum();
    let most = flood.senders.iter().max_by_key(|s| (s.frames, std::cmp::Reverse(s.device)))?;
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
            bench.network().floods.frame(time, Some(DeviceId(host)), copies.as_ref(), Cast::Signal);
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

    #[test]
    fn a_loop_and_a_flood_at_other_times_are_two_faults() {
        let mut bench = Bench::new(4);
        let mut doubles = Doubles::default();
        for (from, is_loop) in [(20.0, true), (60.0, false), (100.0, true)] {
            for i in 0..6000_u32 {
                let time = at(from + f64::from(i) / 3000.0).unwrap();
                let (host, content) = if is_loop { (i % 4, i % 12) } else { (3, i + 100) };
                let copies = doubles.seen_hash(time, content.into());
                bench.network().floods.frame(time, Some(DeviceId(host)), copies.as_ref(), Cast::Signal);
            }
        }
        let found = bench.find(detect);
        let told: Vec<_> = found.iter().map(|f| (f.devices.as_slice(), f.spans.len())).collect();
        assert_eq!(told, [(&[][..], 2), (&[DeviceId(3)][..], 1)]);
    }
}
