//! Books: bounded sums over the stream of messages. Who spoke, how regularly, what was said. No judgement.
//!
//! Each book grows with devices and message kinds, never with the length of the recording, and says its bound.

pub mod bus;
pub mod inventory;
pub mod line;
pub mod series;
pub mod timing;
pub mod wires;

use crate::recording::Summary;
use crate::time::Time;

/// Everything that a run knows when the last record has been read.
#[derive(Debug, Default)]
pub struct Books {
    /// What each recording turned out to be.
    pub recordings: Vec<Summary>,
    /// The wires.
    pub wires: wires::Wires,
    /// The devices.
    pub inventory: inventory::Inventory,
    /// Periodic messages and their pauses.
    pub timing: timing::Timing,
    /// Who supplies which quantity, and the values of those that are compared.
    pub series: series::Series,
    /// CAN buses: claims, requests, losses, error frames, load.
    pub buses: bus::Buses,
    /// 0183 lines: checksums, garbled sentences.
    pub lines: line::Lines,
}

impl Books {
    /// The moments of the first and the last timed frame of all wires.
    #[must_use]
    pub fn range(&self) -> Option<(Time, Time)> {
        let first = self.wires.iter().filter_map(|(_, w)| w.first).min()?;
        let last = self.wires.iter().filter_map(|(_, w)| w.last).max()?;
        Some((first, last))
    }
}
