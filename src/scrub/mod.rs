//! A copy of a recording that tells the fault and not the place, the owner or the gear.

pub mod content;
