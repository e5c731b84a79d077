//! Complaints: what the owner says, and which causes fit it.

use crate::books::Books;
use crate::findings::Finding;
use crate::report::model::ComplaintRow;

/// Every complaint that can be asked, in the words of the command line.
pub const NAMES: [&str; 8] = [
    "no-depth",
    "depth-wrong",
    "heading-jumps",
    "no-heading",
    "position-jumps",
    "no-position",
    "data-drops-out",
    "display-disconnects",
];

/// Placeholder
pub fn answer(_: &Books, _: &[Finding], _: Option<&'static str>) -> Vec<ComplaintRow> {
    Vec::new()
}
