//! What a recording shows to be in order: the fix, the rates of messages, and values that move with the boat. And, where it is not
//! enough to exclude a cause, how far it goes.

use super::Scope;
use super::exclude::{s, sources, watched, without_value};
use super::silences::messages_steady;
use crate::books::Books;
use crate::books::series::{SPEED_CLASS_KN, Source};
use crate::books::timing::Stream;
use crate::findings::poor_fix::{Quality, qualities};
use crate::findings::words::seconds;
use crate::findings::{irregular_message, slow_message};
use crate::time::Span;

/// Values that were seen from which on one that stands still would show.
const ENOUGH: u64 = 50;

/// A depth that stands still for longer may be a frozen one, seconds (as the finding has it).
const DEPTH_STANDS_S: f64 = 10.0;

/// A position that stands still for longer under way may be a frozen one, seconds (as the finding has it).
const POSITION_STANDS_S: f64 = 5.0;

/// Faster than this a boat makes way, knots (as the findings have it).
const UNDER_WAY_KN: f64 = 3.0;

/// Slower than this it may lie still, knots (as the finding has it).
const AT_REST_KN: f64 = 1.0;

/// For so long a boat must make way before positions that follow tell anything, seconds.
const UNDER_WAY_S: f64 = 60.0;

/// Two speeds further apart than this are not joined, seconds.
const JOIN_S: f64 = 3.0;

/// Messages in which a speed must have been kept up.
const AT_SPEED: u64 = 20;

/// How far a recording goes towards excluding a cause that it leaves open, in a sentence.
pub(super) fn so_far(books: &Books, scope: Scope, cause: &str) -> Option<String> {
    match cause {
        "depth-lost-at-speed" => depth_up_to(books, &scope),
        "poor-fix" => fix_unsure(books, &scope),
        "fix-lost" if scope == Scope::Quantity("position") => without_value(books, &scope),
        "depth-frozen" => depth_stands(books, &scope),
        _ => None,
    }
}

/// Every message of the position holds one, and none stayed away.
pub(super) fn fix_kept(books: &Books, scope: &Scope) -> Option<String> {
    messages_steady(books, scope)?;
    let sources = sources(books, scope);
    let (valid, count) = sources.iter().fold((0, 0), |(v, c), s| (v + s.valid, c + s.count));
    (valid == count && count >= ENOUGH)
        .then(|| format!("Each of {count} position messages holds a position, and none stayed away."))
}

/// What the receivers that give a position say of their fixes; `None` when one of them says nothing.
fn fixes<'a>(books: &'a Books, scope: &Scope) -> Option<Vec<Quality<'a>>> {
    let sources = sources(books, scope);
    let mut all = Vec::new();
    for source in sources.iter().filter(|s| s.valid > 0) {
        let own = qualities(books, source.key.device);
        if own.is_empty() {
            return None;
        }
        all.extend(own);
    }
    (!all.is_empty() && watched(books, &sources)).then_some(all)
}

/// The fix is never poor.
pub(super) fn fix_good(books: &Books, scope: &Scope) -> Option<String> {
    let fixes = fixes(books, scope)?;
    if fixes.iter().any(|q| q.poor > 0) {
        return None;
    }
    let dilution = fixes.iter().filter_map(|q| q.worst_hdop).max_by(f64::total_cmp);
    let satellites = fixes.iter().filter_map(|q| q.fewest).min_by(f64::total_cmp);
    let messages = fixes.iter().map(|q| q.valid).max()?;
    Some(match (dilution, satellites) {
        (Some(dilution), Some(satellites)) => format!(
            "Horizontal dilution is at most {dilution:.1} and no fewer than {satellites:.0} satellites are used in {messages} messages."
        ),
        (Some(dilution), None) => {
            format!("Horizontal dilution is at most {dilution:.1} in {messages} messages.")
        }
        // Satellites alone do not tell how they stand.
        (None, _) => return None,
    })
}

/// What is known of the fix, where it is not good throughout.
fn fix_unsure(books: &Books, scope: &Scope) -> Option<String> {
    let fixes = fixes(books, scope)?;
    let worst = fixes.iter().filter(|q| q.poor > 0).max_by_key(|q| q.poor)?;
    Some(format!(
        "{} of {} messages with a fix have a poor one, too few to be told; they may be those that jump.",
        worst.poor, worst.valid
    ))
}

/// The streams of the messages that a complaint is about: those of the quantity, or all.
fn streams<'a>(books: &'a Books, scope: &Scope) -> Vec<&'a Stream> {
    match scope {
        Scope::Quantity(_) => sources(books, scope).into_iter().filter_map(|s| books.stream(s)).collect(),
        Scope::AnyData | Scope::Hosts => books.timing.iter().collect(),
    }
}

/// Every message with a standard rate comes by it.
pub(super) fn rates_kept(books: &Books, scope: &Scope) -> Option<String> {
    judged(books, scope, slow_message::keeps_rate).map(|(number, _)| match number {
        1 => String::from("The only message of live data comes near its usual rate."),
        n => format!("{n} messages of live data come near their usual rates, none well under it."),
    })
}

/// Every message with a standard rate comes evenly.
pub(super) fn rhythm_even(books: &Books, scope: &Scope) -> Option<String> {
    let (number, streams) = judged(books, scope, irregular_message::is_even)?;
    let longest = streams.iter().filter_map(|s| Some((s, s.quantile_s(0.99)? / s.median_s()?)));
    let (stream, _) = longest.max_by(|(_, a), (_, b)| a.total_cmp(b))?;
    Some(format!(
        "99 in 100 intervals of {} are near the usual one; those of {} from {} reach {} at a usual {}.",
        if number == 1 {
            String::from("the message")
        } else {
            format!("each of {number} messages of live data")
        },
        stream.message,
        books.inventory.label(stream.device),
        s(stream.quantile_s(0.99)?),
        s(stream.median_s()?)
    ))
}

/// How many of the streams pass, and which, when all that can be asked do.
fn judged<'a>(
    books: &'a Books,
    scope: &Scope,
    passes: fn(&Books, &Stream) -> Option<bool>,
) -> Option<(usize, Vec<&'a Stream>)> {
    if !watched(books, &sources(books, scope)) {
        return None;
    }
    let asked: Vec<_> =
        streams(books, scope).into_iter().filter_map(|s| Some((s, passes(books, s)?))).collect();
    let passed = !asked.is_empty() && asked.iter().all(|(_, passed)| *passed);
    passed.then(|| (asked.len(), asked.into_iter().map(|(stream, _)| stream).collect()))
}

/// The depth moves all the while.
pub(super) fn depth_moves(books: &Books, scope: &Scope) -> Option<String> {
    let sources: Vec<&Source> = sources(books, scope).into_iter().filter(|s| s.valid > 0).collect();
    let moves =
        |s: &&Source| s.valid >= ENOUGH && s.runs.still(DEPTH_STANDS_S).is_empty() && is_often(books, s);
    let all = watched(books, &sources) && sources.iter().all(moves);
    all.then(|| {
        let still = sources.iter().flat_map(|s| s.runs.still(0.0)).map(|span| span.seconds());
        let values: u64 = sources.iter().map(|s| s.valid).sum();
        format!("No depth stands still for longer than {} in {values} values.", s(still.fold(0.0, f64::max)))
    })
}

/// Whether a source's messages come so often that a value cannot change and come back between two.
fn is_often(books: &Books, source: &Source) -> bool {
    books.stream(source).and_then(Stream::median_s).is_some_and(|s| s <= DEPTH_STANDS_S / 4.0)
}

/// Where a depth stood still.
fn depth_stands(books: &Books, scope: &Scope) -> Option<String> {
    let stands = sources(books, scope)
        .into_iter()
        .flat_map(|source| source.runs.still(DEPTH_STANDS_S).into_iter().map(move |span| (source, span)));
    let (source, span) = stands.max_by(|(_, a), (_, b)| a.seconds().total_cmp(&b.seconds()))?;
    Some(format!(
        "The depth of {} stands still for {} from {} on: whether the bottom is even there, or the boat lay still, is not sure.",
        books.inventory.label(source.key.device),
        s(span.seconds()),
        books.stamp(span.from).clock()
    ))
}

/// How long the boat made way, as far as speeds over ground tell, seconds.
pub(super) fn under_way_s(books: &Books) -> f64 {
    let of = |source: &Source| {
        let pairs = source.track.samples().windows(2);
        let times = pairs.filter_map(|pair| {
            let (one, other) = (pair.first()?, pair.last()?);
            let dt = other.time.since(one.time);
            (one.b.min(other.b) >= UNDER_WAY_KN && (0.0..=JOIN_S).contains(&dt)).then_some(dt)
        });
        times.sum::<f64>()
    };
    books.series.of("course-and-speed-over-ground").map(of).fold(0.0, f64::max)
}

/// Whether the boat lay still, as all speeds over ground say.
fn lies_still(books: &Books, span: Span) -> bool {
    let grounds = books.series.of("course-and-speed-over-ground");
    let samples = grounds.flat_map(|source| source.track.samples());
    let inside = samples.filter(|s| span.from <= s.time && s.time <= span.to && s.b.is_finite());
    let mut speeds = inside.map(|s| s.b).peekable();
    speeds.peek().is_some() && speeds.all(|kn| kn < AT_REST_KN)
}

/// The position moves with the boat.
pub(super) fn position_moves(books: &Books, scope: &Scope) -> Option<String> {
    let sources: Vec<&Source> = sources(books, scope).into_iter().filter(|s| s.valid > 0).collect();
    let moves = |s: &&Source| {
        s.valid >= ENOUGH && s.runs.still(POSITION_STANDS_S).into_iter().all(|span| lies_still(books, span))
    };
    let way_s = under_way_s(books);
    (way_s >= UNDER_WAY_S && watched(books, &sources) && sources.iter().all(moves)).then(|| {
        format!(
            "No position stands still for longer than {} while the boat moves; it was under way at over {UNDER_WAY_KN:.0} kn for {}.",
            s(POSITION_STANDS_S),
            seconds(way_s)
        )
    })
}

/// Up to which speed the depth holds.
fn depth_up_to(books: &Books, scope: &Scope) -> Option<String> {
    let held = |source: &Source| {
        let all = |from: usize| {
            let classes = source.by_speed.iter().skip(from);
            classes.fold((0, 0), |(v, n), c| (v + u64::from(c.0), n + u64::from(c.0) + u64::from(c.1)))
        };
        let top = (0..source.by_speed.len()).rev().find(|class| all(*class).1 >= AT_SPEED)?;
        let holds = |(valid, count): (u64, u64)| valid * 10 >= count * 9;
        (holds(all(0)) && holds(all(top))).then_some(top as f64 * SPEED_CLASS_KN)
    };
    let fastest = sources(books, scope).into_iter().filter_map(held).max_by(f64::total_cmp)?;
    Some(format!(
        "The depth holds at the speeds that the boat ran, up to {fastest:.0} kn: whether it goes at a higher one does not show."
    ))
}
