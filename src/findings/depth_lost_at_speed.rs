//! Depth is good at low speed and lost above some speed.

use super::motion::within;
use super::words::{number, percent};
use super::{Detector, Doc, Evidence, Finding, depth_not_available, depth_unsent, pairs};
use crate::books::Books;
use crate::books::series::{SPEED_CLASS_KN, Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "depth-lost-at-speed",
        severity: "fault",
        meaning: "The sounder finds the bottom at low speed and loses it above some speed: air and turbulence under the \
                  transducer.",
        detection: "Depth messages with and without value are counted by the boat's speed. The speed that parts them best \
                    (largest likelihood of two shares, one below and one above) is the threshold; below it nearly all must \
                    hold a depth, above it clearly fewer. It comes back when the boat slows down, or went just as the boat got \
                    fast. Messages that a sounder leaves out, pause by pause about that speed, count as without; single \
                    ones that come through do not end a pause. Depth that stays for \
                    10 s most times that the boat gets fast, or for 20 s half of them, goes for another reason; so does depth that \
                    comes back for 10 s at the speed at which it was gone.",
        lookalikes: "Depth that also goes at rest: depth-not-available. Deep water that happens to lie where the boat ran fast: \
                     run the same stretch slowly.",
        checks: "Look at how the transducer is mounted: face level, a little below the hull, no strake, rib, outlet or step in \
                 front of it. Above about 25 mph (22 kn) a high-speed transducer in clean flow is needed (common \
                 practice, no source).",
        cautions: "Trials at speed need a second person to steer and look out, the kill cord worn, and local speed limits kept.",
    },
    complaints: &["no-depth"],
    detect,
};

/// Messages that each side of the threshold must have.
const ENOUGH: u32 = 12;

/// Below the threshold at least this share holds a depth.
const GOOD_BELOW: f64 = 0.85;

/// The share with depth falls by at least this much.
const FALL: f64 = 0.3;

/// Above the threshold no more than this share holds a depth: where half of it stays, something else than speed takes it.
const LEFT_ABOVE: f64 = 0.5;

/// A boat runs at two speeds where they are so far apart, knots (common practice, no source).
const TWO_SPEEDS_KN: f64 = 1.5;

/// Without a return to low speed, time and speed cannot be told apart. Turbulence takes the depth when a hull planes, not
/// at displacement speed (common practice, no source): a loss that stays is believed to be of speed from here on, knots.
const PLANING_KN: f64 = 12.0;

/// A loss that stays, and whose speed may also be a lower one, is believed to be of speed where the boat was slow for so long
/// before, seconds, nearly all of it with a depth, and the depth went as the boat got faster: in a recording of minutes a
/// sounder seldom fails in just those seconds.
const SLOW_BEFORE_S: f64 = 60.0;
const HELD_BEFORE: f64 = 0.95;

/// The depth goes within this time of the boat passing the threshold, seconds; within the longer time most of it is gone.
const GOES_WITHIN_S: f64 = 5.0;
const GONE_WITHIN_S: f64 = 20.0;

/// A stretch without depth that stays this far below the threshold is none of speed, knots; and where this share of what is missing
/// lies in such stretches, something else takes the depth. Prop wash in a manoeuvre takes it for a moment at any speed
/// (common practice, no source).
const WELL_BELOW_KN: f64 = 2.0;
const LOST_BELOW: f64 = 0.2;

/// Where the depth goes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    pub(super) threshold_kn: f64,
    below: f64,
    above: f64,
    n_below: u32,
    n_above: u32,
    came_back: bool,
}

/// The speed that parts messages with depth from those without, when there is one.
pub(super) fn fit(books: &Books, source: &Source) -> Option<Fit> {
    let mut fit = parted(&source.by_speed)?;
    fit.came_back = came_back(source, fit.threshold_kn);
    if goes_when_slow(books, source, fit.threshold_kn)
        || stays_when_fast(source, fit.threshold_kn)
        || comes_back_when_fast(books, source, fit.threshold_kn)
    {
        return None;
    }
    (fit.came_back || fit.threshold_kn >= PLANING_KN || went_with_speed(source, fit.threshold_kn))
        .then_some(fit)
}

/// The speed that parts messages with depth from those without, by their numbers in each class of speed. Whether the depth
/// came back is another's to find out.
pub(super) fn parted(by_speed: &[(u32, u32)]) -> Option<Fit> {
    let total = by_speed.iter().fold((0, 0), |(v, i), c| (v + c.0, i + c.1));
    let mut below = (0_u32, 0_u32);
    let mut best: Option<(f64, Fit)> = None;
    for (class, counts) in by_speed.iter().enumerate() {
        let above = (total.0 - below.0, total.1 - below.1);
        let (n_below, n_above) = (below.0 + below.1, above.0 + above.1);
        if n_below >= ENOUGH && n_above >= ENOUGH {
            let score = likelihood(below) + likelihood(above);
            let fit = Fit {
                threshold_kn: class as f64 * SPEED_CLASS_KN,
                below: f64::from(below.0) / f64::from(n_below),
                above: f64::from(above.0) / f64::from(n_above),
                n_below,
                n_above,
                came_back: false,
            };
            if best.as_ref().is_none_or(|(s, _)| score > *s + 1e-9) {
                best = Some((score, fit));
            }
        }
        below = (below.0 + counts.0, below.1 + counts.1);
    }
    best.map(|(_, fit)| fit).filter(|fit| {
        are_two_speeds(by_speed, fit.threshold_kn)
            && fit.below >= GOOD_BELOW
            && fit.below - fit.above >= FALL
            && fit.above <= LEFT_ABOVE
            && fit.threshold_kn >= 2.0
    })
}

/// Whether the boat ran clearly faster above a threshold than below it, on average: at one speed a loss parts some chance tenths of a
/// knot.
fn are_two_speeds(by_speed: &[(u32, u32)], threshold_kn: f64) -> bool {
    let (mut below, mut above) = ((0.0, 0.0), (0.0, 0.0));
    for (class, (with, without)) in by_speed.iter().enumerate() {
        let kn = class as f64 * SPEED_CLASS_KN;
        let (count, sum) = if kn < threshold_kn { &mut below } else { &mut above };
        let messages = f64::from(with + without);
        *count += messages;
        *sum += messages * kn;
    }
    above.1 / above.0 - below.1 / below.0 >= TWO_SPEEDS_KN
}

/// Of the depths after the boat slowed down at least this share is there when the depth came back.
const CAME_BACK: f64 = 0.7;

/// Whether the depth came back when the boat slowed down after it had been lost at speed.
fn came_back(source: &Source, threshold_kn: f64) -> bool {
    let mut lost = false;
    let (mut held, mut slow) = (0, 0);
    for sample in source.track.samples().iter().filter(|s| s.b.is_finite()) {
        let holds = sample.a > 0.0;
        if sample.b > threshold_kn {
            lost |= !holds;
        } else if lost {
            slow += 1;
            held += u32::from(holds);
        }
    }
    slow >= 5 && f64::from(held) >= CAME_BACK * f64::from(slow)
}

/// Whether the depth went in the moment in which the boat got fast for the first time, and stayed away at planing speed.
fn went_with_speed(source: &Source, threshold_kn: f64) -> bool {
    let samples: Vec<_> = source.track.samples().iter().filter(|s| s.b.is_finite()).collect();
    let holds = |s: &Sample| s.a > 0.0;
    let held = |of: &[&Sample]| of.iter().filter(|s| holds(s)).count() as f64;
    let Some((before, after)) =
        samples.iter().position(|s| s.b > threshold_kn).and_then(|n| samples.split_at_checked(n))
    else {
        return false;
    };
    let (Some(first), Some(passed)) = (before.first(), after.first()) else { return false };
    let soon = after.partition_point(|s| s.time.since(passed.time) <= GONE_WITHIN_S);
    let soon = after.get(..soon).unwrap_or_default();
    let goes = soon.iter().find(|s| !holds(s)).is_some_and(|s| s.time.since(passed.time) <= GOES_WITHIN_S);
    let slow: Vec<_> = after.iter().copied().filter(|s| s.b <= threshold_kn).collect();
    let mut lost_kn: Vec<f64> = after.iter().filter(|s| !holds(s)).map(|s| s.b).collect();
    passed.time.since(first.time) >= SLOW_BEFORE_S
        && held(before) >= HELD_BEFORE * before.len() as f64
        && goes
        && held(soon) <= LEFT_ABOVE * soon.len() as f64
        && held(&slow) >= CAME_BACK * slow.len() as f64
        && pairs::median(&mut lost_kn).is_some_and(|kn| kn >= PLANING_KN)
}

/// Whether the depth also goes for whole stretches well below the threshold.
fn goes_when_slow(books: &Books, source: &Source, threshold_kn: f64) -> bool {
    let missing = depth_not_available::missing(books, source).spans;
    let all_s: f64 = missing.iter().map(|span| span.seconds()).sum();
    // Where the boat ran at two speeds only, the threshold may lie anywhere between them.
    let all = source.track.samples().iter().map(|s| s.b);
    let above_kn = all.filter(|kn| *kn > threshold_kn).fold(f64::INFINITY, f64::min);
    let slow = |span: &&Span| {
        let speeds = || within(source, **span).iter().map(|s| s.b).filter(|kn| kn.is_finite());
        speeds().next().is_some() && speeds().all(|kn| kn < above_kn - WELL_BELOW_KN)
    };
    let slow_s: f64 = missing.iter().filter(slow).map(|span| span.seconds()).sum();
    slow_s > LOST_BELOW * all_s
}

/// A boat gets fast where it was slow for so long before, seconds.
const SLOW_FOR_S: f64 = 5.0;

/// Whether the depth stays as the boat gets fast, for longer than turbulence takes, most times or half of the times for twice as
/// long: then it goes later, for another reason.
fn stays_when_fast(source: &Source, threshold_kn: f64) -> bool {
    let (times, stayed) = got_fast(source, threshold_kn, 2.0 * GOES_WITHIN_S);
    let (times_long, stayed_long) = got_fast(source, threshold_kn, 4.0 * GOES_WITHIN_S);
    2 * stayed > times || stayed_long > 0 && 2 * stayed_long >= times_long
}

/// Whether the depth comes back, and stays for longer than a chance find, while the boat is as fast as it was at the end of the
/// loss: most times, or half of the times at speeds at which no hull makes turbulence.
fn comes_back_when_fast(books: &Books, source: &Source, threshold_kn: f64) -> bool {
    let for_s = 2.0 * GOES_WITHIN_S;
    let at_speed = |from, to| within(source, Span::new(from, to)).iter().filter(|s| s.b.is_finite());
    let holds = |s: &Sample| s.a > 0.0;
    let (mut times, mut fast) = (0, 0);
    for span in depth_not_available::missing(books, source).spans {
        let after = || at_speed(span.to, span.to.plus(for_s));
        let lost = at_speed(span.from.max(span.to.plus(-GOES_WITHIN_S)), span.to).filter(|s| !holds(s));
        let lost_kn = pairs::median(&mut lost.map(|s| s.b).collect::<Vec<_>>());
        let (Some(last), Some(lost_kn)) = (after().next_back(), lost_kn) else { continue };
        let as_fast = threshold_kn.max(lost_kn - TWO_SPEEDS_KN);
        let is_seen = last.time.since(span.to) > for_s / 2.0;
        times += 1;
        fast += u32::from(is_seen && after().all(|s| holds(s) && s.b > as_fast));
    }
    2 * fast > times || fast > 0 && 2 * fast >= times && threshold_kn < PLANING_KN
}

/// How often the boat got fast and went on being so for a time, and how often all messages of that time held a depth.
fn got_fast(source: &Source, threshold_kn: f64, for_s: f64) -> (u32, u32) {
    let samples: Vec<&Sample> = source.track.samples().iter().filter(|s| s.b.is_finite()).collect();
    let (mut times, mut stayed) = (0, 0);
    let mut slow_since = None;
    for (at, s) in samples.iter().enumerate() {
        if s.b <= threshold_kn {
            slow_since.get_or_insert(s.time);
            continue;
        }
        let Some(since) = slow_since.take() else { continue };
        let after = || samples.iter().skip(at).take_while(|a| a.time.since(s.time) <= for_s);
        let seen_s = after().last().map_or(0.0, |last| last.time.since(s.time));
        if s.time.since(since) >= SLOW_FOR_S && seen_s > for_s / 2.0 && after().all(|a| a.b > threshold_kn) {
            times += 1;
            stayed += u32::from(after().all(|a| a.a > 0.0));
        }
    }
    (times, stayed)
}

/// Log likelihood of a share by its own counts.
fn likelihood((yes, no): (u32, u32)) -> f64 {
    let n = f64::from(yes + no);
    let term = |k: u32| if k == 0 { 0.0 } else { f64::from(k) * (f64::from(k) / n).ln() };
    term(yes) + term(no)
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    depth_not_available::depth_sources(evidence)
        .into_iter()
        .filter_map(|source| {
            let unsent = depth_unsent::all(evidence).iter().find(|u| u.device == source.key.device);
            let (fit, spans) = match unsent {
                Some(unsent) => (Fit { came_back: true, ..parted(&unsent.by_speed)? }, unsent.spans.clone()),
                None => (fit(evidence.books, source)?, depth_not_available::missing(evidence.books, source).spans),
            };
            if depth_not_available::out_of_reach(evidence, source, &spans).is_some() {
                return None;
            }
            let who = evidence.books.inventory.label(source.key.device);
            let at = number(fit.threshold_kn, 0);
            Some(
                Finding::new(Severity::Fault, format!("{who} loses depth above about {at} kn"))
                    .devices([source.key.device])
                    .messages([source.key.message.to_string()])
                    .real("threshold_kn", fit.threshold_kn)
                    .real("valid_share_below", fit.below)
                    .real("valid_share_above", fit.above)
                    .evidence(format!(
                        "Below {} kn {} of {} messages hold a depth, above it {} of {}{}.",
                        number(fit.threshold_kn, 1),
                        percent(fit.below),
                        fit.n_below,
                        percent(fit.above),
                        fit.n_above,
                        if unsent.is_some() { "; it sends none while it has no bottom, and those count as without" } else { "" }
                    ))
                    .evidence(if fit.came_back {
                        "It comes back when the boat slows down."
                    } else {
                        "The boat did not slow down again for long: a sounder that failed at that moment cannot be ruled out."
                    })
                    .spans(spans)
                    .check(format!("Look at the mounting of the transducer of {who}: level, a little below the hull, clean flow in front."))
                    .check("Repeat the run over known even bottom, up and down through that speed, with a second person to look out."),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::Boat;
    use super::*;
    use crate::messages::{DepthBelow, Reading};
    use std::ops::Range;

    /// A boat that runs at 16 knots twice for a minute, and at 5 otherwise; the depth is gone at the times given.
    fn is_told(lost: &[Range<f64>]) -> bool {
        let mut boat = Boat::default();
        for half in 0..600_i64 {
            let t = half as f64 / 2.0;
            let runs = (60.0..120.0).contains(&t) || (180.0..240.0).contains(&t);
            boat.ground(1, t, 90.0, if runs { 16.0 } else { 5.0 });
            if half % 2 == 1 {
                let gone = lost.iter().any(|span| span.contains(&t));
                let m =
                    if gone { Err(crate::messages::Absent::NotAvailable) } else { Ok(8.0 + (t / 9.0).sin()) };
                let reading = Reading::Depth {
                    m,
                    below: DepthBelow::Transducer,
                    offset_m: Err(crate::messages::Absent::Missing),
                };
                boat.say(2, 128_267, t, &reading);
            }
        }
        !detect(&boat.evidence()).is_empty()
    }

    #[test]
    fn depth_that_comes_back_at_the_same_speed_is_not_lost_by_it() {
        assert!(is_told(&[60.0..120.0, 180.0..240.0]));
        assert!(is_told(&[60.0..85.0, 100.0..120.0, 180.0..240.0]), "once it finds the bottom for a while");
        assert!(!is_told(&[60.0..105.0, 181.0..225.0]));
    }
}
