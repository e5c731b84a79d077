//! The PGNs that are known by name, one line each. Source: NMEA 2000 appendix B (names, intervals, priorities).

use super::framing::Frames::{self, Fast, Single, Transport};
use super::{
    clock, course, depth, electrical, engine, environment, fluid, heading, navigation, position, rudder,
    speed, switch, wind,
};
use crate::messages::Reading;

/// Turns a payload into readings.
type Decode = fn(&[u8], &mut Vec<Reading>);

/// What is known of a PGN.
#[derive(Debug, Clone, Copy)]
pub struct Pgn {
    /// Its number.
    pub pgn: u32,
    /// The standard's name of the message.
    pub name: &'static str,
    /// How it is spread over frames.
    pub frames: Frames,
    /// Default interval between two messages in seconds; `None` when it is sent on demand or as received.
    pub interval_s: Option<f64>,
    /// Default priority.
    pub priority: u8,
    /// Whether it has a data instance: two of one device are then two sources.
    pub instanced: bool,
    alike: Alike,
    decode: Decode,
}

/// Which bytes of a message tell which of several alike it is.
#[derive(Debug, Clone, Copy)]
struct Alike {
    /// The first of two bytes in a row; one that is missing counts as 0xFF.
    at: usize,
    /// What is taken of the two as one number.
    mask: u16,
    shift: u8,
}

impl Alike {
    /// There is but one.
    const ONE: Self = Self { at: 0, mask: 0, shift: 0 };
}

impl Pgn {
    /// Adds the readings of one whole message to `out`.
    #[inline]
    pub fn decode(&self, data: &[u8], out: &mut Vec<Reading>) {
        (self.decode)(data, out);
    }

    /// Which of several alike a message is, so that each keeps its own rhythm: engine, battery, tank, temperature source,
    /// reference. 0 where there is but one.
    #[inline(always)]
    #[must_use]
    pub fn part(&self, data: &[u8]) -> u32 {
        let Alike { at, mask, shift } = self.alike;
        let byte = |at: usize| data.get(at).copied().unwrap_or(0xFF);
        u32::from((u16::from_be_bytes([byte(at), byte(at + 1)]) & mask) >> shift)
    }

    /// Told apart by these bits of a byte.
    const fn by_bits(self, at: usize, mask: u8) -> Self {
        Self { alike: Alike { at, mask: (mask as u16) << 8, shift: 8 }, ..self }
    }

    /// Told apart by a byte.
    const fn by_byte(self, at: usize) -> Self {
        self.by_bits(at, 0xFF)
    }

    /// Told apart by this byte and the next.
    const fn by_two_bytes(self, at: usize) -> Self {
        Self { alike: Alike { at, mask: 0xFFFF, shift: 0 }, ..self }
    }
}

const fn pgn(
    pgn: u32,
    name: &'static str,
    frames: Frames,
    interval_ms: u32,
    priority: u8,
    instanced: bool,
    decode: Decode,
) -> Pgn {
    let interval_s = if interval_ms == 0 { None } else { Some(interval_ms as f64 / 1000.0) };
    Pgn { pgn, name, frames, interval_s, priority, instanced, alike: Alike::ONE, decode }
}

/// For messages that say nothing about the boat's state.
fn none(_: &[u8], _: &mut Vec<Reading>) {}

/// Every known PGN, in ascending order. An interval of 0 is "on demand".
#[rustfmt::skip]
pub const PGNS: &[Pgn] = &[
    pgn(59_392, "ISO acknowledgement", Single, 0, 6, false, none),
    pgn(59_904, "ISO request", Single, 0, 6, false, none),
    pgn(60_160, "ISO transport protocol, data transfer", Single, 0, 7, false, none),
    pgn(60_416, "ISO transport protocol, connection management", Single, 0, 7, false, none),
    pgn(60_928, "ISO address claim", Single, 0, 6, false, none),
    pgn(65_240, "ISO commanded address", Transport, 0, 6, false, none),
    pgn(126_208, "NMEA group function", Fast, 0, 3, false, none),
    pgn(126_464, "PGN list", Fast, 0, 6, false, none).by_byte(0),
    pgn(126_992, "System time", Single, 1000, 3, false, clock::system_time),
    pgn(126_993, "Heartbeat", Single, 60_000, 7, false, none),
    pgn(126_996, "Product information", Fast, 0, 6, false, none),
    pgn(126_998, "Configuration information", Fast, 0, 6, false, none),
    pgn(127_237, "Heading/track control", Fast, 250, 2, false, rudder::track_control),
    pgn(127_245, "Rudder", Single, 100, 2, true, rudder::rudder).by_byte(0),
    pgn(127_250, "Vessel heading", Single, 100, 2, false, heading::heading).by_bits(7, 0x03),
    pgn(127_251, "Rate of turn", Single, 100, 2, false, heading::rate_of_turn),
    pgn(127_257, "Attitude", Single, 1000, 3, false, heading::attitude),
    pgn(127_258, "Magnetic variation", Single, 1000, 6, false, heading::variation),
    pgn(127_488, "Engine parameters, rapid update", Single, 100, 2, true, engine::rapid).by_byte(0),
    pgn(127_489, "Engine parameters, dynamic", Fast, 500, 2, true, engine::dynamic).by_byte(0),
    pgn(127_501, "Binary switch bank status", Single, 15_000, 3, true, switch::bank).by_byte(0),
    pgn(127_505, "Fluid level", Single, 2500, 6, true, fluid::level).by_byte(0),
    pgn(127_506, "DC detailed status", Fast, 1500, 6, true, electrical::dc_status).by_byte(1),
    pgn(127_508, "Battery status", Single, 1500, 6, true, electrical::battery).by_byte(0),
    pgn(128_259, "Speed, water referenced", Single, 1000, 2, false, speed::water_speed),
    pgn(128_267, "Water depth", Single, 1000, 3, false, depth::depth),
    pgn(128_275, "Distance log", Fast, 1000, 6, false, speed::distance_log),
    pgn(129_025, "Position, rapid update", Single, 100, 2, false, position::rapid),
    pgn(129_026, "COG & SOG, rapid update", Single, 250, 2, false, course::rapid).by_bits(1, 0x03),
    pgn(129_029, "GNSS position data", Fast, 1000, 3, false, position::gnss),
    pgn(129_033, "Time & date", Single, 1000, 3, false, clock::local_time),
    pgn(129_038, "AIS class A position report", Fast, 0, 4, false, none),
    pgn(129_039, "AIS class B position report", Fast, 0, 4, false, none),
    pgn(129_040, "AIS class B extended position report", Fast, 0, 4, false, none),
    pgn(129_041, "AIS aids-to-navigation report", Fast, 0, 4, false, none),
    pgn(129_044, "Datum", Fast, 10_000, 6, false, position::datum_offsets),
    pgn(129_283, "Cross-track error", Single, 1000, 3, false, navigation::cross_track),
    pgn(129_284, "Navigation data", Fast, 1000, 3, false, navigation::to_waypoint),
    pgn(129_285, "Route and waypoint information", Fast, 0, 6, false, none),
    pgn(129_291, "Set & drift, rapid update", Single, 1000, 3, false, course::set_drift),
    pgn(129_539, "GNSS DOPs", Single, 1000, 6, false, position::dops),
    pgn(129_540, "GNSS satellites in view", Fast, 1000, 6, false, position::satellites),
    pgn(129_793, "AIS UTC and date report", Fast, 0, 7, false, none),
    pgn(129_794, "AIS class A static and voyage data", Fast, 0, 6, false, none),
    pgn(129_809, "AIS class B static data, part A", Fast, 0, 6, false, none),
    pgn(129_810, "AIS class B static data, part B", Fast, 0, 6, false, none),
    pgn(130_306, "Wind data", Single, 100, 2, false, wind::wind).by_bits(5, 0x07),
    pgn(130_310, "Environmental parameters (older)", Single, 500, 5, false, environment::older),
    pgn(130_311, "Environmental parameters", Single, 500, 5, false, environment::combined).by_bits(1, 0x3F),
    pgn(130_312, "Temperature", Single, 2000, 5, true, environment::temperature).by_two_bytes(1),
    pgn(130_313, "Humidity", Single, 2000, 5, true, environment::humidity).by_two_bytes(1),
    pgn(130_314, "Actual pressure", Single, 2000, 5, true, environment::pressure).by_two_bytes(1),
    pgn(130_316, "Temperature, extended range", Single, 2000, 5, true, environment::wide_temperature).by_two_bytes(1),
    pgn(130_577, "Direction data", Fast, 1000, 3, false, course::direction_data),
    pgn(130_578, "Vessel speed components", Fast, 250, 2, false, course::speed_components),
];

/// Places of [`INDEX`]: several for each PGN, so that the first one is mostly the right one.
const SLOTS: usize = 512;

/// Where each PGN stands in [`PGNS`], counted from 1, at the first free place from [`first_slot`] on; 0 is a free place.
static INDEX: [u8; SLOTS] = index();

/// Where the search for a PGN begins: numbers in a row lie apart from each other, and so do the pages.
const fn first_slot(pgn: u32) -> usize {
    (pgn ^ pgn >> 7) as usize % SLOTS
}

const fn index() -> [u8; SLOTS] {
    assert!(PGNS.len() < SLOTS / 2 && PGNS.len() < 256, "a free place must end every search");
    let (mut index, mut at) = ([0; SLOTS], 0);
    #[expect(clippy::indexing_slicing, reason = "compile time; every index is below the length")]
    while at < PGNS.len() {
        let mut slot = first_slot(PGNS[at].pgn);
        while index[slot] != 0 {
            slot = (slot + 1) % SLOTS;
        }
        index[slot] = at as u8 + 1;
        at += 1;
    }
    index
}

/// Where a PGN stands among the known ones, so that it need not be looked for again; a PGN that is not known stands nowhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing(u8);

impl Standing {
    /// That of this PGN.
    #[must_use]
    pub fn of(pgn: u32) -> Self {
        let mut slot = first_slot(pgn);
        // A place that is not taken ends the search: there are more places than PGNs.
        while let Some(place @ 1..) = INDEX.get(slot).copied() {
            let standing = Self(place);
            if standing.known().is_some_and(|known| known.pgn == pgn) {
                return standing;
            }
            slot = (slot + 1) % SLOTS;
        }
        Self(0)
    }

    /// What is known of the PGN that stands there.
    #[inline(always)]
    #[must_use]
    pub fn known(self) -> Option<&'static Pgn> {
        PGNS.get(usize::from(self.0.checked_sub(1)?))
    }
}

/// What is known of a PGN, if anything.
#[must_use]
pub fn lookup(pgn: u32) -> Option<&'static Pgn> {
    Standing::of(pgn).known()
}

/// Adds the readings of one whole message to `out`; none for a PGN that is not known or says nothing about the boat.
pub fn decode(pgn: u32, data: &[u8], out: &mut Vec<Reading>) {
    if let Some(known) = lookup(pgn) {
        known.decode(data, out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_order() {
        assert!(PGNS.is_sorted_by(|a, b| a.pgn < b.pgn));
        assert!(PGNS.iter().all(|known| known.priority < 8 && !known.name.is_empty()));
        assert_eq!(lookup(127_250).map(|known| known.interval_s), Some(Some(0.1)));
        assert_eq!(lookup(60_928).map(|known| known.interval_s), Some(None));
        assert!(PGNS.iter().all(|known| lookup(known.pgn).is_some_and(|found| found.pgn == known.pgn)));
        let found = (0..1 << 18).filter(|pgn| lookup(*pgn).is_some()).count();
        assert_eq!(found, PGNS.len(), "no other number is known");
    }

    /// A message cut off at any length gives no more readings than the whole one, and never panics.
    #[test]
    fn every_shorter_length_is_survived() {
        for known in PGNS {
            for fill in [0x00_u8, 0x55, 0xFF] {
                let mut most = 0;
                for length in 0..=223 {
                    let mut out = Vec::new();
                    decode(known.pgn, &vec![fill; length], &mut out);
                    assert!(out.len() >= most, "{} of {length} bytes", known.pgn);
                    most = out.len();
                }
            }
        }
    }
}
