//! The answer: one sentence, and what to touch first.

use super::Context;
use crate::report::model::Severity;
use crate::report::page::Page;
use crate::report::words::answer::Answer;
use anstyle::{AnsiColor, Style};
use std::io;

/// Column where the sentence begins.
const ANSWER_INDENT: usize = 13;

pub(super) fn write(page: &mut Page<'_>, context: &mut Context<'_>) -> io::Result<()> {
    let answer = Answer::of(context.report, context.asked);
    let colour = match answer.worst {
        Some(Severity::Fault) => AnsiColor::Red,
        Some(Severity::Warning) => AnsiColor::Yellow,
        _ => AnsiColor::Green,
    };
    let title = answer.title.to_uppercase();
    let indent = ANSWER_INDENT.max(title.len() + 2);
    page.hanging(&title, Style::new().bold().fg_color(Some(colour.into())), indent, &answer.sentence)?;
    if let Some(check) = answer.touch_first
        && context.first_time(check)
    {
        page.hanging("Touch first", Style::new().bold(), indent, check)?;
    }
    if let Some(unseen) = &answer.not_seen {
        page.hanging("Not seen", Style::new().bold(), indent, unseen)?;
    }
    Ok(())
}
