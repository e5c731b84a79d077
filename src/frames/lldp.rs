//! Link layer discovery (IEEE 802.1AB-2016 clause 8): a switch names itself and the port that the recorder hangs on.

use super::bytes::{be16, mac, v4, v6};
use super::text::clean;
use super::{Mac, Malformed};
use std::net::IpAddr;

/// Elements read of one frame; the standard's own kinds come to fewer than ten.
const MAX_ELEMENTS: usize = 64;

/// How a chassis or port is named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LldpId {
    /// By a hardware address.
    Mac(Mac),
    /// By a network address.
    Address(IpAddr),
    /// By a name; cleaned for display.
    Text(String),
}

/// What one end of a cable says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lldp {
    /// The machine.
    pub chassis: LldpId,
    /// Its port.
    pub port: LldpId,
    /// Seconds that this holds; 0: the sender is leaving.
    pub ttl_s: u16,
    /// Description of the port, cleaned.
    pub port_description: Option<String>,
    /// Name of the machine, cleaned.
    pub system_name: Option<String>,
    /// Description of the machine, cleaned.
    pub system_description: Option<String>,
    /// Capabilities switched on: bit 2 bridge, 3 access point, 4 router, 7 station (8.5.8.1).
    pub capabilities: Option<u16>,
    /// Address to manage it by, the first given.
    pub management: Option<IpAddr>,
    /// Auto-negotiation on at the port, from the 802.3 MAC/PHY element (802.3 79.3.1).
    pub auto_negotiation: Option<bool>,
}

impl Lldp {
    /// Reads the frame's elements. Chassis, port and time to live must come first, in this order (8.2).
    ///
    /// # Errors
    /// When these three are not there or a length runs out of the frame before them. Damage behind them only ends
    /// the reading.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Self, Malformed> {
        let mut elements = elements(bytes);
        let mut next = |kind, needed| {
            let (found, value) = elements.next().ok_or(Malformed::short("lldp", needed, bytes.len(), cut))?;
            if found == kind { Ok(value) } else { Err(Malformed::value("lldp", 0, bytes.len())) }
        };
        let chassis = id(next(1, 4)?, 4, 5);
        let port = id(next(2, 8)?, 3, 4);
        let ttl_s = be16(next(3, 12)?, 0).ok_or(Malformed::short("lldp", 12, bytes.len(), cut))?;
        let mut lldp = Self {
            chassis,
            port,
            ttl_s,
            port_description: None,
            system_name: None,
            system_description: None,
            capabilities: None,
            management: None,
            auto_negotiation: None,
        };
        for (kind, value) in elements.take(MAX_ELEMENTS) {
            match (kind, value) {
                (4, _) => lldp.port_description = Some(clean(value)),
                (5, _) => lldp.system_name = Some(clean(value)),
                (6, _) => lldp.system_description = Some(clean(value)),
                (7, _) => lldp.capabilities = be16(value, 2),
                (8, [_, family, ..]) if lldp.management.is_none() => {
                    lldp.management = address(*family, value.get(2..).unwrap_or_default());
                }
                (127, [0x00, 0x12, 0x0F, 1, support, ..]) => lldp.auto_negotiation = Some(support & 2 != 0),
                _ => {}
            }
        }
        Ok(lldp)
    }
}

/// Type and value of each element up to the end element or the end of the bytes.
fn elements(mut bytes: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    std::iter::from_fn(move || {
        let head = be16(bytes, 0)?;
        let (value, rest) = bytes.get(2..)?.split_at_checked(usize::from(head & 0x01FF))?;
        bytes = rest;
        let kind = u8::try_from(head >> 9).ok()?;
        (kind != 0).then_some((kind, value))
    })
}

/// A chassis or port id; which subtypes are hardware and network addresses differs (tables 8-2 and 8-3).
fn id(value: &[u8], mac_subtype: u8, address_subtype: u8) -> LldpId {
    let Some((subtype, name)) = value.split_first() else { return LldpId::Text(String::new()) };
    let known = if *subtype == mac_subtype {
        mac(name, 0).map(LldpId::Mac)
    } else if *subtype == address_subtype {
        let (family, bytes) = name.split_first().unwrap_or((&0, &[]));
        address(*family, bytes).map(LldpId::Address)
    } else {
        None
    };
    known.unwrap_or_else(|| LldpId::Text(clean(name)))
}

/// An address by its family number (IANA: 1 IPv4, 2 IPv6).
fn address(family: u8, bytes: &[u8]) -> Option<IpAddr> {
    match family {
        1 => v4(bytes, 0).map(IpAddr::from),
        2 => v6(bytes, 0).map(IpAddr::from),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chassis by MAC 00:00:5e:00:53:01, port "7" (interface name), TTL 120, system name "console", capabilities
    /// bridge, management 192.0.2.1, auto-negotiation on, end.
    fn sample() -> Vec<u8> {
        let mut bytes = vec![0x02, 7, 4, 0, 0, 0x5E, 0, 0x53, 1];
        bytes.extend([0x04, 2, 5, b'7', 0x06, 2, 0, 120]);
        bytes.extend([0x0A, 7]);
        bytes.extend(b"console");
        bytes.extend([0x0E, 4, 0, 0x14, 0, 4]);
        bytes.extend([0x10, 12, 5, 1, 192, 0, 2, 1, 2, 0, 0, 0, 1, 0]);
        bytes.extend([0xFE, 9, 0, 0x12, 0x0F, 1, 3, 0x6C, 0, 0, 0x1E]);
        bytes.extend([0, 0]);
        bytes
    }

    #[test]
    fn reads() {
        let lldp = Lldp::parse(&sample(), false).unwrap();
        assert_eq!(lldp.chassis, LldpId::Mac(Mac([0, 0, 0x5E, 0, 0x53, 1])));
        assert_eq!((lldp.port, lldp.ttl_s), (LldpId::Text("7".into()), 120));
        assert_eq!(lldp.system_name.as_deref(), Some("console"));
        assert_eq!(lldp.capabilities, Some(4));
        assert_eq!(lldp.management, Some(IpAddr::from([192, 0, 2, 1])));
        assert_eq!(lldp.auto_negotiation, Some(true));
        assert_eq!(
            id(&[5, 1, 192, 0, 2, 9], 4, 5),
            LldpId::Address(IpAddr::from([192, 0, 2, 9])),
            "chassis by address"
        );
    }

    #[test]
    fn short_and_wrong() {
        let bytes = sample();
        for len in 0..bytes.len() {
            assert_eq!(Lldp::parse(&bytes[..len], true).is_ok(), len >= 17, "{len}");
        }
        assert_eq!(Lldp::parse(&bytes[9..], false), Err(Malformed::value("lldp", 0, bytes.len() - 9)));
    }
}
