//! "A display drops off the network."

use super::{Cause, Complaint, Scope, exclude, never, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "display-disconnects",
    scope: Scope::Hosts,
    causes: &[
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: exclude::wires_steady_and_hosts,
            open: "Too short, or no steady host in it, to tell whether a link goes down.",
            check: "Swap the display's network cable with a good one, then its port on the switch.",
        },
        Cause {
            name: "wire-outage",
            shown: unsaid,
            excluded: exclude::wires_steady,
            open: "Too short to tell whether every link goes at once.",
            check: "Look at the supply plug and fuse of the switch, then at the switch.",
        },
        Cause {
            name: "device-dropout",
            shown: unsaid,
            excluded: exclude::wires_steady_and_hosts,
            open: "Too short, or no steady host in it, to tell whether a host falls silent.",
            check: "Measure the display's supply at its plug while pumps and motors start.",
        },
        Cause {
            name: "ip-conflict",
            shown: unsaid,
            excluded: exclude::addresses_single,
            open: "Too few hosts speak in it to tell whether two share an address.",
            check: "Give every device its own address, or let one server give them all.",
        },
        Cause {
            name: "rival-dhcp-servers",
            shown: unsaid,
            excluded: exclude::one_server,
            open: "No server answered in it; a second one would show when a device starts.",
            check: "Record while one display starts; switch all address servers but one off.",
        },
        Cause {
            name: "dhcp-unanswered",
            shown: unsaid,
            excluded: exclude::addresses_given,
            open: "No device asked for an address in it.",
            check: "Record while the display starts.",
        },
        Cause {
            name: "self-assigned-address",
            shown: unsaid,
            excluded: never,
            open: "No self-assigned address beside others was seen.",
            check: "Look at the display's network page: an address that begins with 169.254 means that no server answered.",
        },
        Cause {
            name: "split-subnet",
            shown: unsaid,
            excluded: never,
            open: "No addresses of different networks that should talk were seen.",
            check: "Compare the addresses on the displays' network pages: the first three numbers should be alike.",
        },
        Cause {
            name: "broadcast-storm",
            shown: unsaid,
            excluded: exclude::no_flood,
            open: "Too little was recorded to tell floods.",
            check: "Look for a cable with both ends in the same switch.",
        },
        Cause {
            name: "link-saturated",
            shown: unsaid,
            excluded: exclude::link_free,
            open: "Too little was recorded to tell the load.",
            check: "Switch off camera and radar streams one by one.",
        },
        Cause {
            name: "tcp-retransmission",
            shown: unsaid,
            excluded: never,
            open: "No connection with enough repeated segments was seen.",
            check: "Swap the cables on the way between the two displays one by one.",
        },
        Cause {
            name: "display-by-radio",
            shown: unsaid,
            excluded: never,
            open: "A display or tablet that is joined by Wi-Fi is seen here only through the access point.",
            check: "Try the display on a cable.",
        },
    ],
};
