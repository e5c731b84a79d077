//! What the jumps of a heading and of a position have in common.

use super::Evidence;
use super::pairs;
use crate::books::series::Source;
use crate::time::Span;

/// The sources of a quantity with steps that no boat makes, one a device, with the stretches in which they lie.
///
/// Steps at most `together` seconds apart are one stretch. A step over which the recorder's clock leapt is none.
pub(super) fn jumping<'a>(
    evidence: &Evidence<'a>,
    quantity: &'a str,
    together: f64,
) -> Vec<(&'a Source, Vec<Span>, u64)> {
    pairs::main_sources(evidence, quantity)
        .into_iter()
        .filter_map(|source| {
            let mut spans: Vec<Span> = Vec::new();
            let mut leapt = 0;
            for step in &source.steps.list {
                let span = Span::new(step.from, step.to);
                if evidence.books.clock_leapt(span) {
                    leapt += 1;
                } else {
                    crate::books::bounded::stretch(&mut spans, usize::MAX, span, together);
                }
            }
            let count = source.steps.count.saturating_sub(leapt);
            (count > 0 && !spans.is_empty()).then_some((source, spans, count))
        })
        .collect()
}
