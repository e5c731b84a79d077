//! One heading source stands still while the course changes.

use super::deviation::circular_median;
use super::motion::{Motion, Turn, UNDER_WAY_KN, within};
use super::pairs::{self, Curve};
use super::words::{longest, moments, number, seconds};
use super::{Detector, Doc, Evidence, Finding, duplicate_heading_source};
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::{Span, Time};
use crate::units::wrap_180;
use std::cell::OnceCell;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "heading-frozen",
        severity: "fault",
        meaning: "The heading stays the same to the last digit while the boat turns. The chart points the wrong way, radar \
                  and chart do not lie on each other, and a bow motor or an autopilot steers by a heading that is no longer \
                  there.",
        detection: "The same heading, to the last digit, for 8 s or more, while the course over ground goes away by 20 degrees or \
                    more at over 3 kn. It must go on doing so after the first 5 s, in which a boat may still slide, or the \
                    heading must leap by as much when it wakes; a smaller turn is enough where the heading wakes with a step of \
                    about its size; where it does not wake, or the turn was not seen, the course \
                    must stay off it by as much. Where the course tells nothing, a rate of turn of more than 1 degree a second does, or the \
                    heading of another device.",
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
pub(super) const SHORTEST_S: f64 = 8.0;

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

/// A smaller turn is told where the heading wakes with a step as large, to within this share of it (common practice, no source).
const NEAR: f64 = 0.4;

/// A current carries a boat off where it points; on navigable water one of more than this is rare, knots (common practice, no
/// source).
const CURRENT_KN: f64 = 2.0;

/// So many moments under way show where the course usually lies beside the heading.
const USUAL_MOMENTS: usize = 30;

/// The stretches in which a source's heading stands still while the course changes, with the change.
pub(super) fn stands(evidence: &Evidence<'_>, source: &Source) -> Vec<(Span, f64)> {
    let still = source.runs.still(SHORTEST_S);
    if still.is_empty() {
        return Vec::new();
    }
    let motion = Motion::of(evidence);
    let usual = OnceCell::new();
    let by_turn = |span: Span| {
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
        let off_deg = || {
            let usual = usual.get_or_init(|| usually_off(&motion, source, &still));
            off_course_of(&motion, source, settled, (*usual)?)
        };
        let turned = whole.furthest_deg >= CHANGE_DEG;
        let leap = leap_after(source, span);
        let leapt = leap.filter(|leap| leap.abs() >= CHANGE_DEG);
        if turned && (turns_on() || leapt.is_some_and(|leap| is_part(leap, whole.net_deg))) {
            return Some((span, whole.furthest_deg));
        }
        let change = match leapt {
            // The turn itself was not seen, but where the boat went then was.
            Some(leap) => off_deg().filter(|off| alike(*off, leap)).map(f64::abs),
            None if turned && leap.is_none() => {
                off_deg().filter(|off| alike(*off, whole.net_deg)).map(|_| whole.furthest_deg)
            }
            None => None,
        };
        Some((span, change?))
    };
    let by_step = |span: Span| Some((span, turned_by_the_step(&motion, source, span)?));
    let stands = still.iter().copied().filter(|span| !evidence.books.clock_leapt(*span));
    stands.filter_map(|span| by_turn(span).or_else(|| by_step(span))).collect()
}

/// By how much the boat turned during a stand that ends in a step, degrees, where that is by about as much as the step: a compass
/// that jumps on a boat that went straight on is off by all of it.
fn turned_by_the_step(motion: &Motion<'_>, source: &Source, span: Span) -> Option<f64> {
    let step = source.steps.list.iter().find(|step| step.from == span.to)?;
    let is_it = |turned: &Turn, deg: f64| wrap_180(turned.net_deg - deg).abs() <= NEAR * step.size.abs();
    // The course comes late, and the boat may turn on.
    let settled = Span::new(span.from, step.to.plus(SLIDES_S));
    let (held, last) = within(source, settled).first().zip(within(source, settled).last())?;
    let by_course = motion.course_turn(settled).filter(|turn| is_it(turn, wrap_180(last.a - held.a)));
    let others = [motion.turn(span), motion.turn_by_others(span, source.key.device)];
    let by_others = others.into_iter().flatten().find(|turn| is_it(turn, step.size));
    by_course.or(by_others).map(|turn| turn.furthest_deg)
}

/// By how much the heading leaps when it wakes, degrees; `None` when it does not.
fn leap_after(source: &Source, span: Span) -> Option<f64> {
    let held = within(source, span).first()?.a;
    let after = within(source, Span::new(span.to, span.to.plus(WAKES_S)));
    after.iter().map(|s| wrap_180(s.a - held)).find(|leap| *leap != 0.0)
}

/// How far the course under way lies beside a heading at the moments that count, degrees, with the speed in knots.
fn off_course(motion: &Motion<'_>, heading: &Curve, counts: impl Fn(Time) -> bool) -> Vec<(f64, f64)> {
    let at = |s: &Sample| {
        let deg = heading.at(s.time)?;
        (s.b >= UNDER_WAY_KN && !s.a.is_nan() && counts(s.time)).then(|| (wrap_180(s.a - deg), s.b))
    };
    motion.courses().flat_map(|source| source.track.samples()).filter_map(at).collect()
}

/// Where the course usually lies beside the heading, degrees: while that does not stand still.
fn usually_off(motion: &Motion<'_>, source: &Source, still: &[Span]) -> Option<f64> {
    let heading = Curve::new(source.track.samples(), true);
    let moves = |time: Time| !still.iter().any(|span| span.from <= time && time <= span.to);
    let off: Vec<f64> = off_course(motion, &heading, moves).into_iter().map(|(deg, _)| deg).collect();
    (off.len() >= USUAL_MOMENTS).then(|| circular_median(&off))
}

/// By how much the course lies off a standing heading, otherwise than usual, where that is further than a current would
/// carry it, degrees.
fn off_course_of(motion: &Motion<'_>, source: &Source, settled: Span, usual_deg: f64) -> Option<f64> {
    if settled.seconds() < SHORTEST_S {
        return None;
    }
    let heading = Curve::new(within(source, settled), true);
    let off = off_course(motion, &heading, |time| settled.from <= time && time <= settled.to);
    let (mut deg, mut knots): (Vec<f64>, Vec<f64>) = off.into_iter().unzip();
    let by_current = (CURRENT_KN / pairs::median(&mut knots)?).atan().to_degrees();
    deg.iter_mut().for_each(|deg| *deg -= usual_deg);
    let off_deg = wrap_180(circular_median(&deg));
    (off_deg.abs() >= CHANGE_DEG + by_current).then_some(off_deg)
}

/// Whether an angle is what the boat turned, or a part of it to the same side: the course comes late, and catches up with a heading
/// that stood still in mid-turn.
fn is_part(deg: f64, turned_deg: f64) -> bool {
    alike(deg, turned_deg) || deg.signum() == turned_deg.signum() && deg.abs() <= turned_deg.abs()
}

/// Whether an angle is what the boat turned.
fn alike(deg: f64, turned_deg: f64) -> bool {
    wrap_180(deg - turned_deg).abs() <= SLACK_DEG.max(SLACK * turned_deg.abs())
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
                .evidence(format!("At {}.", moments(evidence.books, &spans)))
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

    /// The heading stands still half way through a turn of 60 degrees that the receiver's course follows 3 s late.
    #[test]
    fn a_stand_in_mid_turn_shows_by_its_leap() {
        let found = |leap: f64| {
            let mut boat = Boat::default();
            for tenth in 0..1200_i64 {
                let t = tenth as f64 / 10.0;
                let turned = |t: f64| 100.0 + 12.0 * (t - 60.0).clamp(0.0, 5.0);
                boat.ground(1, t, turned(t - 3.0) + noise(tenth), 12.0);
                let stands = (62.5..80.0).contains(&t);
                let after = 130.0 + leap + noise(tenth + 7);
                let deg = if t < 62.5 { turned(t) + noise(tenth + 7) } else { after };
                boat.heading(2, t + 0.03, if stands { 130.0 } else { deg });
            }
            kinds(&detect(&boat.evidence()))
        };
        assert_eq!(found(30.0), [(Severity::Fault, vec![2])]);
        assert!(found(0.0).is_empty(), "it had turned already");
    }

    /// The boat turns by 45 degrees in the first 4 s of a stand and goes straight on until the recording ends.
    #[test]
    fn a_stand_that_does_not_end_shows_by_where_the_course_lies() {
        let found = |turned_deg: f64, held_deg: f64| {
            let mut boat = Boat::default();
            for tenth in 0..1200_i64 {
                let t = tenth as f64 / 10.0;
                let deg = 100.0 + turned_deg / 4.0 * (t - 90.0).clamp(0.0, 4.0);
                boat.ground(1, t, deg + noise(tenth), 12.0);
                boat.heading(2, t + 0.03, if t < 90.0 { 94.0 + noise(tenth + 7) } else { held_deg });
            }
            kinds(&detect(&boat.evidence()))
        };
        assert_eq!(found(45.0, 94.3), [(Severity::Fault, vec![2])]);
        assert!(found(45.0, 139.0).is_empty(), "it had turned already, and the boat slides after it");
        assert!(found(24.0, 94.3).is_empty(), "a current may carry it");
    }

    /// No fix while it turned: that the course lies off by what the heading leaps when it wakes is enough.
    #[test]
    fn a_turn_that_the_receiver_did_not_see_shows_when_the_heading_wakes() {
        let found = |leap: f64| {
            let mut boat = Boat::default();
            for tenth in 0..1500_i64 {
                let t = tenth as f64 / 10.0;
                let turned = 14.0 * (t - 90.0).clamp(0.0, 4.0);
                if !(89.5..95.0).contains(&t) {
                    boat.ground(1, t, 100.0 + turned + noise(tenth), 12.0);
                }
                let deg = if t < 90.0 { 100.0 } else { 100.0 + leap };
                let stands = (90.0..114.0).contains(&t);
                boat.heading(2, t + 0.03, if stands { 100.0 } else { deg + noise(tenth + 7) });
            }
            kinds(&detect(&boat.evidence()))
        };
        assert_eq!(found(56.0), [(Severity::Fault, vec![2])]);
        assert!(found(-56.0).is_empty(), "another way than the course lies");
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
