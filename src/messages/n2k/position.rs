//! Satellite positioning: PGN 129025, 129029, 129044, 129539, 129540.

use super::emit;
use super::field::Fields;
use crate::messages::{Absent, Reading};
use crate::units::Place;

/// Satellites that PGN 129540 can list: what fits a fast packet.
const MAX_SATELLITES: usize = 18;

/// PGN 129025: position. Exactly 0 N 0 E is passed on; what it means is for others to judge.
pub(super) fn rapid(message: &[u8], out: &mut Vec<Reading>) {
    out.push(Reading::Position { at: Fields(message).place(0, 32), satellites: None, hdop: None });
}

/// PGN 129029: position, time and quality of a fix.
///
/// Method 0 is "no fix", 6 "estimated" (dead reckoning), 14 "error", 15 "not available": the place is then none of the
/// satellites', even when the sender repeats the last one.
pub(super) fn gnss(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let at = match fields.raw(252, 4) {
        None => Err(Absent::Missing),
        Some(0 | 6 | 14 | 15) => Err(Absent::MarkedInvalid),
        Some(_) => place_64(fields),
    };
    out.push(Reading::Position {
        at,
        satellites: fields.small(264, 8).map(u16::from),
        hdop: fields.scaled_signed(272, 16, 0.01).ok(),
    });
    out.push(Reading::Clock { days: fields.days(8), of_day_us: fields.of_day_us(24) });
    if at.is_ok() {
        emit::other(out, "altitude", None, "m", fields.scaled_signed(184, 64, 1e-6));
    }
}

/// Latitude and longitude of 64 bits and 1e-16 degrees. The quotient by 1e16 keeps 1e-14 degrees in an `f64`.
fn place_64(fields: Fields<'_>) -> Result<Place, Absent> {
    let (lat, lon) = (fields.signed(56, 64)?, fields.signed(120, 64)?);
    Place::new(lat as f64 / 1e16, lon as f64 / 1e16).ok_or(Absent::Unusable)
}

/// PGN 129539: dilution of precision; mode 1 and 2 are fixes in two and three dimensions, 0 gives no place.
pub(super) fn dops(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let fix = match fields.unsigned(11, 3) {
        Ok(0) => Some(false),
        Ok(1 | 2) => Some(true),
        _ => None,
    };
    out.push(Reading::FixQuality { fix, satellites: None, hdop: fields.scaled_signed(16, 16, 0.01) });
}

/// PGN 129540: satellites in view; of these the used ones are counted (status 2 and 5).
pub(super) fn satellites(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let listed = usize::from(fields.small(16, 8).unwrap_or(0)).min(MAX_SATELLITES);
    let statuses = (0..listed).filter_map(|n| fields.small(24 + 96 * n + 88, 4));
    let (known, used) = statuses
        .fold((0, 0_u16), |(known, used), status| (known + 1, used + u16::from(matches!(status, 2 | 5))));
    let satellites = (known > 0 || fields.small(16, 8) == Some(0)).then_some(used);
    out.push(Reading::FixQuality { fix: None, satellites, hdop: Err(Absent::NotAvailable) });
}

/// The chart datum in use.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// Code of the local datum, such as `W84`.
    pub local: String,
    /// Code of the datum that the offsets refer to.
    pub reference: String,
    /// Offset of latitude in degrees.
    pub delta_lat_deg: Result<f64, Absent>,
    /// Offset of longitude in degrees.
    pub delta_lon_deg: Result<f64, Absent>,
}

/// Reads PGN 129044; `None` when it ends before the offsets.
#[must_use]
pub fn datum(message: &[u8]) -> Option<Datum> {
    let fields = Fields(message);
    message.get(..12)?;
    Some(Datum {
        local: fields.text(0, 4),
        reference: fields.text(16, 4),
        delta_lat_deg: fields.signed(32, 32).map(|raw| raw as f64 / 1e7),
        delta_lon_deg: fields.signed(64, 32).map(|raw| raw as f64 / 1e7),
    })
}

/// PGN 129044: how far the chart datum moves every position.
pub(super) fn datum_offsets(message: &[u8], out: &mut Vec<Reading>) {
    if let Some(datum) = datum(message) {
        emit::other(out, "datum-latitude-offset", None, "deg", datum.delta_lat_deg);
        emit::other(out, "datum-longitude-offset", None, "deg", datum.delta_lon_deg);
    }
}
