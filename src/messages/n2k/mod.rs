//! NMEA 2000 messages: frames put together, messages turned into readings.
//!
//! A new PGN is one function in the file of its family and one line in the [`PGNS`] table.

mod ais;
mod assembler;
mod clock;
mod course;
mod depth;
mod electrical;
mod emit;
mod engine;
mod environment;
mod fast_packet;
#[cfg(test)]
mod fast_packet_tests;
mod field;
mod fluid;
mod framing;
mod heading;
mod id;
mod losses;
mod name;
mod navigation;
mod network;
mod position;
mod product;
mod purpose;
mod registry;
mod rudder;
mod speed;
mod switch;
mod transport;
#[cfg(test)]
mod transport_tests;
mod wind;

pub use ais::{AisReport, report as ais_report};
pub use assembler::{Assembler, Message};
pub use fast_packet::{AT_ONCE, MAX_FAST_PACKET};
pub use framing::{Frames, frames_of};
pub use id::{CanId, GLOBAL, NULL_ADDRESS, is_addressed};
pub use losses::{Broken, StreamLosses};
pub use name::Name;
pub use navigation::{Route, Waypoint, destination, route};
pub use network::{Answer, FunctionCode, GroupFunction, Heartbeat, NetworkMessage, is_network, network};
pub use position::{Datum, datum};
pub use product::{ConfigurationInformation, ProductInformation};
pub use registry::{PGNS, Pgn, Standing, decode, lookup};
pub use transport::MAX_TRANSPORT;
