//! The magnetic variation at the boat.

use super::pairs;
use crate::books::Books;
use crate::books::series::{LastValue, Source};
use crate::time::{DAY_US, Span, Time};
use crate::units::Place;

/// The variation where the boat is, degrees: by the World Magnetic Model when place and date are known and the model
/// covers them, else as the boat's own messages carry it.
pub(super) fn variation(books: &Books, a: &Source, b: &Source, span: Span) -> Option<f64> {
    modelled_variation(books, span).or_else(|| {
        let mut carried: Vec<f64> = a
            .track
            .samples()
            .iter()
            .chain(b.track.samples())
            .map(|s| s.b)
            .chain(books.series.of("variation").flat_map(|s| s.track.samples().iter().map(|s| s.a)))
            .filter(|v| v.is_finite())
            .collect();
        // A field that was never filled holds zero.
        if carried.iter().all(|v| *v == 0.0) {
            return None;
        }
        pairs::median(&mut carried)
    })
}

/// The variation that turns a source's magnetic heading into a true one, degrees.
pub(super) fn variation_at_boat(books: &Books, source: &Source) -> Option<f64> {
    let (from, to) = source.values_from_to?;
    variation(books, source, source, Span::new(from, to))
}

fn modelled_variation(books: &Books, span: Span) -> Option<f64> {
    let place = books
        .series
        .of("position")
        .filter_map(|s| s.track.samples().iter().rev().find(|s| !s.a.is_nan()))
        .next()?;
    let place = Place::new(place.a, place.b)?;
    place.declination_deg(span.from).or_else(|| {
        // Stamps that hold a time of day alone stand on the first of January 1970.
        let undated = span.from.0.div_euclid(DAY_US) <= 1;
        undated.then(|| place.declination_deg(said_date(books).unwrap_or(USUAL_DATE)))?
    })
}

/// Without any date, a year that the model covers will do: variation moves by a fifth of a degree a year at most places (WMM2025
/// secular variation). The first of January 2026.
const USUAL_DATE: Time = Time(20_454 * DAY_US);

/// The date that the boat's own messages give.
fn said_date(books: &Books) -> Option<Time> {
    let unix_s = |source: &Source| match source.last_value() {
        LastValue::Fields(fields) => fields.iter().find(|(name, _)| *name == "unix_s").map(|(_, s)| *s),
        _ => None,
    };
    let seconds = books.series.of("time").find_map(unix_s)?;
    Some(Time(0).plus(seconds))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::found::Found;
    use crate::books::inventory::DeviceId;
    use crate::books::timing::Message;
    use crate::messages::Reading;

    /// Stamps of a time of day alone: the variation of the year that the boat tells, or of one that the model covers.
    #[test]
    fn a_log_without_dates_has_a_variation() {
        let mut books = Books::default();
        let place =
            Reading::Position { at: Ok(Place::new(80.0, 0.0).unwrap()), satellites: None, hdop: None };
        let mut say = |reading: &Reading| {
            books.series.reading(
                DeviceId(0),
                Message::Pgn(129_029),
                Some(Time(5_000_000)),
                reading,
                &mut Found::default(),
            );
            modelled_variation(&books, Span::new(Time(5_000_000), Time(6_000_000)))
        };
        let undated = say(&place).unwrap();
        assert!((1.2..2.2).contains(&undated), "{undated}");
        let days = crate::time::days_from_civil(2020, 1, 1).unwrap();
        let dated = say(&Reading::Clock { days: Some(days), of_day_us: Some(0) }).unwrap();
        assert!((dated + 1.28).abs() < 0.02, "WMM2020, as below: {dated}");
    }

    /// Official WMM2025 test values of NOAA NCEI / BGS, height 0 (worked examples, section 1), and WMM2020's.
    #[test]
    fn declinations_of_the_world_magnetic_model() {
        for (year, lat, lon, want) in [
            (2025, 80.0, 0.0, 1.28),
            (2025, 0.0, 120.0, -0.16),
            (2025, -80.0, -120.0, 68.78),
            (2020, 80.0, 0.0, -1.28),
        ] {
            let mut books = Books::default();
            let at = Place::new(lat, lon).unwrap();
            let reading = Reading::Position { at: Ok(at), satellites: None, hdop: None };
            let days = crate::time::days_from_civil(year, 1, 1).unwrap();
            let time = Time(days * DAY_US);
            let message = Message::Pgn(129_025);
            books.series.reading(DeviceId(0), message, Some(time), &reading, &mut Found::default());
            let got = modelled_variation(&books, Span::new(time, time)).unwrap();
            assert!((got - want).abs() < 0.02, "{got} for {want}");
        }
    }
}
