//! A reported supply falls under what the boat's electronics need.

use super::words::{number, times};
use super::{Detector, Doc, Evidence, Finding, supply_dips};
use crate::books::bounded;
use crate::books::inventory::DeviceId;
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
                    restarts. What several messages of one device tell of the same dips is one finding. Sources that never read \
                    8 V or more, and readings under 5 V, are taken for something else than a 12 V supply (a bank that is not \
                    wired, a signal).",
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

/// Two meters of one supply differ by no more than this, volts: a length of cable may lie between them (common practice, no
/// source).
const NEAR_V: f64 = 0.3;

/// Dips of two meters are one when the shorter lasts for this share of the longer (common practice, no source).
const SAME_SHARE: f64 = 0.5;

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

/// What one message of a device tells of a supply.
struct Meter<'a> {
    source: &'a Source,
    samples: Vec<Sample>,
    dips: Vec<Span>,
}

impl Meter<'_> {
    fn lowest_in(&self, span: Span) -> f64 {
        let within = self.samples.iter().filter(|s| s.time >= span.from && s.time <= span.to);
        within.map(|s| s.a).fold(f64::INFINITY, f64::min)
    }

    /// Whether a dip that another meter tells is in these values too: as a dip that begins and ends with it or lasts as long, or as
    /// values that all but fall as low.
    fn shares(&self, others: &[Span], dip: Span) -> bool {
        let touching = |spans: &[Span], dip: Span| -> Vec<Span> {
            spans.iter().filter(|span| span.touches(dip, TOGETHER_S)).copied().collect()
        };
        let mine = touching(&self.dips, dip);
        let Some(hull) = hull(&mine) else { return self.lowest_in(dip) < LOW_V + NEAR_V };
        let theirs = touching(others, hull);
        let ends = |a: Span, b: Span| {
            a.from.since(b.from).abs() <= TOGETHER_S && a.to.since(b.to).abs() <= TOGETHER_S
        };
        let low_s = |spans: &[Span]| spans.iter().map(|span| span.seconds()).sum::<f64>();
        let (one_s, other_s) = (low_s(&mine), low_s(&theirs));
        self::hull(&theirs).is_some_and(|theirs| ends(hull, theirs))
            || one_s.min(other_s) >= SAME_SHARE * one_s.max(other_s)
    }
}

fn hull(spans: &[Span]) -> Option<Span> {
    spans.iter().copied().reduce(|a, b| Span::new(a.from.min(b.from), a.to.max(b.to)))
}

/// The meters of one device that tell the same dips, and these: the battery's state and the alternator's voltage of an engine, or two
/// batteries that one load pulls down.
struct Supply<'a> {
    meters: Vec<Meter<'a>>,
    dips: Vec<Span>,
}

impl<'a> Supply<'a> {
    fn of(meter: Meter<'a>) -> Self {
        Self { dips: meter.dips.clone(), meters: vec![meter] }
    }

    /// Takes the dips of another meter that are dips of this supply, and leaves the others to it.
    fn take(&mut self, meter: Meter<'a>) -> Option<Meter<'a>> {
        let mine = |dip: &Span| self.meters.iter().any(|known| known.shares(&meter.dips, *dip));
        let (shared, own): (Vec<Span>, Vec<Span>) = meter.dips.iter().copied().partition(mine);
        if shared.is_empty() {
            return Some(meter);
        }
        for dip in shared {
            self.add(dip);
        }
        self.dips.sort_by_key(|dip| dip.from);
        let Meter { source, samples, .. } = meter;
        let rest = (!own.is_empty()).then(|| Meter { source, samples: samples.clone(), dips: own });
        self.meters.push(Meter { source, samples, dips: Vec::new() });
        rest
    }

    /// Adds a dip, as one with those that it touches.
    fn add(&mut self, dip: Span) {
        let (touching, mut others): (Vec<Span>, Vec<Span>) =
            self.dips.iter().copied().partition(|known| known.touches(dip, TOGETHER_S));
        others.extend(hull(&[touching, vec![dip]].concat()));
        self.dips = others;
    }

    fn lowest_in(&self, span: Span) -> f64 {
        self.meters.iter().map(|meter| meter.lowest_in(span)).fold(f64::INFINITY, f64::min)
    }
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut supplies: Vec<(DeviceId, Supply<'_>)> = Vec::new();
    for source in books.series.of("voltage") {
        let device = source.key.device;
        if supplies.iter().any(|(known, _)| *known != device && books.inventory.same(*known, device)) {
            continue;
        }
        let samples = supply(source);
        let restarted = |span: Span| {
            evidence.presence.restarts.values().flatten().any(|restart| restart.touches(span, CRANKING_S))
        };
        let dips = dips(&samples)
            .into_iter()
            .filter(|dip| dip.span.seconds() >= CRANKING_S || dip.messages >= 3 || restarted(dip.span))
            .map(|dip| dip.span)
            .collect();
        let mut of_it = supplies.iter_mut().filter(|(known, _)| *known == device);
        let meter = Meter { source, samples, dips };
        let left = of_it.try_fold(meter, |meter, (_, supply)| supply.take(meter));
        if let Some(meter) = left.filter(|meter| !meter.dips.is_empty()) {
            supplies.push((device, Supply::of(meter)));
        }
    }
    supplies.iter().map(|(device, supply)| told(evidence, *device, supply)).collect()
}

fn told(evidence: &Evidence<'_>, device: DeviceId, supply: &Supply<'_>) -> Finding {
    let spans = &supply.dips;
    let lowest = spans.iter().map(|span| supply.lowest_in(*span)).fold(f64::INFINITY, f64::min);
    let within = |s: &&Sample| spans.iter().any(|span| s.time >= span.from && s.time <= span.to);
    let first = supply.meters.first();
    let samples = first.map(|meter| meter.samples.as_slice()).unwrap_or_default();
    let mut others: Vec<f64> = samples.iter().filter(|s| !within(s)).map(|s| s.a).collect();
    let who = evidence.books.inventory.label(device);
    let mut keys: Vec<_> = supply.meters.iter().map(|meter| meter.source.key.instance).collect();
    keys.dedup();
    let which = match keys.as_slice() {
        [Some(instance)] => format!(" {instance}"),
        _ => String::new(),
    };
    let mut finding = Finding::new(
        Severity::Fault,
        format!("Supply{which} measured by {who} falls to {} V", number(lowest, 2)),
    )
    .devices([device])
    .messages(supply.meters.iter().map(|meter| meter.source.key.message.to_string()))
    .real("lowest_v", lowest)
    .evidence(format!("Under {} V {}.", number(LOW_V, 1), times(spans.len())));
    if supply.meters.len() > 1 {
        let each = supply.meters.iter().map(|meter| {
            let key = meter.source.key;
            let instance = key.instance.map_or_else(String::new, |i| format!(" of instance {i}"));
            let lowest = spans.iter().map(|span| meter.lowest_in(*span)).fold(f64::INFINITY, f64::min);
            format!("{}{instance} (down to {} V)", key.message, number(lowest, 2))
        });
        finding = finding.evidence(format!("Told alike by {}.", each.collect::<Vec<_>>().join(" and ")));
    }
    if let Some(usual) = super::pairs::median(&mut others) {
        finding = finding.evidence(format!("It reads {} V otherwise.", number(usual, 1)));
    }
    if lowest < BUS_LEAST_V {
        finding = finding.evidence("Devices of an NMEA 2000 bus are only made to work from 9 V on.");
    }
    let dips: Vec<(Span, f64)> = spans.iter().map(|span| (*span, supply.lowest_in(*span))).collect();
    for line in supply_dips::told(evidence, &dips) {
        finding = finding.evidence(line);
    }
    finding
        .spans(spans.iter().copied())
        .check("Measure at the battery and at the device at once while motors and pumps run: a difference is lost in cable, fuse or connector.")
        .check("Look at terminals, fuse and charging; feed the electronics from another battery than the motors.")
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
