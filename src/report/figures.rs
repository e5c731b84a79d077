//! Numbers and times as a person reads them, each with its unit.

use crate::time::{DAY_US, Span, Time};

/// What stands where there is no value.
pub const NONE: &str = "-";

/// A count with commas between thousands.
#[must_use]
pub fn count(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out
}

/// A count with its noun, in the plural unless it is one.
#[must_use]
pub fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{} {}", count(n), if n == 1 { one } else { many })
}

/// A number with three significant digits, without needless zeros; whole from 1000 on.
#[must_use]
pub fn short(x: f64) -> String {
    if !x.is_finite() {
        return String::from(NONE);
    }
    let decimals = match x.abs() {
        a if a >= 99.95 => 0,
        a if a >= 9.995 => 1,
        a if a >= 0.9995 || a == 0.0 => 2,
        _ => 3,
    };
    let text = format!("{x:.decimals$}");
    let text = if decimals > 0 { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { String::from("0") } else { text.to_owned() }
}

/// An interval in the unit that fits it: `250 us`, `100 ms`, `4.2 s`, then as [`duration`].
#[must_use]
pub fn interval(seconds: Option<f64>) -> String {
    match seconds {
        Some(s) if s.is_finite() => match s.abs() {
            0.0 => String::from("0 s"),
            a if a < 0.000_999_5 => format!("{} us", short(s * 1e6)),
            a if a < 0.999_5 => format!("{} ms", short(s * 1e3)),
            a if a < 59.95 => format!("{} s", short(s)),
            _ => duration(s),
        },
        _ => String::from(NONE),
    }
}

/// A length of time: `4.2 s`, `12 min 04 s`, `3 h 07 min`, `2 d 05 h`.
#[must_use]
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() {
        return String::from(NONE);
    }
    if seconds < 59.95 {
        return format!("{} s", short(seconds));
    }
    // Saturates for absurd lengths, which is all that is asked of them.
    let whole = seconds.round() as u64;
    match whole {
        0..3600 => format!("{} min {:02} s", whole / 60, whole % 60),
        3600..86_400 => format!("{} h {:02} min", whole / 3600, whole / 60 % 60),
        _ => format!("{} d {:02} h", count(whole / 86_400), whole / 3600 % 24),
    }
}

/// A share in percent; never rounded up to the whole, so that `100 %` means all.
#[must_use]
pub fn share(part: u64, whole: u64) -> String {
    match (part, whole) {
        (_, 0) => String::from(NONE),
        (p, w) if p >= w => String::from("100 %"),
        (0, _) => String::from("0 %"),
        (p, w) => format!("{:.1} %", (p as f64 / w as f64 * 100.0).clamp(0.1, 99.9)),
    }
}

/// Bytes in decimal units.
#[must_use]
pub fn bytes(n: u64) -> String {
    let x = n as f64;
    match n {
        0..1000 => format!("{n} bytes"),
        1000..1_000_000 => format!("{} kB", short(x / 1e3)),
        1_000_000..1_000_000_000 => format!("{} MB", short(x / 1e6)),
        _ => format!("{} GB", short(x / 1e9)),
    }
}

/// Writes moments: the time of day alone on the day of the recording, with the date on any other.
#[derive(Debug, Clone, Copy)]
pub struct Calendar {
    /// Days since 1970-01-01 of the recording's first record.
    day: Option<i64>,
}

impl Calendar {
    /// The calendar of a recording that begins at `first`.
    #[must_use]
    pub fn starting(first: Option<Time>) -> Self {
        Self { day: first.map(|time| time.0.div_euclid(DAY_US)) }
    }

    /// A moment to the second, or to the tenth of one when `fine`.
    #[must_use]
    pub fn moment(self, time: Time, fine: bool) -> String {
        let text = time.to_string();
        let clock = text.get(11..if fine { 21 } else { 19 }).unwrap_or(&text);
        if self.day == Some(time.0.div_euclid(DAY_US)) {
            clock.to_owned()
        } else {
            format!("{} {clock}", text.get(..10).unwrap_or_default())
        }
    }

    /// A span with its length; one moment when it has none.
    #[must_use]
    pub fn span(self, span: Span) -> String {
        if span.from == span.to {
            return self.moment(span.from, true);
        }
        let fine = span.seconds() < 10.0;
        let length = interval(Some(span.seconds()));
        format!("{} to {} ({length})", self.moment(span.from, fine), self.moment(span.to, fine))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_shares() {
        for (n, want) in
            [(0, "0"), (999, "999"), (1000, "1,000"), (71_904, "71,904"), (1_234_567, "1,234,567")]
        {
            assert_eq!(count(n), want);
        }
        assert_eq!(counted(1, "frame", "frames"), "1 frame");
        for (part, whole, want) in [
            (0, 0, "-"),
            (7, 7, "100 %"),
            (99_999, 100_000, "99.9 %"),
            (1, 100_000, "0.1 %"),
            (1, 3, "33.3 %"),
        ] {
            assert_eq!(share(part, whole), want);
        }
    }

    #[test]
    fn lengths_of_time() {
        let cases = [
            (0.0, "0 s"),
            (0.000_25, "250 us"),
            (0.1, "100 ms"),
            (0.9999, "1 s"),
            (4.2, "4.2 s"),
            (59.97, "1 min 00 s"),
            (724.0, "12 min 04 s"),
            (11_240.0, "3 h 07 min"),
            (190_800.0, "2 d 05 h"),
        ];
        for (seconds, want) in cases {
            assert_eq!(interval(Some(seconds)), want);
        }
        assert_eq!(interval(None), NONE);
        assert_eq!(interval(Some(f64::NAN)), NONE);
        assert_eq!(duration(f64::INFINITY), NONE);
        assert!(duration(f64::MAX).ends_with(" h"));
    }

    #[test]
    fn numbers_are_short() {
        let cases = [
            (-11.24, "-11.2"),
            (-0.0001, "0"),
            (0.0, "0"),
            (1234.5, "1234"),
            (0.1234, "0.123"),
            (10.0, "10"),
        ];
        for (x, want) in cases {
            assert_eq!(short(x), want);
        }
        assert_eq!(bytes(4_400_000), "4.4 MB");
    }

    #[test]
    fn moments_name_the_date_only_when_it_differs() {
        let calendar = Calendar::starting(Some(Time(5)));
        assert_eq!(calendar.moment(Time(3_600_400_000), true), "01:00:00.4");
        assert_eq!(calendar.moment(Time(DAY_US), false), "1970-01-02 00:00:00");
        assert_eq!(calendar.span(Span::new(Time(0), Time(60_000_000))), "00:00:00 to 00:01:00 (1 min 00 s)");
        assert_eq!(Calendar::starting(None).moment(Time(0), false), "1970-01-01 00:00:00");
    }
}
