//! Frames: checked, borrowed views of what a network's packets hold.
//!
//! [`parse`] takes a packet of any link type apart down to [`Content`]; an [`Ip`] packet goes on to its [`Transport`].
//! Three tables keep what one packet cannot tell: [`Fragments`] puts datagrams together, [`TcpStreams`] puts streams in
//! order and counts what was sent again, [`Doubles`] knows frames that were seen before. [`Dhcp`], [`Mdns`], [`Ssdp`]
//! and [`Lldp`] read what devices say of themselves, [`looks_like_lines`] finds the instruments' text.
//!
//! Nothing here judges. Every parser is total: any bytes give a view or a [`Malformed`], and a packet that the recorder
//! cut is not held against its sender. Texts come cleaned and short; every table has a named bound.

mod arp;
mod bytes;
mod can_bits;
mod can_slices;
mod dhcp;
mod doubles;
mod fragments;
mod icmp;
mod icmp6;
mod igmp;
mod ip;
mod lines;
mod link;
mod lldp;
mod mac;
mod malformed;
mod mdns;
mod plain;
mod recent;
mod ssdp;
mod stp;
mod tcp;
mod tcp_direction;
mod tcp_stall;
mod tcp_stream;
mod text;
mod transport;
mod udp;

pub use arp::{Arp, ArpKind};
pub use can_bits::{FrameBits, MANY, ManyBits, frame_bits};
pub use dhcp::{DHCP_PORTS, Dhcp, DhcpType, MAX_CLIENT_ID, RequestState};
pub use doubles::{Copies, DOUBLES_WINDOW_S, Doubles, MAX_REMEMBERED_FRAMES, MIRROR_US, likeness};
pub use fragments::{
    Abandoned, FRAGMENT_WAIT_S, FragmentCounts, Fragments, MAX_ABANDONED, MAX_DATAGRAM_LEN,
    MAX_DATAGRAM_STRETCHES, MAX_OPEN_DATAGRAMS,
};
pub use icmp::{Icmp, Quoted};
pub use icmp6::{Icmp6, Prefix, RouterAdvertisement};
pub use igmp::{Interest, Membership, Report};
pub use ip::{Fragment, Ip, ipv4_header_is_sound};
pub use lines::{LineSplitter, MAX_LINE, SENTENCE_DATAGRAM, datagram_lines, looks_like_lines, whole_lines};
pub use link::{Content, Packet, Reach, parse};
pub use lldp::{Lldp, LldpId};
pub use mac::Mac;
pub use malformed::Malformed;
pub use mdns::{MAX_MDNS_ENTRIES, MDNS_PORT, Mdns, MdnsHost, MdnsKind, MdnsService};
pub use plain::{FlowKey, Macs, PlainDatagram, PlainSegment};
pub use ssdp::{SSDP_PORT, Ssdp, SsdpKind};
pub use stp::{Bpdu, BridgeId, PortRole, Tree};
pub use tcp::{Tcp, TcpFlags};
pub use tcp_direction::{SegmentKind, StreamCounts};
pub use tcp_stall::Stall;
pub use tcp_stream::{
    MAX_DIRECTIONS, MAX_HELD_BYTES, MAX_HELD_SEGMENTS, MAX_HELD_TOTAL, StreamKey, StreamSink, TcpStreams,
};
pub use text::{MAX_TEXT, clean};
pub use transport::Transport;
pub use udp::Udp;
