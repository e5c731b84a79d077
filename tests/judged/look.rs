//! What tests look at in a report.

use leadsman::report::model::{Number, Report, Severity};

/// Names of the findings that are more than a note, in the report's order.
pub(crate) fn alarms(report: &Report) -> Vec<&'static str> {
    report.findings.iter().filter(|f| f.severity > Severity::Note).map(|f| f.kind).collect()
}

/// A number of the finding of this kind.
pub(crate) fn number(report: &Report, kind: &str, key: &str) -> f64 {
    let finding = report.findings.iter().find(|f| f.kind == kind).unwrap_or_else(|| panic!("no {kind}"));
    match finding.numbers.get(key) {
        Some(Number::Real(x)) => *x,
        Some(Number::Count(n)) => *n as f64,
        other => panic!("{kind} {key}: {other:?}"),
    }
}

/// A text of it.
pub(crate) fn text(report: &Report, kind: &str, key: &str) -> String {
    match report.findings.iter().find(|f| f.kind == kind).and_then(|f| f.numbers.get(key)) {
        Some(Number::Text(text)) => text.clone(),
        other => panic!("{kind} {key}: {other:?}"),
    }
}
