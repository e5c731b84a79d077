//! Packets: what the link puts in front, and what is no IP.

use super::{Desk, discovery};
use crate::frames::{Arp, Bpdu};
use crate::recording::{LinkType, Recorded, Tape};
use crate::time::Time;

/// VLAN tags that are followed (as the reader does).
const MAX_TAGS: usize = 4;

/// Where a packet stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way {
    /// Wire of the recording.
    pub(super) wire: usize,
    /// When.
    pub(super) time: Option<Time>,
    /// Whether the recorder cut the packet.
    pub(super) cut: bool,
}

impl Desk {
    /// Rewrites a packet at `data` of the tape that had `original` bytes.
    pub(super) fn packet(
        &mut self,
        tape: &mut Tape,
        record: &Recorded,
        link: LinkType,
        data: (u64, usize),
        original: u32,
    ) {
        let (at, len) = data;
        let way = Way { wire: record.wire, time: record.time, cut: original as usize > len };
        let Some(bytes) = tape.get_mut(at, len) else { return };
        let head = self.head(link, bytes);
        match head {
            Some((kind, head)) => {
                let rest = bytes.get_mut(head..).unwrap_or_default();
                let behind = self.content_of(kind, rest, way);
                if behind == Behind::Ip {
                    self.ip(tape, at + head as u64, len - head, way);
                } else if let Behind::IpAt(from) = behind {
                    let from = head + from;
                    self.ip(tape, at + from as u64, len.saturating_sub(from), way);
                }
            }
            None => {
                // A header that is cut or of an unknown family: nothing in it is needed.
                self.blanked.damaged += len as u64;
                bytes.fill(0);
            }
        }
    }

    /// Rewrites the link's header; gives the EtherType (`None` when IP must follow) and the header's length.
    fn head(&mut self, link: LinkType, bytes: &mut [u8]) -> Option<(Option<u16>, usize)> {
        let be16 =
            |bytes: &[u8], at: usize| Some(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?));
        let (mut kind, mut at) = match link {
            LinkType::Ethernet => {
                let kind = be16(bytes, 12)?;
                self.mac_at(bytes, 0);
                self.mac_at(bytes, 6);
                (kind, 14)
            }
            LinkType::RawIp => return Some((None, 0)),
            LinkType::Null | LinkType::Loop => {
                let known = |word: u32| matches!(word, 2 | 10 | 24 | 28 | 30);
                let word: [u8; 4] = bytes.get(..4)?.try_into().ok()?;
                let little = link == LinkType::Null && known(u32::from_le_bytes(word));
                return (little || known(u32::from_be_bytes(word))).then_some((None, 4));
            }
            LinkType::LinuxCooked | LinkType::LinuxCooked2 => {
                let (kind, length, address, head) = if link == LinkType::LinuxCooked {
                    (be16(bytes, 14)?, be16(bytes, 4)?, 6, 16)
                } else {
                    (be16(bytes, 0)?, u16::from(*bytes.get(11)?), 12, 20)
                };
                bytes.get(..head)?;
                let field = bytes.get_mut(address..address + 8)?;
                if length == 6 {
                    field.get_mut(6..).unwrap_or_default().fill(0);
                    self.mac_at(field, 0);
                } else {
                    field.fill(0);
                }
                (kind, head)
            }
        };
        for _ in 0..MAX_TAGS {
            if !matches!(kind, 0x8100 | 0x88A8) {
                break;
            }
            let Some(inner) = be16(bytes, at + 2) else { return Some((Some(kind), at)) };
            (kind, at) = (inner, at + 4);
        }
        Some((Some(kind), at))
    }

    /// Rewrites what is behind the EtherType; says where IP follows.
    fn content_of(&mut self, kind: Option<u16>, rest: &mut [u8], way: Way) -> Behind {
        let Some(kind) = kind else { return Behind::Ip };
        match kind {
            0x0800 | 0x86DD => return Behind::Ip,
            0x0806 => self.arp(rest, way.cut),
            0x88CC => discovery::lldp(&mut self.content, rest),
            // 802.1X: version, type and length.
            0x888E => self.blank_from(rest, 4),
            // The length of an 802.3 frame; 4 marks one behind a Linux cooked header.
            0..=1500 => {
                let stated = if kind == 4 { rest.len() } else { rest.len().min(kind.into()) };
                if let Some(padding) = rest.get_mut(stated..) {
                    padding.fill(0);
                }
                let body = rest.get_mut(..stated).unwrap_or_default();
                if let [0x42, 0x42, 0x03, bpdu @ ..] = body {
                    self.bpdu(bpdu, way.cut);
                } else if let [0xAA, 0xAA, 0x03, 0, 0, 0, high, low, inner @ ..] = body {
                    return match self.content_of(
                        Some(u16::from_be_bytes([*high, *low]).max(1501)),
                        inner,
                        way,
                    ) {
                        Behind::Ip => Behind::IpAt(8),
                        _ => Behind::Nothing,
                    };
                } else {
                    self.blank_from(body, 3);
                }
            }
            _ => self.blank_from(rest, 0),
        }
        Behind::Nothing
    }

    fn arp(&mut self, bytes: &mut [u8], cut: bool) {
        if let Ok(Some(_)) = Arp::parse(bytes, cut) {
            self.mac_at(bytes, 8);
            self.ipv4_at(bytes, 14);
            self.mac_at(bytes, 18);
            self.ipv4_at(bytes, 24);
            bytes.get_mut(28..).unwrap_or_default().fill(0);
        } else {
            // Of other networks, or cut: what it is about stays, the addresses go.
            self.blank_from(bytes, 8);
        }
    }

    /// Spanning tree (IEEE 802.1D clause 9): identifiers of bridges hold their hardware addresses.
    fn bpdu(&mut self, bytes: &mut [u8], cut: bool) {
        if Bpdu::parse(bytes, cut).is_err() {
            self.blank_from(bytes, 4);
            return;
        }
        if bytes.len() >= 25 {
            self.mac_at(bytes, 7);
            self.mac_at(bytes, 19);
        } else {
            bytes.get_mut(4..).unwrap_or_default().fill(0);
        }
        // Times end at byte 35, the length of version 1 stands at 35; names of regions come behind.
        bytes.get_mut(36..).unwrap_or_default().fill(0);
    }

    pub(super) fn blank_from(&mut self, bytes: &mut [u8], from: usize) {
        let rest = bytes.get_mut(from..).unwrap_or_default();
        self.blanked.payload += rest.len() as u64;
        if rest.iter().all(|byte| *byte == 0) {
            return;
        }
        // Unlike packets stay unlike: copies of one packet tell of loops, and mere likeness must not.
        let mark = self.content.mark(rest);
        rest.fill(0);
        for (to, from) in rest.iter_mut().zip(mark) {
            *to = from;
        }
    }

    pub(super) fn mac_at(&mut self, bytes: &mut [u8], at: usize) {
        if let Some(mac) = bytes.get_mut(at..).and_then(|rest| rest.first_chunk_mut::<6>())
            && *mac != [0; 6]
        {
            self.content.mac(mac);
        }
    }

    pub(super) fn ipv4_at(&mut self, bytes: &mut [u8], at: usize) {
        if let Some(ip) = bytes.get_mut(at..).and_then(|rest| rest.first_chunk_mut::<4>()) {
            self.content.ipv4(ip);
        }
    }

    pub(super) fn ipv6_at(&mut self, bytes: &mut [u8], at: usize) {
        if let Some(ip) = bytes.get_mut(at..).and_then(|rest| rest.first_chunk_mut::<16>()) {
            self.content.ipv6(ip);
        }
    }
}

/// What follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Behind {
    Nothing,
    Ip,
    IpAt(usize),
}
