//! Loads and voltages.

use super::Held;
use crate::boat::sheet::{Row, Topic};
use crate::report::model::{Extremes, WireRow};
use toml::Spanned;

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    let limits = &held.file().limits;
    let mut rows = Vec::new();
    if let Some(limit) = &limits.bus_load_percent {
        rows.extend(loads(held, limit, "can", "NMEA 2000 bus"));
    }
    if let Some(limit) = &limits.ethernet_load_percent {
        rows.extend(loads(held, limit, "ethernet", "Ethernet"));
    }
    rows.extend(voltages(held));
    rows
}

fn loads(held: &Held<'_>, limit: &Spanned<f64>, kind: &str, words: &str) -> Vec<Row> {
    let wires: Vec<&WireRow> = held.report.wires.iter().filter(|wire| wire.kind == kind).collect();
    let row = |wire: Option<&WireRow>| {
        let label = wire.filter(|_| wires.len() > 1).and_then(|wire| wire.label.as_ref());
        let subject = label.map_or_else(|| words.to_owned(), |label| format!("{words} {label}"));
        let peak = wire.and_then(|wire| wire.load).map(|load| load.peak_percent);
        let row = Row::new(Topic::Limit, subject, "load in the busiest second")
            .numbers("at most", *limit.get_ref(), peak, "percent")
            .at(held.boat.line(limit));
        match peak {
            Some(peak) => {
                row.judged(peak <= *limit.get_ref()).note("Too much: lower the rates of the busiest devices.")
            }
            None => row.note("No such wire was recorded, or the recording has no clock."),
        }
    };
    if wires.is_empty() { vec![row(None)] } else { wires.iter().map(|wire| row(Some(wire))).collect() }
}

/// The lowest and the highest voltage that each device reports.
fn voltages(held: &Held<'_>) -> Vec<Row> {
    let limits = &held.file().limits;
    let sources = held.report.sources.iter().filter(|source| source.quantity == "voltage");
    let mut rows = Vec::new();
    for source in sources {
        let last = source.last_value.as_f64();
        // Without a clock there is the last one alone.
        let alone = last.map(|last| Extremes { lowest: last, highest: last });
        let Some(Extremes { lowest, highest }) = source.extremes.or(alone) else { continue };
        let which = source.instance.map(|i| format!(" {i}")).unwrap_or_default();
        let row = |words: &str| {
            Row::new(Topic::Limit, held.label(&source.device), format!("voltage{which} {words}"))
        };
        if let Some(min) = &limits.supply_min_v {
            let row = row("is high enough").numbers("at least", *min.get_ref(), Some(lowest), "V");
            rows.push(
                row.judged(lowest >= *min.get_ref())
                    .note("The lowest that it reported.")
                    .at(held.boat.line(min)),
            );
        }
        if let Some(max) = &limits.supply_max_v {
            let row = row("is low enough").numbers("at most", *max.get_ref(), Some(highest), "V");
            rows.push(
                row.judged(highest <= *max.get_ref())
                    .note("The highest that it reported.")
                    .at(held.boat.line(max)),
            );
        }
    }
    rows
}
