//! Findings: one row each, in the report's order.

use super::columns::Columns;
use crate::report::model::{FindingRow, Number, Report, Severity};
use arrow_array::RecordBatch;
use arrow_schema::{ArrowError, DataType};

/// The rows of this table. `numbers` holds name, value and text of each figure: one of the two is null.
///
/// # Errors
/// When the columns are not equally long.
pub(super) fn rows(recording: &str, report: &Report) -> Result<RecordBatch, ArrowError> {
    let all = &report.findings;
    let texts = |pick: fn(&FindingRow) -> &[String]| {
        all.iter()
            .map(move |f| Box::new(pick(f).iter().map(String::as_str)) as Box<dyn Iterator<Item = &str>>)
    };
    let span = [("from", DataType::Utf8), ("to", DataType::Utf8)];
    let number = [("name", DataType::Utf8), ("value", DataType::Float64), ("text", DataType::Utf8)];
    Columns::default()
        .text("recording", all.iter().map(|_| Some(recording)))
        .text("kind", all.iter().map(|f| Some(f.kind)))
        .text("severity", all.iter().map(|f| Some(severity(f.severity))))
        .text("summary", all.iter().map(|f| Some(f.summary.as_str())))
        .texts("devices", texts(|f| &f.devices))
        .texts("messages", texts(|f| &f.messages))
        .moment("first", all.iter().map(|f| f.spans.iter().map(|s| s.from).min()))
        .moment("last", all.iter().map(|f| f.spans.iter().map(|s| s.to).max()))
        .records("spans", &span, all.iter(), |finding, parts| {
            for span in &finding.spans {
                parts.text(0, Some(&span.from.to_string()));
                parts.text(1, Some(&span.to.to_string()));
                parts.end();
            }
        })
        .records("numbers", &number, all.iter(), |finding, parts| {
            for (name, number) in &finding.numbers {
                let (value, text) = match number {
                    Number::Real(value) => (Some(*value), None),
                    Number::Count(count) => (Some(*count as f64), None),
                    Number::Text(text) => (None, Some(text.as_str())),
                };
                parts.text(0, Some(name));
                parts.number(1, value);
                parts.text(2, text);
                parts.end();
            }
        })
        .texts("evidence", texts(|f| &f.evidence))
        .texts("checks", texts(|f| &f.checks))
        .truth("follows", all.iter().map(|f| f.follows_from.is_some()))
        .table()
}

const fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "fault",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}
