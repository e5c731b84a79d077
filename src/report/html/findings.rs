//! Findings as cards, gravest first, each with its evidence, its checks and its pictures. A card is whole by itself, even
//! where advice was given before: readers jump to it, and cut it out.

use super::{Context, marks};
use crate::report::model::FindingRow;
use crate::report::pictures::Picture;
use crate::report::words::findings::{gravest_first, seen, untold_devices, untold_messages};
use maud::{Markup, PreEscaped, html};

/// The part of the page; always there, as no finding is news too.
pub(super) fn part(context: &Context<'_>) -> Option<Markup> {
    let rows = gravest_first(context.report);
    Some(html! {
        h2 { "Findings" }
        @if rows.is_empty() { p { "None: no fault, no warning and no note." } }
        @for (at, row) in rows { "\n" (card(context, at, row)) }
    })
}

fn card(context: &Context<'_>, at: usize, row: &FindingRow) -> Markup {
    let facts = [
        ("Devices", untold_devices(&context.names, row)),
        ("Messages", untold_messages(row)),
        ("Seen", seen(context.calendar, row)),
    ];
    let id = format!("finding-{}", at + 1);
    html! {
        article.card.(marks::class(row.severity)) id=(id) aria-labelledby={ (id) "-title" } {
            h3 id={ (id) "-title" } { (marks::severity(row.severity)) " " (row.summary) }
            @if !row.evidence.is_empty() { ul { @for line in &row.evidence { li { (line) } } } }
            dl.facts {
                @for (label, text) in &facts { @if !text.is_empty() { dt { (label) } dd { (text) } } }
                @if !row.checks.is_empty() { dt { "Check" } dd { ol { @for check in &row.checks { li { (check) } } } } }
                dt { "Kind" } dd.kind { code { (row.kind) } }
            }
            @for picture in context.pictures.iter().filter(|p| p.findings.first() == Some(&at)) { (figure(picture)) }
        }
    }
}

/// The pictures that are about no finding; `None` when there are none.
pub(super) fn other_pictures(context: &Context<'_>) -> Option<Markup> {
    let in_a_card = |picture: &&Picture| {
        picture.findings.first().is_some_and(|at| context.report.findings.get(*at).is_some())
    };
    let pictures: Vec<&Picture> = context.pictures.iter().filter(|picture| !in_a_card(picture)).collect();
    (!pictures.is_empty())
        .then(|| html! { h2 { "Pictures" } @for picture in pictures { "\n" (figure(picture)) } })
}

/// A picture with its title and what it shows in words.
fn figure(picture: &Picture) -> Markup {
    html! {
        figure id=(picture.id) {
            (PreEscaped(&picture.svg))
            figcaption { strong { (picture.title) ". " } (picture.about) }
        }
    }
}
