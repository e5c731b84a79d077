//! What was read, and what it cannot show.

use super::{Context, MAX_ROWS};
use crate::report::words::limits::limits;
use crate::report::words::recordings::{clock_facts, facts, name, wire_facts};
use maud::{Markup, html};

/// The part of the page; always there.
pub(super) fn part(context: &Context<'_>) -> Option<Markup> {
    let report = context.report;
    Some(html! {
        h2 { "Recordings and limits" }
        @for recording in &report.recordings {
            h3 { (name(recording)) }
            p { (facts(recording)) }
            @let wires = report.wires.iter().filter(|wire| wire.recording == recording.path);
            ul {
                @for wire in wires.take(MAX_ROWS) { li { (wire_facts(wire)) } }
                @if let Some(clock) = clock_facts(recording) { li { (clock) } }
                @for problem in &recording.problems { li { strong { "Mind: " } (problem) } }
            }
        }
        h3 { "What this report cannot know" }
        ul { @for limit in limits(report) { li { (limit) } } }
    })
}
