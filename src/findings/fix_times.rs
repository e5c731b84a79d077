//! How long after its fix a receiver's position comes: sentences and some binary messages bear the fix's own time.

use super::pairs;
use crate::books::Books;
use crate::books::series::Source;
use crate::time::DAY_US;

/// Times of fixes are believed where all but the earliest and the latest tenth of the positions come so long after them, give or
/// take, seconds: whole seconds beside positions that come more often tell nothing.
const STEADY_S: f64 = 0.3;

/// Two receivers of which one is later than this differ by their clocks and not by what they take to send, seconds (common
/// practice, no source).
const LATEST_S: f64 = 3.0;

/// So many times are enough.
const ENOUGH: usize = 10;

/// By how much longer after its fix the second of two positions comes, seconds; `None` where the messages of one of them do not tell.
pub(super) fn later_s(books: &Books, a: &Source, b: &Source) -> Option<f64> {
    let later = of_day(age_us(books, b)?.saturating_sub(age_us(books, a)?));
    Some(later as f64 / 1e6).filter(|s| s.abs() <= LATEST_S)
}

/// The positions of the same two devices in messages that bear the times of their fixes, where those of the two do not: what comes most
/// often may say no time.
pub(super) fn timed<'a>(books: &'a Books, a: &'a Source, b: &'a Source) -> Option<(&'a Source, &'a Source)> {
    if later_s(books, a, b).is_some() {
        return None;
    }
    let of = |source: &Source| {
        let is_its = |s: &&Source| s.key.device == source.key.device && age_us(books, s).is_some();
        books.series.of("position").filter(is_its).max_by_key(|s| s.track.samples().len())
    };
    Some((of(a)?, of(b)?))
}

/// The recorder's time less that of the fix, microseconds, within a day and in the middle.
fn age_us(books: &Books, source: &Source) -> Option<i64> {
    let is_its = |s: &&crate::books::clock::Shown| {
        s.device == source.key.device && s.message == source.key.message && s.samples.len() >= ENOUGH
    };
    let shown = books.clock.shown().iter().filter(is_its).max_by_key(|s| s.samples.len())?;
    let ages = || shown.samples.iter().map(|(time, fix_us)| time.0.saturating_sub(*fix_us));
    let first = ages().next()?;
    let mut beside: Vec<f64> = ages().map(|age| of_day(age.saturating_sub(first)) as f64).collect();
    let mut at = |share| pairs::quantile(&mut beside, share);
    let (early, middle, late) = (at(0.1)?, at(0.5)?, at(0.9)?);
    ((late - early) / 1e6 <= STEADY_S).then(|| first.saturating_add(middle as i64))
}

/// Microseconds of any days, as those to the nearest midnight.
const fn of_day(us: i64) -> i64 {
    (us.rem_euclid(DAY_US) + DAY_US / 2) % DAY_US - DAY_US / 2
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, noise};
    use super::super::{duplicate_position_source, fixture::kinds};
    use crate::books::inventory::DeviceId;
    use crate::books::timing::Message;
    use crate::messages::{Absent, Reading};
    use crate::report::model::{Number, Severity};
    use crate::time::DAY_US;
    use crate::units::Place;

    /// A place on a boat that does eight metres a second on a circle of 160 m.
    fn at(fix_s: f64, aft_m: f64, unrest: f64) -> Option<Place> {
        let turned = 0.05 * fix_s;
        let (north, east) =
            (160.0 * turned.sin() - aft_m * turned.cos(), -160.0 * turned.cos() - aft_m * turned.sin());
        Place::new(
            54.0 + (north + unrest) / 111_300.0,
            10.0 + east / (111_400.0 * 54.0_f64.to_radians().cos()),
        )
    }

    /// A boat that goes round at 16 knots, with two receivers 5 m apart along its keel, of which the second sends 0.6 s after its fix;
    /// the messages bear the time of the fix, or that of a clock that goes wrong by so many seconds.
    fn boat(fast_s: f64) -> Boat {
        let mut boat = Boat::default();
        let start = Boat::at(0.0).0.rem_euclid(DAY_US);
        for i in 0..400_i64 {
            for (device, aft_m, late_s) in [(1, 0.0, 0.0), (2, 5.0, 0.6)] {
                let fix_s = i as f64 + 0.1;
                let at = at(fix_s, aft_m, 0.2 * noise(i + i64::from(device) * 1000)).ok_or(Absent::Unusable);
                let sent_s = fix_s + late_s + 0.02 * noise(i);
                boat.say(device, 129_029, sent_s, &Reading::Position { at, satellites: None, hdop: None });
                let shown_us = start + ((fix_s + if device == 2 { fast_s } else { 0.0 }) * 1e6) as i64;
                boat.books.clock.reading(
                    DeviceId(device),
                    Message::Pgn(129_029),
                    Boat::at(sent_s),
                    None,
                    shown_us,
                );
            }
        }
        boat
    }

    /// The same boat, where each receiver tells its place ten times a second as well, without a time.
    #[test]
    fn messages_that_bear_the_time_of_the_fix_tell_for_those_that_do_not() {
        let mut boat = boat(0.0);
        for i in 0..4000_i64 {
            for (device, aft_m, late_s) in [(1, 0.0, 0.0), (2, 5.0, 0.6)] {
                let fix_s = i as f64 / 10.0;
                let at = at(fix_s, aft_m, 0.2 * noise(i + i64::from(device) * 1000)).ok_or(Absent::Unusable);
                let sent_s = fix_s + late_s + 0.02 * noise(i);
                boat.say(device, 129_025, sent_s, &Reading::Position { at, satellites: None, hdop: None });
            }
        }
        let found = (duplicate_position_source::DETECTOR.detect)(&boat.evidence());
        assert_eq!(kinds(&found), [(Severity::Warning, vec![1, 2])]);
        let Number::Real(apart) = found[0].numbers["median_separation_m"] else { panic!("a number") };
        assert!((apart - 5.0).abs() < 0.3, "{apart}");
    }

    #[test]
    fn positions_are_compared_at_the_times_of_their_fixes() {
        let told = |fast_s: f64| {
            let found = (duplicate_position_source::DETECTOR.detect)(&boat(fast_s).evidence());
            assert_eq!(kinds(&found), [(Severity::Warning, vec![1, 2])]);
            let Number::Real(apart) = found[0].numbers["median_separation_m"] else { panic!("a number") };
            apart
        };
        assert!((told(0.0) - 5.0).abs() < 0.3, "{}", told(0.0));
        // A receiver's clock that is hours off, or by seconds and more, tells nothing: the distance is that of the moments of sending.
        assert!((told(18.0) - 9.8).abs() < 0.5, "{}", told(18.0));
    }
}
