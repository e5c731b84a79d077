//! No valid fix for a while.

use super::motion::{Motion, UNDER_WAY_KN, within};
use super::presence::{on_boat_clock, starts_anew};
use super::words::{longest, moments, number, seconds};
use super::{Detector, Doc, Evidence, Finding, pairs};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::books::timing::Message;
use crate::report::model::Severity;
use crate::time::Span;
use crate::units::KNOTS_PER_M_S;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "fix-lost",
        severity: "fault; note when the device never had a fix and another one supplies position",
        meaning: "The position receiver lives and sends its messages, but without a valid fix. The chart stops or shows no \
                  boat, an anchor function lets go, and a satellite compass loses its heading with it.",
        detection: "Position messages come with the not-available code, an empty field or a status that marks them invalid, for \
                    10 s or more after there was a fix (or three times and more for a tenth of the time), or for two minutes and more while the receiver has had none yet; \
                    one minute where the boat is under way and the receiver had not just started.",
        lookalikes: "A receiver that was just switched on needs up to a minute or two for its first fix. A few seconds under a \
                     bridge are no fault. No message at all is a pause: message-dropout or device-dropout.",
        checks: "Look at the antenna: free view of the sky, nothing of metal above it, no wet or crushed cable. Watch the \
                 receiver's satellite page at the place and time where it went. See whether a transmitter or a lamp \
                 beside the antenna was on.",
        cautions: "Do not rely on the chart or an anchor function while the fix comes and goes; have a second means ready.",
    },
    complaints: &["no-position", "position-jumps", "no-heading"],
    detect,
};

/// A loss shorter than this is a bridge or a quay wall, seconds (common practice, no source).
const USUAL_S: f64 = 10.0;

/// Shorter ones count when there are so many of at least so many seconds, and they fill so much of the time in which the
/// receiver was seen: bridges do not come one after the other (common practice, no source).
const REPEATED: (usize, f64, f64) = (3, 1.5, 0.1);

/// So many messages must say that there is no fix, where their times do not tell for how long.
const SAID: u64 = 5;

/// A receiver without a fix for longer than this from its first message has more than a cold start, seconds: those take
/// about half a minute under open sky (common practice, no source).
const COLD_START_S: f64 = 120.0;

/// The same under way, seconds: who steers by it has had it on for longer than a cold start (common practice, no source).
const UNDER_WAY_S: f64 = 60.0;

/// A boat whose water passes by this fast, and that turns by so much meanwhile, lies to no current, degrees.
const TURNS_DEG: f64 = 60.0;

/// Whether the boat was under way in a span in which a receiver that nobody had just switched on has no fix: by the ground, as others
/// tell it, or by the water and its turns.
fn was_under_way(evidence: &Evidence<'_>, device: DeviceId, span: Span) -> bool {
    let motion = Motion::of(evidence);
    let goes = |way_m: Option<f64>| {
        way_m.is_some_and(|way_m| way_m * KNOTS_PER_M_S >= UNDER_WAY_KN * span.seconds())
    };
    let turn = [motion.turn(span), motion.turn_by_others(span, device)].into_iter().flatten();
    let turns = || turn.fold(0.0, |most: f64, turn| most.max(turn.furthest_deg)) >= TURNS_DEG;
    !starts_anew(evidence.books, device)
        && (goes(motion.way_m(span)) || goes(motion.water_m(span)) && turns())
}

/// The losses of a device's fix, by the position message that shows most of them, with whether there was a fix before.
pub(super) fn losses<'a>(evidence: &Evidence<'a>, device: DeviceId) -> Option<(&'a Source, Vec<Span>)> {
    let books = evidence.books;
    books
        .series
        .of("position")
        .filter(|s| books.inventory.same(s.key.device, device))
        .map(|source| {
            let first = source.values_from_to.map(|(from, _)| from);
            let is_loss = |span: &Span| {
                let had_one = first.is_some_and(|first| first < span.from);
                let too_long = || {
                    span.seconds() >= COLD_START_S
                        || span.seconds() >= UNDER_WAY_S && was_under_way(evidence, device, *span)
                };
                (had_one || too_long())
                    && !books.clock_leapt(*span)
                    && !supplied_otherwise(evidence, source, *span)
            };
            let losses = |mut spans: Vec<Span>| {
                spans.retain(is_loss);
                spans
            };
            let mut spans = losses(source.runs.absent(USUAL_S));
            if !spans.is_empty() {
                // Beside a real loss, shorter ones are no bridges.
                spans = losses(source.runs.absent(USUAL_S / 2.0));
            }
            if spans.is_empty() {
                spans = losses(repeated(source));
            }
            if spans.is_empty() {
                spans = losses(timeless(books, source));
            }
            (source, spans)
        })
        .filter(|(_, spans)| !spans.is_empty())
        .max_by(|(_, a), (_, b)| total(a).total_cmp(&total(b)))
}

/// Quantities that a receiver has only with a fix.
const NEED_A_FIX: [&str; 2] = ["position", "course-and-speed-over-ground"];

/// Without a fix for at least so much of a pause, the pause is the fix's.
const MOSTLY: f64 = 0.7;

/// Whether a message of a receiver pauses because the receiver has no fix, as another message of it says: some leave out what
/// they do not know. However short it is, it is no second event, and under a bridge it is none at all.
pub(super) fn explains(evidence: &Evidence<'_>, id: DeviceId, message: Option<Message>, pause: Span) -> bool {
    let series = &evidence.books.series;
    let needs_it = |message: Message| {
        let mut sources = NEED_A_FIX.into_iter().flat_map(|quantity| series.of(quantity));
        sources.any(|s| s.key.device == id && s.key.message == message)
    };
    message.is_some_and(needs_it)
        && series
            .of("position")
            .filter(|s| {
                evidence.books.inventory.same(s.key.device, id)
                    && s.valid > 0
                    && Some(s.key.message) != message
            })
            .flat_map(|s| s.runs.absent(0.0))
            .any(|without| without.shared_s(pause) >= MOSTLY * pause.seconds())
}

/// Losses that are short and come again and again.
fn repeated(source: &Source) -> Vec<Span> {
    let (least, shortest_s, share) = REPEATED;
    let spans = source.runs.absent(shortest_s);
    let seen = source.first.zip(source.last).map_or(0.0, |(from, to)| to.since(from));
    let often = spans.len() >= least && total(&spans) >= (share * seen).max(USUAL_S);
    if often { spans } else { Vec::new() }
}

/// Losses in a log without times of its own: they come from the receiver, which may have none either without a fix, so that
/// all messages meanwhile bear the last time before.
fn timeless(books: &Books, source: &Source) -> Vec<Span> {
    let wire = books.inventory.get(source.key.device).and_then(|device| books.wires.get(device.wire));
    let without = source.count.saturating_sub(source.valid);
    if without < SAID || !wire.is_some_and(|wire| on_boat_clock(books, wire)) {
        return Vec::new();
    }
    source.value_gaps.over(USUAL_S)
}

/// Whether the device gives a living position in another message meanwhile. The last place held is not living.
fn supplied_otherwise(evidence: &Evidence<'_>, lost: &Source, span: Span) -> bool {
    let books = evidence.books;
    books
        .series
        .of("position")
        .filter(|s| s.key != lost.key && books.inventory.same(s.key.device, lost.key.device))
        .any(|s| {
            let mut places = inner(s, span).filter(|s| !s.a.is_nan()).map(|s| (s.a, s.b));
            let first = places.next();
            places.any(|p| Some(p) != first)
        })
}

fn total(spans: &[Span]) -> f64 {
    spans.iter().map(|s| s.seconds()).sum()
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut devices: Vec<DeviceId> = Vec::new();
    for source in books.series.of("position") {
        if !devices.iter().any(|d| books.inventory.same(*d, source.key.device)) {
            devices.push(source.key.device);
        }
    }
    // A device that only hands on another one's position loses what that one loses.
    let repeaters = pairs::position_repeaters(evidence);
    let supplied = !pairs::main_sources(evidence, "position").is_empty();
    devices
        .into_iter()
        .filter(|device| !repeaters.contains(device))
        .filter_map(|device| losses(evidence, device))
        .map(|l| finding(evidence, &l, supplied))
        .collect()
}

fn finding(evidence: &Evidence<'_>, (source, spans): &(&Source, Vec<Span>), supplied: bool) -> Finding {
    let books = evidence.books;
    let who = books.inventory.label(source.key.device);
    let lost = longest(spans);
    let never = source.values_from_to.is_none();
    let (severity, summary) = if never && supplied {
        (Severity::Note, format!("{who} has no fix; another device supplies position"))
    } else if never {
        (Severity::Fault, format!("{who} has no fix in {}", seconds(lost)))
    } else {
        (Severity::Fault, format!("{who} loses its fix, for {} at the longest", seconds(lost)))
    };
    let mut finding = Finding::new(severity, summary)
        .devices([source.key.device])
        .messages([source.key.message.to_string()])
        .real("lost_s", lost)
        .evidence(format!(
            "{} went on coming, without a valid position at {}.",
            source.key.message,
            moments(books, spans)
        ))
        .evidence(format!(
            "{} of {} messages without a position, {} of them marked invalid.",
            source.count.saturating_sub(source.valid),
            source.count,
            source.unusable
        ));
    if let Some(satellites) = satellites_during(evidence, source, spans) {
        finding = finding
            .evidence(format!("Meanwhile it reported {} satellites used at most.", number(satellites, 0)));
    }
    finding
        .spans(spans.iter().copied())
        .check(format!("Look at the antenna of {who}: free view of the sky, no metal above it, dry and unhurt cable and connector."))
        .check("Note where the boat was at those times: bridges, quay walls and sheds take the sky away.")
}

/// The most satellites that the device reported in the middle of the losses.
fn satellites_during(evidence: &Evidence<'_>, source: &Source, spans: &[Span]) -> Option<f64> {
    evidence
        .books
        .series
        .of("fix-quality")
        .filter(|s| evidence.books.inventory.same(s.key.device, source.key.device))
        .flat_map(|s| spans.iter().flat_map(|span| inner(s, *span)))
        .map(|s| s.b)
        .filter(|n| !n.is_nan())
        .max_by(f64::total_cmp)
}

/// The samples of a source in the middle of a span, where messages that come late do not reach.
fn inner(source: &Source, span: Span) -> impl Iterator<Item = &Sample> {
    let edge = (span.seconds() / 4.0).min(3.0);
    within(source, Span::new(span.from.plus(edge), span.to.plus(-edge))).iter()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds};
    use super::*;
    use crate::messages::{Absent, Reading};
    use crate::units::Place;

    fn fix(valid: bool) -> Reading {
        let at =
            if valid { Place::new(54.0, 10.0).ok_or(Absent::Unusable) } else { Err(Absent::NotAvailable) };
        Reading::Position { at, satellites: None, hdop: None }
    }

    fn boat(seconds: i64, valid: impl Fn(i64) -> bool) -> Boat {
        let mut boat = Boat::default();
        for s in 0..seconds {
            boat.say(1, 129_025, s as f64, &fix(valid(s)));
        }
        boat
    }

    #[test]
    fn a_loss_after_a_fix_is_found_with_its_span() {
        let boat = boat(120, |s| !(50..80).contains(&s));
        let found = detect(&boat.evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![1])]);
        assert_eq!(found[0].spans, [Span::new(Boat::at(50.0), Boat::at(80.0))]);
    }

    #[test]
    fn short_losses_are_one_when_they_come_again_and_again() {
        let found = detect(&boat(240, |s| s < 30 || s % 30 >= 8).evidence());
        assert_eq!(kinds(&found), [(Severity::Fault, vec![1])]);
        assert_eq!(found[0].spans.len(), 7);
        let bridges = boat(1200, |s| s < 30 || s % 300 >= 8);
        assert!(detect(&bridges.evidence()).is_empty());
    }

    #[test]
    fn a_bridge_and_a_cold_start_are_none() {
        assert!(detect(&boat(200, |s| s > 45 && !(100..106).contains(&s)).evidence()).is_empty());
        assert_eq!(detect(&boat(200, |s| s > 150).evidence()).len(), 1, "too long for a cold start");
    }

    /// The boat goes by her log, with her bow turning or not, before the first fix.
    #[test]
    fn under_way_a_first_fix_is_due_sooner() {
        let found = |until: i64, kn: f64, deg_s: f64| {
            let mut boat = boat(300, |s| s > until);
            for s in 0..300 {
                let t = f64::from(s);
                boat.say(2, 128_259, t, &Reading::WaterSpeed { kn: Ok(kn) });
                boat.heading(3, t, deg_s * t);
            }
            detect(&boat.evidence()).len()
        };
        assert_eq!(found(90, 5.0, 2.0), 1);
        assert_eq!(found(50, 5.0, 2.0), 0, "a cold start");
        assert_eq!(found(90, 5.0, 0.0), 0, "moored in a current");
        assert_eq!(found(90, 0.5, 2.0), 0, "at anchor");
    }

    #[test]
    fn a_message_that_never_holds_a_place_is_no_loss_while_another_does() {
        let mut boat = boat(300, |_| false);
        for s in 0..300 {
            let at = Place::new(54.0 + 1e-5 * f64::from(s), 10.0).ok_or(Absent::Unusable);
            boat.say(1, 129_029, f64::from(s), &Reading::Position { at, satellites: None, hdop: None });
        }
        assert!(detect(&boat.evidence()).is_empty());
    }

    #[test]
    fn a_receiver_that_never_has_a_fix_beside_a_good_one_is_noted() {
        let mut boat = boat(200, |_| true);
        for s in 0..200 {
            boat.say(2, 129_025, f64::from(s), &fix(false));
        }
        assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Note, vec![2])]);
    }
}
