//! The boat's own clock: what the sentences RMC, ZDA, GGA, GLL and GNS say of the time.
//!
//! Source: IEC 61162-1 (field orders); two-digit years 80 to 99 are 19yy (common practice).

use super::line_text::{bare_sentence, checked};
use super::stamp::{decimals, of_day, whole};
use crate::time::days_from_civil;

/// What one sentence says of the time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BoatTime {
    /// Microseconds since midnight UTC.
    pub(super) of_day: i64,
    /// Days since 1970, when the sentence gives a date that exists.
    pub(super) day: Option<i64>,
    /// Whether the talker vouches for it: status A, a fix quality or mode other than none.
    pub(super) valid: bool,
}

/// The time in a sentence line (TAG blocks may stand in front), when it gives one and its checksum is not wrong.
pub(super) fn read(line: &[u8]) -> Option<BoatTime> {
    let sentence = bare_sentence(line);
    // `$`, two letters of talker, three of formatter: looked at first, as most sentences give no time.
    let formatter = sentence.get(3..6)?;
    if sentence.first() != Some(&b'$') || !matches!(formatter, b"RMC" | b"ZDA" | b"GGA" | b"GLL" | b"GNS") {
        return None;
    }
    let (body, right) = checked(sentence);
    if right == Some(false) {
        return None;
    }
    let field = |n: usize| body.split(|&byte| byte == b',').nth(n);
    let (time, day, valid) = match formatter {
        b"RMC" => (field(1)?, field(9).and_then(date), field(2)? == b"A"),
        b"ZDA" => (field(1)?, calendar(field(2)?, field(3)?, field(4)?), true),
        b"GGA" => (field(1)?, None, !matches!(field(6)?, b"" | b"0")),
        b"GLL" => (field(5)?, None, field(6)? == b"A"),
        _ => (field(1)?, None, !field(6)?.iter().all(|&mode| mode == b'N')),
    };
    // A date that does not exist takes the time's credit as well.
    let odd = match formatter {
        b"RMC" => day.is_none() && field(9).is_some_and(|date| !date.is_empty()),
        b"ZDA" => day.is_none() && field(2) != Some(b""),
        _ => false,
    };
    Some(BoatTime { of_day: clock(time)?, day, valid: valid && !odd })
}

/// `hhmmss.ss`.
fn clock(text: &[u8]) -> Option<i64> {
    let (six, fraction) = text.split_at_checked(6)?;
    let part = |from: usize| six.get(from..from + 2).and_then(whole);
    let fraction = match fraction {
        [] => 0,
        [b'.', digits @ ..] if digits.iter().all(u8::is_ascii_digit) => decimals(digits),
        _ => return None,
    };
    of_day(part(0)?, part(2)?, part(4)?, fraction)
}

/// `ddmmyy`.
fn date(text: &[u8]) -> Option<i64> {
    let part = |from: usize| text.get(from..from + 2).and_then(whole).filter(|_| text.len() == 6);
    let year = part(4)?;
    days_from_civil(if year >= 80 { 1900 + year } else { 2000 + year }, part(2)?, part(0)?)
}

fn calendar(day: &[u8], month: &[u8], year: &[u8]) -> Option<i64> {
    days_from_civil(whole(year)?, whole(month)?, whole(day)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_clock_sentence() {
        let seconds = |line: &str| read(line.as_bytes()).map(|t| (t.of_day / 1000, t.day, t.valid));
        // Days since 1970: 2009-08-01 is 14457, 2020-07-11 is 18454.
        for (line, want) in [
            (
                "$GPRMC,194907.00,A,5241.99815,N,00517.56525,E,0.005,,010809,,,A*7B",
                (71_347_000, Some(14_457), true),
            ),
            ("$GNZDA,223845.00,11,07,2020,00,00*75", (81_525_000, Some(18_454), true)),
            ("$ECGLL,5119.881,N,00125.169,E,164326,A,D*52", (60_206_000, None, true)),
            (
                "$GNGGA,132819.60,4134.49795459,N,09345.03431408,W,2,10,0.9,278.161,M,-31.442,M,6.6,0133*6A",
                (48_499_600, None, true),
            ),
            ("$GNGNS,132819.60,,,,,NN,00,,,,,", (48_499_600, None, false)),
            (
                "$GPRMC,181031.576,V,3926.276,N,07739.361,W,99.7,18.30,250915,,E*79",
                (65_431_576, Some(16_703), false),
            ),
        ] {
            assert_eq!(seconds(line), Some(want), "{line}");
        }
        // An impossible date: no day, no credit.
        let odd = read(b"$GPRMC,000231.099,A,4829.0005,N,00022.0015,E,0.15,212.28,2208-1,,,A*73").unwrap();
        assert_eq!((odd.day, odd.valid), (None, false));
    }

    #[test]
    fn what_gives_no_time() {
        for line in [
            "$GPRMC,,V,,,,,,,,,,N*53",
            "$GPRMC,256199,A,,,,,,,010809",
            "$GNZDA,223845.00,11,07,2020,00,00*76",
            "$SDDBT,7.7,f,2.3,M,1.3,F*05",
            "$GPGGA,12345",
            "$",
        ] {
            assert_eq!(read(line.as_bytes()), None, "{line}");
        }
    }

    #[test]
    fn no_cut_panics() {
        let line = br"\c:1*2\$GPRMC,194907.00,A,5241.99815,N,00517.56525,E,0.005,,010809,,,A*7B";
        for n in 0..line.len() {
            let _ = read(&line[..n]);
        }
    }
}
