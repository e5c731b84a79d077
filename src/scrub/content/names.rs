//! Words of an owner, a maker or an installer: replaced by invented ones of the same length.

use super::key::{Domain, Keyed};

/// What a text is. Equal texts of one kind get equal replacements.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum TextKind {
    /// Host name; dots stay, as they part its labels.
    Host,
    /// DHCP client identifier and the like.
    Client,
    /// Model of a device.
    Model,
    /// Software or model version.
    Version,
    /// Serial code.
    Serial,
    /// Text of an installer.
    Installation,
    /// Name or destination of a vessel, name of a target or an aid to navigation.
    Vessel,
    /// Radio call sign.
    CallSign,
    /// Name of a waypoint or route.
    Waypoint,
    /// Maker, as text.
    Maker,
    /// Wi-Fi name.
    Network,
    /// Name of a transducer.
    Transducer,
    /// Any other text.
    Other,
}

impl TextKind {
    /// What the closing words call it, in the plural.
    pub(super) const fn plural(self) -> &'static str {
        match self {
            Self::Host => "host names",
            Self::Client => "client identifiers",
            Self::Model => "model names",
            Self::Version => "version texts",
            Self::Serial => "serial codes",
            Self::Installation => "installation texts",
            Self::Vessel => "names of vessels, targets and destinations",
            Self::CallSign => "call signs",
            Self::Waypoint => "names of waypoints and routes",
            Self::Maker => "makers' texts",
            Self::Network => "Wi-Fi names",
            Self::Transducer => "names of transducers",
            Self::Other => "other texts",
        }
    }
}

/// Replacements of which one might be the text itself by chance, when it is short; so many are tried.
const TRIES: u8 = 8;

impl Keyed {
    /// An invented text for `text`, as long, of capitals or digits (a host name: small letters).
    ///
    /// Capital and small letters count alike, as names come in either by different ways.
    pub(super) fn pseudonym(&self, kind: TextKind, text: &[u8]) -> Vec<u8> {
        let plain = text.to_ascii_uppercase();
        let mut out = vec![0; text.len()];
        for attempt in 0..TRIES {
            let seed = [&[attempt], plain.as_slice()].concat();
            self.fill(Domain::Text(kind), &seed, &mut out);
            let mut place = 0_usize;
            for (new, old) in out.iter_mut().zip(text) {
                if kind == TextKind::Host && *old == b'.' {
                    *new = b'.';
                    place = 0;
                    continue;
                }
                *new = letter(kind, place, *new);
                place += 1;
            }
            if out.to_ascii_uppercase() != plain {
                break;
            }
        }
        out
    }
}

/// Consonants and vowels by turns make a word that can be said and remembered.
fn letter(kind: TextKind, place: usize, random: u8) -> u8 {
    let alphabet: &[u8] = match (kind, place % 2) {
        (TextKind::Version | TextKind::Serial, _) => b"0123456789",
        (TextKind::Host | TextKind::Client | TextKind::Network, 0) => b"bdfgklmnprstvz",
        (TextKind::Host | TextKind::Client | TextKind::Network, _) => b"aeiou",
        (_, 0) => b"BDFGKLMNPRSTVZ",
        (_, _) => b"AEIOU",
    };
    alphabet.get(usize::from(random) % alphabet.len()).copied().unwrap_or(b'x')
}

#[cfg(test)]
mod tests {
    use super::super::Key;
    use super::*;

    #[test]
    fn a_text_gets_one_of_its_length() {
        let keyed = Keyed::new(Key([1; 32]));
        for (kind, text) in [
            (TextKind::Model, "Example 12"),
            (TextKind::Serial, "SN0123"),
            (TextKind::Host, "bow-display.local"),
            (TextKind::Vessel, "A"),
            (TextKind::Vessel, ""),
        ] {
            let other = keyed.pseudonym(kind, text.as_bytes());
            assert_eq!(other.len(), text.len());
            assert_eq!(other, keyed.pseudonym(kind, text.as_bytes()));
            assert!(text.is_empty() || other != text.as_bytes(), "{text}");
        }
        let host = keyed.pseudonym(TextKind::Host, b"bow.local");
        assert_eq!(host.iter().position(|b| *b == b'.'), Some(3));
        assert_eq!(keyed.pseudonym(TextKind::Vessel, b"Gull"), keyed.pseudonym(TextKind::Vessel, b"GULL"));
        assert_ne!(keyed.pseudonym(TextKind::Vessel, b"GULL"), keyed.pseudonym(TextKind::Vessel, b"TERN"));
        assert_ne!(
            keyed.pseudonym(TextKind::Vessel, b"GULL"),
            Keyed::new(Key([2; 32])).pseudonym(TextKind::Vessel, b"GULL")
        );
    }
}
