//! "There is no position."

use super::{Cause, Complaint, Scope, exclude, never, shared, silences, unsaid};

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
            excluded: silences::devices_steady,
            open: "Too short, or no receiver in it, to tell whether it drops out.",
            check: "Wiggle the connector and cable of the receiver while someone watches the position.",
        },
        shared::DEVICE_RESTART,
        Cause {
            name: "message-dropout",
            shown: unsaid,
            excluded: silences::messages_steady,
            open: "Too short, or no steady position in it, to tell pauses.",
            check: "Look whether something switches the position message off.",
        },
        shared::LOW_SUPPLY_VOLTAGE,
        shared::ADDRESS_CONFLICT,
        shared::ADDRESS_CLAIM_FAILED,
        shared::WIRE_OUTAGE,
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: silences::devices_steady,
            open: "Too short, or no host that carries position, to tell whether a link goes down.",
            check: "Swap the network cable of the device that carries the position, then its port.",
        },
        shared::POSITION_FROZEN,
        shared::BUS_ERROR,
        shared::LINE_OVERLOADED,
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the position entry of the display's source list, and choose the receiver that is there.",
        },
    ],
};
