//! Complaints: what the owner says, and which causes fit it.
//!
//! Each complaint is one file with a `Complaint`: its candidate causes, the likeliest first, as the trade thinks. A new
//! complaint is one file and one line in `COMPLAINTS`; a new cause is one entry in a complaint's list and one in
//! `recordings.rs`.

mod data_drops_out;
mod depth_wrong;
mod display_disconnects;
mod distrust;
mod exclude;
mod heading_jumps;
mod in_order;
mod no_depth;
mod no_heading;
mod no_position;
mod position_jumps;
mod recordings;
mod scope;
mod shared;
mod silences;
mod wires_needed;

use crate::books::Books;
use crate::findings::Finding;
use crate::report::model::{CauseRow, ComplaintRow, Severity, Standing};
use scope::Scope;

/// Every complaint that can be asked, in the words of the command line.
pub const NAMES: [&str; 8] = [
    no_depth::COMPLAINT.name,
    depth_wrong::COMPLAINT.name,
    heading_jumps::COMPLAINT.name,
    no_heading::COMPLAINT.name,
    position_jumps::COMPLAINT.name,
    no_position::COMPLAINT.name,
    data_drops_out::COMPLAINT.name,
    display_disconnects::COMPLAINT.name,
];

/// Every complaint with its candidate causes.
const COMPLAINTS: &[&Complaint] = &[
    &no_depth::COMPLAINT,
    &depth_wrong::COMPLAINT,
    &heading_jumps::COMPLAINT,
    &no_heading::COMPLAINT,
    &position_jumps::COMPLAINT,
    &no_position::COMPLAINT,
    &data_drops_out::COMPLAINT,
    &display_disconnects::COMPLAINT,
];

/// What the owner says.
struct Complaint {
    /// In the words of the command line.
    name: &'static str,
    /// What it is about: findings on other things do not support it.
    scope: Scope,
    /// The candidate causes, the likeliest first.
    causes: &'static [Cause],
}

/// A candidate cause.
struct Cause {
    /// A finding's kind, or a name of its own for what no recording shows.
    name: &'static str,
    /// Whether a finding of another kind shows it.
    shown: fn(&Finding) -> bool,
    /// Whether the recording excludes it, with the reason in numbers.
    excluded: fn(&Books, &Scope) -> Option<String>,
    /// Why the recording cannot tell, when it neither shows nor excludes it.
    open: &'static str,
    /// What to do on the boat.
    check: &'static str,
}

/// Further causes that an answer names.
const MAX_MORE: usize = 3;

/// What to do about a heading sensor that speaks and sends no heading.
const NO_VALUE_CHECK: &str = "Look at the heading sensor itself: its alignment or calibration, and the fix of a satellite compass. It is on \
                              the wire and has power.";

/// For causes that only the finding of their own name shows, if any does.
fn unsaid(_: &Finding) -> bool {
    false
}

/// For causes that no recording excludes.
fn never(_: &Books, _: &Scope) -> Option<String> {
    None
}

/// Leaves each finding the complaints that it concerns on this boat: a display that drops off speaks to depth only where it
/// supplies some.
pub fn narrow(books: &Books, findings: &mut [Finding]) {
    for finding in findings {
        let concerns =
            |name: &str| COMPLAINTS.iter().any(|c| c.name == name && c.scope.concerns(books, finding));
        let kept = finding.complaints.iter().copied().filter(|name| concerns(name)).collect();
        finding.complaints = kept;
    }
}

/// Answers the complaint that was asked, or, when none was, every complaint that a fault or warning speaks to.
#[must_use]
pub fn answer(books: &Books, findings: &[Finding], asked: Option<&str>) -> Vec<ComplaintRow> {
    COMPLAINTS
        .iter()
        .filter(|complaint| match asked {
            Some(name) => complaint.name == name,
            None => findings.iter().any(|f| {
                f.severity > Severity::Note
                    && f.complaints.contains(&complaint.name)
                    && complaint.scope.concerns(books, f)
            }),
        })
        .map(|complaint| answer_one(books, findings, complaint))
        .collect()
}

fn answer_one(books: &Books, findings: &[Finding], complaint: &Complaint) -> ComplaintRow {
    let mut causes: Vec<CauseRow> =
        complaint.causes.iter().map(|c| weigh(books, findings, complaint, c)).collect();
    // Among the supported ones a fault goes before a warning, and a root before what follows from it; else the order of
    // likelihood stays.
    let gravity = |row: &CauseRow| {
        row.findings
            .iter()
            .filter_map(|i| findings.get(*i))
            .map(|f| f.severity)
            .max()
            .unwrap_or(Severity::Note)
    };
    let follows = |row: &CauseRow| {
        let roots = || row.findings.iter().filter_map(|i| findings.get(*i)).map(|f| f.follows_from.is_some());
        roots().next().is_some() && roots().all(|follows| follows)
    };
    // Of the open ones those that this recording could have shown go first.
    let elsewhere = |row: &CauseRow| {
        let missing = wires_needed::missing(books, &row.cause, complaint.scope);
        missing.filter(|_| row.standing == Standing::Open).map(|(why, _)| why)
    };
    causes.sort_by_cached_key(|row| {
        (row.standing, std::cmp::Reverse(gravity(row)), follows(row), elsewhere(row))
    });
    let answer = in_words(books, findings, complaint, &causes);
    // Where nothing is shown, a better recording comes before any part of the boat.
    if causes.iter().all(|row| row.standing != Standing::Supported)
        && let Some(first) = causes.iter_mut().find(|row| row.standing == Standing::Open)
        && let Some(telling) = recordings::that_tells(books, &first.cause)
        && first.because.ends_with(&would_show(telling))
        && !first.next_check.starts_with("Record ")
    {
        let nobody = findings.iter().find(|finding| complaint.scope.is_missing(finding.kind));
        first.next_check = match nobody {
            Some(nobody) => {
                format!("Record the wire of the device that supplies it: {}.", lowered(&nobody.summary))
            }
            None => format!("Record first what would show it: {telling}. {}", first.next_check),
        };
    }
    ComplaintRow { complaint: complaint.name, answer, causes }
}

fn weigh(books: &Books, findings: &[Finding], complaint: &Complaint, cause: &Cause) -> CauseRow {
    let resting_on: Vec<usize> = findings
        .iter()
        .enumerate()
        .filter(|(_, f)| f.kind == cause.name && complaint.scope.concerns(books, f))
        .filter(|(_, f)| f.severity > Severity::Note || complaint.scope.is_missing(f.kind))
        .map(|(i, _)| i)
        .collect();
    let shown = || findings.iter().find(|f| (cause.shown)(f));
    let (standing, because, next_check) =
        match resting_on.first().and_then(|i| findings.get(*i)).or_else(shown) {
            Some(finding) => {
                let check = finding.checks.first().cloned().unwrap_or_else(|| cause.check.to_owned());
                (Standing::Supported, format!("{}.", finding.summary), check)
            }
            None if let Some((why, check)) = wires_needed::missing(books, cause.name, complaint.scope) => {
                (Standing::Open, why.to_owned(), check.to_owned())
            }
            None if let Some(why) = distrust::distrust(books, findings, complaint.scope, cause.name) => {
                (Standing::Open, why, cause.check.to_owned())
            }
            // A sensor that sends no value is on its wire, and has power.
            None if cause.name == "no-heading-source"
                && let Some(why) = exclude::without_value(books, &complaint.scope) =>
            {
                (Standing::Open, why, NO_VALUE_CHECK.to_owned())
            }
            None => match (cause.excluded)(books, &complaint.scope) {
                Some(reason) => (Standing::RuledOut, reason, cause.check.to_owned()),
                None => {
                    let telling = recordings::that_tells(books, cause.name);
                    let telling = telling.map(would_show).unwrap_or_default();
                    let why = silences::doubt(books, findings, complaint.scope, cause.name)
                        .or_else(|| in_order::so_far(books, complaint.scope, cause.name));
                    let why = why.unwrap_or_else(|| cause.open.to_owned());
                    (Standing::Open, format!("{why}{telling}"), cause.check.to_owned())
                }
            },
        };
    CauseRow { cause: cause.name.to_owned(), standing, because, findings: resting_on, next_check }
}

/// Which recording would tell, as the end of a reason.
fn would_show(telling: &str) -> String {
    format!(" It would show in {telling}.")
}

fn in_words(books: &Books, findings: &[Finding], complaint: &Complaint, causes: &[CauseRow]) -> String {
    let count = |standing| causes.iter().filter(|c| c.standing == standing).count();
    let open = count(Standing::Open);
    let supported: Vec<&Finding> =
        causes.iter().filter_map(|c| c.findings.first()).filter_map(|i| findings.get(*i)).collect();
    let asks_for_heading = causes.iter().any(|c| c.cause == "no-heading-source");
    let without = asks_for_heading.then(|| exclude::without_value(books, &complaint.scope)).flatten();
    match supported.split_first() {
        Some((first, rest)) => {
            let mut answer = format!("{}.", first.summary);
            if let Some(without) = without.filter(|_| first.kind == "fix-lost") {
                answer.push_str(&format!(" Its heading goes with it: {without}"));
            }
            let root = first.follows_from.and_then(|i| findings.get(i));
            if let Some(root) = root {
                answer.push_str(&format!(" Behind it: {}.", lowered(&root.summary)));
            }
            let of_first = |f: &Finding| {
                f.follows_from.and_then(|i| findings.get(i)).is_some_and(|root| std::ptr::eq(root, *first))
            };
            let (effects, others): (Vec<&Finding>, Vec<&Finding>) =
                rest.iter().copied().partition(|f| of_first(f));
            if let Some(effect) = effects.first() {
                answer.push_str(&format!(" With it: {}.", lowered(&effect.summary)));
            }
            // A root that has just been named is no further cause.
            let mut more: Vec<String> = others
                .iter()
                .filter(|f| root.is_none_or(|root| !std::ptr::eq(root, **f)))
                .map(|f| f.kind.replace('-', " "))
                .collect();
            more.dedup();
            let shown = more.len().min(MAX_MORE);
            match (more.get(..shown).unwrap_or_default(), more.len() - shown) {
                ([], _) => {}
                ([only], 0) => answer.push_str(&format!(" Another cause fits: {only}.")),
                (more, 0) => answer.push_str(&format!(" Other causes fit: {}.", more.join(", "))),
                (more, n) => {
                    answer.push_str(&format!(" Other causes fit: {} and {n} more.", more.join(", ")))
                }
            }
            answer
        }
        None => {
            let ruled_out = count(Standing::RuledOut);
            let causes = format!(
                "{ruled_out} of the usual causes {} ruled out, {open} cannot be told from it.",
                if ruled_out == 1 { "is" } else { "are" }
            );
            match without {
                Some(without) => format!(
                    "The heading source is there and sends no heading at times: {without} Nothing in this recording explains that: {causes}"
                ),
                None => format!("Nothing in this recording explains {}: {causes}", complaint.scope.words()),
            }
        }
    }
}

/// A summary within a sentence. One that begins with a name keeps its capital.
fn lowered(summary: &str) -> String {
    let article = ["The ", "Supply", "Nothing ", "A ", "Two "].iter().any(|first| summary.starts_with(first));
    let mut chars = summary.chars();
    match chars.next() {
        Some(first) if article => first.to_lowercase().chain(chars).collect(),
        _ => summary.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_stands_once_in_a_complaint_and_says_what_to_do() {
        for complaint in COMPLAINTS {
            let mut names = std::collections::BTreeSet::new();
            for cause in complaint.causes {
                assert!(names.insert(cause.name), "{} twice in {}", cause.name, complaint.name);
                assert!(cause.check.len() > 10 && cause.open.len() > 10, "{}", cause.name);
            }
            assert!(NAMES.contains(&complaint.name));
        }
    }

    /// "Nothing explains it" must not stand beside a finding that says it does, nor a finding be kept from its complaint.
    #[test]
    fn findings_and_complaints_name_each_other() {
        for complaint in COMPLAINTS {
            let is_cause = |kind: &str| complaint.causes.iter().any(|cause| cause.name == kind);
            for kind in crate::findings::kinds() {
                let speaks = crate::findings::complaints(kind).contains(&complaint.name);
                assert_eq!(speaks, is_cause(kind), "{kind} and {}", complaint.name);
            }
        }
    }

    #[test]
    fn of_an_empty_recording_nothing_is_ruled_out() {
        for name in NAMES {
            let rows = answer(&Books::default(), &[], Some(name));
            let [row] = rows.as_slice() else { panic!("one answer for {name}") };
            for cause in &row.causes {
                assert_eq!(cause.standing, Standing::Open, "{name}: {}", cause.cause);
            }
        }
    }
}
