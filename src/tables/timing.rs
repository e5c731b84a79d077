//! Timing: one row for each periodic message of each device, with its histogram.

use super::columns::Columns;
use crate::report::model::Report;
use arrow_array::RecordBatch;
use arrow_schema::{ArrowError, DataType};

/// The rows of this table.
///
/// # Errors
/// When the columns are not equally long.
pub(super) fn rows(recording: &str, report: &Report) -> Result<RecordBatch, ArrowError> {
    let all = &report.timing;
    let bin = [("from_s", DataType::Float64), ("to_s", DataType::Float64), ("count", DataType::UInt64)];
    Columns::default()
        .text("recording", all.iter().map(|_| Some(recording)))
        .text("device", all.iter().map(|t| Some(t.device.as_str())))
        .text("message", all.iter().map(|t| Some(t.message.as_str())))
        .count("count", all.iter().map(|t| t.count))
        .number("nominal_s", all.iter().map(|t| t.nominal_s))
        .number("p50_s", all.iter().map(|t| t.p50))
        .number("p90_s", all.iter().map(|t| t.p90))
        .number("p99_s", all.iter().map(|t| t.p99))
        .number("max_s", all.iter().map(|t| t.max))
        .records("histogram", &bin, all.iter(), |timing, parts| {
            for bin in &timing.histogram {
                parts.number(0, Some(bin.from_s));
                parts.number(1, Some(bin.to_s));
                parts.count(2, bin.count);
                parts.end();
            }
        })
        .table()
}
