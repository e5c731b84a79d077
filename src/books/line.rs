//! 0183 lines: how many sentences came whole, with a bad checksum, or garbled.

use super::bounded;
use super::by_wire::ByWire;
use super::inventory::DeviceId;
use super::line_rate::LineRate;
use crate::messages::nmea0183::{Checksum, Fault};
use crate::time::{Span, Time};

/// Most damaged sentences that are remembered with their times, a line.
const MAX_REMEMBERED: usize = 64;

/// Most bursts of damaged sentences that are remembered, a talker.
const MAX_BURSTS: usize = 32;

/// Damaged sentences no further apart than this are one burst, seconds.
const BURST_S: f64 = 3.0;

/// Damaged sentences that followed each other.
#[derive(Debug, Clone, Copy)]
struct Burst {
    span: Span,
    sentences: u64,
}

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
    /// When bad ones came, by talker, and garbled ones, whose talker nobody knows.
    bursts: Vec<(Option<DeviceId>, Vec<Burst>)>,
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
        self.damaged(time, None);
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
                self.damaged(time, device);
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

    fn damaged(&mut self, time: Option<Time>, talker: Option<DeviceId>) {
        let Some(time) = time else { return };
        bounded::push(&mut self.damaged_at, MAX_REMEMBERED, time);
        let of = bounded::entry(
            &mut self.bursts,
            MAX_REMEMBERED,
            |(known, _)| *known == talker,
            || (talker, Vec::new()),
        );
        let Some((_, bursts)) = of else { return };
        match bursts.last_mut() {
            Some(last) if (0.0..=BURST_S).contains(&time.since(last.span.to)) => {
                last.span.to = time;
                last.sentences += 1;
            }
            _ => bounded::push(bursts, MAX_BURSTS, Burst { span: Span::new(time, time), sentences: 1 }),
        }
    }

    /// How many sentences of a talker, or garbled ones of nobody knows whom, came damaged within a span, as far as their bursts
    /// tell.
    #[must_use]
    pub fn damaged_in(&self, talker: Option<DeviceId>, span: Span) -> f64 {
        let bursts = self.bursts.iter().filter(|(known, _)| *known == talker).flat_map(|(_, bursts)| bursts);
        let within = |burst: &Burst| {
            let shared_s = burst.span.shared_s(span);
            let share = if burst.span.seconds() > 0.0 { shared_s / burst.span.seconds() } else { 1.0 };
            if shared_s < 0.0 { 0.0 } else { burst.sentences as f64 * share }
        };
        bursts.map(within).sum()
    }
}

/// The lines of a run, by wire.
pub type Lines = ByWire<Line>;
