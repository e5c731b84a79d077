//! How a recording begins and ends on each of its wires, and who is heard there.

use crate::recording::{Summary, WireInfo};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::collections::VecDeque;
use std::hash::Hasher;

/// Wires of one recording that are looked at; a recorder that begins new files has a few.
const MAX_EDGED: usize = 8;

/// Frames that are remembered of the begin and as many of the end of a recording: some seconds of a busy bus.
const MAX_EDGE: usize = 8192;

/// The same of all recordings of a run together.
const MAX_EDGES: usize = 1 << 18;

/// Most voices that are kept, a wire: a sample of them, the same in every recording.
const MAX_VOICES: usize = 256;

/// A sender and one kind of what it sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Voice {
    /// The sender.
    pub sender: u64,
    /// Sender and kind of message.
    pub message: u64,
}

impl Voice {
    /// The voice of a sender, by what names it and what names its message.
    #[must_use]
    pub fn new(sender: &[u8], message: &[u8]) -> Self {
        let mut hasher = rustc_hash::FxHasher::default();
        hasher.write(sender);
        let sender = hasher.finish();
        hasher.write(message);
        Self { sender, message: hasher.finish() }
    }
}

/// A frame at the edge of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark {
    wire: u32,
    /// Of its content.
    pub(super) print: u32,
    /// Its stamp.
    pub(super) at: Time,
}

/// One wire of a recording.
#[derive(Debug)]
pub(super) struct Edge {
    /// What the recorder calls it; `None` until the recording is [closed](Edges::close).
    pub(super) info: Option<WireInfo>,
    /// Frames in all.
    pub(super) frames: u64,
    /// First and last stamp, by time.
    pub(super) span: Option<(Time, Time)>,
    /// Whether every frame had a stamp.
    pub(super) is_timed: bool,
    heard: Heard,
}

/// Who is heard on a wire.
#[derive(Debug, Default)]
struct Heard {
    /// Messages with their senders.
    voices: FxHashMap<u64, u64>,
    /// Only messages with these bits clear are kept.
    mask: u64,
}

impl Heard {
    fn note(&mut self, voice: Voice) {
        // The hasher's lowest bits are its weakest.
        let message = voice.message.swap_bytes();
        if message & self.mask != 0 {
            return;
        }
        self.voices.insert(message, voice.sender);
        if self.voices.len() > MAX_VOICES {
            self.mask = self.mask << 1 | 1;
            let mask = self.mask;
            self.voices.retain(|message, _| message & mask == 0);
        }
    }
}

/// How a recording begins and ends, and who is heard in it.
#[derive(Debug)]
pub struct Edges {
    /// The recording's path.
    pub(super) path: String,
    /// What kind of file it is.
    pub(super) container: &'static str,
    /// The last stamp of the recording, by time.
    pub(super) last: Option<Time>,
    /// By the number of the wire.
    pub(super) wires: Vec<Edge>,
    room: usize,
    begin: Vec<Mark>,
    end: VecDeque<Mark>,
}

impl Edges {
    /// The edges of one of so many recordings.
    #[must_use]
    pub fn of_one_in(recordings: usize) -> Self {
        Self {
            path: String::new(),
            container: "",
            last: None,
            wires: Vec::new(),
            room: (MAX_EDGES / recordings.max(1)).min(MAX_EDGE),
            begin: Vec::new(),
            end: VecDeque::new(),
        }
    }

    /// Notes a frame of a wire: its stamp, what tells it from others, and whose it is.
    pub fn note(&mut self, wire: usize, time: Option<Time>, content: &[u8], voice: Option<Voice>) {
        if wire >= MAX_EDGED {
            return;
        }
        while self.wires.len() <= wire {
            let heard = Heard::default();
            self.wires.push(Edge { info: None, frames: 0, span: None, is_timed: true, heard });
        }
        let Some(edge) = self.wires.get_mut(wire) else { return };
        edge.frames += 1;
        if let Some(voice) = voice {
            edge.heard.note(voice);
        }
        let Some(at) = time else {
            edge.is_timed = false;
            return;
        };
        let (first, last) = edge.span.unwrap_or((at, at));
        edge.span = Some((first.min(at), last.max(at)));
        self.last = self.last.max(Some(at));
        let mut hasher = rustc_hash::FxHasher::default();
        hasher.write(content);
        let mark = Mark { wire: wire as u32, print: (hasher.finish() >> 32) as u32, at };
        if self.begin.len() < self.room {
            self.begin.push(mark);
        }
        if self.end.len() >= self.room {
            self.end.pop_front();
        }
        self.end.push_back(mark);
    }

    /// Notes what the recording turned out to be, once every record was noted.
    pub fn close(&mut self, summary: &Summary) {
        self.path.clone_from(&summary.path);
        self.container = summary.container;
        for (edge, info) in self.wires.iter_mut().zip(&summary.wires) {
            edge.info = Some(info.clone());
        }
    }

    /// The first frames of a wire.
    pub(super) fn begin(&self, wire: usize) -> Vec<Mark> {
        self.begin.iter().filter(|mark| mark.wire as usize == wire).copied().collect()
    }

    /// Its last ones.
    pub(super) fn end(&self, wire: usize) -> Vec<Mark> {
        self.end.iter().filter(|mark| mark.wire as usize == wire).copied().collect()
    }
}

/// What two wires have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Common {
    /// Messages of both, of those of either, 0 to 1.
    pub(super) share: f64,
    /// The same of those of the one that has fewer.
    pub(super) of_fewer: f64,
    /// Senders that the one with more of them has.
    pub(super) senders: usize,
}

impl Edge {
    /// What this wire and another have in common; `None` when one of them has no voice.
    pub(super) fn common(&self, other: &Self) -> Option<Common> {
        let mask = self.heard.mask | other.heard.mask;
        let of = |edge: &Self| -> FxHashMap<u64, u64> {
            let drawn = edge.heard.voices.iter().filter(|(message, _)| *message & mask == 0);
            drawn.map(|(message, sender)| (*message, *sender)).collect()
        };
        let (ours, theirs) = (of(self), of(other));
        if ours.is_empty() || theirs.is_empty() {
            return None;
        }
        let both = ours.keys().filter(|message| theirs.contains_key(message)).count();
        let senders = |voices: &FxHashMap<u64, u64>| voices.values().collect::<FxHashSet<_>>().len();
        Some(Common {
            share: both as f64 / (ours.len() + theirs.len() - both) as f64,
            of_fewer: both as f64 / ours.len().min(theirs.len()) as f64,
            senders: senders(&ours).max(senders(&theirs)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(messages: std::ops::Range<u32>) -> Edge {
        let mut edges = Edges::of_one_in(2);
        for message in messages {
            let voice = Voice::new(&[0], &message.to_be_bytes());
            edges.note(0, Some(Time(0)), &[], Some(voice));
        }
        edges.wires.remove(0)
    }

    #[test]
    fn thousands_of_voices_are_compared_by_the_same_sample() {
        let common = heard(0..6000).common(&heard(3000..9000)).unwrap();
        assert!((common.share - 1.0 / 3.0).abs() < 0.15, "{common:?}");
        assert!(heard(0..9000).heard.voices.len() <= MAX_VOICES);
        assert_eq!(heard(0..6000).common(&heard(7000..9000)).unwrap().share, 0.0);
    }

    #[test]
    fn the_begin_and_the_end_are_kept() {
        let mut edges = Edges::of_one_in(MAX_EDGES / 4);
        for i in 0..100_u8 {
            edges.note(usize::from(i % 2), Some(Time(i64::from(i))), &[i], None);
        }
        let times = |marks: Vec<Mark>| marks.iter().map(|mark| mark.at.0).collect::<Vec<_>>();
        assert_eq!((times(edges.begin(0)), times(edges.end(1))), (vec![0, 2], vec![97, 99]));
    }
}
