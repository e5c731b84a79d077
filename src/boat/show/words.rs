//! What every format of the sheet says in the same words.

use crate::boat::sheet::{Row, Sheet, Standing, Topic};
use crate::report::figures::counted;

/// What a reader must keep in mind, at the end of every sheet.
pub(super) const CAUTION: &str = "An aid to fault-finding, not to navigation. It sees what crossed the wire while the recorder \
     ran, and what the boat file says; both may be wrong. Switch the supply off before you touch wiring. Propellers and bow \
     motors can start by themselves: secure them before hands go near. Local electrical codes, and the trades they reserve \
     work to, come first.";

/// The verdict in capitals.
pub(super) fn title(sheet: &Sheet) -> &'static str {
    match (sheet.passed(), sheet.counts.passed) {
        (false, _) => "FAILED",
        (true, 0) => "NOTHING CHECKED",
        // What was not recorded is not accepted.
        (true, _) if sheet.in_part() => "PASSED IN PART",
        (true, _) => "PASSED",
    }
}

/// The verdict in one sentence.
pub(super) fn verdict(sheet: &Sheet) -> String {
    let counts = sheet.counts;
    let what = if sheet.recordings.is_empty() { "desk check" } else { "acceptance" };
    let nothing = if sheet.nothing_seen {
        "nothing of this boat file was seen in the recording; is it of this boat? "
    } else {
        ""
    };
    let mut text = format!(
        "{}, {what}: {nothing}{} passed, {} failed, {} not seen",
        sheet.boat.name,
        counted(counts.passed as u64, "expectation", "expectations"),
        counts.failed,
        counts.not_seen
    );
    if counts.unexpected > 0 {
        text.push_str(&format!(", {} not expected", counted(counts.unexpected as u64, "thing", "things")));
    }
    text.push('.');
    if sheet.too_short {
        text.push_str(
            " The recording is too short to tell what comes once a minute, or comes and goes: record five minutes or more.",
        );
    }
    text
}

pub(super) const fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Failed => "FAILED",
        Standing::NotSeen => "NOT SEEN",
        Standing::Passed => "PASSED",
    }
}

pub(super) const fn topic(topic: Topic) -> &'static str {
    match topic {
        Topic::Device => "Devices",
        Topic::Supply => "Supplies",
        Topic::Need => "Needs",
        Topic::Address => "Addresses",
        Topic::Limit => "Limits",
        Topic::Cabling => "Ethernet cabling",
        Topic::Backbone => "Backbone",
        Topic::Finding => "Faults in the recording",
    }
}

/// `expected .., found ..`, as far as there is something to say.
pub(super) fn figures(row: &Row) -> String {
    match (row.expected.is_empty(), row.measured.is_empty()) {
        (true, true) => String::new(),
        (true, false) => format!("found: {}", row.measured),
        (false, true) => format!("expected: {}; not told", row.expected),
        (false, false) => format!("expected: {}; found: {}", row.expected, row.measured),
    }
}

/// Where the file says so.
pub(super) fn place(row: &Row) -> String {
    row.line.map(|line| format!("line {line}")).unwrap_or_default()
}
