//! A capture interface: from a packet's bytes and the link type to what the record holds.

use super::account::Account;
use super::bytes::u16_at;
use super::can_frame::CanHead;
use super::can_socket::{DATA_AT, IdOrder, cooked_frame, frame, usual_frame};
use super::cursor::Content;
use super::{CanKind, LentFrame, LinkType, Payload, WireKind};

/// Linux cooked protocol numbers of CAN and CAN FD (linux/if_ether.h).
const ETH_P_CAN: u16 = 0x000C;
const ETH_P_CANFD: u16 = 0x000D;

/// What a link type number stands for here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Link {
    Packet(LinkType),
    SocketCan,
    Unknown(u16),
}

/// The packets of an interface that need no closer look, with the wire that they are of.
#[derive(Debug, Clone, Copy)]
pub(super) enum Usual {
    /// CAN frames.
    Can(usize),
    /// Packets.
    Packet(usize, LinkType),
}

impl Usual {
    /// What the captured `bytes` hold and on which wire; `None` when [`Interface::take`] must look.
    #[inline(always)]
    pub(super) fn payload(self, bytes: &[u8], original: u32) -> Option<(usize, Payload<'_>)> {
        match self {
            Self::Can(wire) => {
                let (id, data) = bytes.first_chunk().and_then(usual_frame)?;
                Some((wire, Payload::Can(LentFrame { id, kind: CanKind::Extended, fd: false, data })))
            }
            Self::Packet(wire, link) => {
                let captured = u32::try_from(bytes.len()).ok()?;
                (original <= captured).then_some((wire, Payload::Packet { link, bytes, original: captured }))
            }
        }
    }
}

/// One interface of a capture.
#[derive(Debug, Clone)]
pub(super) struct Interface {
    link: Link,
    name: Option<String>,
    /// Number within the section: two nameless interfaces are two wires.
    number: usize,
    fcs_len: u32,
    packet_wire: Option<usize>,
    can_wire: Option<usize>,
    order: IdOrder,
}

impl Interface {
    /// An interface of link type `link` (IETF draft-ietf-opsawg-pcaplinktype) whose packets end in `fcs_len` bytes of
    /// frame check sequence.
    pub(super) fn new(link: u16, name: Option<String>, number: usize, fcs_len: u32) -> Self {
        let link = match link {
            0 => Link::Packet(LinkType::Null),
            1 => Link::Packet(LinkType::Ethernet),
            12 | 14 | 101 | 228 | 229 => Link::Packet(LinkType::RawIp),
            108 => Link::Packet(LinkType::Loop),
            113 => Link::Packet(LinkType::LinuxCooked),
            276 => Link::Packet(LinkType::LinuxCooked2),
            227 => Link::SocketCan,
            other => Link::Unknown(other),
        };
        Self { link, name, number, fcs_len, packet_wire: None, can_wire: None, order: IdOrder::default() }
    }

    /// Whether `other` can be the same interface, described anew in a later section.
    pub(super) fn same(&self, other: &Self) -> bool {
        self.link == other.link && self.name == other.name && self.number == other.number
    }

    /// Takes the wires of the same interface in an earlier section.
    pub(super) fn adopt(&mut self, other: &Self) {
        (self.packet_wire, self.can_wire) = (other.packet_wire, other.can_wire);
        self.order = other.order;
    }

    /// Bytes in front of a CAN frame's identifier, when packets of this link may hold one.
    pub(super) const fn can_at(&self) -> Option<usize> {
        match self.link {
            Link::Packet(LinkType::LinuxCooked) => Some(16),
            Link::Packet(LinkType::LinuxCooked2) => Some(20),
            Link::SocketCan => Some(0),
            _ => None,
        }
    }

    /// Sets the length of the frame check sequence (option `if_fcslen`).
    pub(super) fn set_fcs_len(&mut self, bytes: u8) {
        self.fcs_len = bytes.into();
    }

    /// Sets the recorder's name of the interface.
    pub(super) fn set_name(&mut self, name: String) {
        self.name = Some(name);
    }

    /// What the packets of this interface are, when all are alike and its wire is known.
    pub(super) fn usual(&self) -> Option<Usual> {
        match self.link {
            _ if self.fcs_len != 0 => None,
            Link::SocketCan => self.can_wire.map(Usual::Can),
            Link::Packet(LinkType::LinuxCooked | LinkType::LinuxCooked2) | Link::Unknown(_) => None,
            Link::Packet(link) => self.packet_wire.map(|wire| Usual::Packet(wire, link)),
        }
    }

    /// Counts a packet and says on which wire it is, and what it holds. `from` is where `bytes` lies in the buffer.
    #[inline(always)]
    pub(super) fn take(
        &mut self,
        account: &mut Account,
        bytes: &[u8],
        from: usize,
        original: u32,
    ) -> (usize, Content) {
        account.frame();
        // Some writers leave the original length 0 or too small; the captured one is the truth then.
        let original =
            original.max(u32::try_from(bytes.len()).unwrap_or(u32::MAX)).saturating_sub(self.fcs_len);
        let captured = bytes.len().min(original as usize);
        let bytes = bytes.get(..captured).unwrap_or_default();
        let (can, header) = match self.link {
            Link::SocketCan => (Some(frame(bytes)), 0),
            Link::Packet(LinkType::LinuxCooked) => (self.cooked(bytes, u16_at(bytes, 14, true), 16), 16),
            Link::Packet(LinkType::LinuxCooked2) => (self.cooked(bytes, u16_at(bytes, 0, true), 20), 20),
            Link::Packet(_) | Link::Unknown(_) => (None, 0),
        };
        if let Some(head) = can {
            let name = self.name.as_deref();
            let wire = *self.can_wire.get_or_insert_with(|| account.new_wire(WireKind::Can, name));
            if head.is_none() {
                account.short_can();
            }
            let from = from + header + DATA_AT;
            return (wire, head.map_or(Content::Other, |head| Content::StoredCan { head, from }));
        }
        let name = self.name.as_deref();
        let wire = *self.packet_wire.get_or_insert_with(|| account.new_wire(WireKind::Ethernet, name));
        let content = match self.link {
            Link::Packet(link) => {
                if captured < original as usize {
                    account.cut_packet(captured as u32);
                }
                Content::Packet { link, from, to: from + captured, original }
            }
            Link::Unknown(number) => {
                account.other_link(number);
                Content::Other
            }
            Link::SocketCan => Content::Other,
        };
        (wire, content)
    }

    /// The CAN frame behind a cooked header, when the protocol says that there is one.
    fn cooked(&mut self, bytes: &[u8], protocol: Option<u16>, header: usize) -> Option<Option<CanHead>> {
        let fd = match protocol? {
            ETH_P_CAN => false,
            ETH_P_CANFD => true,
            _ => return None,
        };
        Some(bytes.get(header..).and_then(|bytes| cooked_frame(bytes, fd, &mut self.order)))
    }
}
