//! Devices, sources and timing as tables.

use super::table::{Cell, Head, number, table, text};
use super::{Context, MAX_ROWS};
use crate::report::figures::{count, counted, interval, share};
use crate::report::model::{DeviceRow, SourceRow, TimingRow};
use crate::report::words::inventory::{choose, identity, instance, pauses, quantity, suspects};
use crate::report::words::names::address;
use crate::report::words::{histogram, values};
use maud::{Markup, html};

const DEVICES: [Head; 5] =
    [text("Device"), text("Address"), text("Known as"), number("Frames"), text("Wire")];

const SOURCES: [Head; 8] = [
    text("Quantity"),
    text("Device"),
    text("Message"),
    number("Count"),
    number("Valid"),
    number("Every"),
    number("Pauses"),
    text("Last value"),
];

const TIMING: [Head; 8] = [
    text("Device"),
    text("Message"),
    number("Count"),
    number("Usual"),
    number("Median"),
    number("99 in 100"),
    number("Longest"),
    text("Short to long"),
];

pub(super) fn devices(context: &Context<'_>) -> Option<Markup> {
    let cells = |row: &DeviceRow| {
        vec![
            Cell::text(context.names.device(&row.id)),
            Cell::text(&address(row)),
            Cell::text(&identity(row)),
            Cell::figure(&count(row.frames), Some(row.frames as f64)),
            Cell::text(&context.names.wire(&row.wire)),
        ]
    };
    let rows = &context.report.devices;
    let caption = "What speaks on the wires, and by what it can be told.";
    section(context, ("devices", "Devices", caption), &DEVICES, rows, |row| &row.id, cells)
}

pub(super) fn sources(context: &Context<'_>) -> Option<Markup> {
    let cells = |row: &SourceRow| {
        let part = (row.count > 0).then(|| row.valid as f64 / row.count as f64);
        vec![
            Cell::text(&quantity(row)),
            Cell::text(context.names.device(&row.device)),
            Cell::text(&format!("{}{}", row.message, instance(row))),
            Cell::figure(&count(row.count), Some(row.count as f64)),
            Cell::figure(&share(row.valid, row.count), part),
            Cell::figure(&context.names.interval(&row.device, row.interval_s.p50), row.interval_s.p50),
            Cell::figure(&pauses(row), Some(row.dropouts as f64)),
            Cell::text(&values::last(&row.quantity, &row.last_value)),
        ]
    };
    let rows = &context.report.sources;
    let caption = "Who supplies what, how often it held a value, and its median interval. Places are rounded to a tenth of \
        a degree.";
    section(context, ("sources", "Sources", caption), &SOURCES, rows, |row| &row.device, cells)
}

pub(super) fn timing(context: &Context<'_>) -> Option<Markup> {
    let cells = |row: &TimingRow| {
        let figure = |seconds| Cell::figure(&context.names.interval(&row.device, seconds), seconds);
        vec![
            Cell::text(context.names.device(&row.device)),
            Cell::text(&row.message),
            Cell::figure(&count(row.count), Some(row.count as f64)),
            Cell::figure(&interval(row.nominal_s), row.nominal_s),
            figure(row.p50),
            figure(row.p99),
            figure(row.max),
            bars(row),
        ]
    };
    let rows = &context.report.timing;
    let caption = "Intervals between messages: 99 in 100 are no longer than that. The bars show how many intervals are \
        short (left) and long (right).";
    section(context, ("timing", "Timing", caption), &TIMING, rows, |row| &row.device, cells)
}

/// The histogram as bars, with its range in words for those who cannot see it. Sorted by the longest interval.
fn bars(row: &TimingRow) -> Cell {
    let held: Vec<_> = row.histogram.iter().filter(|bin| bin.count > 0).collect();
    let fullest = held.iter().max_by_key(|bin| bin.count);
    let shown = match (held.first(), held.last(), fullest) {
        (Some(first), Some(last), Some(fullest)) => {
            let range = |from: f64, to: f64| format!("{} to {}", interval(Some(from)), interval(Some(to)));
            let words = format!(
                "intervals of {}, most of {}",
                range(first.from_s, last.to_s),
                range(fullest.from_s, fullest.to_s)
            );
            html! { span.bars role="img" aria-label=(words) { (histogram::draw(&row.histogram)) } }
        }
        _ => Markup::default(),
    };
    Cell { shown, sort: Cell::figure("", row.max).sort }
}

/// A table with its heading; `None` when it has no row.
fn section<T>(
    context: &Context<'_>,
    (id, title, caption): (&str, &str, &str),
    heads: &[Head],
    rows: &[T],
    device: impl Fn(&T) -> &String,
    cells: impl Fn(&T) -> Vec<Cell>,
) -> Option<Markup> {
    let suspects = suspects(context.report);
    let (chosen, more) = choose(rows, MAX_ROWS, |row| suspects.contains(device(row).as_str()));
    if chosen.is_empty() {
        return None;
    }
    let rows: Vec<Vec<Cell>> = chosen.into_iter().map(cells).collect();
    let more = (more > 0)
        .then(|| format!("{} more; --format json has them all.", counted(more as u64, "row", "rows")));
    Some(html! { h2 { (title) } (table(&format!("{id}-table"), caption, heads, &rows, more.as_deref())) })
}
