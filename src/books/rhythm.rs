//! Whether intervals show that a message comes by a clock of its own.

use super::histogram::Histogram;

/// Intervals of an uneven message from which on a clock of its own shows.
const UNEVEN_LEAST: u64 = 60;

/// Ranges about the median, in medians, and the share of intervals that chance puts there: where a message comes at any moment
/// alike, `2^-x` of its intervals are longer than `x` medians (exponential distribution). A clock fills the near one, one that
/// jitters the next, and one whose messages get lost or are rounded to stamps the wide one.
const RANGES: [(f64, f64); 3] = [(0.75, 1.25), (0.5, 1.5), (0.5, 2.0)];

/// A clock that jitters puts this share of the intervals near their median, at least (common practice, no source): of intervals of any
/// length between two bounds, the longer five times the shorter, a third lies there.
const CLOCK: f64 = 2.0 / 3.0;

/// A share stands out from chance by so many standard deviations (common practice: three).
const SIGMAS: f64 = 3.0;

/// The same for how few of the intervals are long: few are by chance too, and their number scatters to one side (common practice,
/// no source).
const FEW_SIGMAS: f64 = 2.0;

/// Whether intervals show a rhythm: at least eight, most of them near the median.
pub(super) fn steady(intervals: &Histogram) -> bool {
    if intervals.len() < 8 {
        return false;
    }
    let at = |q: f64| intervals.value_at_quantile(q) as f64;
    let mid = at(0.5);
    mid > 1.0 && at(0.15) >= mid * 0.3 && at(0.85) <= mid * 2.5
}

/// Whether most intervals are near the median, as a clock makes them and no chatter, which keeps within bounds at best.
pub(super) fn by_clock(intervals: &Histogram) -> bool {
    let mid = intervals.value_at_quantile(0.5) as f64;
    let [(from, to), ..] = RANGES;
    // The median itself lies there however the others scatter.
    let near = intervals.count_between((mid * from) as u64, (mid * to) as u64) as f64 - 1.0;
    near >= CLOCK * (intervals.len() as f64 - 1.0)
}

/// Whether intervals scatter like those of what comes at any moment alike.
pub(super) fn by_chance(intervals: &Histogram) -> bool {
    let mid = intervals.value_at_quantile(0.5) as f64;
    !RANGES.into_iter().any(|range| stands_out(intervals, mid, range))
}

/// Whether more intervals lie in a range about the median `mid` than do by chance.
fn stands_out(intervals: &Histogram, mid: f64, (from, to): (f64, f64)) -> bool {
    let all = intervals.len() as f64;
    let chance = (-from).exp2() - (-to).exp2();
    // The median itself lies there however the others scatter. What ends the range belongs to it: two intervals in one.
    let within = intervals.count_between((mid * from) as u64, (mid * to * 1.02) as u64) as f64 - 1.0;
    let others = all - 1.0;
    within >= others.mul_add(chance, SIGMAS * (others * chance * (1.0 - chance)).sqrt())
}

/// The longer interval of a message that comes unevenly and yet by a clock of its own, seconds: on a full 0183 line it waits
/// behind the burst of each second, now for long and now for short. `None` where it comes by chance or in bursts: by chance,
/// 3 in 100 intervals are longer than 3.5 times their mean; in bursts most are far below it.
pub(super) fn uneven_s(intervals: &Histogram, mean_s: f64) -> Option<f64> {
    if intervals.len() < UNEVEN_LEAST {
        return None;
    }
    let at = |q: f64| intervals.value_at_quantile(q) as f64 / 1e6;
    let (long, longer) = (at(0.95), at(0.97));
    let no_burst = long >= 0.8 * mean_s && longer <= 2.6 * mean_s;
    // By chance `e^-x` of the intervals are longer than `x` of their means.
    let chance = (-longer / mean_s).exp();
    let spread = (chance * (1.0 - chance) / intervals.len() as f64).sqrt();
    (no_burst && FEW_SIGMAS.mul_add(-spread, chance) >= 0.03).then_some(long)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers that look drawn by lot, from 0 to 1.
    fn dice(seed: u32) -> impl Iterator<Item = f64> {
        let next = |d: &u32| Some(d.wrapping_mul(1_664_525).wrapping_add(1_013_904_223));
        std::iter::successors(Some(seed.wrapping_mul(2_654_435_761)), next)
            .skip(1)
            .map(|d| f64::from(d >> 8) / f64::from(1 << 24))
    }

    fn of(seconds: impl Iterator<Item = f64>) -> Histogram {
        let mut histogram = Histogram::default();
        seconds.for_each(|s| histogram.record((s * 1e6) as u64));
        histogram
    }

    fn has_rhythm(intervals: &Histogram) -> bool {
        steady(intervals) && !by_chance(intervals)
    }

    #[test]
    fn what_comes_by_chance_has_no_rhythm() {
        for n in [8, 12, 20, 40, 90, 200, 500] {
            let boats = 500;
            let regular = (0..boats).filter(|boat| {
                let lots = dice(boat * 1000 + n as u32).take(n);
                has_rhythm(&of(lots.map(|lot| -10.0 * (1.0 - lot).ln())))
            });
            let regular = regular.count();
            assert!(regular <= 10, "{n} intervals: {regular} of {boats}");
            let uneven = (0..boats).filter(|boat| {
                let lots = dice(boat * 1000 + n as u32).take(n);
                uneven_s(&of(lots.map(|lot| -10.0 * (1.0 - lot).ln())), 10.0).is_some()
            });
            let uneven = uneven.count();
            assert!(uneven <= 5, "{n} intervals: {uneven} of {boats}");
        }
    }

    #[test]
    fn chatter_between_two_bounds_is_no_clock() {
        for n in [20, 40, 90] {
            let clocks = (0..500).filter(|boat| {
                let lots = dice(boat * 1000 + n as u32).take(n);
                by_clock(&of(lots.map(|lot| 4.0 + 16.0 * lot)))
            });
            let clocks = clocks.count();
            assert!(clocks <= 15, "{n} intervals: {clocks} of 500");
            assert!(by_clock(&of(dice(n as u32).take(n).map(|lot| 50.0 + 20.0 * lot))), "{n}");
        }
    }

    #[test]
    fn a_clock_that_is_disturbed_keeps_its_rhythm() {
        for seed in 0..50 {
            for n in [12, 40, 300] {
                let jitter = dice(seed).take(n).map(|lot| 0.6 + 0.8 * lot);
                assert!(has_rhythm(&of(jitter)), "by 40 %");
                let lost = dice(seed).take(n).map(|lot| if lot < 0.75 { 1.0 } else { 2.0 });
                assert!(has_rhythm(&of(lost)), "a quarter lost, {n}");
                let rounded = (0..n).map(|i| if i % 2 == 0 { 1.0 } else { 2.0 });
                assert!(has_rhythm(&of(rounded)), "1.5 s in stamps of 1 s");
            }
        }
        assert!(has_rhythm(&of([1.0, 1.0, 1.0, 40.0, 1.0, 1.0, 1.0, 1.0].into_iter())), "a pause");
    }
}
