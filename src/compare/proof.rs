//! Whether one side would have shown what the other found.

use super::conditions::{self, Shown};
use super::need::{self, Need};
use super::noise::EXPECTED_EVENTS;
use super::side::{Finding, Wire};
use super::view::{Absent, View, a_wire, wire_kind};
use crate::report::figures::{counted, duration, interval, short};

/// Figures of a finding that count how often it came.
pub(super) const EVENTS: [&str; 12] = [
    "gaps",
    "jumps",
    "flaps",
    "restarts",
    "bad",
    "garbled",
    "incomplete",
    "error_frames",
    "requests",
    "discovers",
    "asks",
    "claims",
];

/// Part of the time from which on a trouble lasts rather than comes and goes.
const LASTS: f64 = 0.5;

/// Seconds that a lasting trouble needs to show itself: detectors compare values over about that long, and slow messages
/// come once a minute (NMEA 2000 corrigendum 126993).
const LASTING_S: f64 = 60.0;

/// What the absence of a finding on the other side is worth.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Proof {
    /// It would have shown itself.
    Sure(String),
    /// It might have been missed; with the seconds that would be enough when length is what is missing.
    Weak(String, Option<f64>),
    /// It could not have shown itself.
    None(String),
}

/// Weighs the absence of one of `view.from`'s findings in `view.to`.
pub(super) fn weigh(view: &View<'_>, finding: &Finding) -> Proof {
    let need = need::of(&finding.kind);
    let wires = match covered(view, finding, need) {
        Ok(wires) => wires,
        Err(proof) => return proof,
    };
    if let Some(lacking) = need.quantity.and_then(|quantity| lacking(view, finding, quantity, need.rivals)) {
        return Proof::None(lacking);
    }
    if finding.kind.starts_with("no-") {
        // That nothing supplies a quantity compares only when both sides listened on the same kinds of wire.
        let more = view.to.wires.iter().find(|w| !view.from.wires.iter().any(|own| own.kind == w.kind));
        if let Some(more) = more {
            return Proof::None(format!("{} has {} besides", view.name, a_wire(&more.kind)));
        }
    }
    if need.declared && view.to.devices.iter().all(|device| device.load_equivalency.is_none()) {
        return Proof::None(format!("no device of {} declares what it draws", view.name));
    }
    if let Some(proof) = wires.and_then(|(_, there)| stamped(view, finding, there, need)) {
        return proof;
    }
    let untold = match conditions::shown(view, finding) {
        Some(Shown::Yes(why)) => return Proof::Sure(why),
        Some(Shown::Not(why)) => why,
        None => format!("the reports do not tell whether {} had that", view.name),
    };
    let proof = often_enough(view, finding, wires);
    if let (Proof::Sure(why), Some(turned)) = (&proof, conditions::turned_as_much(view, finding)) {
        return Proof::Sure(format!("{why}, though the boat turned by {turned:.0} deg"));
    }
    match (proof, need.conditions) {
        (Proof::Sure(_), Some(conditions)) => Proof::Weak(format!("{conditions}, and {untold}"), None),
        // No length of recording would prove it.
        (Proof::Weak(why, _), Some(conditions)) => Proof::Weak(format!("{why}, and {conditions}"), None),
        (proof, _) => proof,
    }
}

/// The wire that a finding is of, on both sides, when its devices and its kind tell.
type Wires<'a> = Option<(&'a Wire, &'a Wire)>;

fn covered<'a>(view: &View<'a>, finding: &Finding, need: Need) -> Result<Wires<'a>, Proof> {
    let mut shared = None;
    for device in finding.devices.iter().filter_map(|id| view.ids.device(id)) {
        let Some(row) = view.from.devices.get(device) else { continue };
        let (wire, there) = view.wires_of(row);
        if view.partner(device).is_some() {
            // A device may have been met on another of its wires.
            if let Some(pair) = wire.zip(there) {
                shared.get_or_insert(pair);
            }
            continue;
        }
        return Err(match view.absent(row) {
            Absent::Gone(_) if need.rivals => {
                Proof::Sure(format!("{} is no longer there: not heard in {}", row.label, view.name))
            }
            Absent::Gone(why) => Proof::None(format!("{} is missing: {why}", row.label)),
            Absent::NotCovered(why) | Absent::Unsure(why) => {
                Proof::None(format!("{} is not heard in {}: {why}", row.label, view.name))
            }
        });
    }
    if shared.is_some() || !finding.devices.is_empty() {
        return Ok(shared);
    }
    let kind = need.wire.or_else(|| wire_told(&finding.summary));
    let mut of_kind =
        view.from.wires.iter().enumerate().filter(|(_, wire)| kind.is_none_or(|k| wire.kind == k));
    let pair = of_kind.find_map(|(i, wire)| {
        let there = view.wire_partner(i)?;
        Some((wire, view.to.wires.get(there)?))
    });
    match (pair, kind) {
        (Some(pair), _) => Ok(Some(pair)),
        (None, Some(kind)) if !view.to.wires.iter().any(|wire| wire.kind == kind) => {
            Err(Proof::None(format!("{} holds no {}", view.name, wire_kind(kind))))
        }
        (None, _) => Err(Proof::None(format!("nothing shows that {} is of the same wire", view.name))),
    }
}

/// The kind of wire that a summary speaks of, for the kinds that are met on any.
pub(super) fn wire_told(summary: &str) -> Option<&'static str> {
    [("Ethernet", "ethernet"), ("NMEA 2000", "can"), ("0183", "line")]
        .into_iter()
        .find_map(|(word, kind)| summary.contains(word).then_some(kind))
}

/// What is missing for a quantity to be judged there.
fn lacking(view: &View<'_>, finding: &Finding, quantity: &str, rivals: bool) -> Option<String> {
    let mut sources = view.to.sources.iter().filter(|s| s.quantity == quantity && s.valid > 0);
    if finding.devices.is_empty() || rivals {
        return sources.next().is_none().then(|| format!("{} holds no {quantity} at all", view.name));
    }
    let devices: Vec<usize> =
        finding.devices.iter().filter_map(|id| view.partner(view.ids.device(id)?)).collect();
    let supplied = sources.any(|s| view.to_ids.device(&s.device).is_some_and(|d| devices.contains(&d)));
    (!supplied).then(|| format!("{} holds no {quantity} of that device", view.name))
}

/// Whether the other side's stamps are too coarse, or missing, for what is told from them.
fn stamped(view: &View<'_>, finding: &Finding, there: &Wire, need: Need) -> Option<Proof> {
    if !need.stamps {
        return None;
    }
    if there.seconds().is_none() {
        return Some(Proof::None(format!("{} has no clock, and it is told from times alone", view.name)));
    }
    let resolution = there.time_resolution_s?;
    let longest = finding.number("longest_s").or_else(|| finding.number("nominal_s"))?;
    (resolution > longest / 2.0)
        .then(|| Proof::None(format!("{} is stamped to {} only", view.name, interval(Some(resolution)))))
}

/// Whether it would have come again in the other side's time.
fn often_enough(view: &View<'_>, finding: &Finding, wires: Wires<'_>) -> Proof {
    let (here_s, there_s, ratio) = match wires {
        Some((here, there)) => (here.seconds(), there.seconds(), view.ratio(here, there)),
        None => {
            let (here, there) = (view.from.lasted_s(), view.to.lasted_s());
            let times = here.zip(there).filter(|(here, _)| *here > 0.0);
            let frames = view.to.frames() as f64 / view.from.frames().max(1) as f64;
            (here, there, times.map_or(frames, |(here, there)| there / here))
        }
    };
    let length = |seconds: Option<f64>| seconds.map_or_else(|| String::from("its frames"), duration);
    let (here, there) = (length(here_s), length(there_s));
    let Some(times) = events(finding, here_s) else {
        let enough = here_s.unwrap_or(LASTING_S).min(LASTING_S);
        return match there_s {
            Some(seconds) if seconds < enough => {
                Proof::Weak(format!("{} is only {there} long", view.name), Some(LASTING_S))
            }
            _ => Proof::Sure(format!("{there} of {} hold what would show it, and do not show it", view.name)),
        };
    };
    let expected = times as f64 * ratio;
    let came = counted(times, "time", "times");
    if expected >= EXPECTED_EVENTS {
        return Proof::Sure(format!(
            "it came {came} in {here}, and not once in the {there} of {}",
            view.name
        ));
    }
    let enough = here_s.map(|seconds| EXPECTED_EVENTS * seconds / times.max(1) as f64);
    let luck = short(((-expected).exp() * 100.0).clamp(1.0, 99.0).round());
    let why = format!(
        "at {came} in {here}, luck alone keeps it away for the {there} of {} in {luck} of 100 cases",
        view.name
    );
    Proof::Weak(why, enough)
}

/// How often a trouble came, or `None` when it lasted.
fn events(finding: &Finding, seconds: Option<f64>) -> Option<u64> {
    let counted = EVENTS.iter().find_map(|key| finding.number(key)).map(|n| n as u64);
    let spans = finding.spans.len() as u64;
    let covered: f64 = finding.spans.iter().map(|span| span.seconds()).sum();
    let lasts = spans == 0 || seconds.is_none_or(|seconds| covered >= LASTS * seconds);
    match counted {
        Some(counted) if lasts => Some(counted.max(1)),
        // A burst of errors is one event.
        Some(counted) => Some(counted.min(spans).max(1)),
        None if lasts => None,
        None => Some(spans),
    }
}
