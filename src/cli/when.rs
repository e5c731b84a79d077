//! Times as a person types them.

use crate::survey::When;
use crate::time::{DAY_US, Time};

/// Reads RFC 3339 (`2026-05-01T10:02:11Z`, any offset) or a time of day in UTC (`10:02`, `10:02:11`, `10:02:11.5`).
///
/// # Errors
/// Text for the person who typed it.
pub(super) fn parse(text: &str) -> Result<When, String> {
    if let Some(of_day_us) = of_day(text) {
        return Ok(When::OfDay(of_day_us));
    }
    if let Ok(stamp) = text.parse::<jiff::Timestamp>() {
        return Ok(When::Moment(Time(stamp.as_microsecond())));
    }
    Err(if text.parse::<jiff::civil::DateTime>().is_ok() {
        String::from("a date needs a time with its offset from UTC behind it, as in 2026-05-01T10:02:11Z")
    } else {
        String::from("expected a time of day in UTC (10:02 or 10:02:11) or RFC 3339 (2026-05-01T10:02:11Z)")
    })
}

/// Microseconds since midnight of `hh:mm`, `hh:mm:ss` or `hh:mm:ss.f`.
fn of_day(text: &str) -> Option<i64> {
    let mut parts = text.split(':');
    let hours = two_digits(parts.next()?, 23)?;
    let minutes = two_digits(parts.next()?, 59)?;
    let (seconds, micros) = match parts.next() {
        None => (0, 0),
        Some(part) => {
            let (seconds, fraction) = part.split_once('.').unwrap_or((part, "0"));
            if fraction.is_empty() || fraction.len() > 6 || !fraction.bytes().all(|b| b.is_ascii_digit()) {
                return None;
            }
            (two_digits(seconds, 59)?, format!("{fraction:0<6}").parse::<i64>().ok()?)
        }
    };
    let us = ((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micros;
    (parts.next().is_none() && us < DAY_US).then_some(us)
}

fn two_digits(text: &str, most: i64) -> Option<i64> {
    let digits = matches!(text.len(), 1 | 2) && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten().filter(|n| *n <= most)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_day() {
        for (text, us) in [
            ("00:00", 0),
            ("9:05", 32_700_000_000),
            ("10:02:11", 36_131_000_000),
            ("10:02:11.5", 36_131_500_000),
            ("23:59:59.999999", DAY_US - 1),
        ] {
            assert_eq!(parse(text), Ok(When::OfDay(us)), "{text}");
        }
    }

    #[test]
    fn moments() {
        // RFC 3339 5.8: an example and the same moment with an offset.
        assert_eq!(parse("1985-04-12T23:20:50.52Z"), Ok(When::Moment(Time(482_196_050_520_000))));
        assert_eq!(parse("1996-12-19T16:39:57-08:00"), parse("1996-12-20T00:39:57Z"));
    }

    #[test]
    fn nonsense_is_refused_with_advice() {
        for text in
            ["", "now", "24:00", "10:60", "10", "10:02:11:00", "10:02:11.", "-1:00", "+1:00", "1０:00"]
        {
            assert!(parse(text).unwrap_err().contains("10:02"), "{text}");
        }
        assert!(parse("2026-05-01T10:02").unwrap_err().contains("offset"));
    }
}
