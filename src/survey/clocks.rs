//! A first look at each of several recordings, for how their clocks stand to each other.

use super::Intake;
use crate::clocks::{Curve, MAX_RECKONED, Prints, Witness, reckon};
use crate::findings;
use crate::recording::{self, LentFrame, Merged, Payload, Reckoning};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Bytes of a packet that tell it from others: the headers, with their counters and checksums. Recorders may cut what
/// follows at different lengths.
const PACKET_HEAD: usize = 64;

/// Quantities whose values are compared.
const COMPARED: [&str; 4] = ["heading", "position", "course-and-speed-over-ground", "depth"];

/// How the clocks of the recordings stand to each other, in their order; nothing for a single one.
///
/// Each file is read once for it, side by side on as many threads as there are processors. Standard input and what else
/// can be read but once is not looked at.
pub(super) fn reckonings(paths: &[String]) -> Vec<Reckoning> {
    if paths.len() < 2 {
        return Vec::new();
    }
    let left = |why: &str| vec![Reckoning::untouched(why, None); paths.len()];
    if paths.len() > MAX_RECKONED {
        return left("not told: too many recordings at once");
    }
    if !paths.iter().all(|path| Path::new(path).is_file()) {
        return left("not told: standard input can be read but once");
    }
    reckon(&witnesses(paths))
}

fn witnesses(paths: &[String]) -> Vec<Witness> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(paths.len());
    let next = AtomicUsize::new(0);
    let work = || {
        let mut seen = Vec::new();
        while let Some((number, path)) = {
            let number = next.fetch_add(1, Ordering::Relaxed);
            paths.get(number).map(|path| (number, path))
        } {
            // A recording that cannot be read is told of in the pass itself.
            seen.push((number, witness(path).unwrap_or_default()));
        }
        seen
    };
    let mut all: Vec<(usize, Witness)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        handles.into_iter().filter_map(|handle| handle.join().ok()).flatten().collect()
    });
    all.sort_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, witness)| witness).collect()
}

fn witness(path: &str) -> Result<Witness, recording::RecordingError> {
    let mut merged = Merged::new(vec![recording::open(path)?]);
    let mut intake = Intake::of(1);
    let mut prints = Prints::default();
    while merged.advance()? {
        let record = merged.record();
        if let Some(time) = record.time {
            match record.payload {
                Payload::Packet { bytes, .. } => {
                    prints.note(0, bytes.get(..PACKET_HEAD).unwrap_or(bytes), time);
                }
                Payload::Can(frame) => prints.note(1, &content(&frame), time),
                Payload::Line(line) => prints.note(2, line, time),
                Payload::Other => {}
            }
        }
        let info = || merged.summaries().next().and_then(|summary| summary.wires.get(record.wire).cloned());
        intake.record(0, &record, None, info, |_| false);
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

/// Identifier and data of a CAN frame.
fn content(frame: &LentFrame<'_>) -> [u8; 68] {
    let mut content = [0; 68];
    for (to, from) in content.iter_mut().zip(frame.id.to_be_bytes().iter().chain(frame.data)) {
        *to = *from;
    }
    content
}
