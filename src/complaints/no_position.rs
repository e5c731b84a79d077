//! "There is no position."

use super::{Cause, Complaint, Scope, exclude, never, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "no-position",
    scope: Scope::Quantity("position"),
    causes: &[
        Cause {
            name: "fix-lost",
            shown: unsaid,
            excluded: exclude::values_there,
            open: "Too few position messages to tell.",
            check: "Look at the antenna: free view of the sky, dry and unhurt cable.",
        },
        Cause {
            name: "no-position-source",
            shown: unsaid,
            excluded: exclude::somebody_supplies,
            open: "No position message was seen, but little was recorded.",
            check: "See that the receiver has power and is on the wire that was recorded.",
        },
        Cause {
            name: "device-dropout",
            shown: unsaid,
            excluded: exclude::devices_steady,
            open: "Too short, or no receiver in it, to tell whether it drops out.",
            check: "Wiggle the connector and cable of the receiver while someone watches the position.",
        },
        Cause {
            name: "device-restart",
            shown: unsaid,
            excluded: exclude::no_restart,
            open: "No NMEA 2000 bus in it, or too short, to see a restart.",
            check: "Measure the supply of the receiver while pumps and motors start.",
        },
        Cause {
            name: "message-dropout",
            shown: unsaid,
            excluded: exclude::messages_steady,
            open: "Too short, or no steady position in it, to tell pauses.",
            check: "Look whether something switches the position message off.",
        },
        Cause {
            name: "low-supply-voltage",
            shown: unsaid,
            excluded: exclude::voltage_up,
            open: "No device reports a supply voltage.",
            check: "Measure the voltage at the receiver's plug while pumps and motors start.",
        },
        Cause {
            name: "address-conflict",
            shown: unsaid,
            excluded: exclude::no_contention,
            open: "No address claims in it.",
            check: "Record the start of all devices: the address claims show who contends.",
        },
        Cause {
            name: "wire-outage",
            shown: unsaid,
            excluded: exclude::wires_steady,
            open: "Too short to tell whether the whole wire goes.",
            check: "Look at the supply plug and fuse of the switch or backbone.",
        },
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: exclude::devices_steady,
            open: "No Ethernet host that carries position in it.",
            check: "Swap the network cable of the device that carries the position, then its port.",
        },
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the position entry of the display's source list, and choose the receiver that is there.",
        },
    ],
};
