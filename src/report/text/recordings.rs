//! What was read: recordings and their wires.

use super::{Context, INDENT};
use crate::report::page::Page;
use crate::report::words::recordings::{clock_facts, facts, name, wire_facts};
use anstyle::Style;
use std::io;

pub(super) fn write(page: &mut Page<'_>, context: &Context<'_>) -> io::Result<()> {
    let report = context.report;
    if report.recordings.is_empty() {
        return Ok(());
    }
    page.blank()?;
    page.heading(if report.recordings.len() == 1 { "Recording" } else { "Recordings" })?;
    for recording in &report.recordings {
        page.text(2, name(recording))?;
        page.text(INDENT, &facts(recording))?;
        let wires = report.wires.iter().filter(|wire| wire.recording == recording.path);
        for wire in wires.take(super::MAX_ROWS) {
            page.text(INDENT, &wire_facts(wire))?;
        }
        if let Some(clock) = clock_facts(recording) {
            page.text(INDENT, &clock)?;
        }
        for problem in &recording.problems {
            page.hanging(&format!("{:INDENT$}!", ""), Style::new().bold(), INDENT + 2, problem)?;
        }
    }
    Ok(())
}
