//! Sources: one row for each device's stream of one quantity.

use super::columns::Columns;
use crate::report::model::{Report, SourceRow};
use arrow_array::RecordBatch;
use arrow_schema::ArrowError;
use serde_json::Value;

/// The rows of this table. `last_value` is a plain number, `last_fields` is the object that some quantities have instead
/// (as JSON text).
///
/// # Errors
/// When the columns are not equally long.
pub(super) fn rows(recording: &str, report: &Report) -> Result<RecordBatch, ArrowError> {
    let all = &report.sources;
    let fields: Vec<Option<String>> = all.iter().map(fields).collect();
    let number = |pick: fn(&SourceRow) -> Option<f64>| all.iter().map(pick);
    Columns::default()
        .text("recording", all.iter().map(|_| Some(recording)))
        .text("quantity", all.iter().map(|s| Some(s.quantity.as_str())))
        .text("reference", all.iter().map(|s| s.reference))
        .text("device", all.iter().map(|s| Some(s.device.as_str())))
        .text("message", all.iter().map(|s| Some(s.message.as_str())))
        .whole("instance", all.iter().map(|s| s.instance.map(i64::from)))
        .count("count", all.iter().map(|s| s.count))
        .count("valid", all.iter().map(|s| s.valid))
        .number("nominal_s", number(|s| s.interval_s.nominal))
        .number("p50_s", number(|s| s.interval_s.p50))
        .number("p90_s", number(|s| s.interval_s.p90))
        .number("p99_s", number(|s| s.interval_s.p99))
        .number("max_s", number(|s| s.interval_s.max))
        .count("dropouts", all.iter().map(|s| s.dropouts))
        .number("dropout_s", number(|s| Some(s.dropout_s)))
        .number("last_value", number(|s| s.last_value.as_f64()))
        .text("last_fields", fields.iter().map(Option::as_deref))
        .table()
}

fn fields(source: &SourceRow) -> Option<String> {
    matches!(source.last_value, Value::Object(_)).then(|| source.last_value.to_string())
}
