//! "There is no heading."

use super::{Cause, Complaint, Scope, exclude, never, shared, silences, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "no-heading",
    scope: Scope::Quantity("heading"),
    causes: &[
        Cause {
            name: "no-heading-source",
            shown: unsaid,
            excluded: exclude::somebody_supplies_values,
            open: "No heading message was seen, but little was recorded.",
            check: "See that the heading sensor has power and is on the wire that was recorded.",
        },
        shared::HEADING_DEVICE_DROPOUT,
        shared::DEVICE_RESTART,
        shared::HEADING_MESSAGE_DROPOUT,
        shared::LOW_SUPPLY_VOLTAGE,
        shared::ADDRESS_CONFLICT,
        shared::ADDRESS_CLAIM_FAILED,
        shared::WIRE_OUTAGE,
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: silences::devices_steady,
            open: "Too short, or no host that carries heading, to tell whether a link goes down.",
            check: "Swap the network cable of the device that carries the heading, then its port.",
        },
        shared::HEADING_FROZEN,
        shared::BUS_ERROR,
        shared::LINE_OVERLOADED,
        Cause {
            name: "fix-lost",
            shown: unsaid,
            excluded: exclude::heading_holds,
            open: "No fix that goes together with the heading was seen; only a satellite compass needs one for it.",
            check: "Look whether the heading comes from a satellite compass, and at the view of the sky of its antennas.",
        },
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the heading entry of the display's source list, and choose the sensor that is there.",
        },
        Cause {
            name: "heading-paired-by-radio",
            shown: unsaid,
            excluded: never,
            open: "A heading sensor that is paired by radio cannot be seen on the wire.",
            check: "Look at the bow motor's own display; pair the sensor again.",
        },
    ],
};
