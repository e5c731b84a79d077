//! Findings of the two sides, matched by kind and devices.

use super::model::{FindingChange, Standing};
use super::need::is_of_recording;
use super::numbers;
use super::proof::{Proof, weigh, wire_told};
use super::same::Same;
use super::side::{Finding, Side};
use super::view::View;
use crate::report::figures::duration;
use std::collections::HashMap;

/// A device, the same for both sides.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Who {
    /// Its index after.
    After(usize),
    /// Its index before, when it is there alone.
    Before(usize),
    /// An id that the report has no row for.
    Unknown(String),
}

/// Compares the findings; what matters most comes first.
pub(super) fn compare(forth: &View<'_>, back: &View<'_>, same: &Same) -> Vec<FindingChange> {
    let of_boat = |side: &'_ Side| -> Vec<usize> {
        side.findings.iter().enumerate().filter(|(_, f)| !is_of_recording(&f.kind)).map(|(i, _)| i).collect()
    };
    let (before, after) = (forth.from, forth.to);
    let who_before = |f: &Finding| -> Vec<Who> {
        f.devices
            .iter()
            .map(|id| match forth.ids.device(id) {
                Some(i) => forth.partner(i).map_or(Who::Before(i), Who::After),
                None => Who::Unknown(id.clone()),
            })
            .collect()
    };
    let who_after = |f: &Finding| -> Vec<Who> {
        let one = |i: usize| {
            same.before.get(i).copied().flatten().and_then(|b| same.after.get(b).copied().flatten())
        };
        f.devices
            .iter()
            .map(|id| match back.ids.device(id) {
                Some(i) => Who::After(one(i).unwrap_or(i)),
                None => Who::Unknown(id.clone()),
            })
            .collect()
    };
    let mut b: Vec<Row<'_>> = rows(before, &of_boat(before), who_before);
    let mut a: Vec<Row<'_>> = rows(after, &of_boat(after), who_after);
    let mut changes = Vec::new();
    let mut join = |b: &mut [Row<'_>], a: &mut [Row<'_>], key: &dyn Fn(&Row<'_>) -> Vec<Key>| {
        for (i, j) in pairs(b, a, key) {
            if let (Some(before), Some(after)) = (b.get_mut(i), a.get_mut(j)) {
                (before.matched, after.matched) = (true, true);
                changes.push(still(forth, back, before, after));
            }
        }
    };
    join(&mut b, &mut a, &|row| {
        let mut key = row.key();
        key.messages = row.finding.messages.clone();
        vec![key]
    });
    join(&mut b, &mut a, &|row| vec![row.key()]);
    // Not all of the devices need be the same: one more may have joined in.
    join(&mut b, &mut a, &|row| {
        row.who.iter().map(|who| Key { who: vec![who.clone()], ..row.key() }).collect()
    });
    changes.extend(b.iter().filter(|row| !row.matched).map(|row| gone(forth, row.finding)));
    changes.extend(a.iter().filter(|row| !row.matched).map(|row| arrived(back, row.finding)));
    changes.sort_by(|one, other| {
        (one.standing, std::cmp::Reverse(one.severity), &one.kind).cmp(&(
            other.standing,
            std::cmp::Reverse(other.severity),
            &other.kind,
        ))
    });
    changes
}

/// A finding of one side.
struct Row<'a> {
    finding: &'a Finding,
    /// Its devices in their order.
    who: Vec<Who>,
    matched: bool,
}

/// What two findings must share to be one.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Key {
    kind: String,
    who: Vec<Who>,
    /// For findings without devices: the kind of wire.
    wire: Option<&'static str>,
    messages: Vec<String>,
}

impl Row<'_> {
    fn key(&self) -> Key {
        let mut who = self.who.clone();
        who.sort_unstable();
        who.dedup();
        let wire = who.is_empty().then(|| wire_told(&self.finding.summary)).flatten();
        Key { kind: self.finding.kind.clone(), who, wire, messages: Vec::new() }
    }
}

fn rows<'a>(side: &'a Side, chosen: &[usize], who: impl Fn(&Finding) -> Vec<Who>) -> Vec<Row<'a>> {
    let chosen = chosen.iter().filter_map(|i| side.findings.get(*i));
    chosen.map(|finding| Row { finding, who: who(finding), matched: false }).collect()
}

/// Pairs of rows that share a key, each row once, in their order.
fn pairs(b: &[Row<'_>], a: &[Row<'_>], keys: &dyn Fn(&Row<'_>) -> Vec<Key>) -> Vec<(usize, usize)> {
    let mut there: HashMap<Key, Vec<usize>> = HashMap::new();
    for (j, row) in a.iter().enumerate().rev().filter(|(_, row)| !row.matched) {
        for key in keys(row) {
            there.entry(key).or_default().push(j);
        }
    }
    let mut taken = vec![false; a.len()];
    let mut pairs = Vec::new();
    for (i, row) in b.iter().enumerate().filter(|(_, row)| !row.matched) {
        for key in keys(row) {
            let Some(free) = there.get_mut(&key) else { continue };
            // Rows that another key took are dropped as they come up, so that each is looked at once.
            while free.last().is_some_and(|j| taken.get(*j).is_none_or(|taken| *taken)) {
                free.pop();
            }
            if let Some(j) = free.pop() {
                if let Some(slot) = taken.get_mut(j) {
                    *slot = true;
                }
                pairs.push((i, j));
                break;
            }
        }
    }
    pairs
}

fn names(view: &View<'_>, finding: &Finding) -> Vec<String> {
    let label = |id: &String| {
        let row = view.ids.device(id).and_then(|i| view.from.devices.get(i));
        row.map_or_else(|| id.clone(), |row| row.label.clone())
    };
    finding.devices.iter().map(label).collect()
}

fn still(forth: &View<'_>, back: &View<'_>, before: &Row<'_>, after: &Row<'_>) -> FindingChange {
    let (b, a) = (before.finding, after.finding);
    let turned = before.who.len() > 1 && before.who.first() != after.who.first();
    let lengths = (forth.from.span(), forth.to.span());
    let because = match a.severity.cmp(&b.severity) {
        std::cmp::Ordering::Equal => String::from("both sides show it"),
        std::cmp::Ordering::Greater => format!("it was a {} and is a {} now", word(b), word(a)),
        std::cmp::Ordering::Less => format!("it was a {} and is only a {} now", word(b), word(a)),
    };
    FindingChange {
        standing: Standing::Still,
        kind: a.kind.clone(),
        severity: b.severity.max(a.severity),
        severity_before: Some(b.severity),
        severity_after: Some(a.severity),
        summary: a.summary.clone(),
        devices: names(back, a),
        messages: a.messages.clone(),
        numbers: numbers::side_by_side(&b.numbers, &a.numbers, turned, lengths.0 == lengths.1),
        because,
        record_s: None,
        evidence: a.evidence.clone(),
        checks: a.checks.clone(),
    }
}

fn word(finding: &Finding) -> &'static str {
    use crate::report::model::Severity;
    match finding.severity {
        Severity::Fault => "fault",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}

fn alone(view: &View<'_>, finding: &Finding, standing: Standing, because: String) -> FindingChange {
    let before = matches!(standing, Standing::Cleared | Standing::NotShown);
    FindingChange {
        standing,
        kind: finding.kind.clone(),
        severity: finding.severity,
        severity_before: before.then_some(finding.severity),
        severity_after: (!before).then_some(finding.severity),
        summary: finding.summary.clone(),
        devices: names(view, finding),
        messages: finding.messages.clone(),
        numbers: Vec::new(),
        because,
        record_s: None,
        evidence: finding.evidence.clone(),
        checks: finding.checks.clone(),
    }
}

/// A finding that is before only.
fn gone(forth: &View<'_>, finding: &Finding) -> FindingChange {
    match weigh(forth, finding) {
        Proof::Sure(why) => alone(forth, finding, Standing::Cleared, why),
        Proof::Weak(mut why, record_s) => {
            if let Some(enough) = record_s {
                why.push_str(&format!("; {} without it would be proof enough", duration(enough)));
            }
            FindingChange { record_s, ..alone(forth, finding, Standing::NotShown, why) }
        }
        Proof::None(why) => alone(forth, finding, Standing::NotShown, why),
    }
}

/// A finding that is after only.
fn arrived(back: &View<'_>, finding: &Finding) -> FindingChange {
    match weigh(back, finding) {
        Proof::Sure(_) => {
            alone(back, finding, Standing::New, String::from("BEFORE would have shown it, and does not"))
        }
        Proof::Weak(why, _) => alone(
            back,
            finding,
            Standing::New,
            format!("BEFORE does not show it, but may have missed it: {why}"),
        ),
        Proof::None(why) => {
            alone(back, finding, Standing::FirstSeen, format!("it may have been there before: {why}"))
        }
    }
}
