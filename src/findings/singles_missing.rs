//! Single frames that are missing all over a bus: what loses those of every sender is the recorder, for on a CAN bus a frame
//! that one node misses is sent again to all (ISO 11898-1).

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, Stream};
use crate::books::wires::WireId;
use crate::messages::n2k;

/// Messages of a sender from which on its losses are judged.
const ENOUGH: u64 = 400;

/// A sender of whose messages so many are missing loses frames, share (common practice, no source: a sound bus loses none).
const LOSES: f64 = 0.003;

/// Senders that are needed to tell the recorder's losses from one device's.
const SENDERS: usize = 2;

/// How many senders of a bus besides `accused` lose single frames, and of how many: the recorder's loss, when most do.
pub(super) fn all_over(books: &Books, wire: WireId, accused: DeviceId) -> Option<(usize, usize)> {
    let others = books.inventory.iter().filter(|(id, device)| *id != accused && device.wire == wire);
    let shares: Vec<f64> = others.filter_map(|(id, _)| missing(books, id)).collect();
    let losing = shares.iter().filter(|share| **share >= LOSES).count();
    (losing >= SENDERS && losing * 2 > shares.len()).then_some((losing, shares.len()))
}

/// The share of a device's single frames after which the next one came twice as late as it does: one was missing.
fn missing(books: &Books, id: DeviceId) -> Option<f64> {
    let single = |stream: &&Stream| match stream.message {
        Message::Pgn(pgn) => {
            n2k::lookup(pgn).is_some_and(|known| known.frames == n2k::Frames::Single) && stream.is_periodic()
        }
        Message::Sentence(_) | Message::Protocol(_) => false,
    };
    let (mut all, mut missed) = (0, 0);
    for stream in books.timing.of(id).filter(single) {
        let us = stream.median_s()? * 1e6;
        all += stream.count;
        missed += stream.intervals.count_between((1.7 * us) as u64, (2.3 * us) as u64);
    }
    (all >= ENOUGH).then(|| missed as f64 / all as f64)
}
