//! The causes of complaints: supported, ruled out, open. All of them at once for the one that was asked; behind its
//! answer for the others.

use super::{Context, marks};
use crate::report::model::{CauseRow, ComplaintRow, Standing};
use crate::report::words::answer::{capitalised, sentence};
use crate::report::words::names::in_words;
use maud::{Markup, html};

/// The groups in reading order.
const GROUPS: [(&str, Standing); 3] =
    [("Supported", Standing::Supported), ("Ruled out", Standing::RuledOut), ("Open", Standing::Open)];

/// The part of the page; `None` when no complaint is answered.
pub(super) fn part<'a>(context: &mut Context<'a>) -> Option<Markup> {
    let complaints: &'a [ComplaintRow] = &context.report.complaints;
    if let Some(asked) = context.asked {
        let row = complaints.iter().find(|row| row.complaint == asked)?;
        let causes = causes(context, row, true);
        return Some(html! { h2 { "Causes of the complaint" } (causes) });
    }
    if complaints.is_empty() {
        return None;
    }
    Some(html! {
        h2 { "Complaints that this would explain" }
        @for row in complaints {
            details {
                summary { strong { (capitalised(&in_words(row.complaint))) ":" } " " (row.answer) }
                (causes(context, row, false))
            }
        }
    })
}

/// The causes by where they stand. Advice that was given before is left out when this is the only complaint: with
/// several, each must be whole by itself.
fn causes<'a>(context: &mut Context<'a>, row: &'a ComplaintRow, only: bool) -> Markup {
    html! {
        @for (title, standing) in GROUPS {
            @let causes = row.causes.iter().filter(|cause| cause.standing == standing).collect::<Vec<_>>();
            @if !causes.is_empty() {
                h3 { span.severity { (marks::standing(standing)) } " " (title) }
                dl.cause { @for cause in causes { (one(context, cause, only)) } }
            }
        }
    }
}

fn one<'a>(context: &mut Context<'a>, cause: &'a CauseRow, only: bool) -> Markup {
    let told = cause.standing == Standing::RuledOut || cause.next_check.trim().is_empty();
    let check = !told && (!only || context.first_time(&cause.next_check));
    let because = sentence(&cause.because);
    let mut findings: Vec<(usize, &str)> = cause
        .findings
        .iter()
        .filter_map(|at| context.report.findings.get(*at).map(|finding| (*at, finding.summary.as_str())))
        .collect();
    // Often the reason is the finding itself; then it leads there, and is not said twice.
    let same = findings
        .iter()
        .position(|(_, summary)| summary.trim_end_matches('.') == because.trim_end_matches('.'));
    let same = same.map(|at| findings.remove(at).0);
    html! {
        dt { (capitalised(&in_words(&cause.cause))) }
        dd {
            p {
                @if let Some(at) = same { a href=(anchor(at)) { (because) } } @else { (because) }
            }
            @if check { p { strong { "Next check: " } (cause.next_check) } }
            @for (at, summary) in findings { p { "Finding: " a href=(anchor(at)) { (summary) } } }
        }
    }
}

/// Where a finding's card stands.
fn anchor(at: usize) -> String {
    format!("#finding-{}", at.saturating_add(1))
}
