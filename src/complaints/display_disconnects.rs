//! "A display drops off the network."

use super::{Cause, Complaint, Scope, never, shared, silences, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "display-disconnects",
    scope: Scope::Hosts,
    causes: &[
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: silences::wires_steady_and_hosts,
            open: "Too short, or no steady host in it, to tell whether a link goes down.",
            check: "Swap the display's network cable with a good one, then its port on the switch.",
        },
        shared::WIRE_OUTAGE,
        Cause {
            name: "device-dropout",
            shown: unsaid,
            excluded: silences::wires_steady_and_hosts,
            open: "No silence of a host that another cause does not tell, or too little to see one.",
            check: "Measure the display's supply at its plug while pumps and motors start.",
        },
        shared::IP_CONFLICT,
        shared::RIVAL_DHCP_SERVERS,
        shared::DHCP_UNANSWERED,
        shared::SELF_ASSIGNED_ADDRESS,
        shared::SPLIT_SUBNET,
        shared::ARP_UNANSWERED,
        shared::BROADCAST_STORM,
        shared::LINK_SATURATED,
        shared::TCP_RETRANSMISSION,
        shared::LOW_SUPPLY_VOLTAGE,
        Cause {
            name: "display-by-radio",
            shown: unsaid,
            excluded: never,
            open: "A display or tablet that is joined by Wi-Fi is seen here only through the access point.",
            check: "Try the display on a cable.",
        },
    ],
};
