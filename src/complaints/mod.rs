//! Complaints: what the owner says, and which causes fit it.

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
