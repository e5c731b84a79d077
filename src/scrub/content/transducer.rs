//! Measurements of transducers (XDR), rewritten in place: what is measured stays, names and places do not.

use super::line::{Fields, is_number, keep_if, number, write};
use super::{Content, TextKind, coordinate};

/// A number of these types with so many decimals may be a coordinate.
const COORDINATE_DECIMALS: usize = 4;

/// Names of transducers that tell nothing but what is measured (common practice; IEC 61162-1 leaves them free).
const TRANSDUCERS: &[&str] = &[
    "PITCH",
    "PTCH",
    "ROLL",
    "HEEL",
    "YAW",
    "BARO",
    "BAROMETER",
    "AIRTEMP",
    "TEMPAIR",
    "AIR",
    "WATERTEMP",
    "SEATEMP",
    "WATER",
    "SEA",
    "BATT",
    "BATTERY",
    "VOLT",
    "ENGINE",
    "FUEL",
    "RUDDER",
    "DEPTH",
    "HUMIDITY",
];

/// Words in the name of a transducer that say what it measures (see the decoder of XDR).
const WORDS: [&str; 3] = ["WATER", "SEA", "BARO"];

/// Words in the name of a transducer that is none, but tells where the boat is (common practice, no source).
const COORDINATES: [&str; 3] = ["LAT", "LON", "LNG"];

impl Content {
    /// Type, value, unit and name of a measurement.
    pub(super) fn transducer(&mut self, kind: &mut [u8], rest: &mut Fields<'_>) {
        let free = matches!(kind.trim_ascii(), b"A" | b"G");
        keep_if(kind, |text| matches!(text, [b] if b.is_ascii_uppercase()));
        let (value, unit, name) = (rest.next(), rest.next(), rest.next());
        let said = name.as_deref().unwrap_or_default().to_ascii_uppercase();
        let place = COORDINATES.iter().any(|word| says(&said, word));
        // How far the boat heels may be as many degrees as its latitude.
        let known = is_plain(stem(&said));
        if let Some(value) = value {
            let waters = self.places.waters();
            keep_if(value, |text| {
                let odd = coordinate::decimals(text) >= COORDINATE_DECIMALS
                    || coordinate::resembles(text, waters.clone())
                    || (!known && coordinate::is_angle_of(text, waters.clone()));
                is_number(text) && !(free && (place || odd))
            });
        }
        if let Some(unit) = unit {
            keep_if(unit, |text| matches!(text, [b] if b.is_ascii_uppercase()));
        }
        if let Some(name) = name {
            self.transducer_name(name);
        }
    }

    /// A name keeps the words that say what is measured, and its number.
    fn transducer_name(&mut self, part: &mut [u8]) {
        let old = part.to_ascii_uppercase();
        let stem = stem(&old);
        if is_plain(stem) {
            return;
        }
        let kept = part.to_vec();
        let text = self.pseudonym(TextKind::Transducer, stem);
        write(part.get_mut(..stem.len()), &text);
        for word in WORDS {
            for at in 0..old.len().saturating_sub(word.len() - 1) {
                let place = at..at + word.len();
                if old.get(place.clone()) == Some(word.as_bytes())
                    && let Some(from) = kept.get(place.clone())
                {
                    write(part.get_mut(place), from);
                }
            }
        }
    }
}

/// A name without its number, where the decoder takes that for an instance.
fn stem(name: &[u8]) -> &[u8] {
    let digits = name.iter().rev().take_while(|b| b.is_ascii_digit()).count();
    let (stem, instance) = name.split_at_checked(name.len() - digits).unwrap_or_default();
    if number(instance).is_some_and(|n| n <= u64::from(u8::MAX)) { stem } else { name }
}

/// Whether a name without its number tells nothing but what is measured.
fn is_plain(stem: &[u8]) -> bool {
    let plain = stem.trim_ascii().strip_suffix(b"#").unwrap_or(stem.trim_ascii());
    let plain = plain.strip_suffix(b"_").unwrap_or(plain);
    TRANSDUCERS.iter().any(|known| known.as_bytes() == plain)
}

fn says(name: &[u8], word: &str) -> bool {
    name.windows(word.len()).any(|part| part == word.as_bytes())
}
