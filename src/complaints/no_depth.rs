//! "No depth on the display."

use super::{Cause, Complaint, Scope, exclude, never, shared, silences, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "no-depth",
    scope: Scope::Quantity("depth"),
    causes: &[
        Cause {
            name: "depth-not-available",
            shown: unsaid,
            excluded: exclude::values_there,
            open: "Too few depth messages, or some of them without a depth.",
            check: "Look at the transducer: in the water, clean, level, cable and connector unhurt.",
        },
        Cause {
            name: "depth-lost-at-speed",
            shown: unsaid,
            excluded: exclude::depth_holds_at_speed,
            open: "No run through a higher speed with a depth that moves all the while is in this recording.",
            check: "Record a run through the speed where the depth goes, with a second person to look out. Hull transducers meant for high speed are needed above about 25 mph (22 kn; common practice).",
        },
        Cause {
            name: "no-depth-source",
            shown: unsaid,
            excluded: exclude::somebody_supplies,
            open: "No depth message was seen, but little was recorded.",
            check: "See that the sounder has power and is on the wire that was recorded; switch its depth output on.",
        },
        Cause {
            name: "device-dropout",
            shown: unsaid,
            excluded: silences::devices_steady,
            open: "Too short, or no sounder in it, to tell whether the sounder drops out.",
            check: "Wiggle the connector and cable of the sounder while someone watches its depth.",
        },
        shared::DEVICE_RESTART,
        Cause {
            name: "message-dropout",
            shown: unsaid,
            excluded: silences::messages_steady,
            open: "Too short, or no steady depth message in it, to tell pauses.",
            check: "Look whether something switches the depth message off.",
        },
        shared::WIRE_OUTAGE,
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: silences::devices_steady,
            open: "Too short, or no host that carries depth, to tell whether a link goes down.",
            check: "Swap the network cable of the sounder, then its port.",
        },
        shared::LOW_SUPPLY_VOLTAGE,
        shared::ADDRESS_CONFLICT,
        shared::ADDRESS_CLAIM_FAILED,
        shared::BUS_ERROR,
        shared::LINE_OVERLOADED,
        shared::DEPTH_FROZEN,
        Cause {
            name: "duplicate-depth-source",
            shown: unsaid,
            excluded: exclude::one_source,
            open: "Two sounders may answer; the recording does not tell which one a display follows.",
            check: "Choose one depth source on every display.",
        },
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the depth entry of the display's source list, and choose the sounder that is there.",
        },
        Cause {
            name: "sounder-on-another-wire",
            shown: unsaid,
            excluded: never,
            open: "A sounder inside a display, or one on a wire that was not recorded, cannot be seen here.",
            check: "Look in the display's menu whether it shares its own sounder's depth with the network.",
        },
    ],
};
