//! Coordinates as sentences write them: degrees and minutes run together, and a letter for the side.

use crate::units::Place;

/// Decimals of a minute that are told apart: 1e-12 minutes are far below what any receiver writes.
const MAX_DECIMALS: usize = 12;

/// A place of four fields, read as the decoder reads it; `None` for half a place, none, or one that cannot be.
pub(super) fn read(lat: &[u8], north: &[u8], lon: &[u8], east: &[u8]) -> Option<Place> {
    Place::new(coordinate(lat, north, *b"NS")?, coordinate(lon, east, *b"EW")?)
}

fn coordinate(number: &[u8], side: &[u8], [plus, minus]: [u8; 2]) -> Option<f64> {
    let text = number.trim_ascii();
    let sound = text.iter().all(|b| b.is_ascii_digit() || *b == b'.');
    let number: f64 = str::from_utf8(text).ok()?.parse().ok().filter(|_| sound)?;
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

/// A number this near to the anchor's latitude or longitude may be one of its neighbours', degrees.
const NEAR_DEG: f64 = 0.5;

/// Whether a number in a field for something else looks like a coordinate of these waters: degrees with five decimals and
/// more, or degrees and minutes run together with three and more.
pub(super) fn resembles(text: &[u8], at: Place) -> bool {
    let decimals = text.iter().rev().position(|b| *b == b'.').unwrap_or(0);
    if decimals < 3 {
        return false;
    }
    let Some(number) = str::from_utf8(text).ok().and_then(|text| text.parse::<f64>().ok()) else {
        return false;
    };
    let number = number.abs();
    let degrees = (number / 100.0).floor();
    let near = |deg: f64| [at.lat_deg, at.lon_deg].iter().any(|of| (of.abs() - deg).abs() < NEAR_DEG);
    (decimals >= 5 && near(number)) || (number >= 100.0 && near(degrees + (number - degrees * 100.0) / 60.0))
}

/// Writes a coordinate over a number and its letter: as long as before, with the decimals that there is room for.
/// `width` is how many digits the standard gives the degrees.
pub(super) fn write(deg: f64, number: &mut [u8], side: &mut [u8], [plus, minus]: [u8; 2], width: usize) {
    if let Some(letter) = side.iter_mut().find(|b| !b.is_ascii_whitespace()) {
        *letter = if deg < 0.0 { minus } else { plus };
    }
    let length = number.len();
    let decimals = match number.iter().position(|b| *b == b'.') {
        Some(point) => number.len() - point - 1,
        None => 0,
    };
    let pointed = number.contains(&b'.');
    let text = (0..=decimals.min(MAX_DECIMALS)).rev().map(|decimals| {
        let mut text = format(deg.abs(), decimals, width);
        if pointed && decimals == 0 {
            text.push('.');
        }
        text
    });
    // A talker that leaves out leading zeros may leave too little room for 100 degrees: decimals give way, and when
    // that is not enough the field holds no number any more.
    let Some(text) = text.into_iter().find(|text| text.trim_start_matches('0').len() <= length) else {
        number.fill(b'x');
        return;
    };
    let spare = text.len().saturating_sub(length);
    let text = text.get(spare..).unwrap_or_default();
    // A shorter text is filled with zeros behind the point, or in front when there is none.
    let filled =
        if pointed && text.contains('.') { format!("{text:0<length$}") } else { format!("{text:0>length$}") };
    for (to, from) in number.iter_mut().zip(filled.bytes()) {
        *to = from;
    }
}

/// Degrees and minutes, rounded as a whole so that no minute becomes 60.
fn format(deg: f64, decimals: usize, width: usize) -> String {
    let scale = 10_u64.pow(decimals as u32);
    let total = (deg * 60.0 * scale as f64).round() as u64;
    let (degrees, rest) = (total / (60 * scale), total % (60 * scale));
    let minutes = rest / scale;
    if decimals == 0 {
        return format!("{degrees:0width$}{minutes:02}");
    }
    format!("{degrees:0width$}{minutes:02}.{:0decimals$}", rest % scale)
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
