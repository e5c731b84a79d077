//! Depth messages come, with no depth in them.

use super::motion::within;
use super::words::{number, percent};
use super::{Detector, Doc, Evidence, Finding, depth_lost_at_speed, duplicate_depth_source, pairs};
use crate::books::Books;
use crate::books::series::{LastValue, Source};
use crate::report::model::Severity;
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "depth-not-available",
        severity: "fault; note where the water is too deep for the sounder",
        meaning: "The sounder lives and sends its depth messages, but they hold no depth: it does not find the bottom. Every \
                  display then shows dashes.",
        detection: "At least one depth message in ten, or a stretch of 15 s, carries the not-available code, an empty field, or \
                    a zero that is held.",
        lookalikes: "Deep water: the depth goes, and comes back, near the deepest that was seen, or near the range that the sounder \
                     gives. Depth that goes only \
                     above some speed has a kind of its own: depth-lost-at-speed. No depth message at all: no-depth-source.",
        checks: "Look at the transducer: in the water, clean, no paint or growth, face level, cable unhurt, connector dry. \
                 Compare with shallow, hard bottom at rest. Look at the range and the frequency set in the sounder.",
        cautions: "Haul or tilt only with the engine off and the key out. Do not run aground trying to find bottom.",
    },
    complaints: &["no-depth", "depth-wrong"],
    detect,
};

/// Fewer missing values than this are the usual lost pings of a working sounder.
const USUAL_SHARE: f64 = 0.1;

/// A stretch without depth that is shorter than this is a weed bed or a wake, seconds.
const USUAL_S: f64 = 15.0;

/// Sounders of boats of this kind reach at least so deep (common practice, no source), metres.
const DEEP_M: f64 = 100.0;

/// A sounder that says how deep it reaches (PGN 128267, field 4) loses the bottom about there: from this share of it on. Ranges
/// below the depth given may be the scale that a display was set to, metres.
const OF_RANGE: f64 = 0.9;
const LEAST_RANGE_M: f64 = 50.0;

/// A small sounder may reach no deeper than this over soft ground or at speed (common practice, no source), metres. So early it is
/// believed of a depth that goes while the bottom falls away and comes back about as deep, while it rises.
const SHALLOW_REACH_M: f64 = 50.0;

/// The bottom falls away when it gets deeper by this factor within this time, seconds, and nothing lies deeper than where the depth
/// goes and where it comes back, give or take this share.
const FALLS: f64 = 1.2;
const FALLS_S: f64 = 30.0;
const AS_DEEP: f64 = 0.25;

/// Where the bottom is out of reach, no more of the depths than this share lie deeper: a sounder that searches shows a wild one
/// now and then.
const DEEPER: f64 = 0.15;

/// A stretch without a depth of which this share has no messages is a pause of these.
const UNSENT: f64 = 0.8;

/// How a depth source's messages without depth add up.
pub(super) struct Missing {
    /// Share of all its messages.
    pub(super) share: f64,
    /// Stretches without a value.
    pub(super) spans: Vec<Span>,
}

/// What is missing of a depth source.
pub(super) fn missing(books: &Books, source: &Source) -> Missing {
    let without = source.count - source.valid + zero_held(source);
    let share = without as f64 / source.count.max(1) as f64;
    let mut spans = source.value_gaps.over(USUAL_S.min(5.0));
    let ends = source.first.zip(source.last);
    match (source.values_from_to, ends) {
        (Some((from, to)), Some((first, last))) => {
            spans.extend(
                [Span::new(first, from), Span::new(to, last)].into_iter().filter(|s| s.seconds() > 5.0),
            );
        }
        (None, Some((first, last))) => spans = vec![Span::new(first, last)],
        _ => {}
    }
    // A pause of the whole message is no answer to what it holds.
    let streams = books.timing.of(source.key.device).filter(|stream| stream.message == source.key.message);
    let pauses: Vec<Span> = streams.flat_map(|stream| stream.gaps.over(USUAL_S.min(5.0))).collect();
    let unsent = |span: &Span| pauses.iter().any(|pause| pause.shared_s(*span) >= UNSENT * span.seconds());
    spans.retain(|span| !unsent(span));
    spans.sort_unstable();
    // Where the recorder's clock leapt, nothing was missing.
    spans.retain(|span| !books.clock_leapt(*span));
    Missing { share, spans }
}

/// From which depth on a sounder no longer finds the bottom, metres, when that explains every stretch without a depth.
pub(super) fn out_of_reach(evidence: &Evidence<'_>, source: &Source, without: &[Span]) -> Option<f64> {
    let depths = || source.track.samples().iter().filter(|s| s.a.is_finite() && s.a > 0.0);
    let mut edges: Vec<f64> = Vec::new();
    let mut falls_away = true;
    for span in without {
        let before = depths().rfind(|s| s.time <= span.from).map(|s| s.a);
        let after = depths().find(|s| s.time >= span.to).map(|s| s.a);
        edges.extend(before.into_iter().chain(after));
        falls_away &= before
            .is_some_and(|m| m >= FALLS * shallowest(source, span.from.plus(-FALLS_S), span.from))
            && after.is_some_and(|m| m >= FALLS * shallowest(source, span.to, span.to.plus(FALLS_S)));
    }
    let shallowest = edges.iter().copied().min_by(f64::total_cmp)?;
    let deeper_than = |m: f64| depths().filter(|s| s.a > m).count() as f64;
    let reach = match range_m(evidence, source) {
        Some(range) if range >= LEAST_RANGE_M => DEEP_M.min(OF_RANGE * range),
        _ => DEEP_M,
    };
    let comes_back = falls_away && deeper_than((1.0 + AS_DEEP) * shallowest) == 0.0;
    let deep = shallowest >= reach && deeper_than(shallowest) <= DEEPER * depths().count() as f64;
    (deep || (comes_back && shallowest >= SHALLOW_REACH_M)).then_some(shallowest)
}

/// The smallest depth in a stretch of time, metres; infinite when there is none.
fn shallowest(source: &Source, from: Time, to: Time) -> f64 {
    let depths = within(source, Span::new(from, to)).iter().map(|s| s.a);
    depths.filter(|m| *m > 0.0).fold(f64::INFINITY, f64::min)
}

/// How deep the sounder says that it reaches, metres.
fn range_m(evidence: &Evidence<'_>, source: &Source) -> Option<f64> {
    let of_it = |s: &&Source| s.key.device == source.key.device && s.key.message == source.key.message;
    evidence.books.series.of("depth-range").filter(of_it).find_map(|s| match s.last_value() {
        LastValue::Measure(m, _) | LastValue::Number(m) => Some(m),
        _ => None,
    })
}

/// Zeros that stand for "no bottom": a boat afloat has water under its transducer, so more than a few are no readings.
pub(crate) fn zero_held(source: &Source) -> u64 {
    if source.zero >= 5 { source.zero } else { 0 }
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for source in depth_sources(evidence) {
        let Missing { share, spans } = missing(books, source);
        let longest = spans.iter().map(|s| s.seconds()).fold(0.0, f64::max);
        let without = source.count - source.valid + zero_held(source);
        let reach = out_of_reach(evidence, source, &spans);
        if source.count < 5
            || without < 5
            || (share < USUAL_SHARE && longest < USUAL_S)
            || (reach.is_none() && depth_lost_at_speed::fit(books, source).is_some())
        {
            continue;
        }
        let who = books.inventory.label(source.key.device);
        let what = if source.zero > source.not_available { "reads zero" } else { "sends no depth" };
        let summary = if share > 0.97 {
            format!("{who} {what}: its depth messages come, and all are without a depth")
        } else {
            format!("{who} {what} in {} of its depth messages", percent(share))
        };
        let severity = if reach.is_some() { Severity::Note } else { Severity::Fault };
        let mut finding = Finding::new(severity, summary)
            .devices([source.key.device])
            .messages([source.key.message.to_string()])
            .real("invalid_share", share)
            .evidence(format!(
                "{without} of {} depth messages ({}) are without a depth: {}.",
                source.count,
                source.key.message,
                ways(source)
            ));
        if let Some(depth) = books_depth_before(source) {
            finding =
                finding.evidence(format!("The last depth that it did send was {} m.", number(depth, 1)));
        }
        finding = finding.spans(spans);
        findings.push(match reach {
            Some(depth) => finding
                .evidence(format!("It goes, and comes back, in water of {} m and more: the bottom is out of its reach.", number(depth, 0)))
                .check("Compare with the sounder's rated range and with the chart; a lower frequency reaches deeper."),
            None => finding
                .check(format!("Look at the transducer of {who}: in the water, clean, level, cable and connector unhurt."))
                .check("At rest over shallow, hard bottom it must find depth; set range and frequency to automatic."),
        });
    }
    findings
}

/// In which ways the depth is missing.
fn ways(source: &Source) -> String {
    [
        (source.not_available, "not available or empty"),
        (zero_held(source), "zero"),
        (source.unusable, "otherwise unusable"),
    ]
    .iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, what)| format!("{n} {what}"))
    .collect::<Vec<_>>()
    .join(", ")
}

fn books_depth_before(source: &Source) -> Option<f64> {
    source.track.samples().iter().rev().map(|s| s.a).find(|m| m.is_finite() && *m > 0.0)
}

/// The main depth source of every device, those without any value too; not those that only repeat another one's depth.
pub(super) fn depth_sources<'a>(evidence: &Evidence<'a>) -> Vec<&'a Source> {
    let mut mains = pairs::main_sources(evidence, "depth");
    for source in evidence.books.series.of("depth") {
        if !mains.iter().any(|m| evidence.books.inventory.same(m.key.device, source.key.device)) {
            mains.push(source);
        }
    }
    let repeaters = duplicate_depth_source::repeaters(evidence);
    mains.retain(|source| !repeaters.contains(&source.key.device));
    mains
}
