//! Whether each quantity comes from whom it should, as often and as whole as it should.

use super::held::{own_pauses, recorders_gaps};
use super::listened::Deaf;
use super::{Held, missing_percent};
use crate::boat::check::kit::rivals;
use crate::boat::model::Supply;
use crate::boat::sheet::{Row, Topic};
use crate::report::figures::{count, counted};
use crate::report::model::{Report, SourceRow};
use std::collections::BTreeSet;

/// An interval may be this many times the expected one: devices round, and many run by a clock of their own. Common
/// practice, no source.
const SLOWER: f64 = 1.5;

/// Messages that are needed before their interval is judged.
const ENOUGH: u64 = 10;

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    held.file().supplies.iter().flat_map(|supply| supply_rows(held, supply)).collect()
}

/// The supply in words: `heading (magnetic) 1`.
fn what(supply: &Supply) -> String {
    let reference = supply.reference.as_ref().map(|r| format!(" ({})", r.get_ref())).unwrap_or_default();
    let instance = supply.instance.as_ref().map(|i| format!(" {}", i.get_ref())).unwrap_or_default();
    format!("{}{reference}{instance}", supply.quantity.get_ref())
}

fn supply_rows(held: &Held<'_>, supply: &Supply) -> Vec<Row> {
    let device = supply.device.get_ref();
    let row = |words: String| Row::new(Topic::Supply, device, words);
    let line = held.boat.line(&supply.quantity);
    let base = row(format!("supplies {}", what(supply))).at(line);
    let sources = held.sources(supply);
    let Some(best) = sources.first() else {
        return vec![absent(held, supply, base)];
    };
    let stand_by = is_stand_by(held, supply);
    let found =
        format!("{} of {}", count(best.valid), counted(best.count, "message holds it", "messages hold it"));
    let note = if best.valid > 0 {
        String::new()
    } else {
        format!("{device} sends message {} without a value in it: look at its sensor.", best.message)
    };
    let mut rows = vec![base.words("values", found).judged(best.valid > 0).note(note)];
    rows.extend(interval(held, supply, best));
    rows.extend(missing(held, supply, best));
    if !stand_by {
        rows.extend(others(held, supply));
    }
    rows
}

/// Whether some other supply of the file names this one's device as its stand-by.
fn is_stand_by(held: &Held<'_>, supply: &Supply) -> bool {
    let mut rivals = held.file().supplies.iter().filter(|other| rivals(supply, other));
    rivals.any(|other| other.stand_by.iter().any(|name| name.get_ref() == supply.device.get_ref()))
}

fn absent(held: &Held<'_>, supply: &Supply, row: Row) -> Row {
    let device = supply.device.get_ref();
    if held.rows(device).is_empty() {
        return row.words("values", "").note("Its device was not heard, or its wire was not recorded.");
    }
    if is_stand_by(held, supply) {
        return row.words("values", "").note("A stand-by may be silent.");
    }
    match held.deaf_to(supply) {
        Some(Deaf::Unrecorded) => {
            return row
                .words("values", "")
                .note("A wire that it may come on was not recorded: record that too.");
        }
        Some(Deaf::TooShort) => {
            return row
                .words("values", "")
                .note("Its wire was recorded for too short a time, or without a clock: record for longer.");
        }
        None => {}
    }
    let near = held.report.sources.iter().find(|source| {
        source.quantity == *supply.quantity.get_ref()
            && held.by_id(&source.device).and_then(|row| row.called.as_ref()) == Some(device)
    });
    let (found, note) = match near {
        Some(near) => {
            let reference = near.reference.map(|r| format!(" ({r})")).unwrap_or_default();
            let instance = near.instance.map(|i| format!(" {i}")).unwrap_or_default();
            (
                format!("{}{reference}{instance} in message {}", near.quantity, near.message),
                "It supplies the quantity in another form: mend its setting, or the file.",
            )
        }
        None => (String::from("none"), "Look at the setting of its outputs, and at its sensor."),
    };
    row.words("values", found).judged(false).note(note)
}

fn interval(held: &Held<'_>, supply: &Supply, best: &SourceRow) -> Option<Row> {
    let want = supply.interval_s.as_ref()?;
    let row =
        Row::new(Topic::Supply, supply.device.get_ref(), format!("sends {} often enough", what(supply)))
            .at(held.boat.line(want));
    let measured = best.interval_s.p50.filter(|_| best.count >= ENOUGH);
    let row = row.numbers("every", *want.get_ref(), measured, "s");
    let Some(measured) = measured else {
        return Some(row.note("Too few messages, or no clock in the recording, to tell their interval."));
    };
    Some(
        row.judged(measured <= want.get_ref() * SLOWER)
            .note("The median interval; up to half as long again passes. Too slow: look at its output rate, and at the bus load."),
    )
}

fn missing(held: &Held<'_>, supply: &Supply, best: &SourceRow) -> Option<Row> {
    let most = supply.missing_percent.as_ref()?;
    let measured = missing_percent(held.report, best);
    Some(
        Row::new(Topic::Supply, supply.device.get_ref(), format!("{} is whole", what(supply)))
            .numbers("at most", *most.get_ref(), Some(measured), "percent")
            .judged(measured <= *most.get_ref())
            .note(why_missing(held.report, best))
            .at(held.boat.line(most)),
    )
}

/// What is missing of a source, in words.
fn why_missing(report: &Report, source: &SourceRow) -> String {
    let mut parts = Vec::new();
    if source.valid < source.count {
        let empty = source.count - source.valid;
        parts.push(format!(
            "{} of {} without a value",
            count(empty),
            counted(source.count, "message", "messages")
        ));
    }
    let (pauses, seconds) = own_pauses(source, &recorders_gaps(report, source));
    if pauses > 0 {
        parts.push(format!("{seconds:.1} s in {}", counted(pauses, "pause", "pauses")));
    }
    match parts.is_empty() {
        true => String::from("Messages without a value, pauses, and what falls short of the usual interval."),
        false => format!("Missing: {}.", parts.join(", and ")),
    }
}

/// Whether anyone supplies the quantity whom the file does not name for it.
fn others(held: &Held<'_>, supply: &Supply) -> Option<Row> {
    let sole = supply.sole.as_ref().is_some_and(|sole| *sole.get_ref());
    if !sole && supply.stand_by.is_empty() {
        return None;
    }
    let file = held.file();
    let named: BTreeSet<&str> = file
        .supplies
        .iter()
        .filter(|other| rivals(supply, other))
        .map(|other| &other.device)
        .chain(&supply.stand_by)
        .chain([&supply.device])
        .map(|name| name.get_ref().as_str())
        .collect();
    let instance = supply.instance.as_ref().map(|i| *i.get_ref());
    let others: BTreeSet<&str> = held
        .report
        .sources
        .iter()
        .filter(|source| source.quantity == *supply.quantity.get_ref() && source.valid > 0)
        .filter(|source| instance.zip(source.instance).is_none_or(|(want, is)| want == is))
        .filter(|source| {
            let called = held.by_id(&source.device).and_then(|row| row.called.as_deref());
            called.is_none_or(|called| !named.contains(called))
        })
        .map(|source| held.label(&source.device))
        .collect();
    let (words, expected) = if sole {
        ("is the only source of", String::from("nobody else"))
    } else {
        let names: Vec<&str> = supply.stand_by.iter().map(|name| name.get_ref().as_str()).collect();
        ("and its stand-bys are the only sources of", format!("nobody but {}", names.join(", ")))
    };
    let at =
        supply.sole.as_ref().map_or_else(|| held.boat.line(&supply.quantity), |sole| held.boat.line(sole));
    let found = others.iter().copied().collect::<Vec<_>>().join(", ");
    let row = Row::new(Topic::Supply, supply.device.get_ref(), format!("{words} {}", what(supply))).at(at);
    Some(if others.is_empty() {
        row.words(expected, "nobody else").judged(true)
    } else {
        row.words(expected, &found).judged(false).note(format!(
            "Switch this output of {found} off, or choose one source on every display and name the other as stand_by."
        ))
    })
}
