//! What was read: recordings and their wires.

use super::names::wire_name;
use super::{Context, INDENT};
use crate::report::figures::{bytes, count, counted, duration, interval, short};
use crate::report::model::{RecordingRow, WireRow};
use crate::report::page::Page;
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
        let name = if recording.path == "-" { "standard input" } else { &recording.path };
        page.text(2, name)?;
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

fn facts(recording: &RecordingRow) -> String {
    let mut facts = vec![container(&recording.container)];
    if let Some(compression) = recording.compression {
        facts.push(format!("{compression} compressed"));
    }
    match (recording.duration_s, recording.first) {
        (Some(length), Some(first)) => {
            let first = first.to_string();
            let (day, clock) = (first.get(..10).unwrap_or_default(), first.get(11..19).unwrap_or_default());
            facts.push(format!("{} from {day} {clock} UTC", duration(length)));
        }
        _ => facts.push(String::from("no clock")),
    }
    facts.push(counted(recording.frames, "frame", "frames"));
    facts.push(bytes(recording.bytes));
    if recording.problems.is_empty() {
        facts.push(String::from("no problem in reading it"));
    }
    facts.join(", ")
}

/// How its clock stands to the other recordings'; `None` when there are none.
fn clock_facts(recording: &RecordingRow) -> Option<String> {
    let (offset, from) = (recording.clock_offset_s?, recording.clock_from.as_ref()?);
    let sure = recording.clock_uncertainty_s.filter(|s| *s > 0.0).map(|s| {
        // Microseconds are what stamps are kept to.
        format!(", right to {}", interval(Some(s.max(1e-6))))
    });
    let sure = sure.unwrap_or_default();
    let drift =
        recording.clock_drift_ppm.map(|ppm| format!(", growing by {} s an hour", short(ppm * 0.0036)));
    let drift = drift.unwrap_or_default();
    Some(if offset == 0.0 {
        format!("clock left as it is{sure}: {from}")
    } else {
        let way = if offset > 0.0 { "added to" } else { "taken off" };
        format!("clock: {} {way} its times{drift}{sure}, from {from}", interval(Some(offset.abs())))
    })
}

fn container(name: &str) -> String {
    match name {
        "pcap" | "pcapng" => format!("{name} capture"),
        "can-log" => String::from("CAN log"),
        "line-log" => String::from("NMEA 0183 text"),
        other => other.to_owned(),
    }
}

fn wire_facts(wire: &WireRow) -> String {
    let mut text = format!("{}: {} frames", wire_name(wire), count(wire.frames));
    if wire.frames == 1 {
        text.pop();
    }
    if let Some(load) = wire.load {
        let (mean, peak) = (short(load.mean_percent), short(load.peak_percent));
        text.push_str(&format!(", load {mean} % on average and {peak} % in the busiest second"));
    }
    if let (Some(slow), Some(fast)) = (wire.load_by_baud.first(), wire.load_by_baud.last()) {
        text.push_str(&format!(
            ", load {} % of {} baud on average and {} % in the busiest second ({} % of {} baud)",
            short(slow.mean_percent),
            slow.baud,
            short(slow.peak_percent),
            short(fast.peak_percent),
            fast.baud
        ));
    }
    if let Some(resolution) = wire.time_resolution_s {
        text.push_str(&format!(", stamped to {}", interval(Some(resolution))));
    }
    text
}
