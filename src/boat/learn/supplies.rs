//! Who supplied what, as expectations; what a fault touches is kept out.

use super::crew::Crew;
use super::ink::{Ink, quoted};
use super::touches;
use crate::boat::verify::missing_percent;
use crate::report::model::{FindingRow, Report, Severity, SourceRow};
use std::collections::BTreeMap;

/// Messages that are needed before an interval is taken for the usual one.
const ENOUGH: u64 = 10;

/// A stream is steady when nine in ten of its intervals are at most this many times the median.
const STEADY: f64 = 1.5;

/// Percent that may be missing beyond what the recording lacked, rounded up.
const LEEWAY_PERCENT: f64 = 1.0;

/// Quantities of which a display chooses one source: a second one is never welcome by itself.
const CHOSEN: [&str; 8] = [
    "heading",
    "position",
    "depth",
    "course-and-speed-over-ground",
    "speed-through-water",
    "wind",
    "rate-of-turn",
    "rudder",
];

/// One supply of the draft.
struct Learnt<'a> {
    name: &'a str,
    source: &'a SourceRow,
    /// The fault for which it is kept out.
    fault: Option<&'a FindingRow>,
}

pub(super) fn write(ink: &mut Ink, report: &Report, crew: &Crew<'_>) {
    let learnt = learnt(report, crew);
    for (i, supply) in learnt.iter().enumerate() {
        ink.blank();
        let source = supply.source;
        if let Some(fault) = supply.fault {
            ink.comment(&format!(
                "Kept out: {} from {}, for the recording shows a fault: {} ({})",
                source.quantity, supply.name, fault.summary, fault.kind
            ));
            continue;
        }
        ink.table("[[supply]]");
        ink.text("quantity", &source.quantity);
        ink.text("device", supply.name);
        source.reference.iter().for_each(|reference| ink.text("reference", reference));
        source.instance.iter().for_each(|instance| ink.value("instance", instance));
        interval(ink, source);
        let missing = (missing_percent(report, source) + LEEWAY_PERCENT).ceil().min(100.0);
        ink.value("missing_percent", format!("{missing:.0}"));
        rivals(ink, &learnt, i);
    }
}

/// One entry for each quantity, reference and instance of each device: that of its most frequent message.
fn learnt<'a>(report: &'a Report, crew: &'a Crew<'_>) -> Vec<Learnt<'a>> {
    let faults: Vec<&FindingRow> = report.findings.iter().filter(|f| f.severity == Severity::Fault).collect();
    let mut seen = BTreeMap::new();
    let mut learnt: Vec<Learnt<'_>> = Vec::new();
    for source in report.sources.iter().filter(|source| source.valid > 0) {
        let Some(name) = crew.name(&source.device) else { continue };
        let fault = faults.iter().copied().find(|fault| touches(report, fault, source));
        let key = (source.quantity.as_str(), name, source.reference, source.instance);
        match seen.get(&key).and_then(|at: &usize| learnt.get_mut(*at)) {
            Some(known) => {
                known.fault = known.fault.or(fault);
                if source.valid > known.source.valid {
                    known.source = source;
                }
            }
            None => {
                seen.insert(key, learnt.len());
                learnt.push(Learnt { name, source, fault });
            }
        }
    }
    learnt
}

fn interval(ink: &mut Ink, source: &SourceRow) {
    let Some((p50, p90)) = source.interval_s.p50.zip(source.interval_s.p90) else { return };
    if source.count < ENOUGH || p50 < 0.001 || p90 > p50 * STEADY {
        ink.comment("interval_s = ..   FILL IN: it came at no steady interval");
        return;
    }
    ink.value("interval_s", format!("{:?}", round_interval(p50)));
}

/// The interval as a person would write it: two digits when that changes it by no more than a hundredth, else
/// milliseconds.
fn round_interval(seconds: f64) -> f64 {
    let step = 10_f64.powf(seconds.log10().floor() - 1.0);
    let short = (seconds / step).round() * step;
    let exact = if (short - seconds).abs() <= seconds / 100.0 { short } else { seconds };
    (exact * 1000.0).round() / 1000.0
}

/// Who else supplies the same thing: nobody, or stand-bys.
fn rivals(ink: &mut Ink, learnt: &[Learnt<'_>], at: usize) {
    let Some(own) = learnt.get(at) else { return };
    let same = |other: &Learnt<'_>| {
        let apart = own.source.instance.zip(other.source.instance).is_some_and(|(a, b)| a != b);
        other.source.quantity == own.source.quantity && other.name != own.name && !apart
    };
    let mut later: Vec<&str> = learnt
        .iter()
        .skip(at + 1)
        .filter(|other| other.fault.is_none() && same(other))
        .map(|other| other.name)
        .collect();
    later.dedup();
    if !later.is_empty() {
        let names: Vec<String> = later.iter().map(|name| quoted(name)).collect();
        ink.value("stand_by", format!("[{}]", names.join(", ")));
        ink.comment("FILL IN: several supply it. Name the one that displays should use as the device of this entry, the others");
        ink.comment("here; or switch them off, take their entries out, and write sole = true.");
    } else if !learnt.iter().any(same) && CHOSEN.contains(&own.source.quantity.as_str()) {
        ink.value("sole", true);
    }
}

#[cfg(test)]
mod tests {
    use super::round_interval;

    #[test]
    fn intervals_are_written_as_people_write_them() {
        for (seconds, want) in [
            (0.100_4, 0.1),
            (0.201, 0.2),
            (0.251, 0.25),
            (1.004, 1.0),
            (2.5, 2.5),
            (0.0334, 0.033),
            (0.1234, 0.123),
            (60.06, 60.0),
        ] {
            assert_eq!(round_interval(seconds), want, "{seconds}");
        }
    }
}
