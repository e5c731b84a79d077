//! The answer, and what to touch first.

use super::{Context, marks};
use crate::report::figures::counted;
use crate::report::model::Severity;
use crate::report::words::answer::Answer;
use maud::{Markup, html};

/// The answer's title, and its part of the page.
pub(super) fn part(context: &mut Context<'_>) -> (String, Markup) {
    let answer = Answer::of(context.report, context.asked);
    let touch = answer.touch_first.filter(|check| context.first_time(check));
    let problems: usize = context.report.recordings.iter().map(|recording| recording.problems.len()).sum();
    let (class, shape) = match answer.worst {
        Some(grave @ (Severity::Fault | Severity::Warning)) => (marks::class(grave), marks::shape(grave)),
        _ => ("good", marks::tick()),
    };
    let part = html! {
        div class={ "answer " (class) } {
            h1 { span class={ "severity " (class) } { (shape) } " " (answer.title) }
            p.sentence { (answer.sentence) }
            dl.facts.touch {
                @if let Some(check) = touch { dt { "Touch first" } dd { p { (check) } } }
                @if let Some(unseen) = &answer.not_seen { dt { "Not seen" } dd { p { (unseen) } } }
                @if problems > 0 {
                    dt { "Mind" }
                    dd { p { a href="#recordings" { (counted(problems as u64, "thing", "things")) " to know of what was read" } "." } }
                }
            }
        }
    };
    (answer.title, part)
}
