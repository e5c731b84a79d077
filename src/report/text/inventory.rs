//! Devices, sources and timing as tables.

use super::names::{address, in_words};
use super::{Context, MAX_ROWS, histogram, values};
use crate::report::figures::{count, interval, share};
use crate::report::model::{DeviceRow, Severity, SourceRow};
use crate::report::page::Page;
use crate::report::table::{self, Column, Row};
use anstyle::Style;
use std::collections::HashSet;
use std::io;

const DEVICES: [Column; 4] = [
    Column { head: "Devices", right: false, least: 12, rank: 0 },
    Column { head: "Address", right: false, least: 9, rank: 0 },
    Column { head: "Frames", right: true, least: 6, rank: 2 },
    Column { head: "Known as", right: false, least: 10, rank: 1 },
];

const SOURCES: [Column; 7] = [
    Column { head: "Sources", right: false, least: 14, rank: 0 },
    Column { head: "Message", right: false, least: 6, rank: 3 },
    Column { head: "Count", right: true, least: 5, rank: 4 },
    Column { head: "Valid", right: true, least: 6, rank: 0 },
    Column { head: "Every", right: true, least: 6, rank: 0 },
    Column { head: "Pauses", right: true, least: 6, rank: 1 },
    Column { head: "Last", right: false, least: 14, rank: 2 },
];

const TIMING: [Column; 7] = [
    Column { head: "Timing", right: false, least: 12, rank: 0 },
    Column { head: "Count", right: true, least: 5, rank: 4 },
    Column { head: "Usual", right: true, least: 6, rank: 2 },
    Column { head: "Median", right: true, least: 6, rank: 0 },
    Column { head: "99 in 100", right: true, least: 6, rank: 3 },
    Column { head: "Longest", right: true, least: 6, rank: 0 },
    Column { head: "Short to long", right: false, least: histogram::MAX_CELLS, rank: 1 },
];

pub(super) fn write(page: &mut Page<'_>, context: &Context<'_>) -> io::Result<()> {
    let suspects = suspects(context);
    devices(page, context, &suspects)?;
    sources(page, context, &suspects)?;
    timing(page, context, &suspects)
}

/// Ids of the devices that a fault or warning is about.
fn suspects<'a>(context: &Context<'a>) -> HashSet<&'a str> {
    let grave = context.report.findings.iter().filter(|finding| finding.severity > Severity::Note);
    grave.flat_map(|finding| finding.devices.iter().map(String::as_str)).collect()
}

/// At most [`MAX_ROWS`] rows, those of suspects first in the choice but all in their own order; and how many are left.
fn choose<T>(rows: &[T], is_suspect: impl Fn(&T) -> bool) -> (Vec<&T>, usize) {
    let mut order: Vec<(bool, usize)> =
        rows.iter().enumerate().map(|(i, row)| (!is_suspect(row), i)).collect();
    order.sort_unstable();
    order.truncate(MAX_ROWS);
    let mut chosen: Vec<usize> = order.into_iter().map(|(_, i)| i).collect();
    chosen.sort_unstable();
    (chosen.into_iter().filter_map(|i| rows.get(i)).collect(), rows.len().saturating_sub(MAX_ROWS))
}

/// Writes one table with its group headings, and says what was left out.
fn section<T>(
    page: &mut Page<'_>,
    columns: &[Column],
    (chosen, more): (Vec<&T>, usize),
    group: impl Fn(&T) -> String,
    cells: impl Fn(&T) -> Vec<String>,
) -> io::Result<()> {
    if chosen.is_empty() {
        return Ok(());
    }
    let mut rows = Vec::new();
    let mut last = None;
    for row in chosen {
        let name = group(row);
        if last.as_ref() != Some(&name) {
            rows.push(Row::Group(name.clone()));
            last = Some(name);
        }
        rows.push(Row::Cells(cells(row)));
    }
    page.blank()?;
    table::write(page, columns, &rows)?;
    if more > 0 {
        page.hanging("", Style::new(), 2, &format!("... {more} more; --format json has them all."))?;
    }
    Ok(())
}

fn devices(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let chosen = choose(&context.report.devices, |row: &DeviceRow| suspects.contains(row.id.as_str()));
    let cells = |row: &DeviceRow| vec![row.label.clone(), address(row), count(row.frames), identity(row)];
    section(page, &DEVICES, chosen, |row| context.names.wire(&row.wire), cells)
}

/// What tells a device from others, beyond its label.
fn identity(row: &DeviceRow) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut add = |lead: &str, text: Option<&str>| {
        if let Some(text) = text.map(str::trim).filter(|text| !text.is_empty() && !row.label.contains(text)) {
            parts.push(format!("{lead}{text}"));
        }
    };
    add("", row.model.as_deref());
    add("software ", row.software.as_deref());
    if row.model.is_none() {
        add("NAME ", row.name.as_deref());
    }
    add("maker ", row.manufacturer_code.map(|code| code.to_string()).as_deref());
    add("", (row.kind != "talker").then_some(row.mac.as_deref()).flatten());
    add("", row.hostnames.first().map(String::as_str));
    add("", Some(&row.sentences.join(" ")));
    parts.join(", ")
}

fn sources(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let chosen = choose(&context.report.sources, |row: &SourceRow| suspects.contains(row.device.as_str()));
    let group = |row: &SourceRow| {
        let quantity = in_words(&row.quantity);
        row.reference
            .map_or_else(|| quantity.clone(), |reference| format!("{quantity}, {}", in_words(reference)))
    };
    let cells = |row: &SourceRow| {
        let device = context.names.device(&row.device);
        let instance = row.instance.map_or_else(String::new, |instance| format!(" #{instance}"));
        let pauses = match row.dropouts {
            0 => String::from("none"),
            n => format!("{} ({})", count(n), interval(Some(row.dropout_s))),
        };
        vec![
            format!("{device}{instance}"),
            row.message.clone(),
            count(row.count),
            share(row.valid, row.count),
            interval(row.interval_s.p50),
            pauses,
            values::last(&row.quantity, &row.last_value),
        ]
    };
    section(page, &SOURCES, chosen, group, cells)
}

fn timing(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let rows = &context.report.timing;
    let chosen = choose(rows, |row| suspects.contains(row.device.as_str()));
    section(
        page,
        &TIMING,
        chosen,
        |row| context.names.device(&row.device).to_owned(),
        |row| {
            vec![
                row.message.clone(),
                count(row.count),
                interval(row.nominal_s),
                interval(row.p50),
                interval(row.p99),
                interval(row.max),
                histogram::draw(&row.histogram),
            ]
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn suspects_are_chosen_first_and_keep_their_place() {
        let rows: Vec<usize> = (0..50).collect();
        let (chosen, more) = choose(&rows, |row| *row >= 45);
        assert_eq!(more, 10);
        assert_eq!(chosen.len(), MAX_ROWS);
        assert_eq!(chosen.iter().rev().take(6).map(|r| **r).collect::<Vec<_>>(), [49, 48, 47, 46, 45, 34]);
    }
}
