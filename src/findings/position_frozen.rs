//! Position stands still under way.

use super::motion::Motion;
use super::words::{longest, moments, number, seconds};
use super::{Detector, Doc, Evidence, Finding, fix_lost, pairs};
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;
use crate::units::{KNOTS_PER_M_S, Place};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "position-frozen",
        severity: "fault",
        meaning: "The position stays where it is to the last digit while the boat makes way. It looks good on the chart, and \
                  is wrong by more every second; when it wakes up, the boat leaps.",
        detection: "The same latitude and longitude for 5 s or more, while the speed over ground (or, without any, a speed \
                    through the water that no current explains) says that the boat made more than 60 m of way at \
                    over 1 kn, or 20 m at over 3 kn. Or the speed stands still with it, and when it wakes up it leaps as far as the \
                    log says that the boat went.",
        lookalikes: "A receiver at rest may hold its place still on purpose. A receiver that marks its position invalid \
                     has lost its fix: fix-lost.",
        checks: "Look at the receiver's own page under way: does it count on there? Then a gateway or a display in between \
                 holds the old value. Else restart the receiver and look at its antenna and software.",
        cautions: "Do not navigate by this position; compare with marks, depth and a second receiver.",
    },
    complaints: &["position-jumps", "no-position"],
    detect,
};

/// A shorter stand is a late message, seconds.
const SHORTEST_S: f64 = 5.0;

/// Way that moves any position, metres: three times the coarsest form in use (0183 with two decimals of a minute, 18.5 m).
const WAY_M: f64 = 60.0;

/// A receiver at rest may hold its place and still show some tenths of a knot: slower than this is no way, knots.
const SLOWEST_KN: f64 = 1.0;

/// At a fair speed, and where the position has finer steps than this (a thousandth of a minute, 1.9 m), less way will do.
const SURE_WAY_M: f64 = 20.0;
const SURE_KN: f64 = 3.0;
const FINE_DEG: f64 = 1.01e-3 / 60.0;

/// Whether a receiver that stood still with its speed at nothing leapt when it woke, about as far as the log says that the
/// boat went: a boat that lies in a stream has a log that runs, and stays where it is.
fn leapt(motion: &Motion<'_>, source: &Source, still: Span) -> bool {
    let samples = source.track.samples();
    let woke = samples.get(samples.partition_point(|s| s.time <= still.to)..).unwrap_or_default();
    let stood = samples.iter().rfind(|s| s.time == still.to && s.a.is_finite());
    let (Some(stood), Some(woke)) = (stood, woke.iter().find(|s| s.a.is_finite())) else { return false };
    if woke.time.since(still.to) > SHORTEST_S {
        return false;
    }
    let place = |s: &Sample| Place { lat_deg: s.a, lon_deg: s.b };
    let (metres, _) = place(stood).to(place(woke));
    metres > WAY_M && motion.water_m(still).is_some_and(|way| metres >= way / 2.0 && metres <= way * 2.0)
}

/// The stretches in which a source's position stands still under way.
pub(super) fn stands(evidence: &Evidence<'_>, source: &Source) -> Vec<Span> {
    let still = source.runs.still(SHORTEST_S);
    if still.is_empty() {
        return still;
    }
    let motion = Motion::of(evidence);
    let is_fine = pairs::place_step(&pairs::Curve::new(source.track.samples(), false)) <= FINE_DEG;
    still
        .into_iter()
        .filter(|span| {
            let at = |knots: f64| knots / KNOTS_PER_M_S * span.seconds();
            let moves = |m: f64| m > WAY_M.max(at(SLOWEST_KN)) || m > SURE_WAY_M.max(at(SURE_KN)) && is_fine;
            let moved = motion.way_m(*span).is_some_and(moves) || leapt(&motion, source, *span);
            moved && !evidence.books.clock_leapt(*span)
        })
        .collect()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let motion = Motion::of(evidence);
    let repeaters = pairs::position_repeaters(evidence);
    pairs::main_sources(evidence, "position")
        .into_iter()
        .filter(|source| !repeaters.contains(&source.key.device))
        .filter_map(|source| {
            // A place held while the receiver says in another message that it has none is that loss.
            let lost = fix_lost::losses(evidence, source.key.device).map(|(_, spans)| spans).unwrap_or_default();
            let mut spans = stands(evidence, source);
            spans.retain(|s| !lost.iter().any(|l| l.touches(*s, 0.0)));
            let way = |s: &Span| {
                let (ground, water) = (motion.way_m(*s), motion.water_m(*s));
                ground.into_iter().chain(water).max_by(f64::total_cmp)
            };
            let worst = spans.iter().filter_map(way).max_by(f64::total_cmp)?;
            let who = evidence.books.inventory.label(source.key.device);
            let frozen = longest(&spans);
            Some(
                Finding::new(
                    Severity::Fault,
                    format!("The position of {who} stands still under way, for {} at the longest", seconds(frozen)),
                )
                .devices([source.key.device])
                .messages([source.key.message.to_string()])
                .real("frozen_s", frozen)
                .evidence(format!(
                    "{} gives the same place to the last digit while the boat makes up to {} m of way.",
                    source.key.message,
                    number(worst, 0)
                ))
                .evidence(format!("At {}.", moments(evidence.books, &spans)))
                .spans(spans)
                .check(format!("Watch the own page of {who} under way: if it counts on there, a device in between holds the old value."))
                .check("Switch the receiver off and on, and look for newer software."),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds};
    use super::*;
    use crate::messages::Reading;
    use crate::units::Place;

    fn boat(knots: f64, frozen: std::ops::Range<i64>) -> Boat {
        let mut boat = Boat::default();
        let mut north = 54.0;
        for s in 0..120 {
            boat.ground(1, s as f64, 0.0, knots);
            if !frozen.contains(&s) {
                north = 54.0 + s as f64 * knots / 3600.0 / 60.0;
            }
            let at = Place::new(north, 10.0).ok_or(crate::messages::Absent::Unusable);
            boat.say(1, 129_025, s as f64, &Reading::Position { at, satellites: None, hdop: None });
        }
        boat
    }

    #[test]
    fn a_place_that_stands_under_way_is_found() {
        let boat = boat(12.0, 40..60);
        let found = detect(&boat.evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![1])]);
        assert_eq!(found[0].spans, [Span::new(Boat::at(39.0), Boat::at(59.0))]);
    }

    #[test]
    fn a_boat_at_rest_or_hardly_moving_is_not_frozen() {
        assert!(detect(&boat(0.0, 0..0).evidence()).is_empty());
        assert!(detect(&boat(0.7, 20..100).evidence()).is_empty());
        assert!(detect(&boat(12.0, 40..44).evidence()).is_empty());
    }

    /// A receiver that stands still with its speed: it leaps when it wakes, or it does not and the boat lay in a stream.
    #[test]
    fn a_receiver_that_forgets_its_speed_is_found_by_its_leap() {
        let found = |leaps: bool| {
            let mut boat = Boat::default();
            for s in 0..200_i64 {
                let stands = (80..140).contains(&s);
                let way = if stands {
                    79
                } else if s < 80 || leaps {
                    s
                } else {
                    s - 61
                };
                boat.ground(1, s as f64, 0.0, if stands { 0.0 } else { 6.0 });
                boat.say(2, 128_259, s as f64, &Reading::WaterSpeed { kn: Ok(6.0) });
                let at = Place::new(54.0 + way as f64 * 6.0 / 216_000.0, 10.0);
                let at = at.ok_or(crate::messages::Absent::Unusable);
                boat.say(1, 129_025, s as f64, &Reading::Position { at, satellites: None, hdop: None });
            }
            detect(&boat.evidence()).len()
        };
        assert_eq!((found(true), found(false)), (1, 0));
    }
}
