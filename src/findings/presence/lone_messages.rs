//! A device that sends little beside one message: what another message proves to be a pause of this one is no device's silence
//! either where nothing else was due.

use super::{Presence, Silence, flowed_into, is_missed, patience};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::timing::Stream;
use crate::time::Span;

/// A message that stays away for so many of its intervals is missing, and not late.
const DUE_INTERVALS: f64 = 1.5;

/// Gives silences of a device to those of its messages that pause at other times while the device lives: a heartbeat comes once
/// a minute, and falls into one pause and not into the next.
pub(super) fn find(books: &Books, presence: &mut Presence) {
    let streams: Vec<&Stream> = books.timing.iter().collect();
    let Presence { devices, messages, .. } = presence;
    let mut moved: Vec<(usize, Silence)> = Vec::new();
    for (id, silences) in devices.iter_mut() {
        let pausing: Vec<(usize, &Stream)> = messages
            .iter()
            .filter_map(|(index, _)| Some((*index, *streams.get(*index)?)))
            .filter(|(_, stream)| stream.device == *id)
            .collect();
        if pausing.is_empty() {
            continue;
        }
        silences.retain(|silence| {
            let theirs = breaking(books, *id, &pausing, silence);
            moved.extend(theirs.iter().map(|(index, span)| (*index, Silence { span: *span, ..*silence })));
            theirs.is_empty()
        });
    }
    devices.retain(|_, silences| !silences.is_empty());
    for (index, silence) in moved {
        let Some((_, silences)) = messages.iter_mut().find(|(of, _)| *of == index) else { continue };
        if !silences.iter().any(|known| known.span == silence.span) {
            silences.push(silence);
            silences.sort_by_key(|known| known.span);
        }
    }
}

/// The pauses of those messages that make a device's silence; none where it takes others, which pause with the device alone.
fn breaking(
    books: &Books,
    id: DeviceId,
    pausing: &[(usize, &Stream)],
    silence: &Silence,
) -> Vec<(usize, Span)> {
    let span = silence.span;
    let is_pausing = |stream: &Stream| pausing.iter().any(|(_, other)| std::ptr::eq(*other, stream));
    if books.timing.of(id).any(|stream| !is_pausing(stream) && was_due(stream, span)) {
        return Vec::new();
    }
    let Some(wire) = books.inventory.get(id).and_then(|device| books.wires.get(device.wire)) else {
        return Vec::new();
    };
    let breaks = |stream: &Stream| {
        stream.pulse_s().is_some_and(|pulse| span.seconds() > patience(books, pulse, wire))
            && is_missed(books, stream, wire, span)
            && flowed_into(stream, span)
    };
    let own = |stream: &Stream| {
        let pauses = stream.gaps.over(0.5 * span.seconds());
        pauses.into_iter().find(|pause| pause.shared_s(span) >= 0.8 * span.seconds()).unwrap_or(span)
    };
    pausing.iter().filter(|(_, stream)| breaks(stream)).map(|(index, stream)| (*index, own(stream))).collect()
}

/// Whether a message would have come in a silence, had the device lived.
pub(super) fn was_due(stream: &Stream, silence: Span) -> bool {
    // Of a heartbeat there are too few to show a rhythm.
    stream.pulse_s().or(stream.standard_s).is_some_and(|interval| {
        let long = DUE_INTERVALS * interval;
        let is_next_in = |from| silence.to.since(from) > interval;
        let paused =
            stream.gaps.over(long).iter().any(|gap| gap.shared_s(silence) > 0.0 && is_next_in(gap.from));
        let ended = stream.last.is_some_and(|last| last <= silence.from && silence.to.since(last) > long);
        stream.first.is_some_and(|first| first <= silence.from) && (paused || ended)
    })
}
