//! AIS in VDM and VDO: bits rewritten fragment by fragment.
//!
//! Source: ITU-R M.1371-5 annex 8. A fragment is rewritten when it comes, so a field that two fragments share is blanked.

use super::sextets::{armoured, get, set, unarmoured};
use super::{Content, TextKind};
use crate::messages::nmea0183::Sentence;
use crate::time::{Time, civil, days_from_civil};
use crate::units::Place;

/// Sextets at the beginning of a message that tell its kind.
const HEAD: usize = 7;

/// Messages whose fragments are waited for at once; the oldest gives way.
const MAX_PENDING: usize = 16;

/// What is done with a field. What no field covers is zero: AIS has "not available" or harmless values there.
#[derive(Debug, Clone, Copy)]
enum Act {
    /// So many bits stay.
    Keep(usize),
    /// So many bits get this value, which means "not available".
    None(usize, u64),
    /// MMSI, 30 bits.
    Mmsi,
    /// IMO number, 30 bits.
    Imo,
    /// Text of so many characters.
    Text(TextKind, usize),
    /// Longitude of 28 and latitude of 27 bits, 1/10000 minute.
    Place,
    /// Longitude of 18 and latitude of 17 bits, 1/10 minute.
    CoarsePlace,
    /// Year of 14, month of 4, day of 5 bits.
    Date,
}

use Act::{CoarsePlace, Date, Imo, Keep, Mmsi, Text};

type Field = (usize, Act);

/// The fields of a message behind type, repeat indicator and MMSI.
#[rustfmt::skip]
const fn fields(kind: Kind) -> &'static [Field] {
    match kind.kind {
        1..=3 => &[(38, Keep(23)), (61, Act::Place), (116, Keep(33))],
        4 | 11 => &[(38, Date), (61, Keep(18)), (79, Act::Place), (134, Keep(4)), (148, Keep(1))],
        5 => &[
            (38, Keep(2)), (40, Imo), (70, Text(TextKind::CallSign, 7)), (112, Text(TextKind::Vessel, 20)),
            (232, Keep(8)), (270, Keep(4)), (283, Act::None(5, 24)), (288, Act::None(6, 60)),
            (302, Text(TextKind::Vessel, 20)), (422, Keep(2)),
        ],
        9 => &[(38, Act::None(12, 4095)), (50, Keep(11)), (61, Act::Place), (116, Keep(18)), (142, Keep(1)), (146, Keep(2))],
        18 => &[(46, Keep(11)), (57, Act::Place), (112, Keep(27)), (141, Keep(7))],
        19 => &[
            (46, Keep(11)), (57, Act::Place), (112, Keep(27)), (143, Text(TextKind::Vessel, 20)),
            (263, Keep(8)), (301, Keep(7)),
        ],
        21 => &[
            (38, Keep(5)), (43, Text(TextKind::Vessel, 20)), (163, Keep(1)), (164, Act::Place),
            (249, Keep(11)), (268, Keep(3)),
        ],
        24 if kind.part == 0 => &[(38, Keep(2)), (40, Text(TextKind::Vessel, 20))],
        24 if kind.part == 1 && kind.craft => &[
            (38, Keep(2)), (40, Keep(8)), (48, Text(TextKind::Maker, 3)), (90, Text(TextKind::CallSign, 7)), (132, Mmsi),
        ],
        24 if kind.part == 1 => &[
            (38, Keep(2)), (40, Keep(8)), (48, Text(TextKind::Maker, 3)), (90, Text(TextKind::CallSign, 7)),
        ],
        27 => &[(38, Keep(6)), (44, CoarsePlace), (79, Keep(16))],
        _ => &[],
    }
}

/// What decides the layout.
#[derive(Debug, Clone, Copy)]
struct Kind {
    kind: u8,
    /// Part of a type 24.
    part: u8,
    /// Whether the MMSI is an auxiliary craft's, which names its mother ship in a type 24.
    craft: bool,
}

impl Kind {
    fn of(sextets: &[u8]) -> Option<Self> {
        Some(Self {
            kind: get(sextets, 0, 6)? as u8,
            part: get(sextets, 38, 2).unwrap_or(3) as u8,
            craft: get(sextets, 8, 30).is_some_and(|mmsi| mmsi / 10_000_000 == 98),
        })
    }
}

/// A message whose fragments are not all there.
#[derive(Debug)]
pub(super) struct Pending {
    key: Key,
    next: u8,
    kind: Kind,
    offset: usize,
}

/// What the fragments of one message have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Key {
    talker: [u8; 2],
    own: bool,
    total: u8,
    sequence: Option<u8>,
    channel: Option<u8>,
}

/// What is known of a fragment before its payload is rewritten.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    kind: Kind,
    /// Bits of the message before this fragment.
    offset: usize,
    /// Bits at the end that do not count.
    fill: usize,
    /// Whether more fragments follow.
    more: bool,
}

impl Content {
    /// Finds the place of a VDM or VDO in its message; `None` when it is no such sentence or what it is cannot be told.
    pub(super) fn ais_part(&mut self, s: &Sentence<'_>) -> Option<Part> {
        let own = match s.formatter() {
            Some("VDM") => false,
            Some("VDO") => true,
            _ => return None,
        };
        let whole = |n| s.field(n).and_then(|text| text.trim_ascii().parse::<u8>().ok());
        let total = whole(1).filter(|n| (1..=9).contains(n))?;
        let number = whole(2).filter(|n| (1..=total).contains(n))?;
        let fill = usize::from(whole(6).unwrap_or(0).min(5));
        let mut head = [0; HEAD];
        let mut sextets = 0;
        for character in s.field(5)?.bytes() {
            let six = unarmoured(character)?;
            if let Some(to) = head.get_mut(sextets) {
                *to = six;
            }
            sextets += 1;
        }
        let head = head.get(..sextets).unwrap_or(&head);
        let more = number < total;
        let first = |n| s.field(n).and_then(|text| text.bytes().next());
        let talker = s.talker().as_bytes().try_into().ok()?;
        let key = Key { talker, own, total, sequence: first(3), channel: first(4) };
        let at = self.ais_pending.iter().position(|p| p.key == key);
        let before = at.map(|at| self.ais_pending.remove(at));
        let (kind, offset) = if number == 1 {
            (Kind::of(head)?, 0)
        } else {
            before.filter(|p| p.next == number).map(|p| (p.kind, p.offset))?
        };
        if more {
            if self.ais_pending.len() >= MAX_PENDING {
                self.ais_pending.remove(0);
            }
            let offset = offset + sextets * 6;
            self.ais_pending.push(Pending { key, next: number + 1, kind, offset });
        }
        Some(Part { kind, offset, fill, more })
    }

    /// Rewrites a payload.
    pub(super) fn ais(&mut self, time: Option<Time>, part: Option<Part>, payload: &mut [u8]) {
        let (mut old, mut new) = std::mem::take(&mut self.sextets);
        old.clear();
        old.extend(payload.iter().map_while(|b| unarmoured(*b)));
        let sound = old.len() == payload.len();
        match part.filter(|_| sound) {
            Some(part) => {
                new.clear();
                new.resize(old.len(), 0);
                self.ais_message(time, part, (&old, &mut new));
                for (to, six) in payload.iter_mut().zip(&new) {
                    *to = armoured(*six);
                }
            }
            // Damaged armour stays damaged, a fragment without its forerunner says nothing.
            None => payload.fill(if sound { b'0' } else { b'x' }),
        }
        self.sextets = (old, new);
    }

    fn ais_message(&mut self, time: Option<Time>, part: Part, (old, new): (&[u8], &mut [u8])) {
        let mut fragment = Fragment {
            old,
            new,
            offset: part.offset,
            len: (old.len() * 6).saturating_sub(part.fill),
            more: part.more,
        };
        for (start, act) in [(0, Keep(8)), (8, Mmsi)].iter().chain(fields(part.kind)) {
            self.ais_field(*start, *act, time, &mut fragment);
        }
    }

    fn ais_field(&mut self, start: usize, act: Act, time: Option<Time>, fragment: &mut Fragment<'_>) {
        match act {
            Keep(bits) => fragment.copy(start, bits),
            Act::None(bits, value) => fragment.set(start, bits, value),
            Mmsi => {
                if let Some(raw) = fragment.get(start, 30) {
                    fragment.set(start, 30, self.mmsi(raw));
                }
            }
            Imo => {
                if let Some(raw) = fragment.get(start, 30) {
                    fragment.set(start, 30, self.imo(raw));
                }
            }
            Act::Place => self.ais_place(start, [28, 27], 600_000.0, time, fragment),
            CoarsePlace => self.ais_place(start, [18, 17], 600.0, time, fragment),
            Date => {
                let field = |at, bits| fragment.get(start + at, bits).map(|v| v as i64);
                let days = field(0, 14).and_then(|y| days_from_civil(y, field(14, 4)?, field(18, 5)?));
                if let Some(days) = days {
                    let (y, m, d) = civil(days.saturating_add(self.shift_days()));
                    for (at, bits, value) in [(0, 14, y), (14, 4, m), (18, 5, d)] {
                        fragment.set(start + at, bits, value as u64);
                    }
                } else {
                    fragment.copy(start, 23);
                }
            }
            Text(kind, characters) => {
                let values = (0..characters).map_while(|n| fragment.get(start + n * 6, 6));
                let values: Vec<u64> = values.collect();
                // A text that goes on in the next fragment is not known as a whole.
                if fragment.more && values.len() < characters {
                    return;
                }
                let text: Vec<u8> = values
                    .iter()
                    .take_while(|v| **v != 0)
                    .map(|v| if *v < 32 { *v as u8 + 64 } else { *v as u8 })
                    .collect();
                let pseudonym = self.pseudonym(kind, text.trim_ascii_end());
                for (n, character) in pseudonym.iter().enumerate() {
                    fragment.set(start + n * 6, 6, u64::from(*character) & 63);
                }
            }
        }
    }

    /// Longitude, then latitude, in steps of 1 / `steps` degree. 181 and 91 degrees mean "not available".
    fn ais_place(
        &mut self,
        start: usize,
        [lon_bits, lat_bits]: [usize; 2],
        steps: f64,
        time: Option<Time>,
        fragment: &mut Fragment<'_>,
    ) {
        let signed = |at, bits: usize| {
            let unused = 64 - bits as u32;
            fragment.get(at, bits).map(|raw| ((raw << unused) as i64) >> unused)
        };
        let (Some(lon), Some(lat)) = (signed(start, lon_bits), signed(start + lon_bits, lat_bits)) else {
            return;
        };
        let (lon, lat) = (lon as f64 / steps, lat as f64 / steps);
        let (lon, lat) = if lon == 181.0 || lat == 91.0 {
            (181.0, 91.0)
        } else if let Some(place) = Place::new(lat, lon) {
            let place = self.moved(time, place);
            (place.lon_deg, place.lat_deg)
        } else {
            // No place and no code.
            (0.0, 92.0)
        };
        fragment.set(start, lon_bits, (lon * steps).round() as i64 as u64);
        fragment.set(start + lon_bits, lat_bits, (lat * steps).round() as i64 as u64);
    }
}

/// A fragment's bits, addressed by their place in the whole message.
struct Fragment<'a> {
    old: &'a [u8],
    new: &'a mut [u8],
    offset: usize,
    len: usize,
    more: bool,
}

impl Fragment<'_> {
    fn get(&self, start: usize, bits: usize) -> Option<u64> {
        let at = start.checked_sub(self.offset).filter(|at| at + bits <= self.len)?;
        get(self.old, at, bits)
    }

    /// Does nothing when the bits do not all lie within the fragment.
    fn set(&mut self, start: usize, bits: usize, value: u64) {
        if let Some(at) = start.checked_sub(self.offset).filter(|at| at + bits <= self.len) {
            set(self.new, at, bits, value);
        }
    }

    fn copy(&mut self, start: usize, bits: usize) {
        let mut at = start.max(self.offset);
        let end = (start + bits).min(self.offset + self.len);
        while at < end {
            let bits = (end - at).min(64);
            if let Some(word) = self.get(at, bits) {
                self.set(at, bits, word);
            }
            at += bits;
        }
    }
}
