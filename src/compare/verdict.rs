//! The outcome in one line, what the two sides cannot tell, and what to record next.

use super::model::{Change, Comparison, FindingChange, Recorded, Standing, WireChange};
use super::need::is_of_recording;
use super::same::Same;
use super::side::Side;
use super::view::wire_kind;
use crate::report::figures::{count, duration};
use crate::report::model::Severity;
use crate::time::Time;

/// Before 1971: a time of day without a date.
const DATED: Time = Time(31_536_000_000_000);

/// How much shorter the later side may be before it is said.
const SHORTER: f64 = 0.5;

/// The outcome in one line.
pub(super) fn line(comparison: &Comparison) -> String {
    let faults = clause(&comparison.findings, Severity::Fault, "fault", "faults", true);
    let warnings = clause(&comparison.findings, Severity::Warning, "warning", "warnings", faults.is_none());
    let text = match (faults, warnings) {
        (Some(faults), Some(warnings)) => format!("{faults}; {warnings}."),
        (Some(only), None) | (None, Some(only)) => format!("{only}."),
        (None, None) if !comparison.wires.iter().any(|wire| wire.recorded == Recorded::Both) => String::from(
            "no wire of one side is known again on the other: nothing could be compared; no fault or warning on either.",
        ),
        (None, None) => match others(comparison) {
            0 => String::from("no change beyond noise, and no fault or warning on either side."),
            n => format!("no fault or warning on either side; {}.", many(n, "other change", "other changes")),
        },
    };
    capitalised(&text)
}

/// Changes that are no findings.
pub(super) fn others(comparison: &Comparison) -> usize {
    let sure = |change: Change| matches!(change, Change::Came | Change::Went | Change::Changed);
    comparison.devices.iter().filter(|row| sure(row.change)).count()
        + comparison.sources.iter().filter(|row| sure(row.change)).count()
        + comparison.timing.len()
        + comparison.wires.iter().filter(|row| row.load_changed).count()
        + comparison.findings.iter().filter(|row| is_note_change(row)).count()
}

/// Whether a note came or went for sure.
pub(super) fn is_note_change(row: &FindingChange) -> bool {
    row.severity == Severity::Note && matches!(row.standing, Standing::New | Standing::Cleared)
}

fn clause(
    findings: &[FindingChange],
    severity: Severity,
    one: &str,
    several: &str,
    whole: bool,
) -> Option<String> {
    let number =
        |standing| findings.iter().filter(|f| f.severity == severity && f.standing == standing).count();
    let all = [
        (number(Standing::Cleared), "cleared"),
        (number(Standing::NotShown), "not shown again but not proven cleared"),
        (number(Standing::Still), "still there"),
        (number(Standing::New), "new"),
        (number(Standing::FirstSeen), "seen for the first time where BEFORE could not show it"),
    ];
    let mut parts: Vec<String> = Vec::new();
    for (n, what) in all.into_iter().filter(|(n, _)| *n > 0) {
        let number = if parts.is_empty() { many(n, one, several) } else { word(n) };
        parts.push(format!("{number} {what}"));
    }
    if parts.is_empty() {
        return None;
    }
    if whole && number(Standing::New) + number(Standing::FirstSeen) == 0 {
        parts.push(String::from("none new"));
    }
    Some(parts.join(", "))
}

fn many(n: usize, one: &str, several: &str) -> String {
    format!("{} {}", word(n), if n == 1 { one } else { several })
}

/// A small number as a word.
fn word(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    WORDS.get(n).map_or_else(|| count(n as u64), |word| (*word).to_owned())
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// What would tell more: the longest recording that a finding asks for, or the same wires and conditions again.
pub(super) fn next(findings: &[FindingChange]) -> Option<String> {
    let mut open = findings
        .iter()
        .filter(|f| f.standing == Standing::NotShown && f.severity > Severity::Note)
        .peekable();
    open.peek()?;
    let longest = open.filter_map(|f| f.record_s).fold(0.0, f64::max);
    Some(if longest > 0.0 {
        format!(
            "Record {} or more on the same wires, with the boat used as it was before, and compare again.",
            duration((longest / 60.0).ceil() * 60.0)
        )
    } else {
        String::from(
            "Record the same wires again, with the boat used as it was when the trouble showed, and compare again.",
        )
    })
}

/// What the two sides cannot tell.
pub(super) fn cannot_tell(before: &Side, after: &Side, same: &Same, wires: &[WireChange]) -> Vec<String> {
    let mut out = Vec::new();
    if !before.devices.is_empty() && !after.devices.is_empty() && same.after.iter().all(Option::is_none) {
        out.push(String::from(
            "No device is known again on the other side: these may be two boats, or two wires of one.",
        ));
    }
    for (recorded, one, other) in [(Recorded::Before, "AFTER", "gone"), (Recorded::After, "BEFORE", "new")] {
        for kind in ["can", "ethernet", "line"] {
            if wires.iter().any(|wire| wire.recorded == recorded && wire.kind == kind) {
                let wire = wire_kind(kind);
                out.push(format!("{one} holds no {wire}: nothing on it is called {other}."));
            }
        }
    }
    for wire in wires.iter().filter(|wire| wire.recorded == Recorded::NotTheSame).take(3) {
        out.push(format!("Nothing shows that {} is a wire of the other side too.", wire.wire));
    }
    lengths(before, after, &mut out);
    for (name, side) in [("BEFORE", before), ("AFTER", after)] {
        let told =
            side.findings.iter().filter(|f| is_of_recording(&f.kind) && f.kind != "recording-truncated");
        out.extend(told.map(|finding| format!("{name}: {}.", finding.summary.trim_end_matches('.'))));
    }
    out
}

fn lengths(before: &Side, after: &Side, out: &mut Vec<String>) {
    for (name, side) in [("BEFORE", before), ("AFTER", after)] {
        if side.span().is_none() && side.frames() > 0 {
            out.push(format!(
                "{name} has no clock: nothing is said of timing, and lengths are compared by frames."
            ));
        }
    }
    let Some((b, a)) = before.span().zip(after.span()) else { return };
    if b == a && before.frames() == after.frames() {
        out.push(String::from(
            "Both sides have the same times and as many frames: they may be of one recording.",
        ));
    } else if a.to < b.from && a.from > DATED {
        out.push(String::from("AFTER was recorded before BEFORE: are the two the wrong way round?"));
    }
    let Some((b, a)) = before.lasted_s().zip(after.lasted_s()) else { return };
    if a < SHORTER * b {
        let (b, a) = (duration(b), duration(a));
        out.push(format!("AFTER has {a} and BEFORE {b}: what comes seldom, AFTER may have missed."));
    } else if b < SHORTER * a {
        let (b, a) = (duration(b), duration(a));
        out.push(format!("BEFORE has {b} and AFTER {a}: what is new may have been missed before."));
    }
}
