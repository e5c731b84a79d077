//! What is noise and what is a change: every rule of the comparison that is a number. The rules stand in
//! `docs/compare.md` too.
//!
//! Source: elementary statistics of counts (a Poisson count n has the spread of its square root) and of shares. The
//! factors are common practice without a source of their own.

use super::side::Timing;

/// Messages that should have been heard before their absence means anything.
pub(super) const EXPECTED: f64 = 10.0;

/// Part of the listening time that a sender must have been about, or it comes and goes by itself.
pub(super) const PRESENT: f64 = 0.5;

/// Seconds that the other side must have listened: what has just been switched on takes a while to speak.
pub(super) const LISTENED_S: f64 = 10.0;

/// Times that a trouble should have come again before its absence clears it: with three expected, seeing none is left
/// to chance once in twenty (e to the minus three).
pub(super) const EXPECTED_EVENTS: f64 = 3.0;

/// Spreads that two figures must lie apart.
const SPREADS: f64 = 3.0;

/// Least number of intervals behind a median that is compared, and behind a 99th in 100.
const FOR_MEDIAN: u64 = 20;
const FOR_P99: u64 = 300;

/// How far a median must move, as part of the earlier one.
const MEDIAN_MOVES: f64 = 0.25;

/// How much longer the longest 1 in 100 intervals must have become, or shorter.
const P99_TIMES: f64 = 2.0;

/// Least change of a share of valid messages, and messages that count as one: neighbours are alike.
const SHARE_MOVES: f64 = 0.05;
const ALIKE: f64 = 10.0;

/// Least change of a wire's load: percentage points, and part of the earlier load.
const LOAD_POINTS: f64 = 2.0;
const LOAD_MOVES: f64 = 0.25;

/// How a message's timing changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pace {
    /// Its median interval moved.
    Median,
    /// Its longest 1 in 100 intervals did.
    Ragged,
}

/// Whether the timing of one message changed; `resolution_s` is the coarser stamp of the two.
pub(super) fn pace(before: &Timing, after: &Timing, resolution_s: f64) -> Option<Pace> {
    let least = before.count.min(after.count).saturating_sub(1);
    let (b50, a50) = (before.p50?, after.p50?);
    let spread = |row: &Timing, p50: f64| row.p90.map_or(0.0, |p90| (p90 - p50).max(0.0));
    let noise = spread(before, b50).max(spread(after, a50)).max(2.0 * resolution_s);
    let moved = (a50 - b50).abs();
    if least >= FOR_MEDIAN && moved > noise && moved > MEDIAN_MOVES * b50 {
        return Some(Pace::Median);
    }
    let (b99, a99) = (before.p99?, after.p99?);
    let (short, long) = (b99.min(a99), b99.max(a99));
    let ragged = long >= P99_TIMES * short && long - short > b50.max(a50).max(2.0 * resolution_s);
    (least >= FOR_P99 && ragged).then_some(Pace::Ragged)
}

/// Whether the share of messages that held a value changed.
pub(super) fn share((valid_b, count_b): (u64, u64), (valid_a, count_a): (u64, u64)) -> bool {
    if count_b < FOR_MEDIAN || count_a < FOR_MEDIAN {
        return false;
    }
    let (nb, na) = (count_b as f64, count_a as f64);
    let (pb, pa) = (valid_b as f64 / nb, valid_a as f64 / na);
    let both = (valid_b as f64 + valid_a as f64) / (nb + na);
    let spread = (both * (1.0 - both).max(0.0) * ALIKE * (1.0 / nb + 1.0 / na)).sqrt();
    (pa - pb).abs() >= SHARE_MOVES && (pa - pb).abs() > SPREADS * spread
}

/// Whether something counted came more or less often: counts over seconds (or any other measure of length).
pub(super) fn rate((count_b, over_b): (u64, f64), (count_a, over_a): (u64, f64)) -> bool {
    if over_b <= 0.0 || over_a <= 0.0 {
        return false;
    }
    let (nb, na) = (count_b as f64, count_a as f64);
    // The counts that one common rate would give; their spread is the root of what is expected.
    let common = (nb + na) / (over_b + over_a);
    let spread = (common / over_b + common / over_a).sqrt();
    (na / over_a - nb / over_b).abs() > SPREADS * spread
}

/// Whether a wire's mean load changed, in percent.
pub(super) fn load(before: f64, after: f64) -> bool {
    let moved = (after - before).abs();
    moved > LOAD_POINTS && moved > LOAD_MOVES * before
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timing(count: u64, p50: f64, p90: f64, p99: f64) -> Timing {
        Timing { count, p50: Some(p50), p90: Some(p90), p99: Some(p99), ..Timing::default() }
    }

    #[test]
    fn a_median_moves_beyond_its_spread() {
        let usual = timing(3000, 0.1, 0.102, 0.11);
        assert_eq!(pace(&usual, &usual, 1e-6), None);
        assert_eq!(pace(&usual, &timing(1500, 0.2, 0.202, 0.21), 1e-6), Some(Pace::Median));
        assert_eq!(pace(&usual, &timing(15, 0.2, 0.202, 0.21), 1e-6), None, "too few");
        assert_eq!(pace(&usual, &timing(3000, 0.12, 0.122, 0.13), 1e-6), None, "by a fifth");
        assert_eq!(pace(&usual, &timing(1500, 0.2, 0.31, 0.31), 1e-6), None, "within its own spread");
        assert_eq!(pace(&usual, &timing(1500, 0.2, 0.202, 0.21), 0.1), None, "stamps too coarse");
    }

    #[test]
    fn ragged_needs_many_intervals() {
        let usual = timing(3000, 0.1, 0.102, 0.11);
        assert_eq!(pace(&usual, &timing(3000, 0.1, 0.105, 0.4), 1e-6), Some(Pace::Ragged));
        assert_eq!(pace(&timing(3000, 0.1, 0.105, 0.4), &usual, 1e-6), Some(Pace::Ragged));
        assert_eq!(pace(&usual, &timing(200, 0.1, 0.105, 0.4), 1e-6), None);
        assert_eq!(pace(&usual, &timing(3000, 0.1, 0.105, 0.19), 1e-6), None);
    }

    #[test]
    fn shares_and_rates() {
        assert!(share((3000, 3000), (2000, 3000)));
        assert!(!share((3000, 3000), (2900, 3000)), "3 points");
        assert!(!share((30, 30), (27, 30)), "three of thirty");
        assert!(!share((0, 0), (10, 10)));
        assert!(!rate((2, 300.0), (0, 300.0)), "two are luck");
        assert!(rate((12, 300.0), (0, 300.0)));
        assert!(!rate((12, 300.0), (24, 600.0)));
        assert!(!rate((1, 0.0), (5, 1.0)));
        assert!(load(30.0, 45.0) && !load(30.0, 33.0) && !load(1.0, 2.5));
    }
}
