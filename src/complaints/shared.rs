//! Causes that several complaints have in common.

use super::{Cause, exclude, in_order, never, silences, unsaid};
use crate::findings::Finding;

/// Everyone on a wire at once.
pub(super) const WIRE_OUTAGE: Cause = Cause {
    name: "wire-outage",
    shown: unsaid,
    excluded: silences::wires_steady,
    open: "Too short to tell whether the whole wire goes.",
    check: "Look at the supply plug and fuse of the switch or backbone.",
};

/// A device starts anew.
pub(super) const DEVICE_RESTART: Cause = Cause {
    name: "device-restart",
    shown: unsaid,
    excluded: silences::no_restart,
    open: "Too short to see a restart.",
    check: "Measure the supply at the plug of the device whose data go, while pumps and motors start.",
};

/// The supply dips.
pub(super) const LOW_SUPPLY_VOLTAGE: Cause = Cause {
    name: "low-supply-voltage",
    shown: unsaid,
    excluded: never,
    open: "No dip is reported; what reaches a device that reports no voltage is not in the recording.",
    check: "Measure the voltage at the device's plug while pumps and motors start.",
};

/// Two nodes want one address.
pub(super) const ADDRESS_CONFLICT: Cause = Cause {
    name: "address-conflict",
    shown: unsaid,
    excluded: exclude::no_contention,
    open: "Not every node that speaks claimed its address in it, or the claims do not tell.",
    check: "Record the start of all devices: the address claims show who contends.",
};

/// A node finds no address.
pub(super) const ADDRESS_CLAIM_FAILED: Cause = Cause {
    name: "address-claim-failed",
    shown: unsaid,
    excluded: exclude::no_contention,
    open: "Not every node that speaks claimed its address in it, or the claims do not tell.",
    check: "Record the start of all devices: a device without an address says so.",
};

/// The bus itself is disturbed.
pub(super) const BUS_ERROR: Cause = Cause {
    name: "bus-error",
    shown: unsaid,
    excluded: never,
    open: "The recorder wrote no error frames; it may not write any.",
    check: "Measure the resistance between the data lines with the power off: about 60 ohm.",
};

/// Two hosts use one IP address.
pub(super) const IP_CONFLICT: Cause = Cause {
    name: "ip-conflict",
    shown: unsaid,
    excluded: exclude::addresses_single,
    open: "Too few hosts speak in it, or the answers of others do not show at this port, to tell whether two share an address.",
    check: "Give every device its own address, or let one server give them all.",
};

/// Two servers give addresses.
pub(super) const RIVAL_DHCP_SERVERS: Cause = Cause {
    name: "rival-dhcp-servers",
    shown: unsaid,
    excluded: exclude::one_server,
    open: "No server answered in it; a second one would show when a device starts.",
    check: "Record while one display starts; switch all address servers but one off.",
};

/// Nobody gives an address.
pub(super) const DHCP_UNANSWERED: Cause = Cause {
    name: "dhcp-unanswered",
    shown: asked_in_vain,
    excluded: exclude::addresses_given,
    open: "No device asked for an address in it.",
    check: "Record while the display starts.",
};

/// A device gave itself an address after it had asked for one in vain: two names of one event.
fn asked_in_vain(finding: &Finding) -> bool {
    finding.kind == "self-assigned-address" && finding.numbers.contains_key("discovers")
}

/// Floods on the Ethernet.
pub(super) const BROADCAST_STORM: Cause = Cause {
    name: "broadcast-storm",
    shown: unsaid,
    excluded: exclude::no_flood,
    open: "No flood was found, but so many frames for everyone in a second that slow devices may suffer, or too little was recorded.",
    check: "Look for a cable with both ends in the same switch.",
};

/// The Ethernet is full.
pub(super) const LINK_SATURATED: Cause = Cause {
    name: "link-saturated",
    shown: unsaid,
    excluded: exclude::link_free,
    open: "No full second was seen; but what other ports carry may not show at this one, or too little was recorded.",
    check: "Switch off camera and radar streams one by one.",
};

/// A 0183 line carries more than it can.
pub(super) const LINE_OVERLOADED: Cause = Cause {
    name: "line-overloaded",
    shown: unsaid,
    excluded: never,
    open: "The line's baud rate is not in a recording; no overload was seen.",
    check: "Raise the baud rate, or send fewer sentences.",
};

/// A message comes too seldom.
pub(super) const SLOW_MESSAGE: Cause = Cause {
    name: "slow-message",
    shown: unsaid,
    excluded: in_order::rates_kept,
    open: "No steady message well under its standard rate was seen.",
    check: "Look at the rate settings of the device.",
};

/// A message comes raggedly.
pub(super) const IRREGULAR_MESSAGE: Cause = Cause {
    name: "irregular-message",
    shown: unsaid,
    excluded: in_order::rhythm_even,
    open: "No ragged message was seen.",
    check: "Look at the load of the bus and of the device.",
};

/// A host gave itself an address.
pub(super) const SELF_ASSIGNED_ADDRESS: Cause = Cause {
    name: "self-assigned-address",
    shown: unsaid,
    excluded: never,
    open: "No self-assigned address beside others was seen.",
    check: "Look at the display's network page: an address that begins with 169.254 means that no server answered.",
};

/// Hosts that should talk have addresses of two networks.
pub(super) const SPLIT_SUBNET: Cause = Cause {
    name: "split-subnet",
    shown: unsaid,
    excluded: never,
    open: "No addresses of different networks that should talk were seen.",
    check: "Compare the addresses on the displays' network pages: the first three numbers should be alike.",
};

/// A host looks for one that is not there.
pub(super) const ARP_UNANSWERED: Cause = Cause {
    name: "arp-unanswered",
    shown: unsaid,
    excluded: never,
    open: "No host that keeps asking for an address which nobody has was seen.",
    check: "See that every device which the displays were set up with is on and has its old address.",
};

/// Segments are lost and sent again.
pub(super) const TCP_RETRANSMISSION: Cause = Cause {
    name: "tcp-retransmission",
    shown: unsaid,
    excluded: never,
    open: "No connection with enough repeated segments was seen.",
    check: "Swap the cables on the way between the two displays one by one.",
};

/// A heading stands still.
pub(super) const HEADING_FROZEN: Cause = Cause {
    name: "heading-frozen",
    shown: unsaid,
    excluded: exclude::heading_follows,
    open: "The boat hardly turned, or the heading stood still for seconds, as it may: whether it froze does not show.",
    check: "Turn the boat slowly and watch whether the heading follows all the way.",
};

/// The heading sensor falls silent.
pub(super) const HEADING_DEVICE_DROPOUT: Cause = Cause {
    name: "device-dropout",
    shown: unsaid,
    excluded: silences::devices_steady,
    open: "Too short, or no heading sensor in it, to tell whether the sensor drops out.",
    check: "Wiggle the connector and cable of the heading sensor while someone watches the heading.",
};

/// The heading pauses while its sensor lives.
pub(super) const HEADING_MESSAGE_DROPOUT: Cause = Cause {
    name: "message-dropout",
    shown: unsaid,
    excluded: silences::messages_steady,
    open: "Too short, or no steady heading in it, to tell pauses.",
    check: "Look at the heading sensor and its cable.",
};

/// A depth stands still.
pub(super) const DEPTH_FROZEN: Cause = Cause {
    name: "depth-frozen",
    shown: unsaid,
    excluded: in_order::depth_moves,
    open: "Too few depths to tell whether one stands still over changing water.",
    check: "Run slowly over a slope and watch whether the depth follows.",
};

/// A position stands still.
pub(super) const POSITION_FROZEN: Cause = Cause {
    name: "position-frozen",
    shown: unsaid,
    excluded: in_order::position_moves,
    open: "No position that stands still under way was seen.",
    check: "Look at the receiver's own page while under way.",
};
