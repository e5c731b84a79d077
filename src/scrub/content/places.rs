//! Where things are: laid out anew around another point of the earth.
//!
//! The first place that is seen is the anchor. Every place keeps its geodesic distance and azimuth from the anchor, and
//! the anchor moves. So distances stay true everywhere (the ellipsoid's curvature hardly differs), and directions stay
//! true near the anchor: how far the meridians converge depends on the latitude, which therefore moves but a little.

use super::key::{Domain, Keyed};
use crate::time::{DAY_US, Time, days_from_civil};
use crate::units::{Place, wrap_180};
use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use std::sync::LazyLock;

/// By how much the tangent of the latitude changes, at least and at most. A place 50 km east of the anchor sees north
/// turned by 50 km / 6378 km = 0.449 degrees times this change: at most 0.045 degrees.
const TANGENT_CHANGE: (f64, f64) = (0.05, 0.1);

/// The new anchor lies at least so far away in longitude, degrees; the second when the first cannot be had.
const APART_DEG: [f64; 2] = [10.0, 3.0];

/// No boat is nearer to a pole than this, degrees. There latitude alone would tell the place, so that such a one (rubbish
/// of a receiver that has no fix yet) is no anchor.
const MAX_ANCHOR_DEG: f64 = 85.0;

/// Latitudes that are tried.
const TRIES: u8 = 24;

/// Longitudes are looked through in steps of so many degrees; finer than the variation's features.
const STEP_DEG: i32 = 2;

/// Halvings of a step: to 2e-8 degrees.
const HALVINGS: usize = 26;

/// Places that are remembered with what became of them, as several sentences tell the same one (32 bytes each).
const MAX_KNOWN: usize = 1024;

/// An anchor's old and new place. Whoever has it can turn a copy back: it belongs with the key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// Where it was.
    pub old: Place,
    /// Where it is now.
    pub new: Place,
}

impl Anchor {
    /// The anchor as bytes, to be kept beside the key: four numbers, little endian (old latitude, old longitude, new
    /// latitude, new longitude).
    #[must_use]
    pub fn to_bytes(self) -> [u8; 32] {
        let mut bytes = [0; 32];
        let numbers = [self.old.lat_deg, self.old.lon_deg, self.new.lat_deg, self.new.lon_deg];
        for (to, number) in bytes.as_chunks_mut::<8>().0.iter_mut().zip(numbers) {
            *to = number.to_le_bytes();
        }
        bytes
    }

    /// The anchor that [`to_bytes`](Self::to_bytes) wrote; `None` when the bytes are no places.
    #[must_use]
    pub fn from_bytes(bytes: [u8; 32]) -> Option<Self> {
        let &[a, b, c, d] = bytes.as_chunks::<8>().0 else { return None };
        let place = |lat, lon| Place::new(f64::from_le_bytes(lat), f64::from_le_bytes(lon));
        Some(Self { old: place(a, b)?, new: place(c, d)? })
    }
}

/// Moves places.
#[derive(Debug)]
pub(super) struct Places {
    pub(super) anchor: Option<Anchor>,
    /// The last place that was moved, as it was.
    last: Option<Place>,
    shift_us: i64,
    /// Old and new places; each old one has its slot.
    known: Vec<(Place, Place)>,
}

impl Places {
    /// With the anchor of an earlier recording of the same boat, if any, and by how much times are shifted.
    pub(super) const fn new(anchor: Option<Anchor>, shift_us: i64) -> Self {
        Self { anchor, last: None, shift_us, known: Vec::new() }
    }

    /// Places whose waters a number may tell: the anchor and the last one.
    pub(super) fn waters(&self) -> impl Iterator<Item = Place> + Clone + use<> {
        self.anchor.map(|anchor| anchor.old).into_iter().chain(self.last)
    }

    /// Where a place lies in the copy. Exactly 0 N 0 E means "no fix" to careless senders; it stays.
    pub(super) fn moved(&mut self, keyed: &Keyed, time: Option<Time>, place: Place) -> Place {
        if place.lat_deg == 0.0 && place.lon_deg == 0.0 {
            return place;
        }
        if self.anchor.is_none() && place.lat_deg.abs() > MAX_ANCHOR_DEG {
            let turn = 360.0 * keyed.fraction(Domain::Place, b"pole");
            return Place { lon_deg: wrap_180(place.lon_deg + turn), ..place };
        }
        self.last = Some(place);
        let shift_us = self.shift_us;
        let anchor = *self
            .anchor
            .get_or_insert_with(|| Anchor { old: place, new: elsewhere(keyed, time, shift_us, place) });
        // Nothing lies exactly at 0 N 0 E here: such a slot is free.
        let free = Place { lat_deg: 0.0, lon_deg: 0.0 };
        self.known.resize(MAX_KNOWN, (free, free));
        let Some(known) = self.known.get_mut(slot(place)) else { return laid_out(anchor, place) };
        let bits = |place: Place| (place.lat_deg.to_bits(), place.lon_deg.to_bits());
        if bits(known.0) != bits(place) {
            *known = (place, laid_out(anchor, place));
        }
        known.1
    }
}

/// Where a place is remembered: a number below [`MAX_KNOWN`] (Fibonacci hashing, Knuth 6.4).
fn slot(place: Place) -> usize {
    const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;
    let mixed = place.lat_deg.to_bits().wrapping_mul(GOLDEN).rotate_left(32) ^ place.lon_deg.to_bits();
    (mixed.wrapping_mul(GOLDEN) >> 54) as usize
}

/// Where a place lies from the anchor's new place as it lay from its old one.
fn laid_out(anchor: Anchor, place: Place) -> Place {
    static WGS84: LazyLock<Geodesic> = LazyLock::new(Geodesic::wgs84);
    let (metres, azimuth, _, _) =
        WGS84.inverse(anchor.old.lat_deg, anchor.old.lon_deg, place.lat_deg, place.lon_deg);
    let (lat, lon) = WGS84.direct(anchor.new.lat_deg, anchor.new.lon_deg, azimuth, metres);
    Place::new(lat, lon).unwrap_or(anchor.new)
}

/// The day for which the model is asked when the recording has none that it covers.
fn fallback_day() -> Time {
    Time(days_from_civil(2025, 7, 1).unwrap_or_default() * DAY_US)
}

/// A point far from `old` where the compass points the same way, so that what is said of headings stays true.
fn elsewhere(keyed: &Keyed, time: Option<Time>, shift_us: i64, old: Place) -> Place {
    let seed: Vec<u8> = [old.lat_deg, old.lon_deg].iter().flat_map(|v| v.to_le_bytes()).collect();
    let chance = |n: u8, what: u8| keyed.fraction(Domain::Place, &[&[n, what], seed.as_slice()].concat());
    let day = time.unwrap_or_else(fallback_day);
    let (before, after) = match old.declination_deg(day) {
        Some(_) => (day, Time(day.0.saturating_add(shift_us))),
        None => (fallback_day(), fallback_day()),
    };
    let after = if old.declination_deg(after).is_some() { after } else { before };
    let Some(variation) = old.declination_deg(before) else { return anywhere(old, &chance) };
    for apart in APART_DEG {
        for n in 0..TRIES {
            let lat = new_latitude(old, n, &chance);
            let lons = crossings(lat, variation, after);
            let far: Vec<f64> =
                lons.into_iter().filter(|lon| wrap_180(lon - old.lon_deg).abs() >= apart).collect();
            let pick = (chance(n, 3) * far.len() as f64) as usize;
            if let Some(place) = far.get(pick).and_then(|lon| Place::new(lat, *lon)) {
                return place;
            }
        }
    }
    anywhere(old, &chance)
}

/// A latitude near the old one, on either side of it.
fn new_latitude(old: Place, n: u8, chance: &dyn Fn(u8, u8) -> f64) -> f64 {
    let (least, most) = TANGENT_CHANGE;
    let size = least + (most - least) * chance(n, 1);
    let change = if chance(n, 2) < 0.5 { -size } else { size };
    (old.lat_deg.to_radians().tan() + change).atan().to_degrees()
}

/// Half round the earth, give or take: for where the model says nothing.
fn anywhere(old: Place, chance: &dyn Fn(u8, u8) -> f64) -> Place {
    let lat = new_latitude(old, 0, chance);
    let lon = wrap_180(old.lon_deg + 40.0 + 280.0 * chance(0, 4));
    Place::new(lat, lon).unwrap_or(old)
}

/// The longitudes of a parallel at which the variation has this value.
fn crossings(lat: f64, variation: f64, day: Time) -> Vec<f64> {
    let off = |lon: f64| {
        let here = Place::new(lat, wrap_180(lon))?.declination_deg(day)?;
        Some(wrap_180(here - variation))
    };
    let mut found = Vec::new();
    let mut last = off(-180.0);
    for step in 1..=360 / STEP_DEG {
        let lon = f64::from(step * STEP_DEG - 180);
        let next = off(lon);
        if let (Some(a), Some(b)) = (last, next)
            && a.is_sign_negative() != b.is_sign_negative()
            // Near a magnetic pole the variation runs through the whole circle; that is no crossing.
            && (a - b).abs() < 90.0
        {
            let (mut from, mut to) = (lon - f64::from(STEP_DEG), lon);
            for _ in 0..HALVINGS {
                let middle = f64::midpoint(from, to);
                match off(middle) {
                    Some(m) if m.is_sign_negative() == a.is_sign_negative() => from = middle,
                    Some(_) => to = middle,
                    None => break,
                }
            }
            found.push(wrap_180(from));
        }
        last = next;
    }
    found
}
