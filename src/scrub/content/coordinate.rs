//! Coordinates as sentences write them: degrees and minutes run together, and a letter for the side.

use crate::units::Place;

/// Decimals of a minute that are told apart: 1e-12 minutes are far below what any receiver writes.
const MAX_DECIMALS: usize = 12;

/// A place of four fields, read as the decoder reads it; `None` for half a place, none, or one that cannot be.
pub(super) fn read(lat: &[u8], north: &[u8], lon: &[u8], east: &[u8]) -> Option<Place> {
    Place::new(coordinate(lat, north, *b"NS")?, coordinate(lon, east, *b"EW")?)
}

fn coordinate(number: &[u8], side: &[u8], [plus, minus]: [u8; 2]) -> Option<f64> {
    let number = decimal(number.trim_ascii())?;
    let degrees = (number / 100.0).floor();
    let minutes = number - degrees * 100.0;
    let size = degrees + minutes / 60.0;
    match side.trim_ascii() {
        _ if minutes >= 60.0 => None,
        [letter] if *letter == plus => Some(size),
        [letter] if *letter == minus => Some(-size),
        _ => None,
    }
}

/// The value of a number without a sign.
fn decimal(text: &[u8]) -> Option<f64> {
    /// Digits whose number a float holds exactly, and the powers of ten that it may be divided by: the quotient of two
    /// exact numbers is rounded once, as the standard library rounds (Clinger 1990).
    const EXACT: usize = 15;
    const POWERS: [f64; EXACT + 1] =
        [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
    let (mut value, mut point) = (0_u64, None);
    for (n, byte) in text.iter().enumerate() {
        match byte {
            b'0'..=b'9' => value = value.wrapping_mul(10).wrapping_add(u64::from(byte - b'0')),
            b'.' if point.is_none() => point = Some(n),
            _ => return None,
        }
    }
    let digits = text.len() - usize::from(point.is_some());
    let power = POWERS.get(point.map_or(0, |point| digits - point));
    match power.filter(|_| (1..=EXACT).contains(&digits)) {
        Some(power) => Some(value as f64 / power),
        None => str::from_utf8(text).ok()?.parse().ok(),
    }
}

/// A number this near to a known place's latitude or longitude may be one of its neighbours', degrees.
const NEAR_DEG: f64 = 0.5;

/// Whether a number in a field for something else looks like a coordinate of these waters: degrees with five decimals and
/// more, or degrees and minutes run together. Those have three decimals or more, or so many digits in front of fewer that
/// hardly anything else is written like this.
pub(super) fn resembles(text: &[u8], waters: impl Iterator<Item = Place> + Clone) -> bool {
    let decimals = decimals(text);
    let digits = text.iter().filter(|byte| byte.is_ascii_digit()).count() - decimals;
    let run_together = decimals >= 3 || (decimals == 2 && digits >= 4) || (decimals == 1 && digits >= 5);
    if !run_together {
        return false;
    }
    let Some(number) = size(text) else { return false };
    let degrees = (number / 100.0).floor();
    let is_near = |deg: f64| near(deg, waters.clone());
    (decimals >= 5 && is_near(number))
        || (number >= 100.0 && is_near(degrees + (number - degrees * 100.0) / 60.0))
}

/// Whether a number is degrees of these waters, where a field may hold any angle: then two decimals tell a place to a
/// kilometre.
pub(super) fn is_angle_of(text: &[u8], waters: impl Iterator<Item = Place>) -> bool {
    decimals(text) >= 2 && size(text).is_some_and(|number| near(number, waters))
}

fn size(text: &[u8]) -> Option<f64> {
    str::from_utf8(text).ok()?.parse::<f64>().ok().map(f64::abs)
}

fn near(deg: f64, waters: impl Iterator<Item = Place>) -> bool {
    waters.flat_map(|at| [at.lat_deg, at.lon_deg]).any(|of| (of.abs() - deg).abs() < NEAR_DEG)
}

/// Digits behind the point.
pub(super) fn decimals(text: &[u8]) -> usize {
    text.iter().rev().position(|b| *b == b'.').unwrap_or(0)
}

/// Writes a coordinate over a number and its letter: as long as before, with the decimals that there is room for.
/// `width` is how many digits the standard gives the degrees.
pub(super) fn write(deg: f64, number: &mut [u8], side: &mut [u8], [plus, minus]: [u8; 2], width: usize) {
    if let Some(letter) = side.iter_mut().find(|b| !b.is_ascii_whitespace()) {
        *letter = if deg < 0.0 { minus } else { plus };
    }
    let point = number.iter().position(|b| *b == b'.');
    let decimals = point.map_or(0, |point| number.len() - point - 1).min(MAX_DECIMALS);
    // A talker that leaves out leading zeros may leave too little room for 100 degrees: decimals give way, and when
    // that is not enough the field holds no number any more.
    for decimals in (0..=decimals).rev() {
        let text = Text::of(deg.abs(), decimals, width, point.is_some());
        let text = text.bytes();
        let zeros = text.iter().take_while(|b| **b == b'0').count();
        if text.len() - zeros > number.len() {
            continue;
        }
        let text = text.get(text.len().saturating_sub(number.len())..).unwrap_or_default();
        // A shorter text is filled with zeros behind the point, or in front when there is none.
        let at = if point.is_some() { 0 } else { number.len() - text.len() };
        number.fill(b'0');
        if let Some(to) = number.get_mut(at..at + text.len()) {
            to.copy_from_slice(text);
        }
        return;
    }
    number.fill(b'x');
}

/// Characters of a coordinate at most: degrees and minutes take 5, and `u64` holds no number of more than 20 digits.
const MAX_TEXT: usize = 48;

/// A coordinate in figures, written from its end.
struct Text {
    bytes: [u8; MAX_TEXT],
    from: usize,
}

impl Text {
    /// Degrees and minutes, rounded as a whole so that no minute becomes 60. `pointed` says that there is a point, with
    /// or without decimals behind it.
    fn of(deg: f64, decimals: usize, width: usize, pointed: bool) -> Self {
        let scale = 10_u64.pow(decimals as u32);
        let total = (deg * 60.0 * scale as f64).round() as u64;
        let (minutes, fraction) = (total / scale, total % scale);
        let mut text = Self { bytes: [0; MAX_TEXT], from: MAX_TEXT };
        text.push(fraction, decimals);
        if pointed {
            text.put(b'.');
        }
        text.push(minutes % 60, 2);
        text.push(minutes / 60, width);
        text
    }

    fn put(&mut self, byte: u8) {
        self.from = self.from.saturating_sub(1);
        if let Some(to) = self.bytes.get_mut(self.from) {
            *to = byte;
        }
    }

    /// Puts a number of at least `width` digits in front.
    fn push(&mut self, number: u64, width: usize) {
        let (mut rest, mut digits) = (number, 0);
        while rest > 0 || digits < width {
            self.put(b'0' + (rest % 10) as u8);
            (rest, digits) = (rest / 10, digits + 1);
        }
    }

    fn bytes(&self) -> &[u8] {
        self.bytes.get(self.from..).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn written(deg: f64, number: &str, width: usize) -> String {
        let (mut number, mut side) = (number.as_bytes().to_vec(), *b"N");
        write(deg, &mut number, &mut side, *b"NS", width);
        format!("{},{}", String::from_utf8(number).unwrap(), char::from(side[0]))
    }

    #[test]
    fn keeps_length_and_decimals() {
        assert_eq!(written(54.5, "5419.398", 2), "5430.000,N");
        assert_eq!(written(-9.999_999_99, "5419.398", 2), "1000.000,S");
        assert_eq!(written(1.5, "5419", 2), "0130,N");
        assert_eq!(written(101.5, "00959.5", 3), "10130.0,N");
        assert_eq!(written(101.5, "959.50", 3), "10130.,N", "no leading zeros: decimals give way");
        assert_eq!(written(101.5, "9.50", 3), "xxxx,N");
        assert_eq!(written(1.5, "5419.", 2), "0130.,N");
    }

    proptest! {
        #[test]
        fn numbers_are_read_as_the_library_reads_them(text in "[0-9]{0,12}[.]?[0-9]{0,12}[.x]?") {
            let sound = text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
            let want = text.parse::<f64>().ok().filter(|_| sound).map(f64::to_bits);
            prop_assert_eq!(decimal(text.as_bytes()).map(f64::to_bits), want);
        }

        #[test]
        fn what_is_written_is_read(lat in -89.99_f64..89.99, lon in -179.99_f64..179.99, decimals in 0_usize..8) {
            let blank = |digits: usize| format!("{:0<digits$}.{:0<decimals$}", "", "").into_bytes();
            let (mut a, mut b, mut n, mut e) = (blank(4), blank(5), *b"N", *b"E");
            write(lat, &mut a, &mut n, *b"NS", 2);
            write(lon, &mut b, &mut e, *b"EW", 3);
            let place = read(&a, &n, &b, &e).unwrap();
            let half = 0.5 / 60.0 / 10_f64.powi(decimals as i32) + 1e-11;
            prop_assert!((place.lat_deg - lat).abs() <= half && (place.lon_deg - lon).abs() <= half);
        }
    }
}
