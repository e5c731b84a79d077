//! Messages: checked frames in, typed readings with units out. One PGN family or sentence family a file.

pub mod n2k;
pub mod nmea0183;
mod reading;

pub use reading::{Absent, DepthBelow, North, Reading, Value, WindReference};
