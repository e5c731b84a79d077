//! Recordings: bytes of a file or of standard input in, records out.
//!
//! The only room that reads recordings. It knows containers, clocks and damage; it knows no protocol beyond what is
//! needed to find the records and their times.

mod account;
mod ahead;
mod boat_clock;
mod buffer;
mod bytes;
mod can_frame;
mod can_socket;
mod can_text;
mod clock;
mod compressed;
mod cursor;
mod digests;
mod interface;
mod line_text;
mod merge;
mod open;
mod pcap;
mod pcapng;
mod prospect;
mod reader;
mod reckoning;
mod reel;
mod sniff;
mod stamp;
mod stand_in;
mod tape;
mod text;
mod text_parts;

pub use ahead::{
    Ahead, Coming, Digest, Frames, Packets, Payloads, ReadyPacket, StampedFrames, Take, UsualFrame,
    open_ahead,
};
pub use can_frame::{CanFrame, CanKind, LentFrame};
pub use can_text::{can_line, digit as hex_digit, is_direction};
pub use digests::{Digests, Marks};
pub use line_text::is_sentence_tail;
pub use merge::Merged;
pub use open::{open, open_reader};
pub use reckoning::Reckoning;
pub use reel::{Held, Recorded, Reel, Row};
pub use tape::{Mark, Part, Seen, Tape};
pub use text_parts::{
    LineKind, LineParts, Sight, StampForm, StampSeen, blank_stamp, data_begins, remark_begins, shift_number,
    shift_stamp, split_line, stamp_length, stamp_to_utc, tag_moment, tag_seen,
};

use crate::time::Time;

/// How a packet's bytes begin: the link types of the IETF registry (draft-ietf-opsawg-pcaplinktype) that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LinkType {
    /// 1: Ethernet header.
    Ethernet,
    /// 12, 14, 101, 228, 229: an IPv4 or IPv6 header.
    RawIp,
    /// 0: four bytes of address family in the recorder's byte order, then IP.
    Null,
    /// 108: as `Null`, big endian.
    Loop,
    /// 113: Linux cooked header, version 1.
    LinuxCooked,
    /// 276: Linux cooked header, version 2.
    LinuxCooked2,
}

/// What a record holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Payload<'a> {
    /// A network packet.
    Packet {
        /// How the bytes begin.
        link: LinkType,
        /// The captured bytes.
        bytes: &'a [u8],
        /// Bytes that the packet had on the wire; more than `bytes.len()` when the recorder cut it.
        original: u32,
    },
    /// A CAN frame or controller error message.
    Can(LentFrame<'a>),
    /// A 0183 line without its time prefix and line end; a TAG block still stands in front.
    Line(&'a [u8]),
    /// A packet of a link type that is not read, or too short for what it should be: it counts and has a time.
    Other,
}

/// One record of a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record<'a> {
    /// When, in recording time; `None` when the recording has no clock.
    pub time: Option<Time>,
    /// Index into the recording's [`WireInfo`] list.
    pub wire: usize,
    /// What it holds.
    pub payload: Payload<'a>,
}

/// What kind of link a wire is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum WireKind {
    /// An Ethernet interface.
    Ethernet,
    /// A CAN bus.
    Can,
    /// An NMEA 0183 line.
    Line,
}

/// One wire of a recording, as the recorder names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WireInfo {
    /// What kind of link it is.
    pub kind: WireKind,
    /// The recorder's own name for it (`can0`, `eth0`), when it gave one. Text from a stranger.
    pub name: Option<String>,
}

/// How a recording's times came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TimeBase {
    /// The recorder stamped every record.
    #[default]
    Stamped,
    /// The recorder wrote a time of day without a date: times lie on 1970-01-01 (and the days after).
    TimeOfDay,
    /// The recorder wrote no time: times come from the boat's own clock in the sentences.
    BoatClock,
    /// As `BoatClock`, but no sentence gives a date: times lie on 1970-01-01.
    BoatTimeOfDay,
    /// There is no clock at all.
    None,
}

/// What a recording turned out to be; complete once every record was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Summary {
    /// The path as it was given; `-` is standard input.
    pub path: String,
    /// `pcap`, `pcapng`, `can-log`, `line-log` ...
    pub container: &'static str,
    /// `gzip`, `zstd` or `None`.
    pub compression: Option<&'static str>,
    /// Bytes of the file as stored (compressed size when compressed).
    pub bytes: u64,
    /// Records counted as frames: packets, CAN frames, sentence lines.
    pub frames: u64,
    /// Where the times come from.
    pub time_base: TimeBase,
    /// The wires, in the order of their first appearance.
    pub wires: Vec<WireInfo>,
    /// Frames that the recorder itself says it lost (drop counters), as far as it says so.
    pub lost_frames: u64,
    /// Packets that the recorder cut.
    pub cut_packets: u64,
    /// The most bytes that it kept of one that it cut.
    pub cut_to: u32,
    /// Bytes in the middle that are no record and were skipped.
    pub damaged_bytes: u64,
    /// Bytes of a record that the end of the file cut off (what was there of it).
    pub truncated_bytes: u64,
    /// Whether the file ends in mid-record.
    pub truncated: bool,
    /// Everything a reader of the report must know, one short line each, most important first.
    pub problems: Vec<String>,
    /// How its clock stands to that of the other recordings; `None` when there are none.
    pub reckoning: Option<Reckoning>,
}

/// One recording being read. Call [`advance`](Recording::advance), then look at [`record`](Recording::record).
///
/// Memory is one read buffer. Damage is skipped and accounted in the summary; it never ends the reading.
pub trait Recording: Send {
    /// Moves to the next record; `false` at the end.
    ///
    /// # Errors
    /// Only when the input cannot be read at all any more (the disk or pipe fails); damage is no error.
    fn advance(&mut self) -> Result<bool, RecordingError>;

    /// The record that `advance` moved to. Before the first `advance` and after the end: an empty line record.
    fn record(&self) -> Record<'_>;

    /// Moves on over records that lie ready, and hands them to `take` until that does not take one; this is the next
    /// [`advance`](Self::advance)'s. There may be more records when it returns.
    fn run(&mut self, _: &mut impl Take)
    where
        Self: Sized,
    {
    }

    /// A number that whoever opened the recording wants of each record, when it was worked out ahead (see
    /// [`open_ahead`]).
    fn digest(&self) -> Option<u64> {
        None
    }

    /// What is known so far; complete after `advance` returned `false`.
    fn summary(&self) -> &Summary;

    /// Share of the file that has been read, 0 to 1, when its size is known; for the progress bar.
    fn progress(&self) -> Option<f64> {
        None
    }
}

impl Recording for Box<dyn Recording> {
    fn advance(&mut self) -> Result<bool, RecordingError> {
        self.as_mut().advance()
    }

    fn record(&self) -> Record<'_> {
        self.as_ref().record()
    }

    fn digest(&self) -> Option<u64> {
        self.as_ref().digest()
    }

    fn summary(&self) -> &Summary {
        self.as_ref().summary()
    }

    fn progress(&self) -> Option<f64> {
        self.as_ref().progress()
    }
}

/// Why a recording could not be opened or read on.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The operating system refused.
    #[error("cannot read {path}: {source}")]
    Io {
        /// The path as it was given.
        path: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The content is of no kind that is read.
    #[error("{path} is no recording that can be read: {found}")]
    Unknown {
        /// The path as it was given.
        path: String,
        /// What was found instead, with what to do about it.
        found: String,
    },
}
