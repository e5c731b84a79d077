//! "The depth is wrong."

use super::{Cause, Complaint, Scope, exclude, never, shared, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "depth-wrong",
    scope: Scope::Quantity("depth"),
    causes: &[
        Cause {
            name: "depth-second-echo",
            shown: unsaid,
            excluded: never,
            open: "No multiple of the running bottom was seen.",
            check: "Lower the sensitivity and set the range to the depth that you know.",
        },
        shared::DEPTH_FROZEN,
        Cause {
            name: "duplicate-depth-source",
            shown: unsaid,
            excluded: exclude::one_source,
            open: "Two depths agree or repeat each other, or could not be compared.",
            check: "Choose one depth source on every display.",
        },
        Cause {
            name: "depth-not-available",
            shown: unsaid,
            excluded: exclude::values_there,
            open: "Too few depth messages, or some of them without a depth.",
            check: "Look at the transducer: in the water, clean, level.",
        },
        Cause {
            name: "offset-set-twice",
            shown: unsaid,
            excluded: never,
            open: "An offset that a display adds is never visible on the wire.",
            check: "Set the offset in the sounder or in the display, not in both; compare with a lead line in calm shallow water.",
        },
        Cause {
            name: "speed-of-sound",
            shown: unsaid,
            excluded: never,
            open: "The water's own speed of sound explains at most some -7 to +3 % of the depth, and no recording shows it.",
            check: "Compare with a lead line; a difference of more than a few percent has another cause.",
        },
    ],
};
