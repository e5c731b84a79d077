//! What is said of two headings: who supplies them, and which of them is off by the course over ground.

use super::Evidence;
use super::compass_deviation::swings;
use super::course_error::{CourseError, course_error};
use super::heading_misaligned::{LEFT_DEG, is_off};
use super::words::{number, percent, signed_deg};
use crate::books::Books;
use crate::books::series::Source;

/// Which of two headings is off by the course over ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Off {
    First,
    Second,
    Both,
    Untold,
}

/// Which of two headings that differ is off, with the error of each; `None` where the course does not give both.
pub(super) fn off_by_course(
    evidence: &Evidence<'_>,
    a: &Source,
    b: &Source,
) -> Option<(Off, CourseError, CourseError)> {
    let known = |s: &Source| course_error(evidence, s).filter(|e| e.a_sd <= 2.0 && e.left <= LEFT_DEG);
    let (one, other) = (known(a)?, known(b)?);
    let size = |e: &CourseError| {
        let [mean, ..] = e.k;
        mean.abs().hypot(e.swing)
    };
    // A current that is not quite parted from the error is in both alike; the better one is near nothing, and the other
    // clearly not.
    let worse = |x: &CourseError, y: &CourseError| size(y) <= 2.5 && size(x) >= size(y) + 1.0;
    let off = if worse(&one, &other) {
        Off::First
    } else if worse(&other, &one) {
        Off::Second
    } else if [&one, &other].iter().all(|e| is_off(e) || swings(e)) {
        Off::Both
    } else {
        Off::Untold
    };
    Some((off, one, other))
}

/// The same in a sentence.
pub(super) fn by_course(
    evidence: &Evidence<'_>,
    (a, b): (&Source, &Source),
    (off, one, other): &(Off, CourseError, CourseError),
) -> String {
    let label = |s: &Source| evidence.books.inventory.label(s.key.device);
    let verdict = match off {
        Off::First => format!("{} is the one that is off", label(a)),
        Off::Second => format!("{} is the one that is off", label(b)),
        Off::Both => "both are off".to_owned(),
        Off::Untold => "that does not tell which is off".to_owned(),
    };
    let words = |s: &Source, e: &CourseError| {
        let [mean, ..] = e.k;
        format!("{} is to be corrected by {} (swing {} deg)", label(s), signed_deg(mean), number(e.swing, 1))
    };
    format!("By course over ground {}, {}: {verdict}.", words(a, one), words(b, other))
}

/// No heading comes faster; stamps that many messages share tell no rate, seconds.
const FASTEST_S: f64 = 0.005;

/// What to do about a heading that is late, by more than the `clocks` differ or their stamps tell.
pub(super) fn lag_check(within_clocks: bool, one: &str, other: &str) -> String {
    if within_clocks {
        return format!(
            "Record both with stamps of a millisecond by one clock before you touch {other}: the delay may be theirs."
        );
    }
    format!("Lower the damping (smoothing) of {other}, or choose {one} as the only heading source.")
}

/// What a steady difference says, by whether the boat turned, a lag was taken away, the course tells which of the two is off, and
/// the difference is no more than that of two good sensors.
pub(super) fn stays(turned: bool, but_for_lag: bool, known: bool, small: bool) -> &'static str {
    match (turned, but_for_lag, known || small) {
        (false, ..) => {
            "The boat hardly turned, so that only this course is known: a slow full circle would tell more."
        }
        (true, false, true) if small && !known => {
            "It stays the same on the courses that were steered and in turns, and is no more than that of two good sensors."
        }
        (true, false, true) => "It stays the same on the courses that were steered and in turns.",
        (true, false, false) => {
            "It stays the same on the courses that were steered and in turns: one is mounted or set askew, or both."
        }
        (true, true, true) => "The rest stays the same on the courses that were steered.",
        (true, true, false) => {
            "The rest stays the same on the courses that were steered: one is mounted or set askew, or both."
        }
    }
}

/// One line on a source: who, which north, how often, how much of it valid.
pub(super) fn supply(books: &Books, source: &Source) -> String {
    let rate = books
        .stream(source)
        .and_then(|s| s.median_s())
        .filter(|s| *s >= FASTEST_S)
        .map(|s| format!("{} a second, ", number(1.0 / s, 1)))
        .unwrap_or_default();
    format!(
        "{}: {} heading in {}, {rate}{} of {} with a value.",
        books.inventory.label(source.key.device),
        source.key.reference.unwrap_or("unstated north"),
        source.key.message,
        percent(source.valid as f64 / source.count.max(1) as f64),
        source.count
    )
}
