//! What is replaced inside one whole message.
//!
//! A whitelist: one table for N2K messages (`n2k_table`) and one for sentences (`line_table`) say for each field whether
//! it stays, is a place, an identity or a time. Everything else is blanked. Lengths never change. All replacements follow
//! from the key: the same within a call, and nobody can link two calls that have different keys.

mod addresses;
mod ais;
mod bits;
mod coordinate;
mod key;
mod line;
mod line_table;
mod n2k;
mod n2k_table;
mod names;
mod places;
mod said;
mod sextets;
mod shape;
#[cfg(test)]
mod tests;
mod transducer;

pub use key::Key;
pub use names::TextKind;
pub use places::Anchor;
pub use said::{NOT_HIDDEN, Said};

use crate::time::{DAY_US, Time};
use crate::units::Place;
use foldhash::fast::RandomState;
use key::{Domain, Keyed};
use places::Places;
use std::collections::HashMap;
use std::hash::Hash;

/// Values of one kind that are remembered with what became of them (at most 0.6 MiB).
const MAX_KNOWN: usize = 16_384;

/// Days in a week.
const WEEK: i64 = 7;

/// MMSIs of one form lie between two of these (ITU-R M.585): coast stations, groups, aircraft, ships, distress devices
/// by their kinds, craft of a mother ship, aids to navigation; and what is none of them.
const MMSI_FORMS: &[u64] = &[
    1,
    2_000_000,
    8_000_000,
    20_000_000,
    80_000_000,
    111_200_000,
    111_800_000,
    200_000_000,
    800_000_000,
    970_000_000,
    971_000_000,
    972_000_000,
    973_000_000,
    974_000_000,
    975_000_000,
    980_000_000,
    982_000_000,
    988_000_000,
    992_000_000,
    998_000_000,
    1_000_000_000,
    1 << 30,
    0xFFFF_FFFD,
];

/// IMO numbers have seven digits.
const IMO_FORMS: &[u64] = &[1, 10_000_000, 1 << 30, 0xFFFF_FFFD];

/// Satellite numbers of one system lie between two of these. Numbers that tell systems apart by 32s keep doing so, and
/// numbers keep their digits; from 253 on N2K has its codes for "no value".
const SATELLITE_FORMS: &[u64] =
    &[1, 32, 64, 96, 100, 128, 160, 192, 224, 253, 256, 288, 320, 352, 384, 416, 448, 480, 512, 1000];

/// How a copy is made.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ContentOptions {
    /// Leave makers as they are: codes in NAMEs and proprietary messages, first halves of hardware addresses.
    pub keep_makers: bool,
    /// Weeks that every time is shifted by; negative: into the past.
    pub shift_weeks: i64,
    /// The anchor of an earlier recording of the same boat, so that both copies lie in the same water.
    pub anchor: Option<Anchor>,
}

/// Gives marks.
#[derive(Debug, Clone)]
pub struct Marker(Key);

impl Marker {
    /// A mark of bytes that are blanked: equal ones get equal marks, and nobody without the key can try what it was. No
    /// byte of it is text.
    #[must_use]
    pub fn mark(&self, bytes: &[u8]) -> [u8; 8] {
        mark(&self.0, bytes)
    }
}

fn mark(key: &Key, bytes: &[u8]) -> [u8; 8] {
    (key.number(Domain::Blank, bytes) | 0x8080_8080_8080_8080).to_be_bytes()
}

/// Rewrites messages.
#[derive(Debug)]
pub struct Content {
    keyed: Keyed,
    options: ContentOptions,
    places: Places,
    altitude: Option<i64>,
    ais_pending: Vec<ais::Pending>,
    said: Said,
    /// Room for the message at hand as it was.
    old: Vec<u8>,
    /// Room for an AIS payload as it was and as it is to be.
    sextets: (Vec<u8>, Vec<u8>),
    macs: Known<u64>,
    ips_4: Known<[u8; 4]>,
    ips_6: Known<[u8; 16]>,
    mmsis: Known<u64>,
    satellites: Known<u64>,
}

/// What became of values, so that nothing needs to be worked out again. Its own random key keeps a recording's writer from
/// choosing values that collide; it reaches no result.
type Known<T> = HashMap<T, T, RandomState>;

fn remember<T: Hash + Eq>(known: &mut Known<T>, old: T, new: T) {
    if known.len() < MAX_KNOWN {
        known.insert(old, new);
    }
}

impl Content {
    /// With a secret, and how the copy is made.
    #[must_use]
    pub fn new(key: Key, options: ContentOptions) -> Self {
        let shift_us = shift_us(options.shift_weeks);
        let options = ContentOptions { shift_weeks: shift_us / (WEEK * DAY_US), ..options };
        Self {
            keyed: Keyed::new(key),
            options,
            places: Places::new(options.anchor, shift_us),
            altitude: None,
            ais_pending: Vec::new(),
            said: Said::default(),
            old: Vec::new(),
            sextets: <_>::default(),
            macs: Known::default(),
            ips_4: Known::default(),
            ips_6: Known::default(),
            mmsis: Known::default(),
            satellites: Known::default(),
        }
    }

    /// Rewrites a hardware address. Those that every network has (all, none, groups) stay.
    pub fn mac(&mut self, mac: &mut [u8; 6]) {
        let number = |[a, b, c, d, e, f]: [u8; 6]| u64::from_be_bytes([0, 0, a, b, c, d, e, f]);
        let old = number(*mac);
        if let Some(new) = self.macs.get(&old) {
            let [_, _, new @ ..] = new.to_be_bytes();
            *mac = new;
            return;
        }
        if self.keyed.mac(mac, self.options.keep_makers) {
            self.said.identity("hardware addresses", old);
        }
        remember(&mut self.macs, old, number(*mac));
    }

    /// Rewrites an IPv4 address. Private and special ones stay.
    pub fn ipv4(&mut self, ip: &mut [u8; 4]) {
        let old = *ip;
        if addresses::stays(old) {
            return;
        }
        if let Some(new) = self.ips_4.get(&old) {
            *ip = *new;
            return;
        }
        if self.keyed.ipv4(ip) {
            self.said.identity("IPv4 addresses", u64::from(u32::from_be_bytes(old)));
        }
        remember(&mut self.ips_4, old, *ip);
    }

    /// Rewrites an IPv6 address. Groups and special ones stay; link-local ones stay link-local.
    pub fn ipv6(&mut self, ip: &mut [u8; 16]) {
        let old = *ip;
        if let Some(new) = self.ips_6.get(&old) {
            *ip = *new;
            return;
        }
        if self.keyed.ipv6(ip, self.options.keep_makers) {
            self.said.identity("IPv6 addresses", self.keyed.number(Domain::Ip6, &old));
        }
        remember(&mut self.ips_6, old, *ip);
    }

    /// Rewrites a text to an invented one of the same length.
    pub fn text(&mut self, kind: TextKind, bytes: &mut [u8]) {
        let new = self.pseudonym(kind, bytes);
        bytes.copy_from_slice(&new);
    }

    /// A mark of bytes that are blanked, see [`Marker::mark`].
    #[must_use]
    pub fn mark(&self, bytes: &[u8]) -> [u8; 8] {
        mark(self.keyed.key(), bytes)
    }

    /// What gives the same marks elsewhere.
    #[must_use]
    pub fn marker(&self) -> Marker {
        Marker(self.keyed.key().clone())
    }

    /// Microseconds that every time is shifted by: whole weeks.
    #[must_use]
    pub fn time_shift_us(&self) -> i64 {
        shift_us(self.options.shift_weeks)
    }

    /// The anchor of the places so far; to be kept with the key when recordings of one boat shall belong together.
    #[must_use]
    pub const fn anchor(&self) -> Option<Anchor> {
        self.places.anchor
    }

    /// What was replaced and blanked so far.
    #[must_use]
    pub const fn said(&self) -> &Said {
        &self.said
    }

    fn shift_days(&self) -> i64 {
        self.options.shift_weeks.saturating_mul(WEEK)
    }

    fn moved(&mut self, time: Option<Time>, place: Place) -> Place {
        self.said.places += 1;
        self.places.moved(&self.keyed, time, place)
    }

    fn pseudonym(&mut self, kind: TextKind, text: &[u8]) -> Vec<u8> {
        if text.is_empty() || (kind == TextKind::Maker && self.options.keep_makers) {
            return text.to_vec();
        }
        self.said.identity(kind.plural(), self.keyed.number(Domain::Text(kind), text));
        self.keyed.pseudonym(kind, text)
    }

    fn mmsi(&mut self, mmsi: u64) -> u64 {
        if let Some(new) = self.mmsis.get(&mmsi) {
            return *new;
        }
        if mmsi != 0 {
            self.said.identity("MMSIs", mmsi);
        }
        let new = self.within_form(Domain::Mmsi, mmsi, MMSI_FORMS);
        remember(&mut self.mmsis, mmsi, new);
        new
    }

    fn imo(&mut self, imo: u64) -> u64 {
        if imo != 0 {
            self.said.identity("IMO numbers", imo);
        }
        self.within_form(Domain::Imo, imo, IMO_FORMS)
    }

    fn satellite(&mut self, id: u64) -> u64 {
        if let Some(new) = self.satellites.get(&id) {
            return *new;
        }
        let new = self.within_form(Domain::Satellite, id, SATELLITE_FORMS);
        remember(&mut self.satellites, id, new);
        new
    }

    /// Another number between the same two of `forms`; a number outside all stays.
    fn within_form(&mut self, domain: Domain, number: u64, forms: &[u64]) -> u64 {
        let after = forms.partition_point(|from| *from <= number);
        match (after.checked_sub(1).and_then(|at| forms.get(at)), forms.get(after)) {
            (Some(from), Some(to)) => from + self.keyed.permuted(domain, number - from, to - from),
            _ => number,
        }
    }
}

/// Weeks in microseconds, saturating at a whole number of them.
const fn shift_us(weeks: i64) -> i64 {
    let week = WEEK * DAY_US;
    let most = i64::MAX / week;
    let weeks = if weeks > most {
        most
    } else if weeks < -most {
        -most
    } else {
        weeks
    };
    weeks * week
}
