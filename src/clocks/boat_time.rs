//! Two clocks compared by the boat's own time messages.

use super::line::{self, Line};
use super::{Estimate, Witness};
use crate::books::clock::Shown;
use crate::books::timing::Message;
use crate::recording::TimeBase;
use crate::time::{DAY_US, Time};

/// Time messages scatter by less than this about their middle when the clock behind them runs, seconds.
const STEADY_S: f64 = 1.0;

/// A time message comes late by up to half a second, alike in both recordings when it is the same message; by up to a
/// second when it is another (common practice, no source).
const SAME_MESSAGE_S: f64 = 0.5;
const OTHER_MESSAGE_S: f64 = 1.0;

/// A recorder's clock is hardly ever wrong by whole days and right to this many seconds: then one of the messages bears a
/// wrong date (a receiver whose week count has wrapped, a sender with a fixed date).
const SAME_TIME_OF_DAY_S: f64 = 60.0;

/// The offset by the boat's time messages. Without a date in both, the clocks may differ by any number of whole days:
/// then the recordings are taken to be of the same day.
pub(super) fn estimate(ours: &Witness, other: &Witness) -> Option<Estimate> {
    let (a, b) = (clocks(ours), clocks(other));
    let pairs = a.iter().flat_map(|a| b.iter().map(move |b| (a, b)));
    // The same message, then a receiver's own, then the steadiest.
    let (a, b) = pairs.min_by(|x, y| rank(x).partial_cmp(&rank(y)).unwrap_or(std::cmp::Ordering::Equal))?;
    let alike = kind(a.shown.message) == kind(b.shown.message);
    let mut offset_s = a.line.middle_s - b.line.middle_s;
    let undated = !a.shown.dated || !b.shown.dated;
    let day_s = DAY_US as f64 / 1e6;
    let in_day_s = offset_s - (offset_s / day_s).round() * day_s;
    let dateless = |w: &Witness| matches!(w.time_base, TimeBase::TimeOfDay | TimeBase::BoatTimeOfDay);
    if undated {
        // Recorders that both know the date are on the same day already.
        let apart_s =
            if dateless(ours) == dateless(other) { 0.0 } else { middle(ours)?.since(middle(other)?) };
        offset_s += ((apart_s - offset_s) / day_s).round() * day_s;
    } else if dateless(ours) != dateless(other) {
        // The boat's own date is that of the recording which has none.
    } else if in_day_s.abs() <= SAME_TIME_OF_DAY_S {
        offset_s = in_day_s;
    } else if offset_s.abs() * 1e6 > DAY_US as f64 && !(a.receiver() && b.receiver()) {
        // A display that was never told the date shows any.
        return None;
    }
    let drift = match (a.line.slope_ppm, b.line.slope_ppm) {
        (None, None) => None,
        (a, b) => Some(a.unwrap_or(0.0) - b.unwrap_or(0.0)),
    };
    Some(Estimate {
        offset_s,
        uncertainty_s: a.line.scatter_s
            + b.line.scatter_s
            + if alike { SAME_MESSAGE_S } else { OTHER_MESSAGE_S },
        drift_ppm: drift.filter(|_| alike),
        about: b.line.about,
        least_s: super::LEAST_S,
        from: format!(
            "the boat's time messages ({}, against {} in the other recording)",
            b.shown.message, a.shown.message
        ),
    })
}

fn middle(witness: &Witness) -> Option<Time> {
    let span = witness.span?;
    Some(span.from.plus(span.seconds() / 2.0))
}

/// A source of time with the line of recording time less boat time.
struct Kept<'a> {
    shown: &'a Shown,
    line: Line,
}

impl Kept<'_> {
    /// Whether it is a satellite receiver that speaks, not a display that passes the time on.
    fn receiver(&self) -> bool {
        matches!(kind(self.shown.message), "129029" | "RMC" | "GGA" | "GNS" | "GLL" | "ZDA")
    }
}

/// The sources of time whose clock runs evenly.
fn clocks(witness: &Witness) -> Vec<Kept<'_>> {
    fn steady(shown: &Shown) -> Option<Kept<'_>> {
        let Shown { samples, dated, .. } = shown;
        let (first, last) = (samples.first()?, samples.last()?);
        // Without a date the times begin anew at midnight.
        let unwrap = |(time, boat): &(Time, i64)| {
            let difference = time.0.saturating_sub(*boat);
            (*time, if *dated { difference } else { near(difference, first.0.0.saturating_sub(first.1)) })
        };
        let line = line::through(&samples.iter().map(unwrap).collect::<Vec<_>>())?;
        (samples.len() >= 5 && last.1 != first.1 && line.scatter_s <= STEADY_S)
            .then_some(Kept { shown, line })
    }
    witness.shown.iter().filter_map(steady).collect()
}

/// The same time of day as `us`, on the day that brings it nearest to `wanted`.
fn near(us: i64, wanted: i64) -> i64 {
    let days = (wanted.saturating_sub(us).saturating_add(DAY_US / 2)).div_euclid(DAY_US);
    us.saturating_add(days.saturating_mul(DAY_US))
}

/// A message's name without its talker.
fn kind(message: Message) -> &'static str {
    let name = message.to_string();
    ["126992", "129029", "129033", "RMC", "ZDA", "GGA", "GNS", "GLL"]
        .into_iter()
        .find(|kind| name.ends_with(kind))
        .unwrap_or("")
}

/// How good a pair is: the lower, the better.
fn rank((a, b): &(&Kept<'_>, &Kept<'_>)) -> (u8, u8, f64) {
    let undated = u8::from(!a.shown.dated) + u8::from(!b.shown.dated);
    let unlike = u8::from(kind(a.shown.message) != kind(b.shown.message));
    let passed_on = u8::from(!a.receiver()) + u8::from(!b.receiver());
    (undated + passed_on, unlike, a.line.scatter_s + b.line.scatter_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::clock::Clock;
    use crate::books::inventory::DeviceId;
    use crate::time::Span;

    const S: i64 = 1_000_000;

    /// One time message a second for `n` seconds from boat time `from`; the recorder's clock is ahead by `ahead_s`.
    fn witness(n: i64, from: i64, ahead_s: f64, message: Message, dated: bool) -> Witness {
        let mut clock = Clock::default();
        for i in 0..n {
            let boat = (from + i) * S;
            let late = i * 37 % 100 * 1000;
            let time = Time(boat + late).plus(ahead_s);
            let days = dated.then(|| boat.div_euclid(DAY_US));
            clock.reading(DeviceId(0), message, time, days, boat.rem_euclid(DAY_US));
        }
        let first = Time(from * S).plus(ahead_s);
        Witness {
            span: Some(Span::new(first, first.plus(n as f64))),
            shown: clock.shown().to_vec(),
            ..Witness::default()
        }
    }

    #[test]
    fn the_boats_clock_stands_between() {
        let day = 20_000 * 86_400;
        let pgn = Message::Pgn(129_029);
        let ours = witness(300, day + 100, 0.0, pgn, true);
        let found = estimate(&ours, &witness(300, day + 200, -37.5, pgn, true)).unwrap();
        assert!((found.offset_s - 37.5).abs() < 0.1, "{found:?}");
        assert!(found.uncertainty_s >= 0.5);
        assert_eq!(estimate(&ours, &witness(3, day + 200, 0.0, pgn, true)), None, "too few");
    }

    #[test]
    fn a_log_without_date_is_of_the_same_day() {
        let day = 20_000 * 86_400;
        let ours = witness(300, day + 86_300, 0.0, Message::Pgn(129_029), true);
        let mut other = witness(300, 86_310, -2.0, Message::Pgn(126_992), false);
        other.time_base = TimeBase::TimeOfDay;
        let found = estimate(&ours, &other).unwrap();
        assert!((found.offset_s - (day as f64 + 2.0)).abs() < 0.2, "{found:?}");
    }

    #[test]
    fn a_wrong_date_moves_no_recording_by_days() {
        let day = 20_000 * 86_400;
        let ours = witness(300, day, 0.0, Message::Pgn(129_029), true);
        let found =
            estimate(&ours, &witness(300, day - 4 * 86_400, 4.0 * 86_400.0, Message::Pgn(129_029), true));
        assert!(found.unwrap().offset_s.abs() < 0.1);
    }

    #[test]
    fn a_display_with_a_wrong_date_is_no_witness() {
        let ours = witness(300, 20_000 * 86_400, 0.0, Message::Pgn(129_029), true);
        let wrong = witness(300, 10_000 * 86_400 + 7000, 864_003_600.0, Message::Pgn(126_992), true);
        assert_eq!(estimate(&ours, &wrong), None);
    }
}
