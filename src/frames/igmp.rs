//! Membership of multicast groups: IGMP (RFC 1112, 2236, 9776) and MLD (RFC 2710, 9777).

use super::Malformed;
use super::bytes::{be16, v4, v6};
use std::net::IpAddr;

/// A membership message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Membership<'a> {
    /// A querier asks who is in which group.
    Query {
        /// Protocol version: IGMP 1 to 3, MLD 1 or 2.
        version: u8,
        /// The group asked about; `None` asks about all.
        group: Option<IpAddr>,
        /// Milliseconds that members may take to answer.
        max_response_ms: u32,
    },
    /// A host says what it listens to.
    Report(Report<'a>),
    /// Another message.
    Other {
        /// Type.
        kind: u8,
    },
}

/// What a host says of its memberships.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Report<'a> {
    /// Protocol version: IGMP 1 to 3, MLD 1 or 2.
    pub version: u8,
    form: Form<'a>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form<'a> {
    One(IpAddr, Interest),
    Records { count: u16, bytes: &'a [u8], v6: bool },
}

/// A host's interest in a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Interest {
    /// It is in the group (now, or still).
    Joined,
    /// It joins the group at this moment, whether or not somebody asks.
    Enters,
    /// It leaves the group.
    Left,
    /// It blocks some senders of a group that it stays in.
    Unchanged,
}

impl Report<'_> {
    /// Each group with the host's interest in it; bounded by the packet.
    pub fn groups(&self) -> impl Iterator<Item = (IpAddr, Interest)> {
        let (mut one, mut left, mut rest, six) = match self.form {
            Form::One(group, interest) => (Some((group, interest)), 0, &[][..], false),
            Form::Records { count, bytes, v6 } => (None, count, bytes, v6),
        };
        std::iter::from_fn(move || {
            if let Some(only) = one.take() {
                return Some(only);
            }
            left = left.checked_sub(1)?;
            let (found, behind) = record(rest, six)?;
            rest = behind;
            Some(found)
        })
    }
}

/// A group record (RFC 9776 4.2.4, RFC 9777 5.2.4) and what follows it.
fn record(bytes: &[u8], six: bool) -> Option<((IpAddr, Interest), &[u8])> {
    let &[kind, auxiliary] = bytes.first_chunk::<2>()?;
    let sources = be16(bytes, 2)?;
    let (group, head, address): (IpAddr, usize, usize) =
        if six { (v6(bytes, 4)?.into(), 20, 16) } else { (v4(bytes, 4)?.into(), 8, 4) };
    // Including no sender is no membership; excluding no sender is full membership.
    let interest = match (kind, sources) {
        (1 | 3, 0) => Interest::Left,
        (3 | 4, _) => Interest::Enters,
        (1..=5, _) => Interest::Joined,
        _ => Interest::Unchanged,
    };
    let len = head + usize::from(sources) * address + usize::from(auxiliary) * 4;
    Some(((group, interest), bytes.get(len..).unwrap_or_default()))
}

/// A response time in its short floating-point code: as it stands while the top bit is clear, else three bits of
/// exponent before the mantissa (RFC 9776 4.1.1: 4 bits of mantissa; RFC 9777 5.1.3: 12).
fn response_code(code: u16, mantissa_bits: u16) -> u32 {
    if u32::from(code) < 1 << (mantissa_bits + 3) {
        return code.into();
    }
    let mantissa = u32::from(code) & ((1 << mantissa_bits) - 1);
    let exponent = (u32::from(code) >> mantissa_bits) & 7;
    (mantissa | (1 << mantissa_bits)) << (exponent + 3)
}

impl<'a> Membership<'a> {
    /// Reads an IGMP message.
    ///
    /// # Errors
    /// When its eight header bytes are not there.
    pub fn parse_igmp(bytes: &'a [u8], cut: bool) -> Result<Self, Malformed> {
        let (Some(&[kind, code]), Some(group), Some(rest)) =
            (bytes.first_chunk::<2>(), v4(bytes, 4), bytes.get(8..))
        else {
            return Err(Malformed::short("igmp", 8, bytes.len(), cut));
        };
        let one =
            |version, interest| Self::Report(Report { version, form: Form::One(group.into(), interest) });
        Ok(match kind {
            0x11 => {
                let version = match (code, rest.is_empty()) {
                    (0, true) => 1,
                    (_, true) => 2,
                    (_, false) => 3,
                };
                let tenths = if version == 3 { response_code(code.into(), 4) } else { code.into() };
                // Version 1 has no field; its hosts take up to 10 s (RFC 1112 appendix I).
                let max_response_ms = if version == 1 { 10_000 } else { tenths * 100 };
                let group = (!group.is_unspecified()).then_some(group.into());
                Self::Query { version, group, max_response_ms }
            }
            0x12 => one(1, Interest::Joined),
            0x16 => one(2, Interest::Joined),
            0x17 => one(2, Interest::Left),
            0x22 => {
                let count = be16(bytes, 6).unwrap_or(0);
                Self::Report(Report { version: 3, form: Form::Records { count, bytes: rest, v6: false } })
            }
            _ => Self::Other { kind },
        })
    }

    /// Reads an MLD message: ICMPv6 types 130 to 132 and 143.
    ///
    /// # Errors
    /// When its header is not there.
    pub fn parse_mld(bytes: &'a [u8], cut: bool) -> Result<Self, Malformed> {
        let short = |needed| Malformed::short("mld", needed, bytes.len(), cut);
        let (Some(&kind), Some(code), Some(count), Some(rest)) =
            (bytes.first(), be16(bytes, 4), be16(bytes, 6), bytes.get(8..))
        else {
            return Err(short(8));
        };
        let one = |interest| {
            let group = v6(bytes, 8).ok_or(short(24))?;
            Ok(Self::Report(Report { version: 1, form: Form::One(group.into(), interest) }))
        };
        match kind {
            130 => {
                let group = v6(bytes, 8).ok_or(short(24))?;
                let version = if bytes.len() > 24 { 2 } else { 1 };
                let max_response_ms = if version == 2 { response_code(code, 12) } else { code.into() };
                let group = (!group.is_unspecified()).then_some(group.into());
                Ok(Self::Query { version, group, max_response_ms })
            }
            131 => one(Interest::Joined),
            132 => one(Interest::Left),
            143 => {
                Ok(Self::Report(Report { version: 2, form: Form::Records { count, bytes: rest, v6: true } }))
            }
            _ => Ok(Self::Other { kind }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn groups(message: Result<Membership<'_>, Malformed>) -> Vec<(IpAddr, Interest)> {
        match message {
            Ok(Membership::Report(report)) => report.groups().collect(),
            other => panic!("a report, not {other:?}"),
        }
    }

    const GROUP: [u8; 4] = [239, 192, 0, 1];

    fn igmp(kind: u8, code: u8, rest: &[u8]) -> Vec<u8> {
        let mut bytes = vec![kind, code, 0, 0];
        bytes.extend(rest);
        bytes
    }

    #[test]
    fn igmp_queries() {
        let all = igmp(0x11, 100, &[0; 4]);
        let query =
            |version, group, max_response_ms| Ok(Membership::Query { version, group, max_response_ms });
        assert_eq!(Membership::parse_igmp(&all, false), query(2, None, 10_000));
        assert_eq!(Membership::parse_igmp(&igmp(0x11, 0, &[0; 4]), false), query(1, None, 10_000));
        let one = igmp(0x11, 10, &[239, 192, 0, 1, 2, 125, 0, 0]);
        assert_eq!(Membership::parse_igmp(&one, false), query(3, Some(GROUP.into()), 1000));
        // RFC 9776 4.1.1: code 0x8F = 1 000 1111: (15 + 16) << 3 = 248 tenths of a second.
        let long = igmp(0x11, 0x8F, &[0, 0, 0, 0, 2, 125, 0, 0]);
        assert_eq!(Membership::parse_igmp(&long, false), query(3, None, 24_800));
        for len in 0..8 {
            assert!(Membership::parse_igmp(&all[..len], false).is_err());
        }
    }

    #[test]
    fn igmp_reports() {
        let group = IpAddr::from(GROUP);
        for (kind, interest) in [(0x12, Interest::Joined), (0x16, Interest::Joined), (0x17, Interest::Left)] {
            let bytes = igmp(kind, 0, &GROUP);
            assert_eq!(groups(Membership::parse_igmp(&bytes, false)), [(group, interest)]);
        }
        // Version 3: to exclude nothing (join); to include nothing (leave) with one word of auxiliary data;
        // allow one source; block one.
        let mut rest = vec![0, 0, 0, 4];
        rest.extend([4, 0, 0, 0, 239, 192, 0, 1]);
        rest.extend([3, 1, 0, 0, 239, 192, 0, 2, 9, 9, 9, 9]);
        rest.extend([5, 0, 0, 1, 239, 192, 0, 3, 192, 0, 2, 1]);
        rest.extend([6, 0, 0, 1, 239, 192, 0, 4, 192, 0, 2, 1]);
        let bytes = igmp(0x22, 0, &rest);
        let want = [Interest::Enters, Interest::Left, Interest::Joined, Interest::Unchanged];
        let got = groups(Membership::parse_igmp(&bytes, false));
        assert_eq!(got.iter().map(|(_, interest)| *interest).collect::<Vec<_>>(), want);
        assert_eq!(got[3].0, IpAddr::from([239, 192, 0, 4]));
        for len in 8..bytes.len() {
            let cut = groups(Membership::parse_igmp(&bytes[..len], true));
            assert!(cut.len() <= 4 && want.starts_with(&cut.iter().map(|g| g.1).collect::<Vec<_>>()));
        }
        assert_eq!(
            Membership::parse_igmp(&igmp(0x13, 0, &GROUP), false),
            Ok(Membership::Other { kind: 0x13 })
        );
    }

    #[test]
    fn mld() {
        let mut group = [0; 16];
        (group[0], group[1], group[15]) = (0xFF, 2, 0xFB);
        let message = |kind: u8, code: u16, rest: &[u8]| {
            let mut bytes = vec![kind, 0, 0, 0];
            bytes.extend(code.to_be_bytes());
            bytes.extend(rest);
            bytes
        };
        let mut rest = vec![0, 0];
        rest.extend(group);
        assert_eq!(
            groups(Membership::parse_mld(&message(131, 0, &rest), false)),
            [(IpAddr::from(group), Interest::Joined)]
        );
        let done = message(132, 0, &rest);
        assert_eq!(groups(Membership::parse_mld(&done, false)), [(IpAddr::from(group), Interest::Left)]);
        for len in 0..24 {
            assert!(Membership::parse_mld(&done[..len], true).unwrap_err().cut);
        }
        // Code 0x8000: 1 000 000000000000: 4096 << 3 = 32 768 ms (RFC 9777 5.1.3).
        let mut query = message(130, 0x8000, &[0; 18]);
        query.extend([2, 125, 0, 0]);
        let want = Membership::Query { version: 2, group: None, max_response_ms: 32_768 };
        assert_eq!(Membership::parse_mld(&query, false), Ok(want));
        let mut records = vec![0, 1, 4, 0, 0, 0];
        records.extend(group);
        assert_eq!(
            groups(Membership::parse_mld(&message(143, 0, &records), false)),
            [(IpAddr::from(group), Interest::Enters)]
        );
    }
}
