//! Several recorders, several clocks: how far they stand apart, told from what two of them saw.
//!
//! Three kinds of evidence, the sharpest first: frames that both recorded, the boat's own time messages, and values
//! (heading, position, depth ...) that change in the same way in both. Nothing is moved that is not told, and nothing is
//! moved by less than the evidence can tell.
//!
//! And which of them are one recorder's files, where one begins as another ends.

mod boat_time;
mod edges;
mod line;
mod prints;
mod same_frames;
mod same_values;
mod sequels;

pub use edges::{Edges, Voice};
pub use prints::Prints;
pub use same_values::Curve;
pub use sequels::{MAX_JOINED, Sequels, sequels};

use crate::books::clock::Shown;
use crate::recording::{Reckoning, TimeBase};
use crate::time::{DAY_US, Span, Time};

/// Most recordings of one run whose clocks are compared; more than these are hardly taken side by side.
pub const MAX_RECKONED: usize = 16;

/// Offsets below this are none, seconds, unless the same frames tell them: a relayed value and a time message both come
/// late by up to about a second (common practice, no source).
const LEAST_S: f64 = 1.0;

/// A gateway may hold a time message back for so long, seconds, and tell the time of the day alone.
const LATE_S: f64 = 2.0;
const DAY_S: f64 = DAY_US as f64 / 1e6;

/// What one recording tells of its clock. Bounded as the books are that it is taken from.
#[derive(Debug, Default)]
pub struct Witness {
    /// First and last stamp.
    pub span: Option<Span>,
    /// Where its times come from.
    pub time_base: TimeBase,
    /// Whether its clock was set while it ran.
    pub was_set: bool,
    /// Frames that can be known again.
    pub prints: Prints,
    /// What the boat's clocks showed.
    pub shown: Vec<Shown>,
    /// Values over time.
    pub curves: Vec<Curve>,
}

/// How far another clock is from ours.
#[derive(Debug, Clone, PartialEq)]
struct Estimate {
    /// Seconds to add to the other's stamps.
    offset_s: f64,
    /// How far that may be wrong, seconds.
    uncertainty_s: f64,
    /// Growth of the offset, microseconds a second.
    drift_ppm: Option<f64>,
    /// By the other's clock, where the offset holds.
    about: Time,
    /// The least offset that this evidence can tell from none, seconds.
    least_s: f64,
    /// From what.
    from: String,
}

/// How the clocks of several recordings stand to one of them: the first that knows the date. In the order given.
#[must_use]
pub fn reckon(witnesses: &[Witness]) -> Vec<Reckoning> {
    let dated =
        |w: &Witness| matches!(w.time_base, TimeBase::Stamped | TimeBase::BoatClock) && w.span.is_some();
    let common = witnesses.iter().position(dated).unwrap_or(0);
    let Some(ours) = witnesses.get(common) else { return Vec::new() };
    let first_look = |(i, other): (usize, &Witness)| {
        if i == common {
            Some(Reckoning::untouched("the clock that the others are set by", Some(0.0)))
        } else {
            estimate(ours, other, true).map(settled)
        }
    };
    let mut reckonings: Vec<Option<Reckoning>> = witnesses.iter().enumerate().map(first_look).collect();
    // What cannot be told against the common clock may be told against one that could.
    while let Some((index, reckoning)) = witnesses.iter().enumerate().find_map(|(i, other)| {
        let open = reckonings.get(i).is_some_and(Option::is_none);
        Some((i, open.then(|| by_way(witnesses, &reckonings, other))??))
    }) {
        if let Some(slot) = reckonings.get_mut(index) {
            *slot = Some(reckoning);
        }
    }
    let left = |(witness, reckoning): (&Witness, Option<Reckoning>)| {
        reckoning
            .unwrap_or_else(|| Reckoning::untouched(format!("not told: {}", why_not(ours, witness)), None))
    };
    witnesses.iter().zip(reckonings).map(left).collect()
}

/// The reckoning of one recording against another that has been told.
fn by_way(witnesses: &[Witness], known: &[Option<Reckoning>], other: &Witness) -> Option<Reckoning> {
    witnesses.iter().zip(known).find_map(|(ours, reckoning)| {
        let base = reckoning.as_ref().filter(|r| r.uncertainty_s.is_some())?;
        let found = estimate(ours, other, false)?;
        Some(settled(Estimate {
            offset_s: found.offset_s + base.offset_s,
            uncertainty_s: found.uncertainty_s + base.uncertainty_s.unwrap_or(0.0),
            drift_ppm: None,
            ..found
        }))
    })
}

/// An offset too small to be told from none is none.
fn settled(found: Estimate) -> Reckoning {
    if found.offset_s.abs() < found.least_s.max(2.0 * found.uncertainty_s) && found.drift_ppm.is_none() {
        let from = format!("{}: no difference that could be told", found.from);
        return Reckoning::untouched(from, Some(found.uncertainty_s));
    }
    Reckoning {
        offset_s: found.offset_s,
        uncertainty_s: Some(found.uncertainty_s),
        drift_ppm: found.drift_ppm,
        about: found.about,
        from: found.from,
    }
}

/// The best that can be said of two clocks. `widely` looks for like values at any offset, which takes time.
fn estimate(ours: &Witness, other: &Witness, widely: bool) -> Option<Estimate> {
    if ours.was_set || other.was_set || ours.span.is_none() || other.span.is_none() {
        return None;
    }
    let by_time = boat_time::estimate(ours, other);
    // What comes again after minutes may look like one frame; the boat's time tells that it is not.
    let contradicted = |found: &Estimate| {
        by_time.as_ref().is_some_and(|told| {
            let apart_s = (found.offset_s - told.offset_s).abs();
            let days = (apart_s / DAY_S).round() * DAY_S;
            (apart_s - days).abs() > told.uncertainty_s + found.uncertainty_s + LATE_S
        })
    };
    if let Some(found) = same_frames::estimate(&ours.prints, &other.prints).filter(|f| !contradicted(f)) {
        return Some(found);
    }
    match by_time {
        Some(found) => Some(same_values::sharpen(ours, other, found)),
        None if widely => same_values::estimate(ours, other),
        None => None,
    }
}

fn why_not(ours: &Witness, other: &Witness) -> &'static str {
    let overlap = || {
        let (a, b) = (ours.span?, other.span?);
        Some(a.from <= b.to && b.from <= a.to)
    };
    if other.span.is_none() {
        "it has no clock"
    } else if other.was_set {
        "its clock was set while it recorded"
    } else if ours.was_set {
        "the other clock was set while it recorded"
    } else if overlap() == Some(false) {
        "the recordings do not overlap and hold no time message of the boat"
    } else {
        "nothing was found that both recorders saw"
    }
}
