//! Depth at times reads a multiple of the bottom.

use super::words::{moments, number, percent};
use super::{Detector, Doc, Evidence, Finding, duplicate_depth_source, pairs};
use crate::books::bounded;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "depth-second-echo",
        severity: "fault",
        meaning: "The depth at times doubles and falls back: the sounder takes the echo that has gone to the bottom, back to the \
                  surface and to the bottom again. The display shows water that is not there.",
        detection: "From one depth to the next it leaps to twice (or three times) the value and later back by the same ratio, \
                    three times or more, or less often for longer (twice for 5 s in all, once for 15 s), and hardly any \
                    leap has another ratio. The way of the second echo is twice the \
                    depth plus once the transducer's depth under the surface, which is allowed for in shallow water.",
        lookalikes: "A ledge or a quay wall gives one step, or steps of any ratio. Interference of another sounder, fish and weed \
                     give wild values, mostly too shallow. Two sounders that disagree: duplicate-depth-source.",
        checks: "Lower the gain or the sensitivity, or set it to automatic; set a range or a depth limit near the true depth. It \
                 comes over hard, shallow bottom most. Compare with a lead line.",
        cautions: "Trust the smaller of the two depths; a second echo shows more water than there is.",
    },
    complaints: &["depth-wrong"],
    detect,
};

/// A step by more than this ratio within one interval is a leap; steep bottom stays below.
const LEAP: f64 = 1.5;

/// Depths further apart in time are not neighbours, seconds.
const NEIGHBOURS_S: f64 = 5.0;

/// How far the ratio may be from a whole multiple (worked examples: 1.9 to 2.1), as a share.
const RATIO_SLACK: f64 = 0.06;

/// The transducer lies no deeper under the surface than this on boats of this kind, metres (common practice).
const DEEPEST_TRANSDUCER_M: f64 = 0.6;

/// Leaps up to a multiple, each with its way back, and how long the depth stands at the multiple in all, seconds: the fewer
/// there are, the longer. A pit with walls that are steep within one interval, twice as deep as its surroundings on both
/// sides, is rare already.
const ENOUGH: [(usize, f64); 3] = [(3, 0.0), (2, 5.0), (1, 15.0)];

/// Share of all leaps that must be to a multiple or back: a ledge or interference hits it by chance only.
const MOSTLY: f64 = 0.8;

/// What the depth is for more of the time is the bottom, and the shallower values between are fish or weed.
const MOST: f64 = 0.5;

/// Stretches that are given with their times.
const MAX_SPANS: usize = 256;

/// A leap between two neighbours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Leap {
    Up,
    Down,
    Other,
}

/// What the leaps of one source add up to.
#[derive(Debug, Default)]
struct Echoes {
    up: usize,
    down: usize,
    other: usize,
    in_echo: usize,
    /// Stretches of echoes that were seen to begin and to end, and how long they last together.
    stretches: usize,
    seconds: f64,
    values: usize,
    ratios: Vec<f64>,
    spans: Vec<Span>,
}

impl Echoes {
    /// Whether the leaps are those of a second echo.
    fn are_some(&self) -> bool {
        let matched = self.up + self.down;
        ENOUGH.iter().any(|(least, least_s)| self.stretches >= *least && self.seconds >= *least_s)
            && matched as f64 >= MOSTLY * (matched + self.other) as f64
            && self.in_echo > 0
            && self.in_echo as f64 <= MOST * self.values as f64
    }
}

/// Whether a source's depths leap to second echoes and back.
pub(super) fn leaps(source: &Source) -> bool {
    echoes(source).are_some()
}

/// The stretches in which a source's depths are told as multiples, first to last value; none where the finding is not made.
pub(super) fn stretches(source: &Source) -> Vec<Span> {
    Some(echoes(source)).filter(Echoes::are_some).map_or_else(Vec::new, |echoes| echoes.spans)
}

/// What a leap from one depth below the transducer to another is, with the ratio of the deeper to the shallower.
///
/// With the `offset` to the surface the ratio is exact below the surface; without, the transducer's depth is unknown.
fn leap(one: f64, other: f64, offset: Option<f64>) -> Option<(Leap, f64)> {
    let (a, b) = (one + offset.unwrap_or(0.0), other + offset.unwrap_or(0.0));
    let (low, ratio) = (a.min(b), a.max(b) / a.min(b));
    if ratio < LEAP {
        return None;
    }
    let unknown = if offset.is_some() { 0.0 } else { DEEPEST_TRANSDUCER_M / low };
    let multiple = [2.0, 3.0].into_iter().any(|k: f64| {
        // k echoes: k times the depth below the transducer and k - 1 times the transducer's depth.
        ratio >= k * (1.0 - RATIO_SLACK) && ratio <= k * (1.0 + RATIO_SLACK) + (k - 1.0) * unknown
    });
    let kind = match (multiple, b > a) {
        (false, _) => Leap::Other,
        (true, true) => Leap::Up,
        (true, false) => Leap::Down,
    };
    Some((kind, ratio))
}

fn echoes(source: &Source) -> Echoes {
    let mut echoes = Echoes::default();
    let offset = match source.key.reference {
        Some("below-surface") => Some(0.0),
        // An offset to the keel is negative, and nothing is the factory setting: neither tells where the surface is.
        _ => source.offset_m.filter(|m| *m > 0.0),
    };
    let mut last: Option<&Sample> = None;
    // Values since the last leap, and whether they are taken for echoes; unknown until a leap tells.
    let (mut run, mut from, mut echo) = (0_usize, Time(0), false);
    for s in source.track.samples().iter().filter(|s| s.a > 0.0) {
        echoes.values += 1;
        let near = last.filter(|l| s.time.since(l.time) <= NEIGHBOURS_S);
        let kind = near.and_then(|l| leap(l.a, s.a, offset));
        if let (Some((Leap::Up | Leap::Down, ratio)), true) = (kind, echoes.ratios.len() < 4096) {
            echoes.ratios.push(ratio);
        }
        let ends = match (near, kind) {
            (None, _) => Some(false),
            (_, Some((Leap::Up, _))) => {
                echoes.up += 1;
                Some(true)
            }
            (_, Some((Leap::Down, _))) => {
                echoes.down += 1;
                if echo {
                    echoes.stretches += 1;
                    echoes.seconds += s.time.since(from);
                }
                // What came before was an echo, even where the recording began in it.
                echo = true;
                Some(false)
            }
            (_, Some((Leap::Other, _))) => {
                echoes.other += 1;
                Some(false)
            }
            (_, None) => None,
        };
        if let Some(next) = ends {
            // An echo counts when the way back was seen.
            if let (true, Some((Leap::Down, _)), Some(l)) = (echo, kind, last) {
                echoes.in_echo += run;
                bounded::push(&mut echoes.spans, MAX_SPANS, Span::new(from, l.time));
            }
            (run, from, echo) = (0, s.time, next);
        }
        run += 1;
        last = Some(s);
    }
    echoes
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let repeaters = duplicate_depth_source::repeaters(evidence);
    pairs::main_sources(evidence, "depth")
        .into_iter()
        .filter(|source| !repeaters.contains(&source.key.device))
        .filter_map(|source| finding(evidence, source))
        .collect()
}

fn finding(evidence: &Evidence<'_>, source: &Source) -> Option<Finding> {
    let mut echoes = Some(echoes(source)).filter(Echoes::are_some)?;
    let ratio = pairs::median(&mut echoes.ratios)?;
    let share = echoes.in_echo as f64 / echoes.values.max(1) as f64;
    let who = evidence.books.inventory.label(source.key.device);
    let multiple = if ratio < 2.6 { "twice" } else { "three times" };
    Some(
        Finding::new(Severity::Fault, format!("{who} at times reads {multiple} the depth: a second echo"))
            .devices([source.key.device])
            .messages([source.key.message.to_string()])
            .real("share", share)
            .real("ratio", ratio)
            .evidence(format!(
                "The depth leaps up {} times and back {} times by a ratio of {}; {} leaps have another.",
                echoes.up,
                echoes.down,
                number(ratio, 2),
                echoes.other
            ))
            .evidence(format!(
                "{} of {} values of {} are such multiples.",
                percent(share),
                echoes.values,
                source.key.message
            ))
            .evidence(format!("At {}.", moments(evidence.books, &echoes.spans)))
            .spans(echoes.spans)
            .check(format!(
                "Set gain and range of {who} to automatic, or lower the gain; compare with a lead line."
            ))
            .check("Trust the smaller depth while two are shown in turn."),
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds, noise};
    use super::*;
    use crate::messages::{Absent, DepthBelow, Reading};

    fn boat(depth: impl Fn(i64) -> f64) -> Boat {
        let mut boat = Boat::default();
        for i in 0..300 {
            let reading = Reading::Depth {
                m: Ok(depth(i)),
                below: DepthBelow::Transducer,
                offset_m: Err(Absent::Missing),
            };
            boat.say(2, 128_267, i as f64, &reading);
        }
        boat
    }

    fn bottom(i: i64) -> f64 {
        9.0 + 3.0 * (i as f64 / 40.0).sin() + 0.05 * noise(i)
    }

    /// Worked examples, section 9: the second echo's way is twice the depth plus the transducer's depth.
    #[test]
    fn doubled_depths_are_found_from_the_first_on() {
        let found = detect(&boat(|i| if i % 30 < 5 { 2.0 * bottom(i) + 0.4 } else { bottom(i) }).evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![2])]);
        assert_eq!(found[0].numbers.get("share"), Some(&crate::report::model::Number::Real(0.166_667)));
        assert_eq!(found[0].spans.len(), 10, "the one that the recording begins in too");
    }

    #[test]
    fn few_stretches_are_enough_when_they_last() {
        let doubled = |stretches: &'static [(i64, i64)]| {
            let held = move |i: i64| stretches.iter().any(|(from, to)| (*from..*to).contains(&i));
            detect(&boat(move |i| if held(i) { 2.0 * bottom(i) + 0.4 } else { bottom(i) }).evidence())
        };
        assert_eq!(doubled(&[(100, 120)]).len(), 1);
        assert_eq!(doubled(&[(100, 104), (200, 204)]).len(), 1);
        assert!(doubled(&[(0, 100), (200, 300)]).is_empty(), "as well a bank that is steep on both sides");
        assert!(doubled(&[(100, 105)]).is_empty(), "may be a wild value or two");
    }

    #[test]
    fn echoes_from_half_way_down_are_no_bottom() {
        let fish = |i: i64| if i % 40 < 2 { 0.5 * bottom(i) } else { bottom(i) };
        assert!(detect(&boat(fish).evidence()).is_empty());
    }

    #[test]
    fn a_ledge_and_wild_values_are_no_echo() {
        assert!(detect(&boat(|i| if i < 150 { 6.0 } else { 12.0 }).evidence()).is_empty());
        let wild = |i: i64| if i % 10 == 0 { bottom(i) * (2.0 + 1.5 * noise(i)) } else { bottom(i) };
        assert!(detect(&boat(wild).evidence()).is_empty());
        let ledge = |i: i64| if i / 20 % 2 == 0 { 6.0 + 0.3 * noise(i) } else { 9.8 + 0.3 * noise(i) };
        assert!(detect(&boat(ledge).evidence()).is_empty());
    }
}
