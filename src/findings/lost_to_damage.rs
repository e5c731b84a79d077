//! Silences on a line that are none: the sentences came, damaged.

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::{Message, Stream};
use crate::time::Span;

/// Where so large a share of a talker's sentences comes damaged, five in a row do so now and then; where it is smaller, hardly
/// ever (one time in a thousand).
const LARGE_SHARE: f64 = 0.25;

/// What would not happen once in so many recordings alike is no chance: a talker that is silent for long on a damaged line.
const RECORDINGS: f64 = 1000.0;

/// Whether enough of what a talker, or one of its sentences, owed in a silence came damaged, and so few were owed that all of
/// them may have: then it is the line's damage, which is told by itself. Of garbled sentences it has the share that it has of
/// all others.
pub(super) fn explains(books: &Books, talker: DeviceId, message: Option<Message>, silence: Span) -> bool {
    let Some(device) = books.inventory.get(talker) else { return false };
    let Some((wire, line)) = books.wires.get(device.wire).zip(books.lines.get(device.wire)) else {
        return false;
    };
    let own_s = books.inventory.seen(talker).map_or(0.0, Span::seconds);
    let share = share(line.damaged_in(Some(talker), silence), device.frames, own_s, silence)
        + share(line.damaged_in(None, silence), wire.frames, wire.lasted_s(), silence);
    let is_it = |stream: &&Stream| message.is_none_or(|message| stream.message == message);
    let sent = books.timing.of(talker).filter(is_it).map(|stream| stream.count).sum::<u64>() as f64;
    let owed = sent / own_s.max(1.0) * silence.seconds();
    share >= LARGE_SHARE && share.min(1.0).powf(owed) * sent * RECORDINGS >= 1.0
}

/// What so many damaged sentences are of those that usually come in so long a time.
fn share(damaged: f64, sentences: u64, seen_s: f64, silence: Span) -> f64 {
    let owed = sentences as f64 / seen_s.max(1.0) * silence.seconds();
    if owed > 0.0 { damaged / owed } else { 0.0 }
}
