//! Writes NMEA 0183 sentences (IEC 61162-1), without line ends.

use crate::time::{Time, civil};
use crate::units::{M_PER_FATHOM, M_PER_FOOT, Place, wrap_360};

/// A sentence by what stands between `$` and `*`.
pub(super) fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", checksum(body))
}

/// The exclusive or of all bytes.
pub(super) fn checksum(body: &str) -> u8 {
    body.bytes().fold(0, |sum, byte| sum ^ byte)
}

/// HDG: the magnetic sensor's heading; deviation and variation stay empty.
pub(super) fn hdg(talker: &str, deg: f64) -> String {
    sentence(&format!("{talker}HDG,{},,,,", circle(deg)))
}

/// HDT: heading from true north.
pub(super) fn hdt(talker: &str, deg: f64) -> String {
    sentence(&format!("{talker}HDT,{},T", circle(deg)))
}

/// DPT: depth below the transducer, with the offset to the waterline.
pub(super) fn dpt(talker: &str, m: f64, offset_m: f64) -> String {
    sentence(&format!("{talker}DPT,{m:.2},{offset_m:.1},100"))
}

/// DBT: depth below the transducer in feet, metres and fathoms.
pub(super) fn dbt(talker: &str, m: f64) -> String {
    let (feet, fathoms) = (m / M_PER_FOOT, m / M_PER_FATHOM);
    sentence(&format!("{talker}DBT,{feet:.1},f,{m:.2},M,{fathoms:.1},F"))
}

/// MTW: water temperature.
pub(super) fn mtw(talker: &str, celsius: f64) -> String {
    sentence(&format!("{talker}MTW,{celsius:.1},C"))
}

/// RMC (version 2.3): time, place, speed, course from true north, date and variation.
pub(super) fn rmc(
    talker: &str,
    time: Time,
    at: Place,
    kn: f64,
    course_deg: f64,
    variation_deg: f64,
) -> String {
    let (year, month, day) = civil(time.0.div_euclid(crate::time::DAY_US));
    let side = if variation_deg < 0.0 { 'W' } else { 'E' };
    sentence(&format!(
        "{talker}RMC,{},A,{},{kn:.1},{},{day:02}{month:02}{:02},{:.1},{side},A",
        clock(time),
        coordinates(at),
        circle(course_deg),
        year.rem_euclid(100),
        variation_deg.abs(),
    ))
}

/// GGA: time, place and quality of the fix: GNSS, 10 satellites.
pub(super) fn gga(talker: &str, time: Time, at: Place, hdop: f64) -> String {
    sentence(&format!("{talker}GGA,{},{},1,10,{hdop:.1},19.6,M,-18.4,M,,", clock(time), coordinates(at)))
}

/// Time of day to hundredths, `hhmmss.ss`.
fn clock(time: Time) -> String {
    let hundredths = time.0.rem_euclid(crate::time::DAY_US) / 10_000;
    let seconds = hundredths / 100;
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    format!("{h:02}{m:02}{s:02}.{:02}", hundredths % 100)
}

/// Latitude and longitude in degrees and minutes with their hemispheres, to 1e-4 minutes.
fn coordinates(at: Place) -> String {
    let part = |deg: f64, width: usize| {
        let units = (deg.abs() * 600_000.0).round() as i64;
        let (whole, rest) = (units / 600_000, units % 600_000);
        format!("{whole:0width$}{:02}.{:04}", rest / 10_000, rest % 10_000)
    };
    let north = if at.lat_deg < 0.0 { 'S' } else { 'N' };
    let east = if at.lon_deg < 0.0 { 'W' } else { 'E' };
    format!("{},{north},{},{east}", part(at.lat_deg, 2), part(at.lon_deg, 3))
}

/// An angle from 0.0 to 359.9.
fn circle(deg: f64) -> String {
    let tenths = (wrap_360(deg) * 10.0).round() as u32 % 3600;
    format!("{}.{}", tenths / 10, tenths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sentences of the test suites of PyPI `pynmea2` 1.19.0 and crate `nmea` 0.8.0.
    #[test]
    fn checksums_agree_with_published_sentences() {
        assert_eq!(hdt("HE", 341.8), "$HEHDT,341.8,T*21");
        assert_eq!(mtw("IN", 17.9), "$INMTW,17.9,C*1B");
        assert_eq!(sentence("SDDPT,15.2,0.5"), "$SDDPT,15.2,0.5*64");
    }

    #[test]
    fn writes_time_and_place() {
        // RFC 3339 5.8: 1985-04-12T23:20:50.52Z; 48 degrees 07.038 minutes north as in the well-known GGA example.
        let time = Time(482_196_050_520_000);
        let at = Place::new(48.1173, -11.516_666_67).unwrap();
        let line = rmc("GP", time, at, 5.04, 359.97, -6.0);
        assert!(
            line.starts_with("$GPRMC,232050.52,A,4807.0380,N,01131.0000,W,5.0,0.0,120485,6.0,W,A*"),
            "{line}"
        );
        assert!(gga("GP", time, at, 0.9).starts_with("$GPGGA,232050.52,4807.0380,N,01131.0000,W,1,10,0.9,"));
        assert!(line.len() <= 80 && gga("GP", time, at, 0.9).len() <= 80, "82 with the line end");
    }

    #[test]
    fn depth_in_three_units() {
        // 10 m are 32.81 ft and 5.468 fathoms.
        assert!(dbt("SD", 10.0).starts_with("$SDDBT,32.8,f,10.00,M,5.5,F*"));
    }
}
