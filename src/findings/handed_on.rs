//! Silences that a device only hands on: who repeats another one's values has none to send while that one is silent.

use super::{
    Evidence, depth_unsent, duplicate_depth_source, duplicate_heading_source, fast_packet_loss, fix_lost,
    line_overloaded, lost_to_damage, pairs,
};
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::books::timing::Message;
use crate::time::Span;

/// The two silences of one event begin and end within this of each other, seconds: a gateway sends the last value a while.
const TOGETHER_S: f64 = 2.0;

/// Quantities of which it is known who only repeats another one's.
const REPEATED: [&str; 3] = ["heading", "position", "depth"];

/// Whether a silence of a device, or of one of its messages, is its own and no other finding's.
pub(super) fn is_own(evidence: &Evidence<'_>, id: DeviceId, message: Option<Message>, silence: Span) -> bool {
    let wire = evidence.books.inventory.get(id).map(|device| device.wire);
    !is_handed_on(evidence, id, message, silence)
        && !depth_unsent::explains(evidence, id, message, silence)
        && !fix_lost::explains(evidence, id, message, silence)
        && !fast_packet_loss::explains(evidence, id, message, silence)
        && !lost_to_damage::explains(evidence.books, id, message, silence)
        && !wire.is_some_and(|wire| line_overloaded::explains(evidence.books, wire, silence))
}

/// Whether what a device (or one of its messages) says is another's, and that other one was silent at the same time.
///
/// Only headings, positions and depths are known to be another's. Another message is taken to be when the device repeats
/// one of these of somebody who supplies it as well; of a whole device it is not asked.
fn is_handed_on(evidence: &Evidence<'_>, id: DeviceId, message: Option<Message>, silence: Span) -> bool {
    let asked = |source: &&Source| {
        source.valid > 0
            && message
                .map_or(REPEATED.contains(&source.key.quantity), |message| source.key.message == message)
            && (source.key.device == id || evidence.books.carrier(source.key.device) == Some(id))
    };
    let mut any = false;
    for source in evidence.books.series.iter().filter(asked) {
        let quantity = source.key.quantity;
        let is_others = if REPEATED.contains(&quantity) {
            is_echo_of_silent(evidence, source, quantity, silence, |_| true)
        } else {
            goes_with_an_echo(evidence, source, silence)
        };
        if !is_others {
            return false;
        }
        any = true;
    }
    any
}

/// Whether a device repeats somebody's heading, position or depth who supplies this quantity too, and was silent.
fn goes_with_an_echo(evidence: &Evidence<'_>, source: &Source, silence: Span) -> bool {
    let series = &evidence.books.series;
    let supplies_it = |original: DeviceId| {
        series.of(source.key.quantity).any(|s| s.key.device == original && s.key.device != source.key.device)
    };
    REPEATED.into_iter().any(|quantity| {
        let mut own = series.of(quantity).filter(|s| s.valid > 0 && s.key.device == source.key.device);
        own.any(|echo| is_echo_of_silent(evidence, echo, quantity, silence, supplies_it))
    })
}

/// Whether a source repeats another one's quantity that was silent; only originals of these devices count.
fn is_echo_of_silent(
    evidence: &Evidence<'_>,
    echo: &Source,
    quantity: &str,
    silence: Span,
    counts: impl Fn(DeviceId) -> bool,
) -> bool {
    let repeaters = match quantity {
        "heading" => duplicate_heading_source::repeaters(evidence),
        "position" => pairs::position_repeaters(evidence),
        _ => duplicate_depth_source::repeaters(evidence),
    };
    repeaters.contains(&echo.key.device)
        && evidence
            .books
            .series
            .of(quantity)
            .filter(|s| s.valid > 0 && !repeaters.contains(&s.key.device) && counts(s.key.device))
            .any(|original| was_silent(evidence, original, silence))
}

/// Whether a source, its device, its host or its wire is told to have been silent at about that time.
fn was_silent(evidence: &Evidence<'_>, source: &Source, silence: Span) -> bool {
    let (books, presence) = (evidence.books, &evidence.presence);
    let Some(device) = books.inventory.get(source.key.device) else { return false };
    let it = |span: Span| {
        span.touches(silence, TOGETHER_S) && silence.seconds() < span.seconds() + 4.0 * TOGETHER_S
    };
    let whole = |id: DeviceId| {
        presence.devices.get(&id).into_iter().flatten().any(|s| it(s.span))
            || presence.restarts.get(&id).into_iter().flatten().any(|s| it(*s))
            || presence.flaps.get(&id).into_iter().flatten().any(|(s, _)| it(*s))
    };
    let message = || {
        presence.messages.iter().any(|(index, silences)| {
            books.timing.iter().nth(*index).is_some_and(|stream| {
                stream.device == source.key.device && stream.message == source.key.message
            }) && silences.iter().any(|s| it(s.span))
        })
    };
    let root = books.root(device.wire);
    whole(source.key.device)
        || books.carrier(source.key.device).is_some_and(whole)
        || presence.wires.iter().any(|(wire, s, _)| (*wire == root || *wire == device.wire) && it(*s))
        || message()
}
