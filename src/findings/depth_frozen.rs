//! Depth stands still to the last digit under way over changing water.

use super::depth_stops::{self, Stopped};
use super::motion::{Motion, within};
use super::pairs::{self, Curve};
use super::words::{longest, moments, number, seconds};
use super::{Detector, Doc, Evidence, Finding, depth_second_echo, duplicate_depth_source};
use crate::books::Books;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;
use crate::units::KNOTS_PER_M_S;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "depth-frozen",
        severity: "fault",
        meaning: "The depth stays the same to the last digit while the boat runs over a bottom that changes. It looks like a \
                  good depth, and is an old one: the display gives no warning of shallow water.",
        detection: "The same depth, to the last digit, for 10 s or more at over 1.5 kn, where the bottom is known to change: the \
                    depth leaps when it wakes up (by four usual steps, or as no other slope of the recording is steep; by \
                    two digits and more than any step before or after, when it stood for ten times as much way as at any other time), or \
                    another sounder that is not unrelated to it sees it change meanwhile, or a depth given in \
                    centimetres, which the boat's own heave keeps moving, suddenly stops moving; or it stands to its last message over \
                    five times as much way as at any other time, at speeds at which it was alive, though it changed over every \
                    stretch before, and though the noise in its last digit would show over even bottom too.",
        lookalikes: "A flat bottom at rest, or in still water with a sounder that gives tenths of a metre. A zero that is held \
                     is depth-not-available.",
        checks: "Many sounders hold the last depth when they lose the bottom: see whether it goes with speed, weed or depth. \
                 Look at the transducer and its cable; see whether a display in between repeats an old value.",
        cautions: "Do not feel your way in by this depth: use a pole or a lead line, and keep off.",
    },
    complaints: &["depth-wrong", "no-depth"],
    detect,
};

/// A shorter stand is chance or a slow sounder, seconds.
const SHORTEST_S: f64 = 10.0;

/// Slower than this the boat drifts, and the bottom under it may well stay the same, knots.
const SLOWEST_KN: f64 = 1.5;

/// Depths given at least this finely move with the boat's heave, metres (common practice, no source).
const FINE_M: f64 = 0.02;

/// So many changes must be missing for a fine depth to have stopped: by chance that is e^-20.
const MISSING_CHANGES: f64 = 20.0;

/// So many must be missing at least before a leap counts: by chance that is e^-5. A boat that got faster has missed more of the
/// bottom.
const FEW_CHANGES: f64 = 5.0;

/// So many where the steepness alone makes it a leap: e^-10.
const MANY_CHANGES: f64 = 10.0;

/// The bottom would have to be so many times as steep where a stand ends as at the steepest place elsewhere.
const STEEPER: f64 = 1.5;

/// A digit more or less is no slope: over less way than this none is looked for, metres.
const SHORTEST_WAY_M: f64 = 3.0;

/// Depths after a stand that tell whether it woke up elsewhere.
const WOKEN: usize = 5;

/// Time before a stand in which the depth's usual change is looked at, seconds.
const BEFORE_S: f64 = 30.0;

/// A stand over so many times as much way as any other of the recording stands alone: on a round bottom the stand at its top or
/// foot is at most five times as long as the next ones.
const ALONE: f64 = 10.0;

/// Bottom is even where the depth stands still for more than this share of the time.
const MOSTLY_EVEN: f64 = 0.5;

/// A stand that is like others for so much of its own time is one of them.
const LIKE_IT: f64 = 0.25;

/// Another sounder must see the depth change by this share, at least, and by half a metre.
const CHANGE_SHARE: f64 = 0.05;

/// Why a stand is one.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Why {
    /// It woke up with a leap of so many metres.
    Leap(f64),
    /// Another sounder saw the bottom change by so many metres.
    Other(f64),
    /// So many changes a second just before, none in it.
    Stopped(f64),
    /// It was over so many times as much way as any other, and woke up with a leap of so many metres.
    Alone(f64, f64),
    /// It stands to the end, and changed all the while before.
    ForGood(Stopped),
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mains = pairs::main_sources(evidence, "depth");
    let motion = Motion::of(evidence);
    let repeaters = duplicate_depth_source::repeaters(evidence);
    mains
        .iter()
        .filter(|source| !repeaters.contains(&source.key.device))
        .filter_map(|source| {
            let others: Vec<&Source> = mains.iter().copied().filter(|o| o.key != source.key).collect();
            let stands: Vec<(Span, Why)> = source
                .runs
                .still(SHORTEST_S)
                .into_iter()
                .filter(|span| !evidence.books.clock_leapt(*span))
                .filter(|span| {
                    motion.known_way_m(*span).is_some_and(|m| m * KNOTS_PER_M_S > SLOWEST_KN * span.seconds())
                })
                .filter_map(|span| Some((span, why(evidence.books, source, &others, &motion, span)?)))
                .collect();
            finding(evidence, source, &motion, &stands)
        })
        .collect()
}

/// What shows that the bottom changed, if anything does.
fn why(books: &Books, source: &Source, others: &[&Source], motion: &Motion<'_>, span: Span) -> Option<Why> {
    let track = source.track.samples();
    let held = within(source, span).first().map(|s| s.a).filter(|m| *m > 0.0)?;
    let usual = Curve::new(track, false);
    let resolution = duplicate_depth_source::resolution(&usual);
    let mut steps = changes(track);
    let step = pairs::median(&mut steps).unwrap_or(resolution);
    let after = Span::new(span.to.plus(1e-6), span.to.plus(SHORTEST_S));
    // A fish or some weed makes a value or two that are no waking up.
    let next = within(source, after).iter().map(|s| s.a).filter(|m| *m > 0.0).take(WOKEN);
    let woke = pairs::median(&mut next.map(|m| (m - held).abs()).collect::<Vec<_>>());
    let just_before = Span::new(span.from.plus(-BEFORE_S), span.from);
    let before = within(source, just_before);
    let known = before.first().map_or(0.0, |s| span.from.since(s.time));
    let rate = changes(before).len() as f64 / known.max(1.0);
    let rate = if known >= BEFORE_S / 3.0 { rate } else { usual_rate(source) };
    let missing = rate * span.seconds();
    // A sounder that goes on by its usual steps was over even bottom; one that leaps has missed some. A stone on even
    // bottom leaps too: there the depth hardly changed before either.
    let speed = |span: Span| motion.known_way_m(span).map(|m| m / span.seconds());
    let faster = speed(span).zip(speed(just_before)).map_or(1.0, |(now, before)| now / before.max(0.1));
    let by_way = (missing * faster.max(1.0)).min(within(source, span).len() as f64);
    let even = by_way < FEW_CHANGES
        || depth_second_echo::leaps(source)
        || resolution > FINE_M && is_plateau(source, span, held, resolution);
    // A leap comes at once; where the bottom begins to slope it does not.
    let after = within(source, after).iter().map(|s| s.a).find(|m| *m > 0.0);
    let at_once = after.map_or(0.0, |m| (m - held).abs());
    let is_leap = |leap: &f64| *leap >= (4.0 * step).max(3.0 * resolution) && 2.0 * at_once >= *leap;
    if let Some(leap) = woke.filter(|leap| !even && is_leap(leap)) {
        return Some(Why::Leap(leap));
    }
    // Where the bottom is steep elsewhere, the usual step is no measure.
    let many = missing.min(usual_rate(source) * span.seconds()) >= MANY_CHANGES;
    if let Some(leap) = cliff(source, span, held, resolution).filter(|_| many && !even) {
        return Some(Why::Leap(leap));
    }
    let change =
        others.iter().filter_map(|other| seen(books, source, other, span, held)).max_by(f64::total_cmp);
    if let Some(change) = change {
        return Some(Why::Other(change));
    }
    if let Some(alone) = alone(source, motion, span, resolution) {
        return Some(alone);
    }
    if let Some(stopped) = depth_stops::for_good(source, span, resolution) {
        return Some(Why::ForGood(stopped));
    }
    (resolution <= FINE_M && known >= BEFORE_S / 3.0 && missing >= MISSING_CHANGES)
        .then_some(Why::Stopped(rate))
}

/// Whether a stand is far longer than any other of a depth that changes all the while otherwise, and ends with a step that stands
/// out: where an even bottom ends, the depth goes on from there as steeply as it began.
fn alone(source: &Source, motion: &Motion<'_>, stand: Span, resolution: f64) -> Option<Why> {
    let way = |span: &Span| motion.known_way_m(*span);
    let own_m = way(&stand)?;
    let others = source.runs.still(0.0).into_iter().filter(|other| *other != stand);
    let longest_m = others.filter_map(|other| way(&other)).fold(SHORTEST_WAY_M, f64::max);
    let all_m = source.first.zip(source.last).and_then(|(from, to)| way(&Span::new(from, to)))?;
    let moves = changes(source.track.samples()).len() as f64 >= MISSING_CHANGES && all_m >= 1.5 * own_m;
    if own_m < ALONE * longest_m || !moves || depth_second_echo::leaps(source) {
        return None;
    }
    let track: Vec<Sample> = source.track.samples().iter().copied().filter(|s| s.a > 0.0).collect();
    let (began, wakes) =
        (track.partition_point(|s| s.time < stand.from), track.partition_point(|s| s.time <= stand.to));
    let before = track.get(began.saturating_sub(WOKEN)..=began)?;
    let after = track.get(wakes..wakes + WOKEN)?;
    let (held, first) = (before.last()?, after.first()?);
    let leap = (first.a - held.a).abs();
    let goes_on = after.iter().map(|s| (s.a - first.a).abs()).fold(0.0, f64::max);
    let steepest = changes(before).into_iter().chain(changes(after)).fold(0.0, f64::max);
    let stands_out = leap > 1.5 * resolution && leap > steepest + 0.5 * resolution;
    (stands_out && goes_on <= leap && first.time.since(stand.to) <= SHORTEST_S)
        .then_some(Why::Alone(own_m / longest_m, leap))
}

/// Whether the depth stands at the same value, to a digit, in another place, and stands most of the time anyhow: then the bottom is
/// even, and ends in steps. Over another bottom a sounder may hang at one value again and again. The stand itself, which may
/// be the frozen one, speaks for an even bottom only where others are like it for a good part of its time.
fn is_plateau(source: &Source, stand: Span, held: f64, resolution: f64) -> bool {
    let stands = source.runs.still(SHORTEST_S);
    let alike = |other: &Span| within(source, *other).iter().any(|s| (s.a - held).abs() < 1.5 * resolution);
    let others = || stands.iter().filter(|other| **other != stand);
    let other_s: f64 = others().map(|span| span.seconds()).sum();
    let alike_s: f64 = others().filter(|other| alike(other)).map(|span| span.seconds()).sum();
    let own_s = if alike_s >= LIKE_IT * stand.seconds() { stand.seconds() } else { 0.0 };
    alike_s > 0.0 && other_s + own_s > MOSTLY_EVEN * lasted_s(source)
}

/// By how much another sounder saw the depth change while this one stood at `held`, metres; nothing when it hardly did, or when
/// it does not follow this one at other times.
fn seen(books: &Books, source: &Source, other: &Source, stand: Span, held: f64) -> Option<f64> {
    let depths = within(other, stand).iter().map(|s| s.a).filter(|m| *m > 0.0);
    let (low, high) = depths.fold((f64::INFINITY, 0.0_f64), |(l, h), m| (l.min(m), h.max(m)));
    let change = Some(high - low).filter(|m| *m >= (CHANGE_SHARE * held).max(0.5))?;
    let stands: Vec<Span> = [source, other].iter().flat_map(|s| s.runs.still(SHORTEST_S)).collect();
    let is_witness = !depth_second_echo::leaps(other)
        && !duplicate_depth_source::are_unrelated(books, source, other, &stands);
    is_witness.then_some(change)
}

/// By how much the depth leaps at the end of a stand, metres, when it goes on changing from there, and the bottom would be far
/// steeper in that place than in any other of the recording.
fn cliff(source: &Source, stand: Span, held: f64, resolution: f64) -> Option<f64> {
    let track: Vec<Sample> = source.track.samples().iter().copied().filter(|s| s.a > 0.0).collect();
    let steep = |one: &Sample, other: &Sample| {
        let way_m = other.b / KNOTS_PER_M_S * other.time.since(one.time);
        (other.a - one.a).abs() / way_m.max(SHORTEST_WAY_M)
    };
    let wakes = track.iter().position(|s| s.time > stand.to)?;
    let woken = track.get(wakes..)?;
    let (last, first) = (track.get(wakes.checked_sub(1)?)?, woken.first()?);
    let leap = (first.a - held).abs();
    // A fish, or a stone on even bottom, is followed by what was there before.
    let next = woken.get(..WOKEN).unwrap_or_default();
    let rests = next.iter().filter(|s| (s.a - held).abs() < 1.5 * resolution).count();
    let goes_on = changes(next).len() + 2 >= WOKEN && 2 * rests < WOKEN;
    let elsewhere = track.windows(2).enumerate().filter(|(n, _)| n + 1 != wakes);
    let steepest = elsewhere.filter_map(|(_, w)| Some(steep(w.first()?, w.last()?))).fold(0.0, f64::max);
    let here = steep(last, first);
    (first.b.is_finite() && goes_on && leap > 3.5 * resolution && here >= STEEPER * steepest).then_some(leap)
}

/// Changes a second over the whole recording.
fn usual_rate(source: &Source) -> f64 {
    changes(source.track.samples()).len() as f64 / lasted_s(source).max(1.0)
}

/// From the first value to the last, seconds.
fn lasted_s(source: &Source) -> f64 {
    source.first.zip(source.last).map_or(0.0, |(first, last)| last.since(first))
}

/// The sizes of the steps from one depth to the next where it changed.
fn changes(samples: &[Sample]) -> Vec<f64> {
    samples
        .windows(2)
        .filter_map(|w| Some((w.last()?.a - w.first()?.a).abs()))
        .filter(|d| *d > 1e-6)
        .collect()
}

fn finding(
    evidence: &Evidence<'_>,
    source: &Source,
    motion: &Motion<'_>,
    stands: &[(Span, Why)],
) -> Option<Finding> {
    let (worst, why) = stands.iter().max_by(|a, b| a.0.seconds().total_cmp(&b.0.seconds()))?;
    let spans: Vec<Span> = stands.iter().map(|(span, _)| *span).collect();
    let who = evidence.books.inventory.label(source.key.device);
    let frozen = longest(&spans);
    let held = within(source, *worst).first().map_or(0.0, |s| s.a);
    let why = match why {
        Why::Leap(m) => format!("When it woke up it leapt by {} m.", number(*m, 1)),
        Why::Other(m) => format!("Another sounder saw the depth change by {} m meanwhile.", number(*m, 1)),
        Why::Stopped(rate) => format!("Just before, it changed {} times a second.", number(*rate, 1)),
        Why::Alone(times, m) => format!(
            "No other stand of it is longer than one part in {} of this one's way, and it ended with a step of {} m.",
            number(*times, 0),
            number(*m, 1)
        ),
        Why::ForGood(stopped) => format!(
            "It stands to its last message. Before, it changed by {} m or more over every {} m of way; of its values in the stand, \
             noise alone would have moved {}.",
            number(stopped.change_m, 1),
            number(stopped.part_m, 0),
            number(stopped.missing, 0)
        ),
    };
    Some(
        Finding::new(Severity::Fault, format!("The depth of {who} stands still under way, for {} at the longest", seconds(frozen)))
            .devices([source.key.device])
            .messages([source.key.message.to_string()])
            .real("frozen_s", frozen)
            .evidence(format!(
                "{} stays at {} m to the last digit while the boat makes {} m of way.",
                source.key.message,
                number(held, 2),
                number(motion.known_way_m(*worst).unwrap_or(0.0), 0)
            ))
            .evidence(why)
            .evidence(format!("At {}.", moments(evidence.books, &spans)))
            .spans(spans)
            .check(format!("See whether {who} holds its last depth when it loses the bottom: at speed, over weed, in deep water."))
            .check("Compare with a lead line or a pole where the depth is known to change."),
    )
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds, noise};
    use super::*;
    use crate::messages::{Absent, DepthBelow, Reading};

    /// A boat over a bottom `depth(t)`, sent in steps of `step_m`, frozen where asked.
    fn boat(knots: f64, step_m: f64, frozen: std::ops::Range<i64>, depth: impl Fn(f64) -> f64) -> Boat {
        let mut boat = Boat::default();
        let mut m = 0.0;
        for i in 0..600_i64 {
            let t = i as f64 / 5.0;
            boat.ground(1, t, 0.0, knots);
            if !frozen.contains(&(i / 5)) {
                m = (depth(t) / step_m).round() * step_m;
            }
            let reading =
                Reading::Depth { m: Ok(m), below: DepthBelow::Transducer, offset_m: Err(Absent::Missing) };
            boat.say(2, 128_267, t, &reading);
        }
        boat
    }

    #[test]
    fn a_depth_that_stands_under_way_is_found() {
        let slope = |t: f64| 6.0 + 0.03 * t + 0.03 * noise((t * 5.0) as i64);
        for step in [0.01, 0.1] {
            let found = detect(&boat(6.0, step, 40..70, slope).evidence());
            assert_eq!(kinds(&found), [(Severity::Fault, vec![2])], "{step}");
            // In tenths of a metre the value stood for a while before.
            assert!((found[0].spans[0].seconds() - 30.0).abs() < 0.5 + 30.0 * step);
        }
    }

    #[test]
    fn a_fine_depth_that_stops_for_good_is_found() {
        let even = |t: f64| 6.0 + 0.05 * noise((t * 5.0) as i64);
        assert_eq!(detect(&boat(6.0, 0.01, 60..120, even).evidence()).len(), 1);
    }

    /// Two sounders that agree, or have nothing to do with each other; the first stands at 9.5 m for 30 s, to a tenth.
    #[test]
    fn only_a_sounder_that_follows_this_one_is_a_witness() {
        let witnessed = |swing_m: f64| {
            let level = |t: f64| {
                let slope = |s: f64| 9.5 + 0.03 * s;
                if (40.0..70.0).contains(&t) {
                    9.5
                } else if t < 40.0 {
                    slope(t - 40.0)
                } else {
                    slope(t - 70.0)
                }
            };
            let mut boat = boat(2.0, 0.1, 0..0, level);
            for i in 0..600_i64 {
                let t = i as f64 / 5.0 + 0.1;
                let hole = if (40.0..70.0).contains(&t) { 1.0 - (t - 55.0).abs() / 15.0 } else { 0.0 };
                let m = level(t) + 1.2 + hole + swing_m * (1.0 + (t / 4.0).sin());
                let m = Ok((m * 10.0).round() / 10.0);
                let reading =
                    Reading::Depth { m, below: DepthBelow::Transducer, offset_m: Err(Absent::Missing) };
                boat.say(3, 128_267, t, &reading);
            }
            detect(&boat.evidence())
        };
        assert_eq!(kinds(&witnessed(0.0)), [(Severity::Fault, vec![2])]);
        assert!(witnessed(4.0).is_empty());
    }

    /// A bottom that rises and falls again, and comes near the held value when the depth wakes up.
    #[test]
    fn a_stand_that_is_far_longer_than_any_other_is_found() {
        let run = |step_m: f64| {
            let m = move |t: f64| {
                let wander = |t: f64| 20.0 + 2.0 * (t / 5.0).sin();
                match t {
                    ..38.0 => wander(t),
                    38.0..98.0 => wander(38.0),
                    _ => wander(t - 60.0) + step_m,
                }
            };
            detect(&boat(6.0, 0.1, 0..0, m).evidence()).len()
        };
        assert_eq!(run(0.25), 1);
        assert_eq!(run(0.0), 0, "an even bottom may end so");
    }

    #[test]
    fn even_bottom_in_tenths_of_a_metre_is_healthy() {
        let basin = |t: f64| if t < 40.0 { 8.0 - 0.1 * (t - 40.0) } else { 8.0 };
        assert!(detect(&boat(6.0, 0.1, 0..0, basin).evidence()).is_empty());
    }

    /// A dredged channel with steep sides: the boat leaves it and comes back.
    #[test]
    fn a_bottom_that_is_as_deep_again_is_even_there() {
        let run = |again_m: f64| {
            let m = move |t: f64| match t {
                ..50.0 => 3.6 - 0.1 * (t % 2.0).floor() * f64::from(u8::from(t < 20.0)),
                ..54.0 => 3.6 - 0.5 * (t - 50.0),
                ..64.0 => 1.8 - 0.1 * (t % 2.0).floor(),
                ..68.0 => 1.8 + 0.5 * (t - 64.0),
                ..90.0 => again_m,
                _ => again_m - 0.1 * (t % 2.0).floor(),
            };
            detect(&boat(6.0, 0.1, 0..0, m).evidence()).len()
        };
        assert_eq!(run(3.6), 0);
    }

    #[test]
    fn a_stone_on_even_bottom_is_no_waking_up() {
        let stone = |t: f64| if (70.0..72.0).contains(&t) { 7.3 } else { 8.0 };
        assert!(detect(&boat(3.0, 0.1, 0..0, stone).evidence()).is_empty());
    }

    #[test]
    fn fish_over_even_bottom_are_no_waking_up() {
        let fish = |t: f64| if (t as i64 * 7) % 19 < 2 { 3.0 } else { 18.7 };
        assert!(detect(&boat(5.0, 0.1, 0..0, fish).evidence()).is_empty());
    }

    #[test]
    fn at_rest_the_bottom_stays_the_same() {
        assert!(
            detect(&boat(0.3, 0.01, 40..70, |t| 6.0 + 0.05 * noise((t * 5.0) as i64)).evidence()).is_empty()
        );
    }
}
