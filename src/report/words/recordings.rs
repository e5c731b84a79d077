//! What was read: recordings and their wires.

use super::names::wire_name;
use crate::report::figures::{bytes, count, counted, duration, interval, short};
use crate::report::model::{NOTHING_THEN, RecordingRow, Report, WireRow};

/// What a recording is called: its path as it was given.
#[must_use]
pub fn name(recording: &RecordingRow) -> &str {
    called(&recording.path)
}

/// The last part of its path, for reports that travel, as folders bear people's names; the whole path when another
/// recording's has the same end.
#[must_use]
pub fn file_name<'a>(report: &Report, recording: &'a RecordingRow) -> &'a str {
    without_folders(&recording.path, report.recordings.iter().map(|other| other.path.as_str()))
}

/// As [`file_name`], of a path among `all` that are named beside it.
#[must_use]
pub fn without_folders<'a, 'b>(path: &'a str, all: impl Iterator<Item = &'b str>) -> &'a str {
    let name = last_part(path);
    match all.filter(|other| last_part(other) == name).count() {
        0 | 1 if !name.is_empty() => name,
        _ => called(path),
    }
}

fn last_part(path: &str) -> &str {
    called(path).rsplit(['/', '\\']).next().unwrap_or_default()
}

fn called(path: &str) -> &str {
    if path == "-" { "standard input" } else { path }
}

/// What a recording is: its kind, length, begin, frames and size.
#[must_use]
pub fn facts(recording: &RecordingRow) -> String {
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
        _ if recording.problems.iter().any(|problem| problem == NOTHING_THEN) => {
            facts.push(String::from("nothing in that time"));
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
#[must_use]
pub fn clock_facts(recording: &RecordingRow) -> Option<String> {
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

/// What a wire carried: its frames, its load and how finely they are stamped.
#[must_use]
pub fn wire_facts(wire: &WireRow) -> String {
    let mut text = format!("{}: {} frames", wire_name(wire), count(wire.frames));
    if wire.frames == 1 {
        text.pop();
    }
    if let Some(load) = wire.load {
        let (mean, peak) = (short(load.mean_percent), short(load.peak_percent));
        text.push_str(&format!(", load {mean} % on average and {peak} % in the busiest second"));
    }
    // At a rate that cannot carry it the line does not run.
    let possible = || wire.load_by_baud.iter().find(|load| load.peak_percent <= 100.0);
    if let (Some(slow), Some(fast)) = (possible().or(wire.load_by_baud.last()), wire.load_by_baud.last()) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn folders_are_left_out_unless_they_tell_recordings_apart() {
        let mut report = fixture::troubled();
        let named = |report: &Report| file_name(report, &report.recordings[0]).to_owned();
        report.recordings[0].path = String::from("/home/somebody/day1/bow.log");
        assert_eq!(named(&report), "bow.log");
        report.recordings[1].path = String::from("/home/somebody/day2/bow.log");
        assert_eq!(named(&report), "/home/somebody/day1/bow.log");
        report.recordings[0].path = String::from("-");
        assert_eq!(named(&report), "standard input");
    }
}
