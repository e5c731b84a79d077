//! Engines: one that is switched off falls silent while the gateway of all engines lives on, and that is no fault.

use super::{Silence, is_silent};
use crate::books::Books;
use crate::books::series::Source;
use crate::books::timing::{Message, Stream};
use crate::time::Span;

/// Nobody stops an engine and starts it again within this time, seconds (common practice, no source).
const OFF_S: f64 = 10.0;

/// An engine's speed.
const RAPID: Message = Message::Pgn(127_488);

/// Its pressures and temperatures.
const DYNAMIC: Message = Message::Pgn(127_489);

/// Whether a silence of an engine's message may be that of an engine that somebody switched off.
pub(super) fn is_off(books: &Books, stream: &Stream, silence: &Silence) -> bool {
    matches!(stream.message, Message::Pgn(127_488 | 127_489 | 127_493 | 127_497))
        && (!silence.returned || silence.span.seconds() >= OFF_S)
        && !ran_meanwhile(books, stream, silence.span)
}

/// Whether an engine shows that it ran while one of its messages was silent.
fn ran_meanwhile(books: &Books, stream: &Stream, silence: Span) -> bool {
    let speeds = || {
        let of_it = |s: &&Source| s.key.device == stream.device && s.key.message == RAPID;
        books.series.of("engine").filter(of_it)
    };
    let same_engine = |s: &&Source| s.key.instance.map(u32::from) == Some(stream.part);
    match stream.message {
        RAPID => speeds().filter(same_engine).any(|speed| {
            let pauses = speed.value_gaps.over(0.8 * silence.seconds());
            let ran_before = pauses.iter().any(|pause| pause.from == silence.from)
                || speed.values_from_to.is_some_and(|(_, last)| last == silence.from);
            // One that is started anew comes back standing.
            !oil_shows_standing(books, stream, silence)
                && (pauses.contains(&silence) || ran_before && dynamic_goes_on(books, stream, silence))
        }),
        DYNAMIC => speeds().filter(same_engine).any(|speed| runs(speed, silence)),
        // These do not tell one engine from the other here: none of them may have been off.
        _ => speeds().count() > 0 && speeds().all(|speed| runs(speed, silence)),
    }
}

/// Whether an engine told that it runs through most of a silence.
fn runs(speed: &Source, silence: Span) -> bool {
    let told = |(from, to)| Span::new(from, to).shared_s(silence) > 0.5 * silence.seconds();
    speed.values_from_to.is_some_and(told) && !is_silent(&speed.value_gaps, silence)
}

/// Whether the oil of the same engine had no pressure in a silence: an engine that stops faster than its speed is sent.
fn oil_shows_standing(books: &Books, stream: &Stream, silence: Span) -> bool {
    let of_it = |s: &&Source| s.key.device == stream.device && s.key.message == DYNAMIC;
    let same_engine = |s: &&Source| s.key.instance.map(u32::from) == Some(stream.part);
    books.series.of("oil-pressure").filter(of_it).filter(same_engine).any(|oil| {
        let most = |gap: &Span| gap.shared_s(silence) > 0.5 * silence.seconds();
        let stayed_away = || oil.values_from_to.is_some_and(|(_, last)| last < silence.to);
        oil.count > oil.not_available
            && (oil.value_gaps.over(0.5 * silence.seconds()).iter().any(most) || stayed_away())
    })
}

/// Whether the pressures and temperatures of the same engine came through most of a silence.
fn dynamic_goes_on(books: &Books, stream: &Stream, silence: Span) -> bool {
    books.timing.of(stream.device).filter(|s| s.message == DYNAMIC && s.part == stream.part).any(|s| {
        let sent = |(from, to)| Span::new(from, to).shared_s(silence) > 0.5 * silence.seconds();
        s.first.zip(s.last).is_some_and(sent) && !is_silent(&s.gaps, silence)
    })
}
