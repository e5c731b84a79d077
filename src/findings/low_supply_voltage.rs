//! A reported supply falls under what the boat's electronics need.

use super::words::{number, times};
use super::{Detector, Doc, Evidence, Finding, supply_dips};
use crate::books::bounded;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "low-supply-voltage",
        severity: "fault",
        meaning: "The battery or the supply that a device measures sags. Under about 11 V a 12 V system is flat or loses volts in \
                  a cable; under 9 V devices of an NMEA 2000 bus may restart.",
        detection: "A reported voltage under 11.0 V for 3 s or in three messages in a row, or for a shorter time while a device \
                    restarts. Sources that never read 8 V or more, and readings under 5 V, are taken for something else than a \
                    12 V supply (a bank that is not wired, a signal).",
        lookalikes: "A starter motor pulls its battery down for a second or two, to about 10 V, on a healthy boat. An alternator \
                     voltage of a stopped engine. The measuring device's own long thin cable.",
        checks: "Measure at the battery and at the device at the same moment, while the bow motor, pumps and livewell run: a \
                 difference is lost in cable, fuse or connector; no difference is the battery or its charging. Look for green \
                 or warm terminals. Feed electronics from another battery than motors.",
        cautions: "Batteries give currents that burn: no rings or loose tools at the terminals, fuse near the battery, no sparks \
                   where gas may stand. Work on the battery side is for someone licensed where local codes ask for that.",
    },
    complaints: &[
        "no-heading",
        "no-position",
        "no-depth",
        "data-drops-out",
        "display-disconnects",
        "heading-jumps",
    ],
    detect,
};

/// Below this a 12 V battery is flat or its cable too thin, volts (the catalogue's limit; a resting lead battery is empty
/// at about 11.8 V, common practice).
const LOW_V: f64 = 11.0;

/// NMEA 2000 devices work from this voltage on.
const BUS_LEAST_V: f64 = 9.0;

/// Nothing aboard works and reports from a supply below this, volts: such a reading is another thing (common practice).
const NO_SUPPLY_V: f64 = 5.0;

/// A source whose values are mostly below this measures no 12 V supply, volts.
const TWELVE_VOLT_SYSTEM_V: f64 = 8.0;

/// Cranking takes a second or two; what lasts longer is no start, seconds (common practice, no source).
const CRANKING_S: f64 = 3.0;

/// Dips closer than this are one, seconds: a battery status comes every 1.5 s.
const TOGETHER_S: f64 = 5.0;

/// Most dips that are told apart.
const MAX_DIPS: usize = 64;

/// One dip.
#[derive(Clone, Copy)]
struct Dip {
    span: Span,
    messages: usize,
}

fn dips(samples: &[Sample]) -> Vec<Dip> {
    let mut dips: Vec<Dip> = Vec::new();
    for pair in samples.windows(2) {
        let [now, next] = pair else { continue };
        if now.a >= LOW_V {
            continue;
        }
        // Up to the next value, unless that one is long in coming.
        let to = if next.time.since(now.time) <= TOGETHER_S { next.time } else { now.time };
        match dips.last_mut() {
            Some(last) if now.time.since(last.span.to) <= TOGETHER_S => {
                last.span.to = last.span.to.max(to);
                last.messages += 1;
            }
            _ => bounded::push(&mut dips, MAX_DIPS, Dip { span: Span::new(now.time, to), messages: 1 }),
        }
    }
    if let Some(last) = samples.last().filter(|s| s.a < LOW_V) {
        match dips.last_mut() {
            Some(dip) if last.time.since(dip.span.to) <= TOGETHER_S => {
                dip.span.to = dip.span.to.max(last.time);
                dip.messages += 1;
            }
            _ => {
                bounded::push(&mut dips, MAX_DIPS, Dip { span: Span::new(last.time, last.time), messages: 1 })
            }
        }
    }
    dips
}

/// The values of a 12 V supply in the track; none when it measures something else.
fn supply(source: &Source) -> Vec<Sample> {
    let samples: Vec<Sample> =
        source.track.samples().iter().filter(|s| s.a.is_finite() && s.a >= NO_SUPPLY_V).copied().collect();
    let mut volts: Vec<f64> = samples.iter().map(|s| s.a).collect();
    match super::pairs::median(&mut volts) {
        Some(median) if median >= TWELVE_VOLT_SYSTEM_V => samples,
        _ => Vec::new(),
    }
}

fn lowest_in(samples: &[Sample], span: Span) -> f64 {
    let within = samples.iter().filter(|s| s.time >= span.from && s.time <= span.to);
    within.map(|s| s.a).fold(f64::INFINITY, f64::min)
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings: Vec<Finding> = Vec::new();
    for source in books.series.of("voltage") {
        let device = source.key.device;
        if findings.iter().any(|f| f.devices.iter().any(|d| *d != device && books.inventory.same(*d, device)))
        {
            continue;
        }
        let samples = supply(source);
        let restarted = |span: Span| {
            evidence.presence.restarts.values().flatten().any(|restart| restart.touches(span, CRANKING_S))
        };
        let dips: Vec<Dip> = dips(&samples)
            .into_iter()
            .filter(|dip| dip.span.seconds() >= CRANKING_S || dip.messages >= 3 || restarted(dip.span))
            .collect();
        if dips.is_empty() {
            continue;
        }
        let spans: Vec<Span> = dips.iter().map(|dip| dip.span).collect();
        let within = |s: &&Sample| spans.iter().any(|span| s.time >= span.from && s.time <= span.to);
        let lowest = spans.iter().map(|span| lowest_in(&samples, *span)).fold(f64::INFINITY, f64::min);
        let mut others: Vec<f64> = samples.iter().filter(|s| !within(s)).map(|s| s.a).collect();
        let who = books.inventory.label(device);
        let which = source.key.instance.map_or_else(String::new, |i| format!(" {i}"));
        let mut finding = Finding::new(
            Severity::Fault,
            format!("Supply{which} measured by {who} falls to {} V", number(lowest, 2)),
        )
        .devices([device])
        .messages([source.key.message.to_string()])
        .real("lowest_v", lowest)
        .evidence(format!("Under {} V {}.", number(LOW_V, 1), times(spans.len())));
        if let Some(usual) = super::pairs::median(&mut others) {
            finding = finding.evidence(format!("It reads {} V otherwise.", number(usual, 1)));
        }
        if lowest < BUS_LEAST_V {
            finding = finding.evidence("Devices of an NMEA 2000 bus are only made to work from 9 V on.");
        }
        let told: Vec<(Span, f64)> = spans.iter().map(|span| (*span, lowest_in(&samples, *span))).collect();
        for line in supply_dips::told(evidence, &told) {
            finding = finding.evidence(line);
        }
        findings.push(
            finding
                .spans(spans)
                .check("Measure at the battery and at the device at once while motors and pumps run: a difference is lost in cable, fuse or connector.")
                .check("Look at terminals, fuse and charging; feed the electronics from another battery than the motors."),
        );
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Books;
    use crate::books::inventory::DeviceId;
    use crate::books::timing::Message;
    use crate::messages::Reading;
    use crate::time::Time;

    fn found(volts: impl Fn(f64) -> f64) -> Vec<Finding> {
        let mut books = Books::default();
        for i in 0..200 {
            let t = f64::from(i) * 1.5;
            let reading = Reading::Voltage { instance: Some(0), volts: Ok(volts(t)) };
            books.series.reading(
                DeviceId(0),
                Message::Pgn(127_508),
                Some(Time(0).plus(t)),
                &reading,
                &mut crate::books::found::Found::default(),
            );
        }
        detect(&Evidence::of(&books))
    }

    #[test]
    fn a_sag_is_found_with_its_span() {
        let found = found(|t| if (60.0..75.0).contains(&t) { 10.2 } else { 12.4 });
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].spans, [Span::new(Time(60_000_000), Time(75_000_000))]);
        assert_eq!(found[0].numbers["lowest_v"], crate::report::model::Number::Real(10.2));
    }

    #[test]
    fn a_battery_that_is_flat_throughout_is_found() {
        assert_eq!(found(|_| 10.6).len(), 1);
    }

    #[test]
    fn a_start_an_unwired_bank_and_a_24_v_system_are_none() {
        assert!(found(|t| if (60.0..61.0).contains(&t) { 9.8 } else { 12.6 }).is_empty(), "cranking");
        assert!(found(|_| 0.3).is_empty(), "nothing is connected");
        assert!(found(|_| 4.98).is_empty(), "a 5 V sensor supply");
        assert!(found(|t| 24.8 - 0.01 * t).is_empty());
        assert!(
            found(|t| if t > 100.0 { 0.0 } else { 13.9 }).is_empty(),
            "an alternator of a stopped engine"
        );
    }
}
