//! A first look at each of several recordings: how their clocks stand to each other, and which go on where another ends.

use super::Intake;
use super::voices::voice;
use crate::clocks::{Curve, Edges, MAX_JOINED, MAX_RECKONED, Prints, Sequels, Witness, reckon, sequels};
use crate::findings;
use crate::recording::{self, LentFrame, Merged, Payload, Reckoning, Record, Recording, RecordingError};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Bytes of a packet that tell it from others: the headers, with their counters and checksums. Recorders may cut what
/// follows at different lengths.
const PACKET_HEAD: usize = 64;

/// Quantities whose values are compared.
const COMPARED: [&str; 4] = ["heading", "position", "course-and-speed-over-ground", "depth"];

/// What a first look at several recordings tells of them.
#[derive(Default)]
pub(super) struct Look {
    /// How their clocks stand to each other, in their order; nothing for a single one.
    pub(super) reckonings: Vec<Reckoning>,
    /// Which goes on with which; `None` when they were not looked at.
    pub(super) sequels: Option<Sequels>,
}

/// How the recordings stand to each other.
///
/// Each file is read once for it, side by side on as many threads as there are processors. Standard input and what else
/// can be read but once is not looked at.
pub(super) fn look(paths: &[String]) -> Look {
    if paths.len() < 2 {
        return Look::default();
    }
    let left = |why: &str| vec![Reckoning::untouched(why, None); paths.len()];
    if !paths.iter().all(|path| Path::new(path).is_file()) {
        let reckonings = left("not told: standard input can be read but once");
        return Look { reckonings, sequels: None };
    }
    let has_clocks = paths.len() <= MAX_RECKONED;
    if paths.len() > MAX_JOINED {
        return Look { reckonings: left(TOO_MANY), sequels: None };
    }
    let (witnesses, edges): (Vec<_>, Vec<_>) = seen(paths, has_clocks).into_iter().unzip();
    let reckonings = if has_clocks { reckon(&witnesses) } else { left(TOO_MANY) };
    let sequels = Some(sequels(&edges, &reckonings));
    Look { reckonings, sequels }
}

/// What is said of clocks that were not compared.
const TOO_MANY: &str = "not told: too many recordings at once";

/// What each recording shows of its clock, when that is asked for, and of its ends.
fn seen(paths: &[String], has_clocks: bool) -> Vec<(Witness, Edges)> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(paths.len());
    let next = AtomicUsize::new(0);
    let work = || {
        let mut seen = Vec::new();
        while let Some((number, path)) = {
            let number = next.fetch_add(1, Ordering::Relaxed);
            paths.get(number).map(|path| (number, path))
        } {
            let mut edges = Edges::of_one_in(paths.len());
            // A recording that cannot be read is told of in the pass itself.
            let witness = if has_clocks { witness(path, &mut edges) } else { ends(path, &mut edges) };
            seen.push((number, (witness.unwrap_or_default(), edges)));
        }
        seen
    };
    let mut all: Vec<(usize, (Witness, Edges))> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        handles.into_iter().filter_map(|handle| handle.join().ok()).flatten().collect()
    });
    all.sort_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, seen)| seen).collect()
}

/// Looks at the ends of a recording alone.
fn ends(path: &str, edges: &mut Edges) -> Result<Witness, RecordingError> {
    let mut recording = recording::open(path)?;
    while recording.advance()? {
        let record = recording.record();
        content(&record.payload, |_, content| note_edge(edges, &record, content));
    }
    edges.close(recording.summary());
    Ok(Witness::default())
}

fn witness(path: &str, edges: &mut Edges) -> Result<Witness, RecordingError> {
    let mut merged = Merged::new(vec![recording::open(path)?]);
    let mut intake = Intake::of(1);
    let mut prints = Prints::default();
    while merged.advance()? {
        let record = merged.record();
        content(&record.payload, |kind, content| {
            if let Some(time) = record.time.filter(|_| record.payload != Payload::Other) {
                prints.note(kind, content, time);
            }
            note_edge(edges, &record, content);
        });
        let info = || merged.summaries().next().and_then(|summary| summary.wires.get(record.wire).cloned());
        intake.record(0, &record, None, info, |_| false);
    }
    for summary in merged.summaries() {
        edges.close(summary);
    }
    let books = intake.finish(merged.summaries().cloned().collect());
    Ok(Witness {
        span: books.spans.first().copied().flatten(),
        time_base: books.recordings.first().map(|r| r.time_base).unwrap_or_default(),
        was_set: findings::clock_was_set(&books),
        prints,
        shown: books.clock.shown().to_vec(),
        curves: COMPARED
            .iter()
            .flat_map(|quantity| books.series.of(quantity))
            .map(|source| Curve::new(source.key.quantity, source.track.samples()))
            .filter(Curve::is_of_use)
            .collect(),
    })
}

fn note_edge(edges: &mut Edges, record: &Record<'_>, content: &[u8]) {
    edges.note(record.wire, record.time, content, voice(&record.payload));
}

/// Hands over what tells a record from others of its kind, and the kind.
fn content(payload: &Payload<'_>, mut take: impl FnMut(u8, &[u8])) {
    match payload {
        Payload::Packet { bytes, .. } => take(0, bytes.get(..PACKET_HEAD).unwrap_or(bytes)),
        Payload::Can(frame) => take(1, &of_can(frame)),
        Payload::Line(line) => take(2, line),
        Payload::Other => take(3, &[]),
    }
}

/// Identifier and data of a CAN frame.
fn of_can(frame: &LentFrame<'_>) -> [u8; 68] {
    let mut content = [0; 68];
    for (to, from) in content.iter_mut().zip(frame.id.to_be_bytes().iter().chain(frame.data)) {
        *to = *from;
    }
    content
}
