//! Devices, sources and timing as tables.

use super::{Context, MAX_ROWS};
use crate::report::figures::{count, interval, share};
use crate::report::model::{DeviceRow, SourceRow};
use crate::report::page::Page;
use crate::report::table::{self, Column, Row};
use crate::report::words::inventory::{choose, identity, instance, pauses, quantity, suspects};
use crate::report::words::names::address;
use crate::report::words::{histogram, values};
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
    let suspects = suspects(context.report);
    devices(page, context, &suspects)?;
    sources(page, context, &suspects)?;
    timing(page, context, &suspects)
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

/// A name for a narrow column: its end tells nodes apart of which nothing but the address is known.
fn short(name: &str) -> &str {
    name.strip_prefix("device at ").unwrap_or(name)
}

fn devices(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let (mut chosen, more) =
        choose(&context.report.devices, MAX_ROWS, |row: &DeviceRow| suspects.contains(row.id.as_str()));
    // Who was heard first comes first, but what is on one wire stands together.
    let wires = chosen.iter().map(|row| row.wire.as_str()).collect::<Vec<_>>();
    let first = |row: &&DeviceRow| wires.iter().position(|wire| *wire == row.wire);
    chosen.sort_by_key(first);
    let cells = |row: &DeviceRow| vec![row.label.clone(), address(row), count(row.frames), identity(row)];
    section(page, &DEVICES, (chosen, more), |row| context.names.wire(&row.wire), cells)
}

fn sources(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let chosen =
        choose(&context.report.sources, MAX_ROWS, |row: &SourceRow| suspects.contains(row.device.as_str()));
    let cells = |row: &SourceRow| {
        vec![
            short(context.names.device(&row.device)).to_owned(),
            format!("{}{}", row.message, instance(row)),
            count(row.count),
            share(row.valid, row.count),
            context.names.interval(&row.device, row.interval_s.p50),
            pauses(row),
            values::last(&row.quantity, &row.last_value),
        ]
    };
    section(page, &SOURCES, chosen, quantity, cells)
}

fn timing(page: &mut Page<'_>, context: &Context<'_>, suspects: &HashSet<&str>) -> io::Result<()> {
    let rows = &context.report.timing;
    let chosen = choose(rows, MAX_ROWS, |row| suspects.contains(row.device.as_str()));
    section(
        page,
        &TIMING,
        chosen,
        |row| short(context.names.device(&row.device)).to_owned(),
        |row| {
            vec![
                row.message.clone(),
                count(row.count),
                interval(row.nominal_s),
                context.names.interval(&row.device, row.p50),
                context.names.interval(&row.device, row.p99),
                context.names.interval(&row.device, row.max),
                histogram::draw(&row.histogram),
            ]
        },
    )
}
