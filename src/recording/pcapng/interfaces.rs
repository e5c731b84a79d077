//! The interfaces of a pcapng section: descriptions, time units, drop counters.

use crate::recording::bytes::{u16_at, u32_at, u64_at};
use crate::recording::interface::{Interface, Usual};
use crate::time::Time;

/// Interfaces of one section that are kept.
const MAX_INTERFACES: usize = 1024;

/// Interfaces kept over all sections, to recognise them in the next one.
const MAX_KNOWN: usize = 1024;

/// Options read in one block.
const MAX_OPTIONS: usize = 256;

/// One interface of the section.
pub(super) struct Described {
    /// From packets to what they hold.
    pub(super) link: Interface,
    /// Frames lost before the packets that say so (`epb_dropcount`, and the obsolete block's drops).
    pub(super) lost_before_packets: u64,
    lost_by_statistics: u64,
    snaplen: u32,
    /// Unit of its times, as `if_tsresol`.
    pub(super) resolution: u8,
    offset_s: i64,
}

/// The interfaces of the section, and what the earlier ones summed up to.
#[derive(Default)]
pub(super) struct Interfaces {
    list: Vec<Described>,
    known: Vec<Interface>,
    /// Frames lost, of closed sections: per interface the larger of the two ways to say it.
    pub(super) lost: u64,
    said_by_packets: u64,
    said_by_statistics: u64,
    /// Interfaces past [`MAX_INTERFACES`].
    pub(super) ignored: u64,
    /// Blocks with an option that is longer than the block.
    pub(super) broken_options: u64,
}

impl Interfaces {
    /// Begins a new section: interfaces are numbered anew. Its own options are only looked at for damage.
    pub(super) fn new_section(&mut self, block: &[u8], big: bool) {
        self.close();
        let rest = block.get(24..).unwrap_or_default();
        let mut options = Options { rest, big, left: MAX_OPTIONS, broken: false };
        options.by_ref().for_each(drop);
        self.broken_options += u64::from(options.broken);
    }

    /// Sums up the drop counters of the section; what packets and statistics said, over all sections so far.
    pub(super) fn close(&mut self) -> (u64, u64) {
        for described in self.list.drain(..) {
            let (packets, statistics) = (described.lost_before_packets, described.lost_by_statistics);
            self.lost = self.lost.saturating_add(packets.max(statistics));
            self.said_by_packets = self.said_by_packets.saturating_add(packets);
            self.said_by_statistics = self.said_by_statistics.saturating_add(statistics);
            if let Some(known) = self.known.iter_mut().find(|known| known.same(&described.link)) {
                known.adopt(&described.link);
            } else if self.known.len() < MAX_KNOWN {
                self.known.push(described.link);
            }
        }
        (self.said_by_packets, self.said_by_statistics)
    }

    /// Takes an interface description block (without its trailing length); `None` when it is too short.
    pub(super) fn describe(&mut self, block: &[u8], big: bool) -> Option<()> {
        let (link, snaplen) = (u16_at(block, 8, big)?, u32_at(block, 12, big)?);
        if self.list.len() >= MAX_INTERFACES {
            self.ignored += 1;
            return Some(());
        }
        let mut described = Described {
            link: Interface::new(link, None, self.list.len(), 0),
            lost_before_packets: 0,
            lost_by_statistics: 0,
            snaplen,
            resolution: 6,
            offset_s: 0,
        };
        let mut options =
            Options { rest: block.get(16..).unwrap_or_default(), big, left: MAX_OPTIONS, broken: false };
        for (code, value) in &mut options {
            match (code, value) {
                (2, name) => {
                    let text = String::from_utf8_lossy(name);
                    described.link.set_name(text.trim_end_matches('\0').chars().take(64).collect());
                }
                (9, &[resolution]) => described.resolution = resolution,
                (13, &[bytes]) => described.link.set_fcs_len(bytes),
                (14, seconds) => described.offset_s = u64_at(seconds, 0, big).map_or(0, u64::cast_signed),
                _ => {}
            }
        }
        self.broken_options += u64::from(options.broken);
        if let Some(known) = self.known.iter().find(|known| known.same(&described.link)) {
            described.link.adopt(known);
        }
        self.list.push(described);
        Some(())
    }

    /// Takes an interface statistics block; `None` when it is too short or its interface is unknown.
    pub(super) fn statistics(&mut self, block: &[u8], big: bool) -> Option<()> {
        let number = u32_at(block, 8, big)?;
        let mut options = Options { rest: block.get(20..)?, big, left: MAX_OPTIONS, broken: false };
        let mut lost = None::<u64>;
        for (code, value) in &mut options {
            // isb_ifdrop and isb_osdrop: before the system, and in it.
            if let (5 | 7, Some(count)) = (code, u64_at(value, 0, big)) {
                lost = Some(lost.unwrap_or(0).saturating_add(count));
            }
        }
        self.broken_options += u64::from(options.broken);
        let described = self.get_mut(number)?;
        // The counters run from the start of the capture: the last block tells all.
        described.lost_by_statistics = lost.unwrap_or(described.lost_by_statistics);
        Some(())
    }

    /// The drop count among the options behind an enhanced packet's data.
    pub(super) fn packet_drops(&mut self, options: Option<&[u8]>, big: bool) -> u64 {
        let mut options =
            Options { rest: options.unwrap_or_default(), big, left: MAX_OPTIONS, broken: false };
        let mut drops = 0;
        for (code, value) in &mut options {
            if code == 4 {
                drops = u64_at(value, 0, big).unwrap_or(0);
            }
        }
        self.broken_options += u64::from(options.broken);
        drops
    }

    /// An interface of the section.
    pub(super) fn get_mut(&mut self, number: u32) -> Option<&mut Described> {
        self.list.get_mut(number as usize)
    }

    /// What the packets of an interface are, when all are alike and its wire is known.
    pub(super) fn usual(&self, number: u32) -> Option<Usual> {
        self.list.get(number as usize)?.link.usual()
    }

    /// The snapshot length of an interface; 0 in the file means no limit.
    pub(super) fn snaplen(&self, number: u32) -> Option<u32> {
        let snaplen = self.list.get(number as usize)?.snaplen;
        Some(if snaplen == 0 { u32::MAX } else { snaplen })
    }

    /// A packet's time from its two halves.
    #[inline]
    pub(super) fn time(&self, number: u32, high: u32, low: u32) -> Option<Time> {
        let described = self.list.get(number as usize)?;
        let ticks = u64::from(high) << 32 | u64::from(low);
        let micros = micros(ticks, described.resolution);
        Some(Time(micros.saturating_add(described.offset_s.saturating_mul(1_000_000))))
    }
}

/// Ticks of `if_tsresol` in microseconds, rounded down, saturating.
#[inline]
fn micros(ticks: u64, resolution: u8) -> i64 {
    let power = u32::from(resolution & 0x7F);
    let micros = if resolution & 0x80 != 0 {
        u64::try_from((u128::from(ticks) * 1_000_000) >> power).unwrap_or(u64::MAX)
    } else if power <= 6 {
        ticks.saturating_mul(10_u64.pow(6 - power))
    } else {
        10_u64.checked_pow(power - 6).map_or(0, |divisor| ticks / divisor)
    };
    i64::try_from(micros).unwrap_or(i64::MAX)
}

/// The options of a block: code and value.
struct Options<'a> {
    rest: &'a [u8],
    big: bool,
    left: usize,
    broken: bool,
}

impl<'a> Iterator for Options<'a> {
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        self.left = self.left.checked_sub(1)?;
        let code = u16_at(self.rest, 0, self.big).filter(|&code| code != 0)?;
        let len = usize::from(u16_at(self.rest, 2, self.big)?);
        let Some(value) = self.rest.get(4..4 + len) else {
            self.broken = true;
            return None;
        };
        self.rest = self.rest.get(4 + len.next_multiple_of(4)..).unwrap_or_default();
        Some((code, value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_bases_of_resolution() {
        assert_eq!(micros(1_500, 3), 1_500_000, "milliseconds");
        assert_eq!(micros(1_999, 9), 1, "nanoseconds round down");
        assert_eq!(micros(3, 0x81), 1_500_000, "half seconds");
        assert_eq!(micros(1 << 20, 0x80 | 20), 1_000_000, "2^-20 s");
        assert_eq!(micros(u64::MAX, 0), i64::MAX);
        assert_eq!((micros(u64::MAX, 0x7F), micros(u64::MAX, 0xFF)), (0, 0));
        assert_eq!([0, 999, u64::MAX].map(|ticks| micros(ticks, 6)), [0, 999, i64::MAX]);
        assert_eq!([0, 999, u64::MAX].map(|ticks| micros(ticks, 9)), [0, 0, 18_446_744_073_709_551]);
        assert_eq!(micros(1_700_000_000_123_456_789, 6), 1_700_000_000_123_456_789);
        assert_eq!(micros(1_700_000_000_123_456_789, 9), 1_700_000_000_123_456);
        // A power of ten that 64 bits do not hold: no ticks of 64 bits are a microsecond.
        assert_eq!([25, 26].map(|power| micros(u64::MAX, power)), [1, 0]);
    }

    #[test]
    fn options_end_where_they_lie() {
        // Code 2, length 3 "can", padding; code 9, length 200 in 1 byte.
        let bytes = [2, 0, 3, 0, b'c', b'a', b'n', 0, 9, 0, 200, 0, 6];
        let mut options = Options { rest: &bytes, big: false, left: MAX_OPTIONS, broken: false };
        assert_eq!(options.next(), Some((2, &b"can"[..])));
        assert_eq!(options.next(), None);
        assert!(options.broken);
    }
}
