//! Causes of the complaint that was asked: supported, ruled out, open. Other complaints: their answer alone.

use super::Context;
use crate::report::model::{CauseRow, Standing};
use crate::report::page::Page;
use crate::report::words::limits::{either, open_alike};
use crate::report::words::names::in_words;
use anstyle::Style;
use std::io;

/// Column where a cause begins.
const CAUSE: usize = 2;

/// Widest column of causes.
const MAX_CAUSE: usize = 30;

pub(super) fn write(page: &mut Page<'_>, context: &mut Context<'_>) -> io::Result<()> {
    match context.asked {
        Some(asked) => {
            let report = context.report;
            let Some(row) = report.complaints.iter().find(|row| row.complaint == asked) else {
                return Ok(());
            };
            for (title, standing) in [
                ("Supported", Standing::Supported),
                ("Ruled out", Standing::RuledOut),
                ("Open", Standing::Open),
            ] {
                let causes = row.causes.iter().filter(|cause| cause.standing == standing).collect();
                section(page, context, title, causes)?;
            }
            Ok(())
        }
        None => answers(page, context),
    }
}

/// The causes of one standing in two columns, with the next check where it was not given yet.
fn section<'a>(
    page: &mut Page<'_>,
    context: &mut Context<'a>,
    title: &str,
    causes: Vec<&'a CauseRow>,
) -> io::Result<()> {
    if causes.is_empty() {
        return Ok(());
    }
    page.blank()?;
    page.heading(title)?;
    let widest = causes.iter().map(|row| row.cause.chars().count()).max().unwrap_or(0).min(MAX_CAUSE);
    let indent = CAUSE + widest + 2;
    for alike in causes.chunk_by(|one, next| open_alike(one, next)) {
        let [row] = alike else {
            several(page, context, alike)?;
            continue;
        };
        page.hanging(&format!("  {}", in_words(&row.cause)), Style::new(), indent, &row.because)?;
        if row.standing != Standing::RuledOut && context.first_time(&row.next_check) {
            page.text(indent, &row.next_check)?;
        }
    }
    Ok(())
}

/// Several causes that stay open for one reason.
fn several<'a>(page: &mut Page<'_>, context: &mut Context<'a>, causes: &[&'a CauseRow]) -> io::Result<()> {
    let Some(first) = causes.first() else { return Ok(()) };
    let names: Vec<String> = causes.iter().map(|row| in_words(&row.cause)).collect();
    page.text(CAUSE, &format!("{} So nothing is said of {}.", first.because, either(&names)))?;
    if context.first_time(&first.next_check) {
        page.text(CAUSE, &first.next_check)?;
    }
    Ok(())
}

fn answers(page: &mut Page<'_>, context: &Context<'_>) -> io::Result<()> {
    let complaints = &context.report.complaints;
    let Some(widest) = complaints.iter().map(|row| row.complaint.len()).max() else { return Ok(()) };
    page.blank()?;
    page.heading("Complaints that this would explain")?;
    for row in complaints {
        page.hanging(&format!("  {}", row.complaint), Style::new(), widest + 4, &row.answer)?;
    }
    page.text(2, "Ask with --complaint NAME to see the causes, and which are ruled out.")
}
