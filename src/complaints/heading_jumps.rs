//! "The heading jumps."

use super::{Cause, Complaint, Scope, exclude, never, shared, unsaid};
use crate::findings::Finding;
use crate::report::model::Number;

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "heading-jumps",
    scope: Scope::Quantity("heading"),
    causes: &[
        Cause {
            name: "duplicate-heading-source",
            shown: unsaid,
            excluded: exclude::one_source,
            open: "The headings of two devices agree or repeat each other, or could not be compared: a swap between them would not show as a jump here.",
            check: "Choose one heading source on every display.",
        },
        Cause {
            name: "heading-jump",
            shown: unsaid,
            excluded: exclude::no_steps,
            open: "Too few headings with a time, steps that a fast turn makes as well, or values of two sensors mixed.",
            check: "Look for iron, speakers, motors and heavy-current cables near the sensor.",
        },
        Cause {
            name: "true-against-magnetic",
            shown: by_variation,
            excluded: exclude::one_north,
            open: "Both true and magnetic headings are sent; a display that swaps between them jumps by the variation.",
            check: "Set every display to the same north.",
        },
        shared::HEADING_DEVICE_DROPOUT,
        shared::DEVICE_RESTART,
        shared::HEADING_MESSAGE_DROPOUT,
        shared::HEADING_FROZEN,
        Cause {
            name: "compass-deviation",
            shown: unsaid,
            excluded: never,
            open: "No error that swings with the heading was found against course over ground; a few courses do not exclude it.",
            check: "Record a slow full circle and straight runs on four courses and back.",
        },
        Cause {
            name: "heading-misaligned",
            shown: beside_another,
            excluded: never,
            open: "No constant error against course over ground was found; a few courses do not exclude it. A display that swaps between heading and course jumps by it.",
            check: "Run two reverse courses in still water and compare the heading with the course over ground.",
        },
        shared::LOW_SUPPLY_VOLTAGE,
        shared::ADDRESS_CONFLICT,
        shared::IRREGULAR_MESSAGE,
        shared::SLOW_MESSAGE,
        shared::LINE_OVERLOADED,
        Cause {
            name: "course-used-as-heading",
            shown: unsaid,
            excluded: never,
            open: "A display without heading may show course over ground instead, which wanders at low speed; never visible on the wire.",
            check: "Look at the display's settings for heading at low speed; compare at rest, when the course means nothing.",
        },
        Cause {
            name: "heading-paired-by-radio",
            shown: unsaid,
            excluded: never,
            open: "A bow motor's heading sensor that is paired by radio cannot be seen on the wire.",
            check: "Look at the bow motor's own display for its heading, and calibrate it there.",
        },
    ],
};

/// Two headings differ, and the course over ground tells which of them is off, and by how much.
fn beside_another(finding: &Finding) -> bool {
    finding.kind == "duplicate-heading-source" && finding.numbers.contains_key("offset_deg")
}

/// Two headings differ by the variation, or one is off by it: the swap is between the two norths.
fn by_variation(finding: &Finding) -> bool {
    match finding.kind {
        "duplicate-heading-source" => {
            finding.numbers.get("relation") == Some(&Number::Text("variation".to_owned()))
        }
        "heading-misaligned" => finding.numbers.contains_key("variation_expected_deg"),
        _ => false,
    }
}
