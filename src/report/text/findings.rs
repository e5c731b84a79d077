//! Findings, gravest first, each with its evidence.

use super::{Context, INDENT};
use crate::report::figures::counted;
use crate::report::model::{FindingRow, Severity};
use crate::report::page::Page;
use anstyle::{AnsiColor, Style};
use std::io;

/// Spans of one finding that are printed.
const MAX_SPANS: usize = 5;

/// Devices or messages of one finding that are named.
const MAX_NAMED: usize = 8;

/// Column where text under a finding's label begins.
const UNDER: usize = INDENT + 9;

pub(super) fn write(page: &mut Page<'_>, context: &mut Context<'_>) -> io::Result<()> {
    let mut rows: Vec<&FindingRow> = context.report.findings.iter().collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.severity));
    let mut noted = false;
    for row in rows {
        if row.severity == Severity::Note {
            if !noted {
                page.blank()?;
            }
            noted = true;
            page.sides("NOTE", Style::new().bold(), INDENT, &row.summary, row.kind)?;
        } else {
            page.blank()?;
            grave(page, context, row)?;
        }
    }
    Ok(())
}

/// A fault or warning in full.
fn grave<'a>(page: &mut Page<'_>, context: &mut Context<'a>, row: &'a FindingRow) -> io::Result<()> {
    let (lead, colour) = match row.severity {
        Severity::Fault => ("FAULT", AnsiColor::Red),
        Severity::Warning | Severity::Note => ("WARNING", AnsiColor::Yellow),
    };
    page.sides(lead, Style::new().bold().fg_color(Some(colour.into())), INDENT, &row.summary, row.kind)?;
    for line in &row.evidence {
        page.text(INDENT, line)?;
    }
    let said = format!("{} {}", row.summary, row.evidence.join(" ")).to_lowercase();
    let told = |name: &str| said.contains(&name.to_lowercase());
    let devices: Vec<&str> =
        row.devices.iter().map(|id| context.names.device(id)).filter(|name| !told(name)).collect();
    listed(page, "Devices", &devices)?;
    let messages: Vec<&str> = row.messages.iter().map(String::as_str).filter(|name| !told(name)).collect();
    listed(page, "Messages", &messages)?;
    seen(page, context, row)?;
    let mut label = "Check";
    for check in &row.checks {
        if context.first_time(check) {
            labelled(page, label, check)?;
            label = "";
        }
    }
    Ok(())
}

fn seen(page: &mut Page<'_>, context: &Context<'_>, row: &FindingRow) -> io::Result<()> {
    let mut spans: Vec<String> =
        row.spans.iter().take(MAX_SPANS).map(|span| context.calendar.span(*span)).collect();
    if let Some(more) = row.spans.len().checked_sub(MAX_SPANS).filter(|more| *more > 0) {
        spans.push(format!("and {} more", more));
    }
    labelled(page, "Seen", &spans.join(", "))
}

fn listed(page: &mut Page<'_>, label: &str, names: &[&str]) -> io::Result<()> {
    let mut text = names.iter().take(MAX_NAMED).copied().collect::<Vec<_>>().join(", ");
    if let Some(more) = names.len().checked_sub(MAX_NAMED).filter(|more| *more > 0) {
        text.push_str(&format!(" and {}", counted(more as u64, "other", "others")));
    }
    labelled(page, label, &text)
}

/// A label and its text below a finding; nothing when there is no text.
fn labelled(page: &mut Page<'_>, label: &str, text: &str) -> io::Result<()> {
    if text.is_empty() {
        return Ok(());
    }
    page.hanging(&format!("{:INDENT$}{label}", ""), Style::new(), UNDER, text)
}
