//! N2K messages, rewritten in place.

use super::bits::{copy, get, set};
use super::key::Domain;
use super::n2k_table::{Act, fields, is_proprietary};
use super::{Content, TextKind};
use crate::messages::n2k::Name;
use crate::time::Time;
use crate::units::Place;

/// Waypoints of one message: more than fit a fast packet.
const MAX_WAYPOINTS: usize = 32;

/// Satellites of one message: what fits a fast packet.
const MAX_SATELLITES: usize = 18;

/// A latitude that no place has, and that is no code either: 32 bits reach 214 degrees, 64 bits 922.
const NO_PLACE_DEG: f64 = 100.0;

/// Datum codes that the whole world uses; others tell the region (IEC 61162-1, DTM).
pub(super) const WORLD_DATUMS: [&[u8]; 5] = [b"W84", b"W72", b"S85", b"P90", b"999"];

impl Content {
    /// Rewrites one whole message (a single frame's payload, or the joined frames of a fast packet or of the transport
    /// protocol). What is not known to be harmless becomes "not available".
    pub fn n2k(&mut self, pgn: u32, _source: u8, time: Option<Time>, payload: &mut [u8]) {
        // Nearly every message has eight bytes: copies of a known length need no call.
        if let Ok(message) = <&mut [u8; 8]>::try_from(&mut *payload) {
            let old = std::mem::replace(message, [0xFF; 8]);
            return self.message(pgn, time, &old, message);
        }
        let mut old = std::mem::take(&mut self.old);
        old.clear();
        old.extend_from_slice(payload);
        payload.fill(0xFF);
        self.message(pgn, time, &old, payload);
        self.old = old;
    }

    /// Writes over `new`, which is blank, what may leave of `old`.
    fn message(&mut self, pgn: u32, time: Option<Time>, old: &[u8], new: &mut [u8]) {
        if let Some(fields) = fields(pgn) {
            for (start, act) in fields {
                self.act(*start, *act, time, old, new);
            }
            return;
        }
        if is_proprietary(pgn) {
            copy(old, new, 0, 16);
            self.maker_code(old, new, 0);
        }
        self.said.blanked_pgn(pgn);
    }

    fn act(&mut self, start: usize, act: Act, time: Option<Time>, old: &[u8], new: &mut [u8]) {
        match act {
            Act::Keep(bits) => copy(old, new, start, bits),
            Act::NoneSigned(bits) => set(new, start, bits, u64::MAX >> (65 - bits.clamp(1, 64))),
            Act::Day => {
                if let Some(day) = get(old, start, 16) {
                    set(new, start, 16, self.day(day));
                }
            }
            Act::LatLon => self.place_32(start, start + 32, time, old, new),
            Act::LonLat => self.place_32(start + 32, start, time, old, new),
            Act::LatLon64 => self.place_64(start, time, old, new),
            Act::Altitude => {
                if let Some(raw) = get(old, start, 64) {
                    set(new, start, 64, self.altitude(raw as i64) as u64);
                }
            }
            Act::LocalOffset => {
                if let Some(raw) = get(old, start, 16) {
                    set(new, start, 16, if raw as i16 >= i16::MAX - 2 { raw } else { 0 });
                }
            }
            Act::Mmsi => self.number_32(start, old, new, Self::mmsi),
            Act::Imo => self.number_32(start, old, new, Self::imo),
            Act::Name => {
                if let Some(raw) = get(old, start, 64) {
                    set(new, start, 64, self.name(raw));
                }
            }
            Act::Product => {
                if let Some(raw) = get(old, start, 16) {
                    set(new, start, 16, self.keyed.permuted(Domain::Product, raw, 0xFFFD));
                }
            }
            Act::Text(kind, bytes) => {
                let from = start / 8;
                let to = from.saturating_add(bytes).min(old.len());
                if let (Some(old), Some(new)) = (old.get(from..to), new.get_mut(from..to)) {
                    self.fixed_text(kind, old, new);
                }
            }
            Act::Texts(kind, count) => {
                let mut at = Some(start / 8);
                for _ in 0..count {
                    at = at.and_then(|at| self.variable_text(kind, at, old, new));
                }
            }
            Act::ReferenceStations => {
                copy(old, new, start, 8);
                for at in (start + 8..old.len() * 8).step_by(32) {
                    copy(old, new, at, 4);
                    copy(old, new, at + 16, 16);
                }
            }
            Act::Satellites => self.satellites(old, new),
            Act::Datum => datum(old, new),
            Act::Route => self.route(time, old, new),
            Act::GroupFunction => self.group_function(old, new),
        }
    }

    fn number_32(&mut self, start: usize, old: &[u8], new: &mut [u8], change: fn(&mut Self, u64) -> u64) {
        if let Some(raw) = get(old, start, 32) {
            let codes = u64::from(u32::MAX) - 2;
            set(new, start, 32, if raw >= codes { raw } else { change(self, raw) });
        }
    }

    /// A day, shifted; the codes for "no value" stay.
    fn day(&self, day: u64) -> u64 {
        let last = 0xFFFC;
        if day > last {
            return day;
        }
        (day as i64).saturating_add(self.shift_days()).clamp(0, last as i64) as u64
    }

    /// Altitudes count from the first one: a lake is known by its height.
    fn altitude(&mut self, raw: i64) -> i64 {
        if raw >= i64::MAX - 2 {
            return raw;
        }
        raw.saturating_sub(*self.altitude.get_or_insert(raw)).min(i64::MAX - 3)
    }

    fn place_32(&mut self, lat: usize, lon: usize, time: Option<Time>, old: &[u8], new: &mut [u8]) {
        let (Some(a), Some(b)) = (get(old, lat, 32), get(old, lon, 32)) else { return };
        let codes = i64::from(i32::MAX) - 2;
        let (a, b) = self.coordinates(i64::from(a as i32), i64::from(b as i32), 1e7, codes, time);
        set(new, lat, 32, a as u64 & 0xFFFF_FFFF);
        set(new, lon, 32, b as u64 & 0xFFFF_FFFF);
    }

    fn place_64(&mut self, lat: usize, time: Option<Time>, old: &[u8], new: &mut [u8]) {
        let lon = lat + 64;
        let (Some(a), Some(b)) = (get(old, lat, 64), get(old, lon, 64)) else { return };
        let (a, b) = self.coordinates(a as i64, b as i64, 1e16, i64::MAX - 2, time);
        set(new, lat, 64, a as u64);
        set(new, lon, 64, b as u64);
    }

    /// Latitude and longitude in steps of 1 / `steps` degree; from `codes` on they are codes for "no value". A
    /// coordinate whose partner has no value becomes that code too: half a place is still a secret.
    fn coordinates(&mut self, lat: i64, lon: i64, steps: f64, codes: i64, time: Option<Time>) -> (i64, i64) {
        if lat >= codes {
            return (lat, if lon >= codes { lon } else { codes + 2 });
        }
        if lon >= codes {
            return (lon, lon);
        }
        let Some(place) = Place::new(lat as f64 / steps, lon as f64 / steps) else {
            return ((NO_PLACE_DEG * steps) as i64, 0);
        };
        let place = self.moved(time, place);
        ((place.lat_deg * steps).round() as i64, (place.lon_deg * steps).round() as i64)
    }

    /// A NAME: unique number and maker are replaced, what the device is and its instances stay.
    fn name(&mut self, raw: u64) -> u64 {
        self.said.identity("device NAMEs", raw);
        let name = Name(raw);
        let unique = self.keyed.permuted(Domain::Unique, u64::from(name.unique_number()), 1 << 21);
        let maker = self.maker(u64::from(name.manufacturer()));
        raw >> 32 << 32 | maker << 21 | unique
    }

    fn maker(&mut self, code: u64) -> u64 {
        if self.options.keep_makers { code } else { self.keyed.permuted(Domain::Maker, code, 1 << 11) }
    }

    /// The maker's code in the first 11 bits from `start` on.
    fn maker_code(&mut self, old: &[u8], new: &mut [u8], start: usize) {
        if let Some(code) = get(old, start, 11) {
            set(new, start, 11, self.maker(code));
        }
    }

    /// Text with its fill: it ends where decoders end it, and what stands behind is fill.
    fn fixed_text(&mut self, kind: TextKind, old: &[u8], new: &mut [u8]) {
        let end = old.iter().position(|b| matches!(b, 0 | 0xFF | b'@')).unwrap_or(old.len());
        let (text, rest) = old.split_at_checked(end).unwrap_or((old, &[]));
        let start = text.len() - text.trim_ascii_start().len();
        let pseudonym = self.pseudonym(kind, text.trim_ascii());
        new.fill(rest.first().copied().unwrap_or(b' '));
        for to in new.iter_mut().take(end) {
            *to = b' ';
        }
        for (to, from) in new.iter_mut().skip(start).zip(pseudonym) {
            *to = from;
        }
    }

    /// Variable text (length with both head bytes, type, characters); where it ends, or `None` when it is malformed.
    fn variable_text(&mut self, kind: TextKind, at: usize, old: &[u8], new: &mut [u8]) -> Option<usize> {
        let length = *old.get(at)?;
        *new.get_mut(at)? = length;
        let end = at + usize::from(length);
        let content = old.get(at + 2..end)?;
        let encoding = *old.get(at + 1)?;
        *new.get_mut(at + 1)? = if encoding == 0 { 0 } else { 1 };
        let target = new.get_mut(at + 2..end)?;
        if encoding != 0 {
            self.fixed_text(kind, content, target);
            return Some(end);
        }
        // UTF-16: plain Latin text is treated like its 8-bit form.
        let units: Vec<u16> =
            content.as_chunks::<2>().0.iter().map(|unit| u16::from_le_bytes(*unit)).collect();
        let length = units.iter().position(|unit| matches!(unit, 0 | 0xFFFF)).unwrap_or(units.len());
        let text: Vec<u8> = units.iter().take(length).map(|unit| (unit & 0xFF) as u8).collect();
        let mut latin = vec![0; text.len()];
        self.fixed_text(kind, &text, &mut latin);
        target.fill(0);
        for (to, from) in target.as_chunks_mut::<2>().0.iter_mut().zip(latin) {
            *to = [from, 0];
        }
        Some(end)
    }

    /// PGN 129540: elevation and azimuth of a satellite tell the place to some kilometres, and which ones are seen tells
    /// the region.
    fn satellites(&mut self, old: &[u8], new: &mut [u8]) {
        copy(old, new, 0, 10);
        copy(old, new, 16, 8);
        for n in 0..MAX_SATELLITES {
            let at = 24 + 96 * n;
            if let Some(id) = get(old, at, 8) {
                set(new, at, 8, if id >= 253 { id } else { self.satellite(id) });
            }
            set(new, at + 8, 16, 0x7FFF);
            copy(old, new, at + 40, 16);
            set(new, at + 56, 32, 0x7FFF_FFFF);
            copy(old, new, at + 88, 4);
        }
    }

    /// PGN 129285.
    fn route(&mut self, time: Option<Time>, old: &[u8], new: &mut [u8]) {
        copy(old, new, 0, 69);
        let Some(end) = self.variable_text(TextKind::Waypoint, 9, old, new) else { return };
        let mut byte = end + 1;
        for _ in 0..MAX_WAYPOINTS {
            copy(old, new, byte * 8, 16);
            let Some(end) = self.variable_text(TextKind::Waypoint, byte + 2, old, new) else { return };
            self.place_32(end * 8, end * 8 + 32, time, old, new);
            byte = end + 8;
        }
    }

    /// PGN 126208. The values of its pairs can be anything, a place or a name too.
    fn group_function(&mut self, old: &[u8], new: &mut [u8]) {
        let Some(function) = old.first() else { return };
        let pgn = get(old, 8, 24).unwrap_or_default() as u32;
        let bytes = match function {
            0 => 11,
            1 => 6,
            // Error codes of 4 bits follow, one for each parameter.
            2 => 6 + usize::from(old.get(5).copied().unwrap_or(0)).div_ceil(2),
            3..=6 if is_proprietary(pgn) => {
                copy(old, new, 0, 32);
                copy(old, new, 43, 5);
                self.maker_code(old, new, 32);
                copy(old, new, 48, 24);
                return;
            }
            3..=6 => 7,
            _ => 4,
        };
        copy(old, new, 0, bytes * 8);
    }
}

/// PGN 129044: a datum of one region tells the region, and so do the offsets of any: some belong to one place alone.
fn datum(old: &[u8], new: &mut [u8]) {
    let world = |from: usize| {
        let code = old.get(from..from + 4).unwrap_or_default();
        let end = code.iter().position(|b| matches!(b, 0 | 0xFF | b'@')).unwrap_or(code.len());
        let code = code.get(..end).unwrap_or_default().trim_ascii();
        code.is_empty() || WORLD_DATUMS.contains(&code)
    };
    for start in [0, 128] {
        if world(start / 8) {
            copy(old, new, start, 32);
        } else {
            set(new, start, 32, u64::from(u32::from_le_bytes(*b"xxxx")));
        }
    }
    for start in [32, 64, 96] {
        match get(old, start, 32) {
            Some(raw) if raw as i32 >= i32::MAX - 2 => set(new, start, 32, raw),
            Some(_) => set(new, start, 32, 0),
            None => {}
        }
    }
}
