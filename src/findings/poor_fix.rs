//! The fix is valid, but its geometry or its satellites are poor for a good part of the time.

use super::words::{number, percent, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::bounded;
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "poor-fix",
        severity: "warning",
        meaning: "The position receiver has a fix, but from few satellites or from satellites that stand badly: the position \
                  may be off by tens of metres and wander, and so do course and speed over ground.",
        detection: "A horizontal dilution of precision over 4, or fewer than five satellites used, in a tenth of the messages or \
                    more and for 20 s or more in all. Times without a valid fix are not counted: fix-lost.",
        lookalikes: "Just after a start the first fixes are poor for some seconds. Under a bridge or beside a high wall a poor fix \
                     is to be expected.",
        checks: "Look at the antenna: free view of the whole sky, not under a roof, a bimini frame or beside a radar. Look at the \
                 receiver's satellite page with everything that transmits switched off, then on. In a harbour wait and repeat outside.",
        cautions: "Do not use an anchor function or steer by track while the fix is poor.",
    },
    complaints: &["position-jumps"],
    detect,
};

/// A horizontal dilution over this is poor. A healthy receiver under open sky shows 0.6 to 2; with over 4 its error is
/// some five times the usual (common practice, no source).
const POOR_HDOP: f64 = 4.0;

/// Fewer satellites than this give no check of the fix (four unknowns; the fifth shows an error).
const FEW_SATELLITES: f64 = 5.0;

/// Share of the messages from which it is a good part of the time.
const SHARE: f64 = 0.1;

/// Shorter in all than this is a start or a bridge, seconds.
const SHORTEST_S: f64 = 20.0;

/// Poor messages this close together are one stretch, seconds.
const TOGETHER_S: f64 = 15.0;

/// Stretches that are given with their times.
const MAX_SPANS: usize = 256;

/// Two messages of a receiver whose shares differ by no more say the same.
const SAME_SHARE: f64 = 0.02;

/// Messages with a valid fix from which on they are judged.
const FEWEST: usize = 10;

/// What one message says of the fix over the recording.
pub(crate) struct Quality<'a> {
    source: &'a Source,
    /// Messages with a valid fix.
    pub(crate) valid: usize,
    /// Those of them with a poor one.
    pub(crate) poor: usize,
    /// The largest horizontal dilution.
    pub(crate) worst_hdop: Option<f64>,
    /// The fewest satellites used.
    pub(crate) fewest: Option<f64>,
    spans: Vec<Span>,
}

impl Quality<'_> {
    /// The share of poor ones; none of too few to judge.
    fn share(&self) -> f64 {
        if self.valid < FEWEST { 0.0 } else { self.poor as f64 / self.valid as f64 }
    }
}

/// What a receiver's messages say of its fix, each that says anything of enough fixes.
pub(crate) fn qualities(books: &Books, device: DeviceId) -> Vec<Quality<'_>> {
    let its = books.series.of("fix-quality").filter(|s| books.inventory.same(s.key.device, device));
    its.map(|source| quality(books, source)).filter(|q| q.valid >= FEWEST).collect()
}

fn quality<'a>(books: &'a Books, source: &'a Source) -> Quality<'a> {
    let same = |s: &&Source| books.inventory.same(s.key.device, source.key.device);
    let positions: Vec<&Source> = books.series.of("position").filter(same).collect();
    let without: Vec<Span> = positions.iter().flat_map(|s| s.runs.absent(0.0)).collect();
    // A list of satellites may hold those of one system only; the count in a position message is of all.
    let counts = positions.iter().any(|s| s.key.message == source.key.message);
    let satellites = |s: &Sample| Some(s.b).filter(|n| counts && *n >= 1.0);
    let mut q = Quality { source, valid: 0, poor: 0, worst_hdop: None, fewest: None, spans: Vec::new() };
    for s in source.track.samples() {
        let known = !s.a.is_nan() || satellites(s).is_some();
        if !known || without.iter().any(|w| w.from <= s.time && s.time <= w.to) {
            continue;
        }
        q.valid += 1;
        if !s.a.is_nan() {
            q.worst_hdop = Some(q.worst_hdop.map_or(s.a, |w| w.max(s.a)));
        }
        q.fewest = satellites(s).map(|n| q.fewest.map_or(n, |f| f.min(n))).or(q.fewest);
        if s.a > POOR_HDOP || satellites(s).is_some_and(|n| n < FEW_SATELLITES) {
            q.poor += 1;
            bounded::stretch(&mut q.spans, MAX_SPANS, Span::new(s.time, s.time), TOGETHER_S);
        }
    }
    q
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut best: Vec<(DeviceId, Quality<'_>)> = Vec::new();
    for source in evidence.books.series.of("fix-quality") {
        let q = quality(evidence.books, source);
        let same =
            |(d, _): &&mut (DeviceId, Quality<'_>)| evidence.books.inventory.same(*d, source.key.device);
        match best.iter_mut().find(same) {
            // One message tells the satellites and another one the dilution: whichever is the worse.
            Some((_, b)) => {
                let worst_hdop = [b.worst_hdop, q.worst_hdop].into_iter().flatten().max_by(f64::total_cmp);
                // Of two that say the same, the one that says most of the time, with the dilution.
                let worse = q.share() - b.share();
                let fuller = (b.worst_hdop.is_some(), b.valid) < (q.worst_hdop.is_some(), q.valid);
                if worse > SAME_SHARE || (fuller && worse > -SAME_SHARE) {
                    *b = q;
                }
                b.worst_hdop = worst_hdop;
            }
            None => best.push((source.key.device, q)),
        }
    }
    best.into_iter().filter_map(|(_, q)| finding(evidence, q)).collect()
}

fn finding(evidence: &Evidence<'_>, q: Quality<'_>) -> Option<Finding> {
    let share = q.share();
    let (from, to) = q.source.first.zip(q.source.last)?;
    let poor_s = share * to.since(from);
    if share < SHARE || poor_s < SHORTEST_S {
        return None;
    }
    let who = evidence.books.inventory.label(q.source.key.device);
    let mut finding = Finding::new(
        Severity::Warning,
        format!("The fix of {who} is poor in {} of the time", percent(share)),
    )
    .devices([q.source.key.device])
    .messages([q.source.key.message.to_string()])
    .real("share", share)
    .evidence(format!(
        "{} of {} messages of {} with a valid fix are poor, about {} in all.",
        q.poor,
        q.valid,
        q.source.key.message,
        seconds(poor_s)
    ));
    if let Some(worst) = q.worst_hdop {
        finding = finding.real("worst_hdop", worst).evidence(format!(
            "Horizontal dilution of precision up to {}; under open sky it is 0.6 to 2.",
            number(worst, 1)
        ));
    }
    if let Some(fewest) = q.fewest {
        finding = finding.evidence(format!("As few as {} satellites used.", number(fewest, 0)));
    }
    Some(
        finding
            .spans(q.spans)
            .check(format!("Look at the antenna of {who}: free view of the whole sky, no metal above, no transmitter beside it."))
            .check("Note where the boat was: high walls, bridges and sheds take satellites away."),
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds};
    use super::*;
    use crate::messages::{Absent, Reading};
    use crate::units::Place;

    fn boat(hdop: impl Fn(i32) -> f64, satellites: u16, valid: impl Fn(i32) -> bool) -> Boat {
        let mut boat = Boat::default();
        for s in 0..300 {
            let at = Place::new(54.0 + f64::from(s) * 1e-5, 10.0)
                .filter(|_| valid(s))
                .ok_or(Absent::MarkedInvalid);
            let reading = Reading::Position { at, satellites: Some(satellites), hdop: Some(hdop(s)) };
            boat.say(1, 129_029, f64::from(s), &reading);
        }
        boat
    }

    #[test]
    fn poor_geometry_for_a_good_part_of_the_time_is_found() {
        let found = detect(&boat(|s| if s < 60 { 7.5 } else { 0.9 }, 9, |_| true).evidence());
        assert_eq!(kinds(&found), [(Severity::Warning, vec![1])]);
        assert_eq!(found[0].numbers.get("share"), Some(&crate::report::model::Number::Real(0.2)));
    }

    #[test]
    fn few_satellites_are_found_but_not_a_field_that_is_not_filled() {
        assert_eq!(detect(&boat(|_| 2.0, 4, |_| true).evidence()).len(), 1);
        assert!(detect(&boat(|_| 1.0, 0, |_| true).evidence()).is_empty());
    }

    #[test]
    fn a_bridge_and_a_lost_fix_are_none() {
        assert!(detect(&boat(|s| if s < 15 { 9.0 } else { 1.0 }, 9, |_| true).evidence()).is_empty());
        let lost = |s: i32| !(100..180).contains(&s);
        assert!(detect(&boat(|s| if lost(s) { 1.0 } else { 50.0 }, 9, lost).evidence()).is_empty());
    }

    /// Dilution comes in a message of its own as well, which may be first.
    #[test]
    fn few_satellites_are_found_beside_a_good_dilution() {
        let mut boat = Boat::default();
        for s in 0..300 {
            let dops = Reading::FixQuality { fix: Some(true), satellites: None, hdop: Ok(1.1) };
            boat.say(1, 129_539, f64::from(s), &dops);
            let at = Place::new(54.0 + f64::from(s) * 1e-5, 10.0).ok_or(Absent::MarkedInvalid);
            let satellites = Some(if s < 90 { 3 } else { 9 });
            let fix = Reading::Position { at, satellites, hdop: Some(1.0) };
            boat.say(1, 129_029, f64::from(s) + 0.1, &fix);
        }
        let found = detect(&boat.evidence());
        assert_eq!(found[0].numbers.get("share"), Some(&crate::report::model::Number::Real(0.3)));
        assert_eq!(found[0].messages, ["129029"]);
    }

    #[test]
    fn the_satellites_of_one_system_are_not_all() {
        let mut boat = boat(|_| 1.0, 14, |_| true);
        for s in 0..300 {
            let one = Reading::FixQuality { fix: Some(true), satellites: Some(3), hdop: Ok(1.0) };
            boat.say(1, 129_540, f64::from(s), &one);
        }
        assert!(detect(&boat.evidence()).is_empty());
    }
}
