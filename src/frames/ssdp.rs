//! Service announcements in HTTP form (SSDP: UPnP Device Architecture 2.0 clause 1).

use super::text::clean;

/// UDP port.
pub const SSDP_PORT: u16 = 1900;
/// Header lines read of one message.
const MAX_LINES: usize = 64;

/// What a message is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SsdpKind {
    /// Says that it is there (NTS `ssdp:alive`).
    Alive,
    /// Leaves (NTS `ssdp:byebye`).
    ByeBye,
    /// Says that its boot number changes (NTS `ssdp:update`).
    Update,
    /// Looks for devices or services (`M-SEARCH`).
    Search,
    /// Answers a search.
    Response,
}

/// An SSDP message. All texts are cleaned for display.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ssdp {
    /// What it is for.
    pub kind: SsdpKind,
    /// What is announced (NT) or looked for (ST).
    pub target: Option<String>,
    /// Names the device and service for good (USN).
    pub usn: Option<String>,
    /// What software it says it is (SERVER).
    pub server: Option<String>,
    /// Where its description can be fetched (LOCATION).
    pub location: Option<String>,
    /// Counts its restarts (BOOTID.UPNP.ORG).
    pub boot_id: Option<u32>,
    /// Seconds that the announcement holds (CACHE-CONTROL max-age).
    pub max_age_s: Option<u32>,
}

impl Ssdp {
    /// Reads a message; `None` when it is none of these kinds. What is missing at the end of a cut one stays `None`.
    #[must_use]
    pub fn parse(bytes: &[u8]) -> Option<Self> {
        let mut lines = bytes.split(|b| *b == b'\n').map(<[u8]>::trim_ascii).take(MAX_LINES);
        let first = lines.next()?;
        let starts =
            |with: &[u8]| first.get(..with.len()).is_some_and(|head| head.eq_ignore_ascii_case(with));
        let mut kind = if starts(b"M-SEARCH ") {
            Some(SsdpKind::Search)
        } else if starts(b"HTTP/1.") {
            Some(SsdpKind::Response)
        } else if starts(b"NOTIFY ") {
            None
        } else {
            return None;
        };
        let is_notify = kind.is_none();
        let mut ssdp = Self {
            kind: SsdpKind::Alive,
            target: None,
            usn: None,
            server: None,
            location: None,
            boot_id: None,
            max_age_s: None,
        };
        for line in lines {
            let Some(colon) = line.iter().position(|b| *b == b':') else { continue };
            let (name, value) = line.split_at_checked(colon)?;
            let value = value.get(1..).unwrap_or_default().trim_ascii();
            let name = name.trim_ascii_end();
            let is = |wanted: &[u8]| name.eq_ignore_ascii_case(wanted);
            if is(b"NTS") && is_notify {
                kind = match value {
                    b"ssdp:alive" => Some(SsdpKind::Alive),
                    b"ssdp:byebye" => Some(SsdpKind::ByeBye),
                    b"ssdp:update" => Some(SsdpKind::Update),
                    _ => None,
                };
            } else if is(b"NT") || is(b"ST") {
                ssdp.target = Some(clean(value));
            } else if is(b"USN") {
                ssdp.usn = Some(clean(value));
            } else if is(b"SERVER") {
                ssdp.server = Some(clean(value));
            } else if is(b"LOCATION") {
                ssdp.location = Some(clean(value));
            } else if is(b"BOOTID.UPNP.ORG") {
                ssdp.boot_id = number(value);
            } else if is(b"CACHE-CONTROL") {
                ssdp.max_age_s = max_age(value);
            }
        }
        ssdp.kind = kind?;
        Some(ssdp)
    }
}

/// A decimal number that fits.
fn number(digits: &[u8]) -> Option<u32> {
    std::str::from_utf8(digits).ok()?.parse().ok()
}

/// Seconds behind `max-age =`.
fn max_age(value: &[u8]) -> Option<u32> {
    let head = value.get(..7).filter(|head| head.eq_ignore_ascii_case(b"max-age"))?;
    let rest = value.get(head.len()..)?.trim_ascii_start().strip_prefix(b"=")?.trim_ascii_start();
    let end = rest.iter().position(|b| !b.is_ascii_digit()).unwrap_or(rest.len());
    number(rest.get(..end)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALIVE: &[u8] = b"NOTIFY * HTTP/1.1\r\nHOST: 239.255.255.250:1900\r\nCache-Control: max-age = 1800\r\n\
        LOCATION: http://192.0.2.5:80/d.xml\r\nNT: upnp:rootdevice\r\nNTS: ssdp:alive\r\nSERVER: os/1 UPnP/2.0 x/3\r\n\
        USN: uuid:1::upnp:rootdevice\r\nBOOTID.UPNP.ORG: 42\r\n\r\n";

    #[test]
    fn announcements() {
        let alive = Ssdp::parse(ALIVE).unwrap();
        assert_eq!((alive.kind, alive.boot_id, alive.max_age_s), (SsdpKind::Alive, Some(42), Some(1800)));
        assert_eq!(alive.server.as_deref(), Some("os/1 UPnP/2.0 x/3"));
        assert_eq!(alive.location.as_deref(), Some("http://192.0.2.5:80/d.xml"));
        assert_eq!(alive.target.as_deref(), Some("upnp:rootdevice"));
        assert_eq!(alive.usn.as_deref(), Some("uuid:1::upnp:rootdevice"));
        let kinds = [("byebye", SsdpKind::ByeBye), ("update", SsdpKind::Update)];
        for (text, kind) in kinds {
            let message = format!("NOTIFY * HTTP/1.1\r\nNTS: ssdp:{text}\r\n\r\n");
            assert_eq!(Ssdp::parse(message.as_bytes()).map(|ssdp| ssdp.kind), Some(kind));
        }
    }

    #[test]
    fn searches_and_others() {
        let search =
            Ssdp::parse(b"M-SEARCH * HTTP/1.1\r\nMAN: \"ssdp:discover\"\r\nST: ssdp:all\r\n\r\n").unwrap();
        assert_eq!((search.kind, search.target.as_deref()), (SsdpKind::Search, Some("ssdp:all")));
        let answer = Ssdp::parse(b"HTTP/1.1 200 OK\r\nST: a\r\nCACHE-CONTROL: no-cache\r\n\r\n").unwrap();
        assert_eq!((answer.kind, answer.max_age_s), (SsdpKind::Response, None));
        assert_eq!(Ssdp::parse(b"GET / HTTP/1.1\r\n\r\n"), None);
        assert_eq!(Ssdp::parse(b"NOTIFY * HTTP/1.1\r\n\r\n"), None, "a notification of nothing");
    }

    #[test]
    fn every_shorter_length() {
        for len in 0..ALIVE.len() {
            let cut = Ssdp::parse(&ALIVE[..len]);
            assert!(cut.is_none_or(|ssdp| ssdp.kind == SsdpKind::Alive), "{len}");
        }
    }
}
