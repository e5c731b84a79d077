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
    let speeds = || sources(books, stream, RAPID, "engine");
    match stream.message {
        RAPID => speeds().filter(|speed| is_same_engine(speed, stream)).any(|speed| {
            let pauses = speed.value_gaps.over(0.8 * silence.seconds());
            let ran_before = pauses.iter().any(|pause| pause.from == silence.from)
                || speed.values_from_to.is_some_and(|(_, last)| last == silence.from);
            // One that is started anew comes back standing.
            !oil_shows_standing(books, stream, silence)
                && (pauses.contains(&silence) || ran_before && dynamic_goes_on(books, stream, silence))
        }),
        DYNAMIC => speeds().any(|speed| is_same_engine(speed, stream) && runs(speed, silence)),
        // These do not tell one engine from the other here: none of them may have been off.
        _ => speeds().count() > 0 && speeds().all(|speed| runs(speed, silence)),
    }
}

/// What the sender of a stream tells of a quantity in this message, of all its engines.
fn sources<'a>(
    books: &'a Books,
    stream: &Stream,
    message: Message,
    quantity: &'a str,
) -> impl Iterator<Item = &'a Source> {
    let device = stream.device;
    books.series.of(quantity).filter(move |s| s.key.device == device && s.key.message == message)
}

fn is_same_engine(source: &Source, stream: &Stream) -> bool {
    source.key.instance.map(u32::from) == Some(stream.part)
}

/// Whether an engine told that it runs through most of a silence.
fn runs(speed: &Source, silence: Span) -> bool {
    let told = |(from, to)| Span::new(from, to).shared_s(silence) > 0.5 * silence.seconds();
    speed.values_from_to.is_some_and(told) && !is_silent(&speed.value_gaps, silence)
}

/// Whether the oil of the same engine had no pressure in a silence: an engine that stops faster than its speed is sent.
fn oil_shows_standing(books: &Books, stream: &Stream, silence: Span) -> bool {
    sources(books, stream, DYNAMIC, "oil-pressure").filter(|oil| is_same_engine(oil, stream)).any(|oil| {
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
