//! What the jumps of a heading and of a position have in common.

use super::presence::ends_in_a_leap;
use super::{Evidence, broadcast_storm, heading_frozen, pairs, two_in_turn};
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::books::steps::Step;
use crate::time::{Span, Time};

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

/// Whether a step makes up for the one before it.
fn makes_up(step: &Step, away: &Step) -> bool {
    let left = (away.size + step.size).abs();
    step.from.since(away.to) <= BACK_S && left <= BACK_DEG.max(BACK_SHARE * away.size.abs())
}

/// The stretches in which a heading was none: it stood still in a turn, or had jumped away and had not come back. The step with
/// which it wakes from a stand brings it back to the truth; after any other that nothing makes up for, nobody knows which is
/// the true one, up to the next step or the end.
pub(super) fn astray(evidence: &Evidence<'_>, heading: &Source) -> Vec<Span> {
    let mut spans: Vec<Span> =
        heading_frozen::stands(evidence, heading).into_iter().map(|(span, _)| span).collect();
    let told = spans.len();
    let untold = untold_stands(heading);
    let steps = &heading.steps.list;
    let mut away: Option<Step> = None;
    for (at, step) in steps.iter().enumerate() {
        let ends_here = |stand: &&Span| stand.to == step.from;
        let comes_back = || steps.get(at + 1).is_some_and(|next| makes_up(next, step));
        let back = away.filter(|away| makes_up(step, away));
        let stand = spans
            .iter()
            .take(told)
            .find(ends_here)
            .or_else(|| untold.iter().find(ends_here).filter(|_| back.is_none() && !comes_back()));
        let stand = stand.copied();
        spans.extend(stand);
        spans.extend(away.map(|away| Span::new(away.from, step.to)));
        away = match (back, stand) {
            (Some(_), _) => None,
            // What had jumped away before a stand still has after it, unless it jumped to where it stood.
            (None, Some(stand)) => away.filter(|away| away.to < stand.from),
            (None, None) => Some(*step),
        };
    }
    spans.extend(away.zip(heading.last).map(|(away, last)| Span::new(away.from, last)));
    spans
}

/// The jumps of a heading that the next one makes up for, each with that one.
fn excursions(heading: &Source) -> impl Iterator<Item = (&Step, &Step)> {
    let mut away: Option<&Step> = None;
    heading.steps.list.iter().filter_map(move |step| {
        let from = away.filter(|away| makes_up(step, away));
        away = from.is_none().then_some(step);
        Some((from?, step))
    })
}

/// The stretches in which a heading had jumped away and came back.
pub(super) fn out_and_back(heading: &Source) -> Vec<Span> {
    excursions(heading).map(|(from, back)| Span::new(from.from, back.to)).collect()
}

/// A heading that steps after a stand woke from it where it never stood without a step for more than this share of the time: a coarse or a
/// resting one stands still time and again.
const USUAL: f64 = 0.5;

/// The stretches in which a heading stood in a turn that nothing else tells, as the step at their end shows.
fn untold_stands(heading: &Source) -> Vec<Span> {
    let ends_in_a_step = |stand: &Span| heading.steps.list.iter().any(|step| step.from == stand.to);
    let (mut stands, others): (Vec<Span>, Vec<Span>) =
        heading.runs.still(heading_frozen::SHORTEST_S).into_iter().partition(ends_in_a_step);
    let usual = others.iter().map(|stand| stand.seconds()).fold(0.0, f64::max);
    stands.retain(|stand| usual <= USUAL * stand.seconds());
    stands
}

/// A source that jumps is away for no more than this share of its values; what is more is how it is.
const AWAY: f64 = 0.15;

/// The values of a heading without those to which it jumped and from which it came back: jumps are told by themselves, and would
/// hide how it relates to another.
pub(super) fn without_jumps(heading: &Source) -> Vec<Sample> {
    let samples = heading.track.samples();
    let jumped: Vec<(Time, Time)> = excursions(heading).map(|(from, back)| (from.to, back.from)).collect();
    let is_away = |s: &&Sample| jumped.iter().any(|(from, to)| (*from..=*to).contains(&s.time));
    let left: Vec<Sample> = samples.iter().filter(|s| !is_away(s)).copied().collect();
    if left.len() as f64 >= (1.0 - AWAY) * samples.len() as f64 { left } else { samples.to_vec() }
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
