//! "The position jumps."

use super::{Cause, Complaint, Scope, exclude, in_order, never, shared, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "position-jumps",
    scope: Scope::Quantity("position"),
    causes: &[
        Cause {
            name: "position-jump",
            shown: unsaid,
            excluded: exclude::no_steps,
            open: "Too few positions, steps that are too small to tell from a receiver's noise, or values of two receivers mixed.",
            check: "Look at the antenna: free view of the sky, dry and unhurt cable.",
        },
        Cause {
            name: "duplicate-position-source",
            shown: unsaid,
            excluded: exclude::one_source,
            open: "The positions of two devices agree or repeat each other, or could not be compared.",
            check: "Choose one position source on every display.",
        },
        shared::POSITION_FROZEN,
        Cause {
            name: "fix-lost",
            shown: unsaid,
            excluded: in_order::fix_kept,
            open: "No loss of the fix was seen.",
            check: "Look at the antenna's view of the sky.",
        },
        Cause {
            name: "poor-fix",
            shown: unsaid,
            excluded: in_order::fix_good,
            open: "Not every receiver says its dilution of precision in it, or too little was recorded.",
            check: "Look at the receiver's satellite page.",
        },
        shared::DEVICE_RESTART,
        shared::ADDRESS_CONFLICT,
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the position entry of the display's source list; switch the display's own antenna off or choose it on all.",
        },
    ],
};
