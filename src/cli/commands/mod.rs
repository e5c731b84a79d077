//! The commands, one file each.

pub(super) mod compare;
pub(super) mod completions;
pub(super) mod demo;
pub(super) mod explain;
pub(super) mod learn;
pub(super) mod manual;
pub(super) mod report;
pub(super) mod scrub;
pub(super) mod verify;
