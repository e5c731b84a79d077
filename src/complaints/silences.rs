//! Silences: what a recording excludes, and what makes it doubtful. A pause that is told is a finding; one that nobody told,
//! at the begin or the end or too short to be missed, excludes nothing.

use super::Scope;
use super::exclude::{claims_seen, long_enough, s, sources, watched, wires};
use crate::books::Books;
use crate::books::inventory::{Device, DeviceId};
use crate::books::network::Sign;
use crate::books::series::Source;
use crate::books::timing::Stream;
use crate::books::wires::Wire;
use crate::findings::Finding;
use crate::findings::presence::{STARTING_S, on_boat_clock};
use crate::recording::WireKind;
use crate::time::Time;
use std::fmt::Write as _;

/// A silence this long could be what the owner means, seconds.
const NOTICEABLE_S: f64 = 5.0;

/// Nobody aboard notices a shorter silence, seconds.
const SHORTEST_MISSED_S: f64 = 1.5;

/// No pause shorter than this speaks against steadiness, seconds: displays hold a value for about so long (common practice,
/// no source).
const SHORTEST_DOUBT_S: f64 = 0.9;

/// Nor one of fewer intervals.
const DOUBTFUL_INTERVALS: f64 = 3.0;

/// Who has paused for at most this many intervals has not been missed.
const MISSED_INTERVALS: f64 = 5.0;

/// A pause of a wire that is so many times as long as its usual ones stands out.
const STANDS_OUT: f64 = 3.0;

/// What keeps a recording from excluding a cause that is a silence, in a sentence.
pub(super) fn doubt(books: &Books, findings: &[Finding], scope: Scope, cause: &str) -> Option<String> {
    match cause {
        "message-dropout" => of_messages(books, &sources(books, &scope)),
        "device-dropout" if scope != Scope::Hosts => of_devices(books, &sources(books, &scope)),
        "link-flap" if matches!(scope, Scope::Quantity(_)) => of_devices(books, &sources(books, &scope)),
        "device-dropout" | "link-flap" => of_hosts(books),
        "wire-outage" => of_wires(books, &scope),
        "device-restart" => of_others_restarts(findings, scope).or_else(|| of_restarts(books)),
        "heading-jump" => over_a_pause(books, &sources(books, &scope)),
        _ => None,
    }
}

/// A heading that is another one after a pause.
fn over_a_pause(books: &Books, sources: &[&Source]) -> Option<String> {
    let across = sources.iter().filter_map(|source| Some((*source, source.steps.across?)));
    let (source, step) = across.max_by(|(_, a), (_, b)| a.size.abs().total_cmp(&b.size.abs()))?;
    Some(format!(
        "The heading of {} is silent for {} from {} on and {:+.0} deg away after it: whether the boat turned or the heading \
         jumped does not show.",
        books.inventory.label(source.key.device),
        s(step.to.since(step.from)),
        books.stamp(step.from).clock(),
        step.size
    ))
}

/// The messages of the quantity never stayed away for long.
pub(super) fn messages_steady(books: &Books, scope: &Scope) -> Option<String> {
    let sources = sources(books, scope);
    if !watched(books, &sources) || of_messages(books, &sources).is_some() {
        return None;
    }
    let mut words = String::new();
    let mut shown = 0;
    let mut whole_device = false;
    for (source, stream, median) in steady(books, &sources) {
        let longest = books.longest_pause_s(&stream.gaps);
        if shown < 2 {
            let between = if shown > 0 { "; " } else { "" };
            // Writing to a string cannot fail.
            let _ = write!(
                words,
                "{between}longest silence of {} from {} {} at a usual {}",
                source.key.message,
                books.inventory.label(source.key.device),
                s(longest),
                s(median)
            );
        }
        shown += 1;
        whole_device |= longest > (MISSED_INTERVALS * median).max(SHORTEST_MISSED_S);
    }
    let whose = if whole_device { "; a silence of the whole device is none of one message" } else { "" };
    (shown > 0).then(|| format!("{words}{whose}."))
}

/// Sources whose message has a rhythm, with the message's stream and its usual interval.
fn steady<'a>(
    books: &'a Books,
    sources: &'a [&'a Source],
) -> impl Iterator<Item = (&'a Source, &'a Stream, f64)> {
    sources.iter().filter_map(|source| {
        let stream = books.stream(source)?;
        Some((*source, stream, stream.median_s().filter(|_| stream.is_periodic())?))
    })
}

/// A message that paused while its device went on, or that came late or ended early.
fn of_messages(books: &Books, sources: &[&Source]) -> Option<String> {
    steady(books, sources).find_map(|(source, stream, median)| {
        let what = format!("{} from {}", source.key.message, books.inventory.label(source.key.device));
        let longest = books.longest_pause_s(&stream.gaps);
        if longest >= NOTICEABLE_S && by_boat_clock(books, source.key.device) {
            return Some(unsure(&what, longest));
        }
        let doubtful = longest > (DOUBTFUL_INTERVALS * median).max(SHORTEST_DOUBT_S);
        if doubtful && longest_silence(books, source.key.device) < 0.9 * longest {
            return Some(format!("{what} pauses for {} at a usual {}.", s(longest), s(median)));
        }
        let root = books.inventory.get(source.key.device).and_then(|d| root_of(books, d))?;
        at_the_edges(&what, (stream.first?, stream.last?), root, median)
    })
}

/// The wire on which the recorder was.
fn root_of<'a>(books: &'a Books, device: &Device) -> Option<&'a Wire> {
    books.wires.get(books.root(device.wire))
}

/// Whether something is first heard well after its wire, or last heard well before the end.
fn at_the_edges(what: &str, heard: (Time, Time), wire: &Wire, every_s: f64) -> Option<String> {
    let limit = NOTICEABLE_S.max(MISSED_INTERVALS * every_s);
    let (late, early) = (heard.0.since(wire.first?), wire.ended()?.since(heard.1));
    if late > limit {
        return Some(format!("{what} is first heard {} after the begin: silent or off until then.", s(late)));
    }
    (early > limit).then(|| format!("{what} is last heard {} before the end.", s(early)))
}

/// The longest silence of a device, seconds.
fn longest_silence(books: &Books, device: DeviceId) -> f64 {
    books.inventory.get(device).map_or(0.0, |device| books.longest_pause_s(&device.gaps))
}

/// The shortest rhythm of a device's messages, seconds.
fn cadence(books: &Books, device: DeviceId) -> Option<f64> {
    books.timing.of(device).filter_map(Stream::pulse_s).min_by(f64::total_cmp)
}

/// The devices that supply the quantity never fell silent as a whole.
pub(super) fn devices_steady(books: &Books, scope: &Scope) -> Option<String> {
    let sources = sources(books, scope);
    if !watched(books, &sources) || of_devices(books, &sources).is_some() {
        return None;
    }
    let longest = sources.iter().map(|s| longest_silence(books, s.key.device)).max_by(f64::total_cmp)?;
    // A silence between messages without a rhythm was not judged.
    let judged = |source: &&Source| {
        let stream = books.stream(source);
        stream.is_some_and(|stream| stream.pulse_s().is_some())
    };
    if longest >= NOTICEABLE_S && !sources.iter().all(judged) {
        return None;
    }
    Some(if longest >= NOTICEABLE_S {
        format!(
            "No device that supplies it fell silent by itself; the longest silence of one is {}.",
            s(longest)
        )
    } else {
        format!("No device that supplies it was silent for longer than {}.", s(longest))
    })
}

/// A device that paused too briefly to be told, or that came late or went early.
fn of_devices(books: &Books, sources: &[&Source]) -> Option<String> {
    sources.iter().find_map(|source| of_device(books, source.key.device))
}

fn of_device(books: &Books, id: DeviceId) -> Option<String> {
    let every_s = cadence(books, id)?;
    let (who, longest) = (books.inventory.label(id), longest_silence(books, id));
    if longest >= NOTICEABLE_S && by_boat_clock(books, id) {
        return Some(unsure(&who, longest));
    }
    if longest > (MISSED_INTERVALS * every_s).max(SHORTEST_DOUBT_S) && longest <= SHORTEST_MISSED_S {
        return Some(format!("{who} pauses for {} at a usual {}.", s(longest), s(every_s)));
    }
    while_it_starts(books, id, every_s).or_else(|| device_at_the_edges(books, id))
}

/// Whether a device was stamped by the boat's own sentences, for want of a recorder's clock.
fn by_boat_clock(books: &Books, id: DeviceId) -> bool {
    let wire = books.inventory.get(id).and_then(|device| root_of(books, device));
    wire.is_some_and(|wire| on_boat_clock(books, wire))
}

/// A pause that is as long as the boat's clock went on meanwhile.
fn unsure(what: &str, longest_s: f64) -> String {
    format!(
        "{what} pauses for {} by the boat's own clock, and the recording has no other: whether it paused or the clock leapt \
         does not show.",
        s(longest_s)
    )
}

/// A silence of a device just after it was first heard: it may have been starting, and no finding tells of it.
fn while_it_starts(books: &Books, id: DeviceId, every_s: f64) -> Option<String> {
    let device = books.inventory.get(id)?;
    let first = device.first?;
    let silences = device.gaps.over((MISSED_INTERVALS * every_s).max(SHORTEST_MISSED_S));
    let silence = silences.iter().find(|span| span.from.since(first) <= STARTING_S)?;
    Some(format!(
        "{} is silent for {} just after it is first heard: it starts, or drops out.",
        books.inventory.label(id),
        s(silence.seconds())
    ))
}

fn device_at_the_edges(books: &Books, id: DeviceId) -> Option<String> {
    let device = books.inventory.get(id)?;
    let heard = (device.first?, device.last?);
    at_the_edges(&books.inventory.label(id), heard, root_of(books, device)?, cadence(books, id)?)
}

/// The wires that the complaint is about: those of the displays' network, when it is asked for, else all.
fn concerned<'a>(books: &'a Books, scope: &Scope) -> Vec<&'a Wire> {
    let concerned = |w: &&Wire| *scope != Scope::Hosts || w.kind == WireKind::Ethernet;
    let roots = books.wires.iter().map(|(_, w)| w).filter(|w| w.carried_by.is_none() && w.frames > 0);
    roots.filter(concerned).collect()
}

/// Wires with so many frames are judged.
const BUSY: u64 = 100;

/// Whole wires never fell silent.
pub(super) fn wires_steady(books: &Books, scope: &Scope) -> Option<String> {
    let wires = concerned(books, scope);
    if wires.iter().any(|w| !long_enough(books, w)) || of_wires(books, scope).is_some() {
        return None;
    }
    let busy = wires.iter().filter(|w| w.frames >= BUSY);
    let longest = busy.map(|w| books.longest_pause_s(&w.gaps)).max_by(f64::total_cmp)?;
    Some(format!("No wire was silent for longer than {}.", s(longest)))
}

/// A pause of a whole wire that stands out, whosever it is: the recorder may have slept.
fn of_wires(books: &Books, scope: &Scope) -> Option<String> {
    concerned(books, scope).into_iter().filter(|w| w.frames >= BUSY).find_map(|wire| {
        let longest = books.longest_pause_s(&wire.gaps);
        let usual = wire.gaps.usual_s()?;
        (longest > (STANDS_OUT * usual).max(SHORTEST_MISSED_S)).then(|| {
            format!(
                "Everything is silent for {} at once: whether the wire or the recorder paused does not show.",
                s(longest)
            )
        })
    })
}

/// Hosts of the Ethernet with a rhythm never fell silent for long, or are none.
pub(super) fn wires_steady_and_hosts(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Ethernet).is_empty() || of_hosts(books).is_some() {
        return None;
    }
    let (mut steady, mut longest) = (0, 0.0_f64);
    for id in steady_hosts(books) {
        steady += 1;
        longest = longest.max(longest_silence(books, id));
    }
    (steady > 0 && longest < NOTICEABLE_S)
        .then(|| format!("{steady} hosts with steady traffic, none silent for longer than {}.", s(longest)))
}

/// Hosts whose silence would show within seconds.
fn steady_hosts(books: &Books) -> impl Iterator<Item = DeviceId> {
    let often = |id: DeviceId| {
        // What it carries goes by the clocks of those that say it.
        let speakers = std::iter::once(&id).chain(books.carried(id));
        let streams = speakers.flat_map(|id| books.timing.of(*id)).filter(|s| s.is_periodic());
        streams.filter_map(Stream::median_s).min_by(f64::total_cmp).is_some_and(|s| s <= NOTICEABLE_S)
    };
    let hosts = books.inventory.iter().filter(|(_, d)| d.mac().is_some() && d.frames >= 50);
    hosts.map(|(id, _)| id).filter(move |id| often(*id))
}

/// A host that took an address again and again, or that came late or went early.
fn of_hosts(books: &Books) -> Option<String> {
    anew(books).or_else(|| steady_hosts(books).find_map(|id| device_at_the_edges(books, id)))
}

/// A host that takes an address more than once: nobody does without a reason, and what it sent in between may not show here.
fn anew(books: &Books) -> Option<String> {
    books.inventory.iter().find_map(|(id, _)| {
        let episodes = books.host(id)?.episodes;
        let times = |sign: Sign| episodes.get(sign as usize).copied().unwrap_or(0);
        // One that asks in vain goes on asking, and starts no more than once.
        let probes = times(Sign::ArpProbe);
        (probes > 1).then(|| {
            let who = books.inventory.label(id);
            format!(
                "{who} probes for an address {probes} times: whether its link went down before does not show."
            )
        })
    })
}

/// No device claimed its address anew.
pub(super) fn no_restart(books: &Books, _: &Scope) -> Option<String> {
    if wires(books, WireKind::Can).is_empty() || of_restarts(books).is_some() {
        return None;
    }
    let claims: u64 = books.buses.iter().map(|(_, b)| b.claims).sum();
    Some(format!("No device claimed its address anew in mid-recording ({}).", claims_seen(claims)))
}

/// A restart that is told, of a device that does not supply the quantity.
fn of_others_restarts(findings: &[Finding], scope: Scope) -> Option<String> {
    let Scope::Quantity(quantity) = scope else { return None };
    let told = findings.iter().find(|f| f.kind == "device-restart")?;
    Some(format!("{}; it does not supply {quantity}.", told.summary))
}

/// A device that claims unasked when it is first heard, well after the begin, has just started.
fn of_restarts(books: &Books) -> Option<String> {
    books.buses.iter().find_map(|(wire, bus)| {
        let begin = books.wires.get(wire)?.first?;
        let late = bus.starts.iter().find(|start| start.at.since(begin) > NOTICEABLE_S)?;
        Some(format!(
            "{} claims its address {} after the begin: whether it was off before or restarted does not show.",
            books.inventory.label(late.device),
            s(late.at.since(begin))
        ))
    })
}
