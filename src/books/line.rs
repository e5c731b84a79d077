//! 0183 lines: how many sentences came whole, with a bad checksum, or garbled.

use super::bounded;
use super::by_wire::ByWire;
use super::inventory::DeviceId;
use super::line_rate::LineRate;
use crate::messages::nmea0183::{Checksum, Fault};
use crate::time::Time;

/// Most damaged sentences that are remembered with their times, a line.
const MAX_REMEMBERED: usize = 64;

/// One line.
#[derive(Debug, Clone, Default)]
pub struct Line {
    /// Lines that begin as a sentence does, and those that end as one and lost their beginning.
    pub total: u64,
    /// Sentences whose checksum fits.
    pub good: u64,
    /// Well-formed sentences whose checksum does not fit.
    pub bad: u64,
    /// Well-formed sentences without checksum.
    pub absent: u64,
    /// Cut or merged sentences and such with bytes outside the character set.
    pub garbled: u64,
    /// Those of them that lost their beginning.
    pub headless: u64,
    /// Sentences longer than 82 characters.
    pub over_82: u64,
    /// Characters with CR LF, TAG blocks left out.
    pub characters: u64,
    /// Bad checksums by talker, the first talkers.
    pub bad_by: Vec<(DeviceId, u64)>,
    /// When the first bad or garbled ones came.
    pub damaged_at: Vec<Time>,
    /// What its bursts tell of its baud rate.
    pub rate: LineRate,
}

impl Line {
    /// Books a line that could not be taken apart.
    pub fn fault(&mut self, time: Option<Time>, fault: Fault, characters: u64) {
        if fault.is_garbled() {
            self.garbled(time, characters);
        }
    }

    /// Books the end of a sentence whose beginning was lost.
    pub fn headless(&mut self, time: Option<Time>, characters: u64) {
        self.headless += 1;
        self.garbled(time, characters);
    }

    fn garbled(&mut self, time: Option<Time>, characters: u64) {
        self.total += 1;
        self.garbled += 1;
        self.carried(time, characters);
        self.damaged(time);
    }

    /// Books a sentence.
    pub fn sentence(
        &mut self,
        time: Option<Time>,
        device: Option<DeviceId>,
        checksum: Checksum,
        over_82: bool,
        characters: u64,
    ) {
        self.total += 1;
        self.carried(time, characters);
        self.over_82 += u64::from(over_82);
        match checksum {
            Checksum::Good => self.good += 1,
            Checksum::Absent => self.absent += 1,
            Checksum::Bad { .. } => {
                self.bad += 1;
                self.damaged(time);
                let Some(device) = device else { return };
                if let Some((_, n)) =
                    bounded::entry(&mut self.bad_by, MAX_REMEMBERED, |(d, _)| *d == device, || (device, 0))
                {
                    *n += 1;
                }
            }
        }
    }

    fn carried(&mut self, time: Option<Time>, characters: u64) {
        self.characters += characters;
        if let Some(time) = time {
            self.rate.sentence(time, characters);
        }
    }

    fn damaged(&mut self, time: Option<Time>) {
        if let Some(time) = time {
            bounded::push(&mut self.damaged_at, MAX_REMEMBERED, time);
        }
    }
}

/// The lines of a run, by wire.
pub type Lines = ByWire<Line>;
