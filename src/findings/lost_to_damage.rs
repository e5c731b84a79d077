//! Silences on a line that are none: the sentences came, damaged.

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::wires::Wire;
use crate::time::Span;

/// Where so large a share of a talker's sentences comes damaged, five in a row do so now and then; where it is smaller, hardly
/// ever (one time in a thousand).
const LARGE_SHARE: f64 = 0.25;

/// Whether enough of what a talker, or one of its sentences, owed in a silence came damaged: then it is the line's damage, which
/// is told by itself. Of garbled sentences it has the share that it has of all others.
pub(super) fn explains(books: &Books, talker: DeviceId, silence: Span) -> bool {
    let Some(device) = books.inventory.get(talker) else { return false };
    let Some((wire, line)) = books.wires.get(device.wire).zip(books.lines.get(device.wire)) else {
        return false;
    };
    let own_s = books.inventory.seen(talker).map_or(0.0, Span::seconds);
    share(line.damaged_in(Some(talker), silence), device.frames, own_s, silence)
        + share(line.damaged_in(None, silence), wire.frames, lasted_s(wire), silence)
        >= LARGE_SHARE
}

fn lasted_s(wire: &Wire) -> f64 {
    wire.first.zip(wire.last).map_or(0.0, |(first, last)| last.since(first))
}

/// What so many damaged sentences are of those that usually come in so long a time.
fn share(damaged: f64, sentences: u64, seen_s: f64, silence: Span) -> f64 {
    let owed = sentences as f64 / seen_s.max(1.0) * silence.seconds();
    if owed > 0.0 { damaged / owed } else { 0.0 }
}
