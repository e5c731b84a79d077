//! Two sources of one quantity, compared at the same moments.

use super::rounded::rounded_delay;
use super::{Evidence, address_conflict, repeats, same_order, to_the_letter};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source, Walk, around};
use crate::time::{Span, Time};
use crate::units::wrap_180;

/// The main source of a quantity for every device that supplies it: the one with the most values, of two with as many
/// the earlier. Rows that are one thing seen twice at one time are given once, the one with more values; what was seen in two
/// recordings, one after the other, is told of each.
pub(super) fn main_sources<'a>(evidence: &Evidence<'a>, quantity: &'a str) -> Vec<&'a Source> {
    let mut mains: Vec<&Source> = Vec::new();
    for source in evidence.books.series.of(quantity).filter(|s| s.valid >= 5) {
        let same = |m: &&mut &Source| {
            let (one, other) = (m.key.device, source.key.device);
            evidence.books.inventory.same(one, other) && (one == other || overlap_s(m, source) > SHORTEST_S)
        };
        match mains.iter_mut().find(same) {
            Some(main) if main.valid < source.valid => *main = source,
            Some(_) => {}
            None => mains.push(source),
        }
    }
    mains
}

/// Two sources that overlap for less than this are one after the other, seconds: the next file of a recorder may begin a
/// little before the last one ends.
const SHORTEST_S: f64 = 4.0;

/// Every pair of devices that supply a quantity over a common stretch of time.
pub(super) fn pairs<'a>(evidence: &Evidence<'a>, quantity: &'a str) -> Vec<(&'a Source, &'a Source)> {
    let mut mains = main_sources(evidence, quantity);
    // Without values there is nothing to compare, and such sources are not bounded as tightly.
    mains.retain(|source| !source.track.samples().is_empty());
    let mut pairs = Vec::new();
    for (i, a) in mains.iter().enumerate() {
        for b in mains.iter().skip(i + 1) {
            if overlap_s(a, b) > SHORTEST_S
                && !address_conflict::between(evidence.books, a.key.device, b.key.device)
            {
                pairs.push(alike(evidence, quantity, (*a, *b)));
            }
        }
    }
    pairs
}

/// A source with this share of a device's most values stands for it as well.
const STANDS_FOR: f64 = 0.5;

/// The two sources, or others of the same two devices that count from the same (true or magnetic north, transducer or keel),
/// as what it counts from hides how they relate; or that come in one message, as two of a device hold values of two moments.
fn alike<'a>(
    evidence: &Evidence<'a>,
    quantity: &'a str,
    (a, b): (&'a Source, &'a Source),
) -> (&'a Source, &'a Source) {
    let by_reference = a.key.reference != b.key.reference;
    let instead = |main: &'a Source, other: &'a Source| {
        let stands_for = |s: &&Source| {
            s.key.device == main.key.device
                && s.key.reference == other.key.reference
                && (by_reference || s.key.message == other.key.message)
                && s.valid as f64 >= STANDS_FOR * main.valid as f64
                && !s.track.samples().is_empty()
                && overlap_s(s, other) > SHORTEST_S
        };
        evidence.books.series.of(quantity).filter(stands_for).max_by_key(|s| s.valid)
    };
    match (instead(a, b), instead(b, a)) {
        _ if !by_reference && a.key.message == b.key.message => (a, b),
        (Some(one), Some(two)) if two.valid > one.valid => (a, two),
        (Some(one), _) => (one, b),
        (None, Some(two)) => (a, two),
        (None, None) => (a, b),
    }
}

/// For how long two sources give values at the same time, seconds; less than nothing when they do not, or without times.
fn overlap_s(a: &Source, b: &Source) -> f64 {
    // Where the recorder's clock was set back, the last value may be stamped before the first.
    let span = |s: &Source| s.values_from_to.map(|(from, to)| Span::new(from, to));
    span(a).zip(span(b)).map_or(-1.0, |(a, b)| a.shared_s(b))
}

/// The devices that only repeat the quantity of another one: what is wrong with it is wrong at its source.
///
/// `tolerance` is how far a repeated value may be from the first, by both numbers of a sample.
pub(super) fn repeaters<'a>(
    evidence: &Evidence<'a>,
    quantity: &'a str,
    tolerance: impl Fn(&Curve) -> (f64, f64),
) -> Vec<DeviceId> {
    let mut repeaters = Vec::new();
    for (a, b) in pairs(evidence, quantity) {
        let round = quantity == "heading";
        let (first, second) = (Curve::new(a.track.samples(), round), Curve::new(b.track.samples(), round));
        let (x, y) = (tolerance(&first), tolerance(&second));
        let both = (x.0.max(y.0), x.1.max(y.1));
        if let Some(late) = echo(evidence.books, (a, &first), (b, &second), both) {
            repeaters.push(if late < 0.0 { a.key.device } else { b.key.device });
        }
    }
    repeaters
}

/// How an echo is told, in a sentence; without a delay the values stood still.
pub(super) fn echo_words(delay_s: f64) -> String {
    if delay_s == 0.0 {
        return "The values never differ while they hardly change: one sent twice, or two that agree to the last digit."
            .to_owned();
    }
    format!("The same values come again {} later: one sensor, sent twice.", super::words::seconds(delay_s))
}

/// Whether a pair tells something of its own: a device that only repeats another one is compared with that one alone.
pub(super) fn worth_comparing(
    books: &Books,
    copies: &[DeviceId],
    a: &Source,
    b: &Source,
    quantity: &str,
    tolerance: impl Fn(&Curve, &Curve) -> (f64, f64),
) -> bool {
    if !copies.contains(&a.key.device) && !copies.contains(&b.key.device) {
        return true;
    }
    let round = quantity == "heading";
    let (first, second) = (Curve::new(a.track.samples(), round), Curve::new(b.track.samples(), round));
    let tolerance = tolerance(&first, &second);
    echo(books, (a, &first), (b, &second), tolerance).is_some()
}

/// The step of places in binary messages (PGN 129025), degrees, and a step that stands out from it.
const BINARY_DEG: f64 = 1e-7;
const COARSE_DEG: f64 = 1e-6;

/// The coarsest step, degrees, of which nearly all values are multiples: 1e-7 of a degree in binary messages, a decimal
/// of a minute in 0183. Two forms of one position differ by no more than the coarser one's rounding.
pub(super) fn place_step(curve: &Curve) -> f64 {
    const MINUTE: f64 = 1.0 / 60.0;
    let fits = |step: f64| {
        // What a gateway takes from a line into a binary message is rounded once more.
        let near = if step > COARSE_DEG { 0.55 * BINARY_DEG } else { 2e-9 };
        let on_grid = |v: f64| (v / step - (v / step).round()).abs() * step < near;
        let n = curve.samples().iter().filter(|s| on_grid(s.a) && on_grid(s.b)).count();
        n * 50 >= curve.samples().len() * 49
    };
    [1e-2, 1e-3, 1e-4, 1e-5]
        .into_iter()
        .map(|decimals| decimals * MINUTE)
        .find(|step| fits(*step))
        .unwrap_or(2e-7)
}

/// Below this step of its digits, degrees, a copy may be a whole step off (it was cut, or moved and rounded again): that is a
/// quarter of a metre, and no two antennas stand so close.
pub(super) const FINE_PLACE_DEG: f64 = 2.3e-6;

/// How near two forms of one position lie: the rounding of the coarser, degrees.
pub(super) fn place_tolerance(one: &Curve, other: &Curve) -> (f64, f64) {
    let step = place_step(one).max(place_step(other));
    let tolerance = (if step <= FINE_PLACE_DEG { 1.1 } else { 0.55 } * step).max(2e-7);
    (tolerance, tolerance)
}

/// The devices that only repeat another one's position.
pub(super) fn position_repeaters<'e>(evidence: &'e Evidence<'_>) -> &'e [DeviceId] {
    evidence
        .position_repeaters
        .get_or_init(|| repeaters(evidence, "position", |curve| place_tolerance(curve, curve)))
}

/// A track in the order of time, where a recorder's clock that was set back parted it into two that have no time in common.
fn parts(samples: &[Sample]) -> [&[Sample]; 2] {
    let steps = samples.windows(2).position(|two| matches!(two, [a, b] if b.time < a.time));
    let (before, after) = samples.split_at(steps.map_or(samples.len(), |at| at + 1));
    let ends = after.iter().map(|s| s.time).max();
    match before.first().zip(ends) {
        Some((first, ends)) if ends < first.time => [after, before],
        _ => [before, after],
    }
}

/// A series that can be asked for its value at any moment.
#[derive(Clone)]
pub(crate) struct Curve {
    samples: Vec<Sample>,
    round: bool,
}

impl Curve {
    /// From a track; `round` when the values are angles. Samples without value and steps back in time are left out; what comes
    /// after a step that is longer than all before it goes in front.
    pub(crate) fn new(samples: &[Sample], round: bool) -> Self {
        Self::of(samples, round, |last, next| last < next)
    }

    /// As [`new`](Self::new), with all values that bear one stamp: for who asks for no value at a moment.
    pub(super) fn with_equals(samples: &[Sample], round: bool) -> Self {
        Self::of(samples, round, |last, next| last <= next)
    }

    fn of(samples: &[Sample], round: bool, follows: impl Fn(Time, Time) -> bool) -> Self {
        let mut kept: Vec<Sample> = Vec::with_capacity(samples.len());
        for part in parts(samples) {
            for sample in part {
                if !sample.a.is_nan() && kept.last().is_none_or(|last| follows(last.time, sample.time)) {
                    kept.push(*sample);
                }
            }
        }
        Self { samples: kept, round }
    }

    /// Whether two values are one, by both numbers.
    pub(super) fn same(&self, x: &Sample, y: &Sample, tolerance: (f64, f64)) -> bool {
        self.way(y.a, x.a).abs() <= tolerance.0
            && (x.b.is_nan() || y.b.is_nan() || (x.b - y.b).abs() <= tolerance.1)
    }

    /// The same, so many seconds later.
    fn later(&self, seconds: f64) -> Self {
        let samples = self.samples.iter().map(|s| Sample { time: s.time.plus(seconds), ..*s }).collect();
        Self { samples, round: self.round }
    }

    /// The samples.
    pub(crate) fn samples(&self) -> &[Sample] {
        &self.samples
    }

    /// The value at a moment, by a straight line between the neighbours (the short way round for angles).
    pub(crate) fn at(&self, time: Time) -> Option<f64> {
        around(&self.samples, time).map(|around| self.between(around))
    }

    fn between(&self, (a, b, share): (Sample, Sample, f64)) -> f64 {
        a.a + share * self.way(a.a, b.a)
    }

    /// The way from one value to another, for angles the short one.
    pub(super) fn way(&self, from: f64, to: f64) -> f64 {
        if self.round { wrap_180(to - from) } else { to - from }
    }

    /// About the smallest step between neighbouring values that differ; `None` where none do.
    pub(super) fn finest_step(&self) -> Option<f64> {
        let step = |w: &[Sample]| Some(self.way(w.first()?.a, w.last()?.a).abs());
        let mut steps: Vec<f64> = self.samples.windows(2).filter_map(step).filter(|d| *d > 1e-6).collect();
        quantile(&mut steps, 0.02)
    }

    /// The values at moments in order, one after the other.
    pub(super) fn walk(&self) -> CurveWalk<'_> {
        CurveWalk { curve: self, walk: Walk::new(&self.samples) }
    }

    /// Both numbers at a moment.
    pub(crate) fn both_at(&self, time: Time) -> Option<(f64, f64)> {
        let (a, b, share) = around(&self.samples, time)?;
        Some((a.a + share * (b.a - a.a), a.b + share * wrap_180(b.b - a.b)))
    }
}

/// A curve's values at moments in order, found quicker than one by one.
pub(super) struct CurveWalk<'a> {
    curve: &'a Curve,
    walk: Walk<'a>,
}

impl CurveWalk<'_> {
    /// As [`Curve::at`].
    pub(super) fn at(&mut self, time: Time) -> Option<f64> {
        self.walk.around(time).map(|around| self.curve.between(around))
    }
}

/// Which of two curves repeats the other one's values, and by how much later the second comes, seconds (negative when the
/// first is the copy). Where two recorders stamped them, or two gateways hand the same values over in batches, the copy may
/// seem to come before.
pub(super) fn echo(
    books: &Books,
    (a, first): (&Source, &Curve),
    (b, second): (&Source, &Curve),
    tolerance: (f64, f64),
) -> Option<f64> {
    let either = |first: &Curve, second: &Curve| {
        echo_delay(first, second, tolerance)
            .or_else(|| echo_delay(second, first, tolerance).map(|delay| -delay))
    };
    let clocks = books.clocks_differ_s(a.key.device, b.key.device);
    let late = either(first, second).or_else(|| {
        let slack = clocks.clamp(HANDED_OVER_S, MOST_SLACK_S);
        let late = echo_delay(first, &second.later(slack), tolerance).map(|delay| delay - slack);
        late.or_else(|| echo_delay(second, &first.later(slack), tolerance).map(|delay| slack - delay))
    });
    let late = late.or_else(|| repeats::batched_delay(books, a, b, tolerance));
    let late = late.or_else(|| repeats::batched_delay(books, b, a, tolerance).map(|delay| -delay));
    let late = late.or_else(|| same_order::delay(books, a, b, |x, y| first.same(x, y, tolerance)));
    // A display hands on what it heard last, in whichever message that came.
    let late = late.or_else(|| either(&all_messages(books, a, first)?, second));
    let late = late.or_else(|| either(first, &all_messages(books, b, second)?))?;
    // A gateway shortens what it hands on, and makes no finer digits of it.
    if a.key.quantity == "position" {
        let (one, other) = (place_step(first), place_step(second));
        if one.max(other) > COARSER * one.min(other) {
            return Some(if other > one { late.abs() } else { -late.abs() });
        }
    }
    // What two recorders' clocks may make of the delay does not tell which of the two comes first.
    Some(
        match second_is_copy(first, second).filter(|_| clocks > 0.0 && late.abs() <= clocks + HANDED_OVER_S) {
            Some(true) => late.abs(),
            Some(false) => -late.abs(),
            None => late,
        },
    )
}

/// The values of a source with those that its device gives in other messages, from the same zero; `None` where there are no others.
fn all_messages(books: &Books, source: &Source, curve: &Curve) -> Option<Curve> {
    let (key, span) = (source.key, source.values_from_to);
    let is_other = |s: &&Source| {
        s.key.device == key.device
            && s.key.reference == key.reference
            && s.key.message != key.message
            && s.values_from_to.zip(span).is_some_and(|(one, other)| one.0 < other.1 && other.0 < one.1)
    };
    let mut samples: Vec<Sample> = curve.samples.clone();
    let known = samples.len();
    let others = books.series.of(key.quantity).filter(is_other);
    samples.extend(others.flat_map(|s| s.track.samples()));
    samples.sort_by_key(|s| s.time);
    (samples.len() > known).then(|| Curve::new(&samples, curve.round))
}

/// Which of two alike is the copy, by its values alone: no copy comes in finer steps than its original, and hardly more often.
fn second_is_copy(first: &Curve, second: &Curve) -> Option<bool> {
    const CLEARLY: f64 = 1.5;
    let apart = |one: f64, other: f64| match (one > CLEARLY * other, other > CLEARLY * one) {
        (true, _) => Some(true),
        (_, true) => Some(false),
        _ => None,
    };
    let steps = second.finest_step().zip(first.finest_step());
    let by_rate = || apart(first.samples().len() as f64, second.samples().len() as f64);
    steps.and_then(|(second, first)| apart(second, first)).or_else(by_rate)
}

/// One place has coarser digits than another by this factor, at least: a tenth of a minute's decimal and a whole one are ten.
const COARSER: f64 = 3.0;

/// Gateways hold what they hand over for no longer than this, seconds (common practice, no source).
const HANDED_OVER_S: f64 = 0.25;

/// A copy is looked for so long before its original at most, however much the clocks may differ, seconds.
const MOST_SLACK_S: f64 = 1.0;

/// Whether `copy` repeats the values of `original` later, in as many digits or fewer, and how much later (median, seconds).
pub(super) fn echo_delay(original: &Curve, copy: &Curve, tolerance: (f64, f64)) -> Option<f64> {
    let late = repeats::delay(original, copy, tolerance).or_else(|| rounded_delay(original, copy, tolerance));
    late.or_else(|| to_the_letter::delay(original, copy, tolerance))
}

/// A value that stood still is joined to the next one by a line that means nothing, over so many seconds.
const WAKES_S: f64 = 2.5;

/// The moments in which neither of two sources stood still: a stand is told by itself, and would hide how the two relate.
/// All of them where too few are left to tell anything.
pub(super) fn alive<T>(moments: Vec<T>, time: impl Fn(&T) -> Time, stands: &[Span]) -> Vec<T>
where
    T: Clone,
{
    const ENOUGH: usize = 40;
    let stood = |t: Time| stands.iter().any(|span| span.from <= t && t <= span.to.plus(WAKES_S));
    if stands.is_empty() {
        return moments;
    }
    let left: Vec<T> = moments.iter().filter(|m| !stood(time(m))).cloned().collect();
    if left.len() < ENOUGH { moments } else { left }
}

/// The median; `None` of nothing.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The value that a share `q` of the values does not exceed (linear between ranks, Hyndman and Fan type 7).
pub(super) fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let place = q * (values.len() - 1) as f64;
    let at = place.floor() as usize;
    if at >= values.len() {
        return None;
    }
    // Only the two values around the place are wanted, not all in order.
    let (_, low, above) = values.select_nth_unstable_by(at, f64::total_cmp);
    let low = *low;
    let next = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    let high = if place.ceil() as usize > at { next } else { low };
    Some(low + (high - low) * place.fract())
}

/// Mean and standard deviation.
pub(super) fn spread(values: &[f64]) -> (f64, f64) {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
    (mean, variance.sqrt())
}

/// The two devices of a pair.
pub(super) fn devices(a: &Source, b: &Source) -> [DeviceId; 2] {
    [a.key.device, b.key.device]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(values: impl Iterator<Item = (f64, f64)>) -> Curve {
        let samples: Vec<_> = values.map(|(t, a)| Sample { time: Time(0).plus(t), a, b: f64::NAN }).collect();
        Curve::new(&samples, true)
    }

    /// NIST/SEMATECH e-Handbook 7.2.6.2 data; type 7 values as computed with numpy (worked examples, section 5).
    #[test]
    fn quantiles_of_the_handbook() {
        let mut data = [
            95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925,
            95.1990, 95.1682,
        ];
        for (q, want) in [(0.1, 95.0939), (0.5, 95.1579), (0.9, 95.19568), (0.95, 95.197295)] {
            assert!((quantile(&mut data, q).unwrap() - want).abs() < 1e-6);
        }
    }

    #[test]
    fn angles_are_joined_the_short_way() {
        let c = curve([(0.0, 350.0), (1.0, 10.0)].into_iter());
        assert_eq!(c.at(Time(500_000)), Some(360.0));
        assert_eq!(c.at(Time(1_500_000)), None);
    }

    #[test]
    fn a_repeat_is_told_from_a_second_sensor() {
        let noise = |i: u64| (i.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40) as f64 / 1e7;
        let heading = |t: f64| 40.0 * (t / 20.0).sin() + 180.0;
        let original = curve((0..2000).map(|i| (i as f64 * 0.1, heading(i as f64 * 0.1) + noise(i))));
        let copy = curve((5..2000).map(|i| (i as f64 * 0.1 + 0.14, heading(i as f64 * 0.1) + noise(i))));
        let other =
            curve((0..2000).map(|i| (i as f64 * 0.1 + 0.03, heading(i as f64 * 0.1) + noise(i + 9999))));
        let delay = echo_delay(&original, &copy, (0.001, 1.0)).unwrap();
        assert!((delay - 0.14).abs() < 0.06, "{delay}");
        assert_eq!(echo_delay(&original, &other, (0.001, 1.0)), None);
    }

    /// Places on a grid of a line's decimals of a minute, rounded once more to the 1e-7 of a degree of a binary message.
    #[test]
    fn the_step_of_a_line_shows_through_a_binary_message() {
        let places = |decimal: f64| {
            let place = |i: i32| {
                let minutes = (f64::from(i) * 0.013_713_7 / decimal).round() * decimal;
                let deg = |whole: f64| ((whole + minutes / 60.0) * 1e7).round() / 1e7;
                Sample { time: Time(0).plus(f64::from(i)), a: deg(54.0), b: deg(10.0) }
            };
            Curve::new(&(0..100).map(place).collect::<Vec<_>>(), false)
        };
        for decimal in [1e-2, 1e-3, 1e-4] {
            assert!((place_step(&places(decimal)) - decimal / 60.0).abs() < 1e-9, "{decimal}");
        }
        assert!(place_step(&places(1e-5)) < 3e-7);
    }
}
