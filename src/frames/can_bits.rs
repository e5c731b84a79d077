//! How many bits a CAN frame takes on the wire, stuff bits included.
//!
//! Source: ISO 11898-1 (frame format, CRC-15, bit stuffing from start of frame to the end of the CRC).

use super::can_slices::{self, Start, stuff_bits};

/// Frames that [`ManyBits`] takes at once.
pub const MANY: usize = can_slices::FRAMES;

/// Bits after the CRC, which are not stuffed: CRC delimiter 1, ACK slot 1, ACK delimiter 1, end of frame 7,
/// intermission 3.
const FIXED_TAIL: u32 = 13;

/// Bits of the CRC sequence.
const CRC_BITS: u32 = 15;

/// x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1 without its highest term.
const CRC_POLYNOMIAL: u16 = 0x4599;

/// CRC of one byte that so many other bytes follow: the CRC of a sequence is the sum of those of its bytes, each looked
/// up for itself.
static CRC_TABLES: [[u16; 256]; MAX_CONTENT] = crc_tables();

/// Most bytes from start of frame to the last data byte.
const MAX_CONTENT: usize = 5 + 8;

/// Stuffing of one byte, by `state << 8 | byte`: `stuff bits << 12 | next state << 8`. The last states are never reached;
/// with them every number of twelve bits has an entry.
static STUFF_TABLE: [u16; 16 << 8] = stuff_table();

/// Stuffing states: 0 before the first bit, then last bit 0 after a run of 1 to 4, last bit 1 likewise.
const STATES: usize = 9;

/// Bits that a classic frame takes on the wire, from start of frame to the end of the intermission, with the stuff
/// bits that its content needs.
///
/// `id` has 29 bits when `extended`, else 11 (higher bits are ignored). A remote frame carries no data; its length
/// code is taken from `data`. Data past the eighth byte is ignored: classic frames carry no more.
#[must_use]
pub fn frame_bits(id: u32, extended: bool, remote: bool, data: &[u8]) -> u32 {
    let data = data.get(..8).unwrap_or(data);
    let (head, length) = header(id, extended, remote, data.len());
    let data = if remote { &[] } else { data };
    let (head_bytes, pad) = if extended { (5, 1) } else { (3, 0b10101) };
    // Bits in front that fill up a byte, each unlike its neighbours, call for no stuff bit and leave the state that the
    // start bit makes.
    let padded = (head | pad << length).to_be_bytes();
    let mut stuffing = Stuffing::default();
    padded.iter().skip(8 - head_bytes).for_each(|byte| stuffing.byte(*byte));
    data.iter().for_each(|byte| stuffing.byte(*byte));
    let crc = crc15(head.to_be_bytes().get(8 - head_bytes..).unwrap_or_default(), data);
    stuffing.crc(crc);
    length + 8 * data.len() as u32 + CRC_BITS + stuffing.bits + FIXED_TAIL
}

/// As [`frame_bits`], of many frames: it remembers what the identifiers that come again and again call for.
pub struct FrameBits(Box<[Known; KNOWN]>);

/// Identifiers that are remembered: more than most buses have.
const KNOWN: usize = 512;

/// What start of frame to length code of an extended data frame call for.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// Identifier and length; nothing has this one at first.
    key: u64,
    stuffing: Stuffing,
    /// What they add to the CRC.
    crc: u16,
    /// Where the walk over the bits stands behind them.
    start: u32,
}

impl Default for FrameBits {
    fn default() -> Self {
        Self(Box::new([Known { key: u64::MAX, stuffing: Stuffing::default(), crc: 0, start: 0 }; KNOWN]))
    }
}

impl FrameBits {
    /// As [`frame_bits`].
    #[must_use]
    pub fn of(&mut self, id: u32, extended: bool, remote: bool, data: &[u8]) -> u32 {
        if !extended || remote || data.len() > 8 {
            return frame_bits(id, extended, remote, data);
        }
        let Known { mut stuffing, crc, .. } = self.known(id, data.len());
        data.iter().for_each(|byte| stuffing.byte(*byte));
        stuffing.crc(crc ^ crc15(&[], data));
        HEAD_BITS + 8 * data.len() as u32 + CRC_BITS + stuffing.bits + FIXED_TAIL
    }

    /// What identifier and length call for.
    #[inline(always)]
    fn known(&mut self, id: u32, len: usize) -> Known {
        let key = u64::from(id) << 4 | len as u64;
        // The upper bits of a product with an odd number depend on all bits.
        let slot = (key.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> (u64::BITS - KNOWN.ilog2())) as usize;
        let Some(known) = self.0.get_mut(slot) else { return Known::new(key, id, len) };
        if known.key != key {
            *known = Known::new(key, id, len);
        }
        *known
    }
}

/// As [`FrameBits`], of extended data frames with eight bytes, which nearly all are: [`MANY`] of them together.
pub struct ManyBits {
    one: FrameBits,
    starts: [u32; MANY],
    /// The stuff bits up to the length code.
    heads: [u32; MANY],
    data: [u64; MANY],
}

impl Default for ManyBits {
    fn default() -> Self {
        Self { one: FrameBits::default(), starts: [0; MANY], heads: [0; MANY], data: [0; MANY] }
    }
}

impl ManyBits {
    /// Takes frames to the places from `at` on, as far as these go; says up to which.
    #[inline(always)]
    pub fn add<'a>(&mut self, at: usize, frames: impl Iterator<Item = (u32, &'a [u8; 8])>) -> usize {
        let Self { one, starts, heads, data } = self;
        let heads = heads.iter_mut().zip(data).skip(at);
        let free = starts.iter_mut().skip(at).zip(heads);
        let mut end = at;
        // The places first: a frame that finds none is not taken from those that come.
        for ((start, (head, to)), (id, data)) in free.zip(frames) {
            let known = one.known(id, 8);
            (*start, *head, *to) = (known.start, known.stuffing.bits, u64::from_be_bytes(*data));
            end += 1;
        }
        end
    }

    /// The bits of the frame that each place took last.
    #[must_use]
    pub fn bits(&self) -> [u32; MANY] {
        let mut bits = stuff_bits(&self.starts, &self.data);
        for (bits, head) in bits.iter_mut().zip(&self.heads) {
            *bits += head + HEAD_BITS + 8 * 8 + CRC_BITS + FIXED_TAIL;
        }
        bits
    }
}

/// Bits of an extended frame from its start to its length code.
const HEAD_BITS: u32 = 39;

impl Known {
    fn new(key: u64, id: u32, len: usize) -> Self {
        let (head, length) = header(id, true, false, len);
        let mut stuffing = Stuffing::default();
        let padded = (head | 1 << length).to_be_bytes();
        padded.iter().skip(3).for_each(|byte| stuffing.byte(*byte));
        let head = head.to_be_bytes();
        let head = head.get(3..).unwrap_or_default();
        let data = [0; 8];
        let crc = crc15(head, data.get(..len).unwrap_or(&data));
        Self { key, stuffing, crc, start: stuffing.start(crc15(head, &[])).packed() }
    }
}

/// Start of frame to length code, as a number, and its length in bits.
fn header(id: u32, extended: bool, remote: bool, len: usize) -> (u64, u32) {
    let (remote, len) = (u64::from(remote), len as u64);
    if extended {
        let (base, extension) = (u64::from(id >> 18 & 0x7FF), u64::from(id & 0x3_FFFF));
        // 1 start bit (0), base id, SRR = IDE = 1, extension, RTR, r1 = r0 = 0, length code.
        ((((base << 2 | 0b11) << 18 | extension) << 3 | remote << 2) << 4 | len, 39)
    } else {
        // 1 start bit (0), id, RTR, IDE = r0 = 0, length code.
        ((u64::from(id & 0x7FF) << 3 | remote << 2) << 4 | len, 19)
    }
}

/// CRC-15 of the last bytes of `head`, and `data` behind it; together they have at most [`MAX_CONTENT`] bytes other than
/// leading zeros, which leave the zero start value as it is.
#[inline]
fn crc15(head: &[u8], data: &[u8]) -> u16 {
    let mut tables = CRC_TABLES.iter();
    let mut crc = 0;
    for bytes in [data, head] {
        for (byte, table) in bytes.iter().rev().zip(&mut tables) {
            crc ^= table.get(usize::from(*byte)).copied().unwrap_or(0);
        }
    }
    crc
}

/// A walk over the bits that counts the stuff bits.
#[derive(Debug, Clone, Copy, Default)]
struct Stuffing {
    /// The last entry of the table: its state is in its place for the next look-up.
    entry: u16,
    bits: u32,
}

impl Stuffing {
    fn byte(&mut self, byte: u8) {
        let at = self.entry & 0x0F00 | u16::from(byte);
        self.entry = STUFF_TABLE.get(usize::from(at)).copied().unwrap_or(0);
        self.bits += u32::from(self.entry >> 12);
    }

    /// Where it stands, with the CRC so far.
    fn start(self, crc: u16) -> Start {
        let state = (self.entry >> 8 & 0x0F) as u8;
        let last = u8::from(state > 4);
        Start { crc, last, run: state - 4 * last }
    }

    /// The 15 bits of the CRC. A last bit that is unlike the one before fills up the byte and calls for no stuff bit.
    fn crc(&mut self, crc: u16) {
        for byte in (crc << 1 | (!crc & 1)).to_be_bytes() {
            self.byte(byte);
        }
    }
}

/// One bit on: the next state and the stuff bits (0 or 1) that follow it. The stuff bit, inverse to the run of five,
/// begins the next run.
const fn step(state: u8, bit: u8) -> (u8, u8) {
    let (last, run) = match state {
        1..=4 => (0, state),
        5..=8 => (1, state - 4),
        _ => (2, 0),
    };
    if bit != last {
        (if bit == 0 { 1 } else { 5 }, 0)
    } else if run < 4 {
        (state + 1, 0)
    } else {
        (if bit == 0 { 5 } else { 1 }, 1)
    }
}

const fn crc_tables() -> [[u16; 256]; MAX_CONTENT] {
    let mut tables = [[0; 256]; MAX_CONTENT];
    let mut index = 0;
    while index < 256 {
        let (mut crc, mut following) = ((index as u16) << 7, 0);
        while following < MAX_CONTENT {
            let mut bit = 0;
            while bit < 8 {
                crc = if crc & 0x4000 == 0 { crc << 1 } else { crc << 1 ^ CRC_POLYNOMIAL };
                bit += 1;
            }
            crc &= 0x7FFF;
            #[expect(clippy::indexing_slicing, reason = "compile time; both indices are below the lengths")]
            {
                tables[following][index] = crc;
            }
            following += 1;
        }
        index += 1;
    }
    tables
}

const fn stuff_table() -> [u16; 16 << 8] {
    let mut table = [0; 16 << 8];
    let mut start = 0;
    while start < STATES {
        let mut byte = 0;
        while byte < 256 {
            let (mut state, mut stuffed, mut bit) = (start as u8, 0, 8);
            while bit > 0 {
                bit -= 1;
                let (next, stuff) = step(state, (byte >> bit & 1) as u8);
                state = next;
                stuffed += stuff;
            }
            #[expect(clippy::indexing_slicing, reason = "compile time; the index is below the length")]
            {
                table[start << 8 | byte] = (stuffed as u16) << 12 | (state as u16) << 8;
            }
            byte += 1;
        }
        start += 1;
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The same, bit by bit and with another idea of a run: what the tables are compared with.
    fn naive(id: u32, extended: bool, remote: bool, data: &[u8]) -> u32 {
        let mut bits = vec![0];
        let mut put = |value: u32, count: u32| (0..count).rev().for_each(|b| bits.push(value >> b & 1));
        if extended {
            put(id >> 18, 11);
            put(3, 2);
            put(id, 18);
            put(u32::from(remote), 1);
            put(0, 2);
        } else {
            put(id, 11);
            put(u32::from(remote), 1);
            put(0, 2);
        }
        put(data.len() as u32, 4);
        if !remote {
            data.iter().for_each(|byte| put(u32::from(*byte), 8));
        }
        let mut crc = 0_u32;
        for bit in bits.clone() {
            let invert = bit ^ crc >> 14 & 1;
            crc = crc << 1 & 0x7FFF ^ if invert == 1 { 0x4599 } else { 0 };
        }
        (0..15).rev().for_each(|b| bits.push(crc >> b & 1));
        let mut wire: Vec<u32> = Vec::new();
        let mut run = 0;
        for bit in bits {
            run = if wire.last() == Some(&bit) { run + 1 } else { 1 };
            wire.push(bit);
            if run == 5 {
                wire.push(1 - bit);
                run = 1;
            }
        }
        wire.len() as u32 + 13
    }

    /// Catalogue of parametrised CRC algorithms, CRC-15/CAN: check value of "123456789".
    #[test]
    fn crc_check_value() {
        assert_eq!(crc15(b"123456789", b""), 0x059E);
        assert_eq!(crc15(b"1234", b"56789"), 0x059E);
    }

    /// Frames of typical boat messages, worked out bit by bit by an independent script (ISO 11898-1 procedure).
    #[test]
    fn frames_with_known_lengths() {
        let frames: [(u32, &[u8], u32); 6] = [
            (0x09F8_0123, &[0xE8, 0x13, 0x61, 0x20, 0x50, 0x26, 0x0B, 0x06], 138),
            (0x0DF5_0B22, &[0x31, 0xE6, 0x02, 0x00, 0x00, 0x5E, 0x01, 0x0A], 139),
            (0x18EE_FF23, &[0x15, 0xCD, 0xFB, 0xFF, 0x00, 0x91, 0x78, 0xC0], 141),
            (0x09F1_1205, &[0x2A, 0x65, 0xA8, 0x4C, 0xFE, 0x0C, 0x02, 0xFD], 138),
            (0x0000_0000, &[0; 8], 150),
            (0x18EA_FF01, &[0x14, 0xF0, 0x01], 96),
        ];
        for (id, data, want) in frames {
            assert_eq!(frame_bits(id, true, false, data), want, "{id:08X}");
        }
    }

    proptest! {
        #[test]
        fn tables_agree_with_the_bit_by_bit_way(
            id in 0_u32..1 << 29,
            extended: bool,
            remote: bool,
            data in prop::collection::vec(prop_oneof![Just(0_u8), Just(0xFF), any::<u8>()], 0..=8),
        ) {
            let id = if extended { id } else { id & 0x7FF };
            let bits = frame_bits(id, extended, remote, &data);
            prop_assert_eq!(bits, naive(id, extended, remote, &data));
            let mut counter = FrameBits::default();
            for data in [&data[..], &[], &data[..]] {
                prop_assert_eq!(counter.of(id, extended, remote, data), frame_bits(id, extended, remote, data));
            }
            let mut eight = [0; 8];
            eight.iter_mut().zip(&data).for_each(|(to, from)| *to = *from);
            let many: [_; MANY] = std::array::from_fn(|i| match i % 5 {
                0 => (id, eight),
                1 => (!id & 0x1FFF_FFFF, [0xFF; 8]),
                2 => (id, [0; 8]),
                3 => (id.rotate_left(i as u32) & 0x1FFF_FFFF, eight.map(|byte| byte.rotate_left(i as u32))),
                _ => (i as u32, (u64::from_be_bytes(eight) >> (i % 64)).to_be_bytes()),
            });
            let mut together = ManyBits::default();
            let mut frames = many.iter().map(|(id, data)| (*id, data));
            prop_assert_eq!(together.add(0, frames.by_ref().take(MANY / 3)), MANY / 3);
            prop_assert_eq!(together.add(MANY / 3, frames.by_ref().chain([(7, &[7; 8])])), MANY);
            prop_assert_eq!(together.bits(), many.map(|(id, data)| naive(id, true, false, &data)));
            let length = if remote { 0 } else { 8 * data.len() as u32 };
            let (least, most) = if extended {
                (67 + length, 67 + length + (53 + length) / 4)
            } else {
                (47 + length, 47 + length + (33 + length) / 4)
            };
            prop_assert!((least..=most).contains(&bits));
        }
    }
}
