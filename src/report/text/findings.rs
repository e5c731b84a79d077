//! Findings, gravest first, each with its evidence.

use super::{Context, INDENT};
use crate::report::model::{FindingRow, Severity};
use crate::report::page::Page;
use crate::report::words::findings::{gravest_first, seen, untold_devices, untold_messages};
use anstyle::{AnsiColor, Style};
use std::io;

/// Column where text under a finding's label begins.
const UNDER: usize = INDENT + 9;

pub(super) fn write(page: &mut Page<'_>, context: &mut Context<'_>) -> io::Result<()> {
    let mut noted = false;
    for (_, row) in gravest_first(context.report) {
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
    labelled(page, "Devices", &untold_devices(&context.names, row))?;
    labelled(page, "Messages", &untold_messages(row))?;
    labelled(page, "Seen", &seen(context.calendar, row))?;
    let mut label = "Check";
    for check in &row.checks {
        if context.first_time(check) {
            labelled(page, label, check)?;
            label = "";
        }
    }
    Ok(())
}

/// A label and its text below a finding; nothing when there is no text.
fn labelled(page: &mut Page<'_>, label: &str, text: &str) -> io::Result<()> {
    if text.is_empty() {
        return Ok(());
    }
    page.hanging(&format!("{:INDENT$}{label}", ""), Style::new(), UNDER, text)
}
