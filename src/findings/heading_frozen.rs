//! One heading source stands still while the course changes.

use super::motion::{Motion, Turn, within};
use super::pairs;
use super::words::{longest, moments, number, seconds};
use super::{Detector, Doc, Evidence, Finding, duplicate_heading_source};
use crate::books::series::Source;
use crate::report::model::Severity;
use crate::time::Span;
use crate::units::wrap_180;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "heading-frozen",
        severity: "fault",
        meaning: "The heading stays the same to the last digit while the boat turns. The chart points the wrong way, radar \
                  and chart do not lie on each other, and a bow motor or an autopilot steers by a heading that is no longer \
                  there.",
        detection: "The same heading, to the last digit, for 8 s or more, while the course over ground goes away by 20 degrees or \
                    more at over 3 kn. It must go on doing so after the first 5 s, in which a boat may still slide, or the \
                    heading must leap by as much when it wakes. Where the course tells nothing, a rate of turn of more than \
                    1 degree a second does, or the heading of another device.",
        lookalikes: "On a straight course a heading sensor with coarse steps may stand still for long. At rest the course \
                     over ground wanders and says nothing.",
        checks: "Turn the boat slowly and watch the sensor's own page. Look at the sensor's supply and cable; switch it off \
                 and on. See whether a device in between repeats an old value.",
        cautions: "Take autopilot and bow motor out of heading control before you test, and keep clear of the propeller.",
    },
    complaints: &["heading-jumps", "no-heading"],
    detect,
};

/// A shorter stand is a coarse sensor in a slow turn, seconds.
const SHORTEST_S: f64 = 8.0;

/// The course must change by this much beside it, degrees: leeway, current and the course's own noise under way stay
/// well below (common practice, no source).
const CHANGE_DEG: f64 = 20.0;

/// After a turn the boat slides on and the receiver smooths: so long may the course follow a heading that already
/// stands, seconds (common practice, no source).
const SLIDES_S: f64 = 5.0;

/// The next heading after a stand comes within this, seconds.
const WAKES_S: f64 = 3.0;

/// The leap after a stand is as large as the turn of the course to within this, degrees, or this share of it: leeway, and what the
/// boat turned while it slid on (common practice, no source).
const SLACK_DEG: f64 = 10.0;
const SLACK: f64 = 0.3;

/// The stretches in which a source's heading stands still while the course changes, with the change.
pub(super) fn stands(evidence: &Evidence<'_>, source: &Source) -> Vec<(Span, f64)> {
    let still = source.runs.still(SHORTEST_S);
    if still.is_empty() {
        return Vec::new();
    }
    let motion = Motion::of(evidence);
    still
        .into_iter()
        .filter(|span| !evidence.books.clock_leapt(*span))
        .filter_map(|span| {
            let settled = Span::new(span.from.plus(SLIDES_S), span.to);
            let device = source.key.device;
            let (whole, after) = if let Some(turn) = motion.course_turn(span) {
                (turn, motion.course_turn(settled))
            } else if let Some(turn) = motion.turn(span) {
                (turn, motion.turn(settled))
            } else {
                (motion.turn_by_others(span, device)?, motion.turn_by_others(settled, device))
            };
            let turns_on = || after.is_some_and(|turn| turn.furthest_deg >= CHANGE_DEG * 0.75);
            let stood = whole.furthest_deg >= CHANGE_DEG && (turns_on() || makes_up_for(source, span, whole));
            stood.then_some((span, whole.furthest_deg))
        })
        .collect()
}

/// Whether the heading leaps after its stand by what the boat had turned meanwhile.
fn makes_up_for(source: &Source, span: Span, turn: Turn) -> bool {
    let stood = within(source, span).first().map(|sample| sample.a);
    let after = within(source, Span::new(span.to, span.to.plus(WAKES_S)));
    let leap = stood.and_then(|held| after.iter().map(|s| wrap_180(s.a - held)).find(|leap| *leap != 0.0));
    leap.is_some_and(|leap| {
        leap.abs() >= CHANGE_DEG
            && wrap_180(leap - turn.net_deg).abs() <= SLACK_DEG.max(SLACK * turn.net_deg.abs())
    })
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let repeaters = duplicate_heading_source::repeaters(evidence);
    pairs::main_sources(evidence, "heading")
        .into_iter()
        .filter(|source| !repeaters.contains(&source.key.device))
        .filter_map(|source| {
            let stands = stands(evidence, source);
            let change = stands.iter().map(|(_, change)| *change).max_by(f64::total_cmp)?;
            let spans: Vec<Span> = stands.into_iter().map(|(span, _)| span).collect();
            let who = evidence.books.inventory.label(source.key.device);
            let frozen = longest(&spans);
            Some(
                Finding::new(
                    Severity::Fault,
                    format!(
                        "The heading of {who} stands still while the boat turns, for {} at the longest",
                        seconds(frozen)
                    ),
                )
                .devices([source.key.device])
                .messages([source.key.message.to_string()])
                .real("frozen_s", frozen)
                .real("course_change_deg", change)
                .evidence(format!(
                    "{} gives the same heading to the last digit while the boat turns by up to {} deg.",
                    source.key.message,
                    number(change, 0)
                ))
                .evidence(format!("At {}.", moments(&spans)))
                .spans(spans)
                .check(format!(
                    "Turn the boat slowly and watch the heading of {who}; then switch the sensor off and on."
                ))
                .check("Look at the sensor's supply, cable and connector, and for newer software of it."),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds, noise};
    use super::*;

    /// A boat that turns by 60 degrees from the 60th to the 80th second; the heading is frozen where asked.
    fn boat(knots: f64, step_deg: f64, frozen: std::ops::Range<i64>) -> Boat {
        let mut boat = Boat::default();
        let mut held = 0.0;
        for tenth in 0..1500_i64 {
            let t = tenth as f64 / 10.0;
            let deg = 100.0 + 3.0 * (t - 60.0).clamp(0.0, 20.0);
            boat.ground(1, t, deg + noise(tenth), knots);
            if !frozen.contains(&(tenth / 10)) {
                held = ((deg + 0.4 * noise(tenth + 5000)) / step_deg).round() * step_deg;
            }
            boat.heading(2, t + 0.03, held);
        }
        boat
    }

    #[test]
    fn a_heading_that_stands_in_a_turn_is_found() {
        let found = detect(&boat(12.0, 0.1, 62..90).evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![2])]);
        assert!((found[0].spans[0].seconds() - 28.0).abs() < 0.3);
    }

    #[test]
    fn a_display_that_repeats_it_is_not_told_again() {
        let mut boat = boat(12.0, 0.1, 62..90);
        let said: Vec<_> = boat.books.series.of("heading").flat_map(|s| s.track.samples().to_vec()).collect();
        for s in said {
            boat.heading(5, s.time.since(Boat::at(0.0)) + 0.12, s.a);
        }
        assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Fault, vec![2])]);
    }

    #[test]
    fn a_coarse_heading_on_a_straight_course_is_healthy() {
        assert!(detect(&boat(12.0, 1.0, 0..0).evidence()).is_empty());
    }

    #[test]
    fn at_rest_the_course_says_nothing() {
        assert!(detect(&boat(0.8, 0.1, 62..90).evidence()).is_empty());
    }

    #[test]
    fn at_rest_the_rate_of_turn_tells_it() {
        let mut boat = boat(0.8, 0.1, 62..90);
        for s in 0..150_i64 {
            let deg_per_min = Ok(if (60..80).contains(&s) { 180.0 } else { 8.0 });
            boat.say(2, 127_251, s as f64, &crate::messages::Reading::RateOfTurn { deg_per_min });
        }
        let found = detect(&boat.evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![2])]);
    }

    #[test]
    fn a_speed_that_wavers_about_the_slowest_hides_none() {
        for knots in [2.7, 3.0, 3.3] {
            let mut boat = Boat::default();
            for tenth in 0..1500_i64 {
                let t = tenth as f64 / 10.0;
                let deg = 100.0 + 3.0 * (t - 60.0).clamp(0.0, 20.0);
                boat.ground(1, t, deg + noise(tenth), knots + 0.4 * noise(tenth + 99));
                boat.heading(
                    2,
                    t + 0.03,
                    if (62.0..90.0).contains(&t) { 106.3 } else { deg + noise(tenth + 7) },
                );
            }
            assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Fault, vec![2])], "{knots}");
        }
    }

    #[test]
    fn a_turn_at_the_beginning_of_a_stand_shows_when_it_wakes() {
        let found = |leap: f64| {
            let mut boat = Boat::default();
            for tenth in 0..1200_i64 {
                let t = tenth as f64 / 10.0;
                boat.ground(1, t, 100.0 + 25.0 * (t - 60.0).clamp(0.0, 3.0) + noise(tenth), 12.0);
                let deg = if t < 78.0 { 100.0 } else { 100.0 + leap };
                let rest = if (60.0..78.0).contains(&t) { 0.0 } else { noise(tenth + 7) };
                boat.heading(2, t + 0.03, deg + rest);
            }
            kinds(&detect(&boat.evidence()))
        };
        assert_eq!(found(75.0), [(Severity::Fault, vec![2])]);
        assert!(found(0.0).is_empty(), "a boat that slides on");
        assert!(found(-75.0).is_empty(), "another way than it turned");
    }

    #[test]
    fn where_nothing_else_tells_the_other_heading_does() {
        let mut boat = Boat::default();
        for tenth in 0..1500_i64 {
            let t = tenth as f64 / 10.0;
            let deg = 100.0 + 3.0 * (t - 60.0).clamp(0.0, 20.0);
            boat.heading(1, t, deg + noise(tenth));
            boat.heading(2, t + 0.03, if (62.0..90.0).contains(&t) { 106.3 } else { deg + noise(tenth + 7) });
        }
        assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Fault, vec![2])]);
    }
}
