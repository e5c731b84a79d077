//! Whether fields hold what their places in the sentence say.

use super::line::is_number;
use super::line_table::{Act, Line};

/// The largest angle that means one, degrees, with either sign.
pub(super) const MAX_ANGLE: f64 = 360.0;

/// The largest speed that is read: 1000 knots in kilometres an hour (see `messages::nmea0183`).
pub(super) const MAX_SPEED: f64 = 1852.0;

/// Decimals of a second in a time of day at most: nanoseconds.
const MAX_FRACTION: usize = 9;

/// `hhmmss`, perhaps with decimals; second 60 is a leap second.
pub(super) fn is_clock(text: &[u8]) -> bool {
    let Some((&[a, b, c, d, e, f], fraction)) = text.split_first_chunk::<6>() else { return false };
    let pair = |tens: u8, ones: u8, most: u8| {
        tens.is_ascii_digit() && ones.is_ascii_digit() && (tens - b'0') * 10 + (ones - b'0') <= most
    };
    let is_fraction = match fraction {
        [] => true,
        [b'.', digits @ ..] => digits.len() <= MAX_FRACTION && digits.iter().all(u8::is_ascii_digit),
        _ => false,
    };
    pair(a, b, 23) && pair(c, d, 59) && pair(e, f, 60) && is_fraction
}

/// Whether some field holds what only another one can: a letter for a number, a number for a letter, no time of day where one
/// must be. Such a sentence lost bytes or ran into the next one. `body` are its fields, each with a comma in front.
pub(super) fn is_odd(line: Line, body: &[u8]) -> bool {
    let mut fields = body.split(|byte| *byte == b',').skip(1).map(<[u8]>::trim_ascii).enumerate();
    // Of the four fields of a place: how many have gone by.
    let mut of_place = 0;
    fields.any(|(n, text)| {
        let act = line.act(n);
        of_place = match act {
            Some(Act::Place) => 1,
            Some(Act::Rest) if of_place > 0 => of_place + 1,
            _ => 0,
        };
        let is_letter = matches!(text, [byte] if byte.is_ascii_alphabetic());
        if text.is_empty() {
            return false;
        }
        match act {
            Some(Act::Number | Act::Angle | Act::Speed | Act::Zero | Act::Satellite) => is_letter,
            Some(Act::Letter) => text.len() > 1 && is_number(text),
            Some(Act::Clock) => !is_clock(text),
            Some(Act::Date) => text.len() != 6 || !is_number(text),
            Some(Act::Place | Act::Rest) => match of_place {
                1 | 3 => !is_number(text),
                2 => !matches!(text, b"N" | b"S"),
                4 => !matches!(text, b"E" | b"W"),
                _ => false,
            },
            _ => false,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::super::line_table::fields;
    use super::*;

    #[test]
    fn what_is_whole_and_what_lost_bytes() {
        let odd = |text: &str| is_odd(fields(&text[3..6]).unwrap(), &text.as_bytes()[6..]);
        for line in [
            "$GPRMC,063000.00,A,3023.9997,S,02435.9998,W,0.2,115.8,090526,24.3,W,A",
            "$GPRMC,063000,V,,,,,,,,,",
            "$GPRMC",
            "$GPGLL,3023.9997,S,02435.9998,W,063000.123456,A",
            "$GPGGA,063000,,,,,0,00,99.9,,M,,M,,",
            "$SDDPT,---,0.4,100",
            "$IIVHW,,T,12.0,M,5.1,N,,",
            "$GPZDA,063000.00,05,01,2026,,",
        ] {
            assert!(!odd(line), "{line}");
        }
        for line in [
            "$GPRMC,062435.9998,W,0.2,115.8,090526,24.3,W,A",
            "$GPGGA,2435.9998,W,1,09,0.9,12.3,M,-17.5,M,,",
            "$GPGLL,3023.9997,S,02435.9998,W,023.9997,S,02435.9998,W",
            "$GPGGA,063000.00,3023.99GPGGA,063000.00,3023.9997,S,02435.9998,W,1",
            "$HCHDG,S,02435.9998,W",
        ] {
            assert!(odd(line), "{line}");
        }
    }

    #[test]
    fn times_of_day() {
        assert!(["063000", "235960.5", "000000.123456"].iter().all(|text| is_clock(text.as_bytes())));
        assert!(
            ["", "0630", "246000", "3023.9997", "02435.9998", "0630001", "063000.1.2", "06300x"]
                .iter()
                .all(|text| !is_clock(text.as_bytes()))
        );
    }
}
