//! A node that takes another address before its NAME is known: what nobody claimed falls silent, and what claims begins.

use super::{Presence, Silence, flowed_into, periodic};
use crate::books::Books;
use crate::books::inventory::{Device, DeviceId};
use crate::books::timing::Stream;
use crate::time::{Span, Time};

/// A node that moves claims its new address within this time and one of its intervals, seconds (ISO 11783-5: an answer within
/// 250 ms).
const AT_ONCE_S: f64 = 1.0;

/// Rates within this factor of each other are the same.
const SAME_RATE: f64 = 1.3;

/// Whether a node without a NAME that is silent to the end goes on from another address, or from its own after a contest for it:
/// somebody unheard of claims one as it stops, and sends just what it sent, as often.
pub(super) fn goes_on(books: &Books, presence: &Presence, id: DeviceId, silence: &Silence) -> bool {
    let Some(device) = books.inventory.get(id) else { return false };
    if silence.returned || device.address().is_none() || device.name().is_some() {
        return false;
    }
    let Some(bus) = books.buses.get(device.wire) else { return false };
    let window_s = AT_ONCE_S + presence.cadence(id).unwrap_or(0.0);
    let at_once = |at: Time| (0.0..=window_s).contains(&at.since(silence.span.from));
    // While a newcomer contends for the address, what is sent from it is still the nameless one's.
    let holds = |d: &Device| d.address() == device.address();
    let near = |at: Time, d: &Device| {
        at_once(at) || holds(d) && at_once(silence.span.from.plus(silence.span.from.since(at)))
    };
    let claims =
        |other: DeviceId, d: &Device| bus.claim_list.iter().any(|(at, _, by)| *by == other && near(*at, d));
    let is_it = |(other, d): (DeviceId, &Device)| {
        d.wire == device.wire
            && d.name().is_some()
            && d.first.is_some_and(|first| near(first, d))
            && claims(other, d)
            && sends_the_same(books, id, other, silence.span)
    };
    books.inventory.iter().any(is_it)
}

/// Whether a node sends from its begin on all that another one sent up to its silence, and nothing else.
fn sends_the_same(books: &Books, old: DeviceId, new: DeviceId, silence: Span) -> bool {
    let goes_on = |stream: &Stream| {
        let Some(pulse) = stream.pulse_s() else { return false };
        books.timing.of(new).any(|s| {
            let same_rate = s.pulse_s().is_none_or(|p| (1.0 / SAME_RATE..=SAME_RATE).contains(&(p / pulse)));
            let begins = s.first.is_some_and(|first| first.since(silence.from) <= 2.0 * pulse + AT_ONCE_S);
            (s.message, s.part) == (stream.message, stream.part) && same_rate && begins
        })
    };
    let mut before = periodic(books, old).filter(|stream| flowed_into(stream, silence)).peekable();
    let sent = |stream: &Stream| books.timing.of(old).any(|s| s.message == stream.message);
    before.peek().is_some()
        && before.all(goes_on)
        && periodic(books, new).count() > 0
        && periodic(books, new).all(sent)
}
