//! The magnetic variation at the boat.

use super::pairs;
use crate::books::Books;
use crate::books::series::Source;
use crate::time::Span;
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
    Place::new(place.a, place.b)?.declination_deg(span.from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Time;

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
            let reading = crate::messages::Reading::Position { at: Ok(at), satellites: None, hdop: None };
            let days = crate::time::days_from_civil(year, 1, 1).unwrap();
            let time = Time(days * crate::time::DAY_US);
            let message = crate::books::timing::Message::Pgn(129_025);
            books.series.reading(
                crate::books::inventory::DeviceId(0),
                message,
                Some(time),
                &reading,
                &mut crate::books::series::Found::default(),
            );
            let got = modelled_variation(&books, Span::new(time, time)).unwrap();
            assert!((got - want).abs() < 0.02, "{got} for {want}");
        }
    }
}
