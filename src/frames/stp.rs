//! Spanning tree messages between switches (IEEE 802.1D-2004 clause 9).

use super::bytes::{be16, be32, mac};
use super::{Mac, Malformed};

/// A switch as spanning tree names it; the lowest becomes root.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BridgeId {
    /// Priority (with the VLAN or instance in its lower bits).
    pub priority: u16,
    /// The switch's hardware address.
    pub mac: Mac,
}

/// A port's part in the tree, in version 2 and later.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PortRole {
    /// Not said.
    Unknown,
    /// Alternate or backup: blocked.
    Alternate,
    /// Leads to the root.
    Root,
    /// Leads away from the root.
    Designated,
}

/// What a bridge says of the tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tree {
    /// Protocol version: 0 STP, 2 RSTP, 3 MSTP.
    pub version: u8,
    /// A port went up or down somewhere: switches flush their tables.
    pub topology_change: bool,
    /// The sending port's role (version 2 and later).
    pub role: PortRole,
    /// Whether the sending port learns addresses (version 2 and later).
    pub learning: bool,
    /// Whether the sending port forwards (version 2 and later).
    pub forwarding: bool,
    /// The switch that it holds for the root.
    pub root: BridgeId,
    /// Cost of its path there.
    pub cost: u32,
    /// The sending switch.
    pub bridge: BridgeId,
    /// The sending port.
    pub port: u16,
    /// Age of the information, seconds.
    pub message_age_s: f64,
    /// Seconds after which information is stale (default 20).
    pub max_age_s: f64,
    /// Seconds between messages (default 2).
    pub hello_s: f64,
    /// Seconds of listening and learning before a port forwards (default 15).
    pub forward_delay_s: f64,
}

/// A bridge protocol data unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bpdu {
    /// A configuration message, of any version.
    Tree(Tree),
    /// A switch tells the root that a port went up or down (version 0).
    TopologyChangeNotification,
    /// Another type.
    Other {
        /// Its type.
        kind: u8,
    },
}

impl Bpdu {
    /// Reads a message behind the LLC header.
    ///
    /// # Errors
    /// When it ends before its fields do.
    pub fn parse(bytes: &[u8], cut: bool) -> Result<Self, Malformed> {
        let Some(&[0, 0, version, kind]) = bytes.first_chunk::<4>() else {
            return Err(if bytes.len() < 4 {
                Malformed::short("stp", 4, bytes.len(), cut)
            } else {
                Malformed::value("stp", 0, bytes.len())
            });
        };
        match kind {
            0x80 => Ok(Self::TopologyChangeNotification),
            0x00 | 0x02 => {
                tree(version, bytes).map(Self::Tree).ok_or(Malformed::short("stp", 35, bytes.len(), cut))
            }
            _ => Ok(Self::Other { kind }),
        }
    }
}

fn tree(version: u8, bytes: &[u8]) -> Option<Tree> {
    let bridge = |at: usize| Some(BridgeId { priority: be16(bytes, at)?, mac: mac(bytes, at + 2)? });
    let seconds = |at: usize| be16(bytes, at).map(|ticks| f64::from(ticks) / 256.0);
    let flags = *bytes.get(4)?;
    // Version 0 knows only the change and acknowledge bits.
    let rapid = if version >= 2 { flags } else { 0 };
    Some(Tree {
        version,
        topology_change: flags & 0x01 != 0,
        role: match (rapid >> 2) & 3 {
            1 => PortRole::Alternate,
            2 => PortRole::Root,
            3 => PortRole::Designated,
            _ => PortRole::Unknown,
        },
        learning: rapid & 0x10 != 0,
        forwarding: rapid & 0x20 != 0,
        root: bridge(5)?,
        cost: be32(bytes, 13)?,
        bridge: bridge(17)?,
        port: be16(bytes, 25)?,
        message_age_s: seconds(27)?,
        max_age_s: seconds(29)?,
        hello_s: seconds(31)?,
        forward_delay_s: seconds(33)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RSTP, topology change, designated, learning and forwarding; root 8000.00005e005301 at cost 20000, bridge
    /// 8001.00005e005302 port 8003; age 1 s, max age 20 s, hello 2 s, forward delay 15 s; version 1 length 0.
    const SAMPLE: [u8; 36] = [
        0, 0, 2, 2, 0x3D, 0x80, 0, 0, 0, 0x5E, 0, 0x53, 1, 0, 0, 0x4E, 0x20, 0x80, 1, 0, 0, 0x5E, 0, 0x53, 2,
        0x80, 3, 1, 0, 20, 0, 2, 0, 15, 0, 0,
    ];

    #[test]
    fn reads() {
        let Ok(Bpdu::Tree(tree)) = Bpdu::parse(&SAMPLE, false) else { panic!("a configuration message") };
        assert_eq!((tree.version, tree.topology_change, tree.role), (2, true, PortRole::Designated));
        assert!(tree.learning && tree.forwarding);
        assert_eq!(tree.root, BridgeId { priority: 0x8000, mac: Mac([0, 0, 0x5E, 0, 0x53, 1]) });
        assert_eq!((tree.cost, tree.bridge.priority, tree.port), (20_000, 0x8001, 0x8003));
        assert_eq!(
            (tree.message_age_s, tree.max_age_s, tree.hello_s, tree.forward_delay_s),
            (1.0, 20.0, 2.0, 15.0)
        );
        assert_eq!(
            Bpdu::parse(&[0, 0, 0, 0x80], false),
            Ok(Bpdu::TopologyChangeNotification),
            "a notification is four bytes"
        );
        for len in 0..35 {
            let error = Bpdu::parse(&SAMPLE[..len], true).unwrap_err();
            assert_eq!(error, Malformed::short("stp", if len < 4 { 4 } else { 35 }, len, true));
        }
        assert_eq!(Bpdu::parse(&[0, 1, 0, 0], false), Err(Malformed::value("stp", 0, 4)));
        assert_eq!(Bpdu::parse(&[0, 0, 0, 7], false), Ok(Bpdu::Other { kind: 7 }));
        let mut old = SAMPLE;
        (old[2], old[3]) = (0, 0);
        let Ok(Bpdu::Tree(tree)) = Bpdu::parse(&old, false) else { panic!("a configuration message") };
        assert_eq!((tree.role, tree.forwarding, tree.topology_change), (PortRole::Unknown, false, true));
    }
}
