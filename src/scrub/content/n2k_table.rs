//! What stays of each N2K message, and what is replaced. Everything that is not named here is blanked.
//!
//! Source of the layouts: NMEA 2000 appendix B, as in `messages::n2k`; start bits and widths in bits.

use super::TextKind;

/// What is done with a field.
#[derive(Debug, Clone, Copy)]
pub(super) enum Act {
    /// So many bits stay as they are.
    Keep(usize),
    /// Not known to be harmless: "not available" of a signed number of so many bits.
    NoneSigned(usize),
    /// Days since 1970 in 16 bits: shifted with the recording.
    Day,
    /// Latitude, then longitude, 32 bits each.
    LatLon,
    /// Longitude, then latitude, 32 bits each.
    LonLat,
    /// Latitude, then longitude, 64 bits each.
    LatLon64,
    /// Altitude in 64 bits: counts from the first one.
    Altitude,
    /// Difference to local time, which tells the longitude: becomes 0.
    LocalOffset,
    /// MMSI in 32 bits.
    Mmsi,
    /// IMO number in 32 bits.
    Imo,
    /// A node's NAME, 64 bits.
    Name,
    /// A maker's number of a product, 16 bits.
    Product,
    /// Text of so many bytes, beginning at a whole byte.
    Text(TextKind, usize),
    /// Variable texts of this kind, so many in a row, beginning at a whole byte.
    Texts(TextKind, usize),
    /// Reference stations to the end: type and age stay.
    ReferenceStations,
    /// Satellites to the end: signal and status stay, and which system each belongs to.
    Satellites,
    /// Local and reference datum with their offsets.
    Datum,
    /// Route name and waypoints to the end.
    Route,
    /// A group function: what it wants and of which message stays, values do not.
    GroupFunction,
}

/// A field: where it begins, and what is done with it.
pub(super) type Field = (usize, Act);

use Act::{
    Altitude, Datum, Day, GroupFunction, Imo, Keep, LatLon, LatLon64, LocalOffset, LonLat, Mmsi, Name,
    NoneSigned, Product, ReferenceStations, Route, Satellites, Text, Texts,
};

/// The fields of a known message, or `None`: all of it is blanked.
#[rustfmt::skip]
pub(super) const fn fields(pgn: u32) -> Option<&'static [Field]> {
    Some(match pgn {
        59_392 => &[(0, Keep(16)), (32, Keep(32))],
        60_416 => &[(0, Keep(64))],
        59_904 => &[(0, Keep(24))],
        // Data of a message that could not be put together.
        60_160 => &[(0, Keep(8))],
        60_928 => &[(0, Name)],
        65_240 => &[(0, Name), (64, Keep(8))],
        126_208 => &[(0, GroupFunction)],
        126_464 => &[(0, Keep(8 * 223))],
        126_992 => &[(0, Keep(12)), (16, Day), (32, Keep(32))],
        126_993 => &[(0, Keep(30))],
        126_996 => &[
            (0, Keep(16)), (16, Product), (32, Text(TextKind::Model, 32)), (288, Text(TextKind::Version, 32)),
            (544, Text(TextKind::Version, 32)), (800, Text(TextKind::Serial, 32)), (1056, Keep(16)),
        ],
        126_998 => &[(0, Texts(TextKind::Installation, 3))],
        127_237 => &[(0, Keep(16)), (21, Keep(147))],
        127_245 => &[(0, Keep(11)), (16, Keep(32))],
        127_250 => &[(0, Keep(58))],
        127_251 => &[(0, Keep(40))],
        127_257 => &[(0, Keep(56))],
        127_258 => &[(0, Keep(12)), (16, Day), (32, Keep(16))],
        127_488 => &[(0, Keep(48))],
        127_489 => &[(0, Keep(152)), (160, Keep(48))],
        127_501 | 127_508 | 128_267 | 130_311 | 130_316 => &[(0, Keep(64))],
        127_505 | 130_310 | 130_312 | 130_313 | 130_314 => &[(0, Keep(56))],
        127_506 => &[(0, Keep(88))],
        128_259 => &[(0, Keep(52))],
        128_275 => &[(0, Day), (16, Keep(96))],
        129_025 => &[(0, LatLon)],
        129_026 | 129_291 => &[(0, Keep(10)), (16, Keep(32))],
        129_029 => &[
            (0, Keep(8)), (8, Day), (24, Keep(32)), (56, LatLon64), (184, Altitude), (248, Keep(10)),
            (264, Keep(40)), (304, NoneSigned(32)), (336, ReferenceStations),
        ],
        129_033 => &[(0, Day), (16, Keep(32)), (48, LocalOffset)],
        129_038 => &[(0, Keep(8)), (8, Mmsi), (40, LonLat), (104, Keep(40)), (163, Keep(43)), (216, Keep(8))],
        129_039 => &[
            (0, Keep(8)), (8, Mmsi), (40, LonLat), (104, Keep(40)), (163, Keep(21)), (194, Keep(7)),
            (208, Keep(8)),
        ],
        129_040 => &[
            (0, Keep(8)), (8, Mmsi), (40, LonLat), (104, Keep(40)), (160, Keep(24)), (188, Keep(4)),
            (256, Text(TextKind::Vessel, 20)), (416, Keep(2)), (422, Keep(5)),
        ],
        129_041 => &[
            (0, Keep(8)), (8, Mmsi), (40, LonLat), (104, Keep(8)), (176, Keep(8)), (185, Keep(4)),
            (200, Keep(5)), (208, Texts(TextKind::Vessel, 1)),
        ],
        129_044 => &[(0, Datum)],
        129_283 => &[(0, Keep(12)), (14, Keep(34))],
        129_284 => &[(0, Keep(80)), (80, Day), (96, Keep(32)), (192, LatLon), (256, Keep(16))],
        129_285 => &[(0, Route)],
        129_539 => &[(0, Keep(14)), (16, Keep(48))],
        129_540 => &[(0, Satellites)],
        129_793 => &[
            (0, Keep(8)), (8, Mmsi), (40, LonLat), (104, Keep(2)), (112, Keep(32)), (163, Keep(5)), (168, Day),
            (188, Keep(4)),
        ],
        129_794 => &[
            (0, Keep(8)), (8, Mmsi), (40, Imo), (72, Text(TextKind::CallSign, 7)),
            (128, Text(TextKind::Vessel, 20)), (288, Keep(8)), (424, Text(TextKind::Vessel, 20)),
            (584, Keep(7)), (592, Keep(5)), (600, Keep(8)),
        ],
        129_809 => &[
            (0, Keep(8)), (8, Mmsi), (40, Text(TextKind::Vessel, 20)), (200, Keep(5)), (208, Keep(8)),
        ],
        129_810 => &[
            (0, Keep(8)), (8, Mmsi), (40, Keep(8)), (48, Text(TextKind::Maker, 7)),
            (104, Text(TextKind::CallSign, 7)), (224, Mmsi), (264, Keep(5)), (272, Keep(8)),
        ],
        130_306 => &[(0, Keep(43))],
        130_577 => &[(0, Keep(6)), (8, Keep(104))],
        130_578 => &[(0, Keep(96))],
        _ => return None,
    })
}

/// Whether a maker says what is in these messages; the first two bytes then name the maker (ISO 11783-3 clause 5).
pub(super) const fn is_proprietary(pgn: u32) -> bool {
    matches!(pgn, 61_184 | 65_280..=65_535 | 126_720 | 130_816..=131_071)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::n2k::PGNS;

    /// A new message in the registry is blanked until somebody has thought about what of it may leave.
    #[test]
    fn every_message_that_is_decoded_has_its_line() {
        let without: Vec<u32> =
            PGNS.iter().map(|known| known.pgn).filter(|pgn| fields(*pgn).is_none()).collect();
        assert!(without.is_empty(), "{without:?}");
        assert!(fields(130_820).is_none() && fields(127_233).is_none() && is_proprietary(130_820));
    }
}
