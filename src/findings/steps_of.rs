//! What the jumps of a heading and of a position have in common.

use super::presence::ends_in_a_leap;
use super::{Evidence, broadcast_storm, pairs, two_in_turn};
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::books::steps::Step;
use crate::time::Span;

/// The jumps of one source.
pub(super) struct Jumps<'a> {
    pub(super) source: &'a Source,
    /// The stretches in which they lie.
    pub(super) spans: Vec<Span>,
    pub(super) count: u64,
    /// Degrees or metres, without sign.
    pub(super) largest: f64,
}

/// A value that jumped is back within this time, seconds, with a step that makes up for the first one to within this many degrees, or this share
/// of it: the boat goes on turning meanwhile (common practice, no source).
const BACK_S: f64 = 60.0;
const BACK_DEG: f64 = 10.0;
const BACK_SHARE: f64 = 0.3;

/// The stretches in which a heading had jumped away and had not come back. After a step that nothing makes up for, nobody knows
/// which is the true one, up to the next step or the end.
pub(super) fn astray(heading: &Source) -> Vec<Span> {
    let mut away: Option<Step> = None;
    let mut spans = Vec::new();
    for step in &heading.steps.list {
        let back = away.filter(|away| {
            let left = (away.size + step.size).abs();
            step.from.since(away.to) <= BACK_S && left <= BACK_DEG.max(BACK_SHARE * away.size.abs())
        });
        spans.extend(away.map(|away| Span::new(away.from, step.to)));
        away = back.is_none().then_some(*step);
    }
    spans.extend(away.zip(heading.last).map(|(away, last)| Span::new(away.from, last)));
    spans
}

/// The sources of a quantity with steps that no boat makes, one a device.
///
/// Steps at most `together` seconds apart are one stretch. A step over which the recorder's clock leapt is none, nor one
/// right before the boat's own clock leaps in a log without stamps, and neither is the one with which a value that stood still comes back to life (`stands`): that is the stand's. The values of
/// two sensors in turn step all the time, and neither sensor does; and a switching loop brings old values between new ones. The `repeaters` only hand on what another source says.
pub(super) fn jumping<'a>(
    evidence: &Evidence<'a>,
    quantity: &'a str,
    together: f64,
    repeaters: &[DeviceId],
    stands: impl Fn(&Source) -> Vec<Span>,
) -> Vec<Jumps<'a>> {
    pairs::main_sources(evidence, quantity)
        .into_iter()
        .filter_map(|source| {
            if source.steps.count == 0
                || repeaters.contains(&source.key.device)
                || two_in_turn::is_mixed(evidence, source)
            {
                return None;
            }
            let stands = stands(source);
            let mut spans: Vec<Span> = Vec::new();
            let mut explained = 0;
            let mut largest = 0.0_f64;
            for step in &source.steps.list {
                let span = Span::new(step.from, step.to);
                if evidence.books.clock_leapt(span)
                    || evidence.books.was_set_back(span)
                    || ends_in_a_leap(evidence.books, source.key.device, step.to)
                    || broadcast_storm::returned(evidence.books, source, span)
                    || stands.iter().any(|s| s.to == step.from)
                {
                    explained += 1;
                } else {
                    largest = largest.max(step.size.abs());
                    crate::books::bounded::stretch(&mut spans, usize::MAX, span, together);
                }
            }
            // Steps that found no room in the list are as real as those in it.
            let count = source.steps.count.saturating_sub(explained);
            let largest = if explained == 0 { source.steps.largest } else { largest };
            (count > 0 && !spans.is_empty()).then_some(Jumps { source, spans, count, largest })
        })
        .collect()
}
