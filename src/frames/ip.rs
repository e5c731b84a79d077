//! Internet protocol headers, versions 4 (RFC 791) and 6 (RFC 8200).

use super::Malformed;
use super::bytes::{be16, be32, ones_complement_sum, v6};
use std::net::IpAddr;

/// Extension headers that are followed in one IPv6 packet; each kind should come once (RFC 8200 4.1).
const MAX_EXTENSIONS: usize = 8;

/// Where a fragment belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fragment {
    /// Names the datagram that it is part of.
    pub id: u32,
    /// Where its bytes begin in the datagram's payload.
    pub offset: u32,
    /// Whether more follow.
    pub more: bool,
}

/// An IP packet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ip<'a> {
    /// Sender.
    pub source: IpAddr,
    /// Receiver or group.
    pub destination: IpAddr,
    /// Time to live or hop limit.
    pub hop_limit: u8,
    /// Protocol of the payload, behind any extension headers (IANA protocol numbers).
    pub protocol: u8,
    /// Identification of an IPv4 packet.
    pub id: Option<u16>,
    /// Whether routers must not fragment it (never allowed in version 6).
    pub dont_fragment: bool,
    /// Set when this is one fragment of several.
    pub fragment: Option<Fragment>,
    /// Whether it bears the router alert option (RFC 2113, RFC 2711).
    pub router_alert: bool,
    /// The captured payload, without link-layer padding.
    pub payload: &'a [u8],
    /// Payload bytes that the packet had; more than `payload.len()` when the recorder cut it.
    pub payload_len: usize,
}

impl<'a> Ip<'a> {
    /// Reads an IP packet of either version.
    ///
    /// # Errors
    /// When the headers are not there, or state lengths that cannot be.
    #[inline]
    pub fn parse(bytes: &'a [u8], cut: bool) -> Result<Self, Malformed> {
        match bytes.first().map(|first| first >> 4) {
            Some(4) => version_4(bytes, cut),
            Some(6) => version_6(bytes, cut),
            Some(_) => Err(Malformed::value("ip", 0, bytes.len())),
            None => Err(Malformed::short("ip", 20, 0, cut)),
        }
    }

    /// Whether the recorder cut the payload.
    #[must_use]
    pub const fn is_cut(&self) -> bool {
        self.payload.len() < self.payload_len
    }
}

/// Whether the checksum of an IPv4 packet's header is right, options included (RFC 791 3.1).
#[must_use]
pub fn ipv4_header_is_sound(header: &[u8]) -> bool {
    ones_complement_sum(header) == 0xFFFF
}

#[inline]
fn version_4(bytes: &[u8], cut: bool) -> Result<Ip<'_>, Malformed> {
    const LAYER: &str = "ipv4";
    let header = usize::from(bytes.first().copied().unwrap_or(0) & 0x0F) * 4;
    if header < 20 {
        return Err(Malformed::value(LAYER, 0, bytes.len()));
    }
    let Some((head, rest)) = bytes.split_at_checked(header) else {
        return Err(Malformed::short(LAYER, header, bytes.len(), cut));
    };
    let read = || {
        let (fixed, options) = head.split_first_chunk::<20>()?;
        let [_, _, t0, t1, id0, id1, f0, f1, hop_limit, protocol, _, _, addresses @ ..] = *fixed;
        let [s0, s1, s2, s3, d0, d1, d2, d3] = addresses;
        let flags = u16::from_be_bytes([f0, f1]);
        let (offset, more) = (u32::from(flags & 0x1FFF) * 8, flags & 0x2000 != 0);
        let id = u16::from_be_bytes([id0, id1]);
        let ip = Ip {
            source: [s0, s1, s2, s3].into(),
            destination: [d0, d1, d2, d3].into(),
            hop_limit,
            protocol,
            id: Some(id),
            dont_fragment: flags & 0x4000 != 0,
            fragment: (more || offset > 0).then_some(Fragment { id: id.into(), offset, more }),
            router_alert: v4_router_alert(options),
            payload: &[],
            payload_len: 0,
        };
        Some((ip, usize::from(u16::from_be_bytes([t0, t1]))))
    };
    let Some((mut ip, total)) = read() else {
        return Err(Malformed::short(LAYER, 20, bytes.len(), cut));
    };
    // Zero: the sending machine's card would have filled it in (segmentation offload); all that is there belongs.
    if total == 0 {
        (ip.payload, ip.payload_len) = (rest, rest.len());
        return Ok(ip);
    }
    if total < header {
        return Err(Malformed::value(LAYER, 2, bytes.len()));
    }
    if total > bytes.len() && !cut {
        return Err(Malformed::short(LAYER, total, bytes.len(), false));
    }
    let payload_len = total - header;
    (ip.payload, ip.payload_len) = (rest.get(..payload_len).unwrap_or(rest), payload_len);
    Ok(ip)
}

/// Whether IPv4 options (RFC 791 3.1) hold router alert, option 148.
fn v4_router_alert(mut options: &[u8]) -> bool {
    loop {
        options = match options {
            [148, ..] => return true,
            [1, rest @ ..] => rest,
            [0, ..] | [] | [_] => return false,
            [_, len, ..] => options.get(usize::from(*len).max(2)..).unwrap_or_default(),
        };
    }
}

fn version_6(bytes: &[u8], cut: bool) -> Result<Ip<'_>, Malformed> {
    const LAYER: &str = "ipv6";
    let read = || {
        let ip = Ip {
            source: v6(bytes, 8)?.into(),
            destination: v6(bytes, 24)?.into(),
            hop_limit: *bytes.get(7)?,
            protocol: *bytes.get(6)?,
            id: None,
            dont_fragment: true,
            fragment: None,
            router_alert: false,
            payload: bytes.get(40..)?,
            payload_len: 0,
        };
        Some((ip, usize::from(be16(bytes, 4)?)))
    };
    let Some((mut ip, stated)) = read() else {
        return Err(Malformed::short(LAYER, 40, bytes.len(), cut));
    };
    // Zero stands for a jumbogram (RFC 2675) or an offloaded packet: all that is there belongs.
    let stated = if stated == 0 { ip.payload.len() } else { stated };
    if stated > ip.payload.len() && !cut {
        return Err(Malformed::short(LAYER, 40 + stated, bytes.len(), false));
    }
    ip.payload = ip.payload.get(..stated).unwrap_or(ip.payload);
    ip.payload_len = stated;
    extensions(ip)
}

/// Walks the extension headers (RFC 8200 4) up to the payload or to a fragment of it.
fn extensions(mut ip: Ip<'_>) -> Result<Ip<'_>, Malformed> {
    const LAYER: &str = "ipv6-extension";
    for _ in 0..MAX_EXTENSIONS {
        let (payload, cut) = (ip.payload, ip.is_cut());
        let len = match (ip.protocol, payload.get(1)) {
            // Hop-by-hop, routing, destination options, mobility, host identity, shim6.
            (0 | 43 | 60 | 135 | 139 | 140, Some(len)) => (usize::from(*len) + 1) * 8,
            (44, Some(_)) => 8,
            // Authentication: counted in words of four bytes, less two (RFC 4302 2.2).
            (51, Some(len)) => (usize::from(*len) + 2) * 4,
            (0 | 43 | 44 | 51 | 60 | 135 | 139 | 140, None) => {
                return Err(Malformed::short(LAYER, 8, payload.len(), cut));
            }
            _ => return Ok(ip),
        };
        let (Some((head, rest)), Some(left)) =
            (payload.split_at_checked(len), ip.payload_len.checked_sub(len))
        else {
            return Err(Malformed::short(LAYER, len, payload.len(), cut));
        };
        if ip.protocol == 0 {
            ip.router_alert = v6_router_alert(head.get(2..).unwrap_or_default());
        }
        if ip.protocol == 44 {
            let (word, id) = (be16(head, 2).unwrap_or(0), be32(head, 4).unwrap_or(0));
            let (offset, more) = (u32::from(word & 0xFFF8), word & 1 != 0);
            // A datagram in one "atomic" fragment is whole (RFC 6946).
            ip.fragment = (more || offset > 0).then_some(Fragment { id, offset, more });
        }
        ip.protocol = head.first().copied().unwrap_or(59);
        (ip.payload, ip.payload_len) = (rest, left);
        if ip.fragment.is_some() {
            return Ok(ip);
        }
    }
    Err(Malformed::value(LAYER, 0, ip.payload.len()))
}

/// Whether hop-by-hop options hold router alert, option 5 (RFC 2711).
fn v6_router_alert(mut options: &[u8]) -> bool {
    loop {
        options = match options {
            [5, ..] => return true,
            [0, rest @ ..] => rest,
            [] | [_] => return false,
            [_, len, ..] => options.get(usize::from(*len) + 2..).unwrap_or_default(),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fact sheet's header 192.168.0.1 to 192.168.0.199, UDP, length 0x73, with its checksum B861.
    fn sample_4() -> Vec<u8> {
        let mut bytes = vec![
            0x45, 0, 0, 0x73, 0, 0, 0x40, 0, 0x40, 0x11, 0xB8, 0x61, 0xC0, 0xA8, 0, 1, 0xC0, 0xA8, 0, 0xC7,
        ];
        bytes.resize(0x73 + 3, 7);
        bytes
    }

    /// Hop-by-hop with router alert (value 0, MLD), a fragment header (id 9, offset 16, more), then 8 bytes.
    fn sample_6() -> Vec<u8> {
        let mut bytes = vec![0x60, 0, 0, 0, 0, 24, 0, 1];
        bytes.extend([0x20, 1, 0xD, 0xB8, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1]);
        bytes.extend([0xFF, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x16]);
        bytes.extend([44, 0, 5, 2, 0, 0, 1, 0]);
        bytes.extend([17, 0, 0, 17, 0, 0, 0, 9]);
        bytes.extend([1, 2, 3, 4, 5, 6, 7, 8]);
        bytes
    }

    #[test]
    fn version_4_trims_padding() {
        let bytes = sample_4();
        let ip = Ip::parse(&bytes, false).unwrap();
        assert_eq!(ip.source, IpAddr::from([192, 168, 0, 1]));
        assert_eq!((ip.protocol, ip.hop_limit, ip.payload.len()), (17, 64, 0x73 - 20));
        assert!(
            ipv4_header_is_sound(&bytes[..20]) && ip.dont_fragment && ip.fragment.is_none() && !ip.is_cut()
        );
        for len in 0..20 {
            assert!(Ip::parse(&bytes[..len], true).unwrap_err().cut);
        }
        for len in 20..0x73 {
            assert_eq!(Ip::parse(&bytes[..len], true).unwrap().payload.len(), len - 20);
            assert_eq!(Ip::parse(&bytes[..len], false).unwrap_err().needed, 0x73);
        }
    }

    #[test]
    fn version_4_fields() {
        let mut bytes = sample_4();
        bytes[6..8].copy_from_slice(&[0x20, 0xB9]);
        let ip = Ip::parse(&bytes, false).unwrap();
        assert_eq!(ip.fragment, Some(Fragment { id: 0, offset: 0xB9 * 8, more: true }));
        assert!(!ipv4_header_is_sound(&bytes[..20]), "the flags changed and the checksum did not");
        bytes[0] = 0x46;
        bytes[20..24].copy_from_slice(&[148, 4, 0, 0]);
        assert!(Ip::parse(&bytes, false).unwrap().router_alert);
        bytes[20..24].copy_from_slice(&[1, 7, 1, 0]);
        assert!(!Ip::parse(&bytes, false).unwrap().router_alert, "an option shorter than its own header");
        bytes[0] = 0x44;
        assert_eq!(Ip::parse(&bytes, false), Err(Malformed::value("ipv4", 0, bytes.len())));
        bytes[0] = 0x45;
        bytes[2..4].copy_from_slice(&[0, 19]);
        assert_eq!(Ip::parse(&bytes, false), Err(Malformed::value("ipv4", 2, bytes.len())));
        bytes[2..4].copy_from_slice(&[0, 0]);
        assert_eq!(Ip::parse(&bytes, false).unwrap().payload_len, bytes.len() - 20, "offloaded");
        bytes[0] = 0x55;
        assert_eq!(Ip::parse(&bytes, false), Err(Malformed::value("ip", 0, bytes.len())));
    }

    #[test]
    fn version_6_walks_extension_headers() {
        let bytes = sample_6();
        let ip = Ip::parse(&bytes, false).unwrap();
        assert!(ip.router_alert);
        assert_eq!((ip.protocol, ip.payload), (17, &[1, 2, 3, 4, 5, 6, 7, 8][..]));
        assert_eq!(ip.fragment, Some(Fragment { id: 9, offset: 16, more: true }));
        for len in 0..56 {
            assert!(Ip::parse(&bytes[..len], true).unwrap_err().cut, "{len}");
            assert!(!Ip::parse(&bytes[..len], false).unwrap_err().cut, "{len}");
        }
        for len in 56..64 {
            let cut = Ip::parse(&bytes[..len], true).unwrap();
            assert_eq!((cut.payload.len(), cut.payload_len), (len - 56, 8));
        }
    }

    #[test]
    fn extension_headers_do_not_go_on_for_ever() {
        let mut bytes = sample_6();
        bytes[4..6].copy_from_slice(&[0, 80]);
        bytes.truncate(40);
        for _ in 0..10 {
            bytes.extend([60, 0, 1, 4, 0, 0, 0, 0]);
        }
        assert_eq!(Ip::parse(&bytes, false).unwrap_err().layer, "ipv6-extension");
    }
}
