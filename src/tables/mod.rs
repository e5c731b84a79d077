//! A report as Parquet tables: one row a device, source, message's timing and finding, so that thousands of recordings can
//! be asked with any engine that reads Parquet.
//!
//! Every table bears the recording's path in `recording`, and ids as the report has them; `recording` and `device` join
//! the tables. Column names and units are those of the JSON report. Source: Apache Parquet and Arrow, through arrow-rs.

mod columns;
mod devices;
mod findings;
mod sources;
mod timing;

use crate::report::model::Report;
use arrow_array::RecordBatch;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use std::io::Write;

/// One table.
pub struct Table {
    /// Its name, which is also that of its folder.
    pub name: &'static str,
    rows: fn(&str, &Report) -> Result<RecordBatch, arrow_schema::ArrowError>,
}

/// Every table.
pub const TABLES: [Table; 4] = [
    Table { name: "devices", rows: devices::rows },
    Table { name: "sources", rows: sources::rows },
    Table { name: "timing", rows: timing::rows },
    Table { name: "findings", rows: findings::rows },
];

impl Table {
    /// Writes the report's rows of this table as a Parquet file; `recording` is what its rows are told apart by.
    ///
    /// # Errors
    /// When the output refuses it.
    pub fn write(
        &self,
        recording: &str,
        report: &Report,
        out: &mut (dyn Write + Send),
    ) -> Result<(), ParquetError> {
        let rows = (self.rows)(recording, report)?;
        let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
        let mut writer = ArrowWriter::try_new(out, rows.schema(), Some(properties))?;
        writer.write(&rows)?;
        writer.close()?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;
    use arrow_array::cast::AsArray as _;
    use arrow_array::types::{Float64Type, Int64Type, TimestampMicrosecondType, UInt64Type};
    use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

    /// The rows of a table, read back from its file.
    fn read_back(name: &str, report: &Report) -> RecordBatch {
        let table = TABLES.iter().find(|table| table.name == name).unwrap();
        let mut file = Vec::new();
        table.write("bow.log", report, &mut file).unwrap();
        let reader =
            ParquetRecordBatchReaderBuilder::try_new(bytes::Bytes::from(file)).unwrap().build().unwrap();
        let mut batches: Vec<RecordBatch> = reader.map(Result::unwrap).collect();
        assert!(batches.len() <= 1);
        batches
            .pop()
            .unwrap_or_else(|| RecordBatch::new_empty(std::sync::Arc::new(arrow_schema::Schema::empty())))
    }

    #[test]
    fn what_is_written_is_read_back() {
        let report = fixture::troubled();
        for table in &TABLES {
            let rows = read_back(table.name, &report);
            let recordings = rows.column_by_name("recording").unwrap().as_string::<i32>();
            assert!(recordings.iter().all(|r| r == Some("bow.log")), "{}", table.name);
        }
        let devices = read_back("devices", &report);
        assert_eq!(devices.num_rows(), report.devices.len());
        let labels = devices.column_by_name("label").unwrap().as_string::<i32>();
        assert_eq!(labels.value(0), report.devices[0].label);
        let address = devices.column_by_name("address").unwrap().as_primitive::<Int64Type>();
        assert_eq!(address.value(0), i64::from(report.devices[0].address.unwrap()));
        let first = devices.column_by_name("first").unwrap().as_primitive::<TimestampMicrosecondType>();
        assert_eq!(first.value(0), report.devices[0].first.unwrap().0);
        let sources = read_back("sources", &report);
        let (latitude, count) =
            (sources.column_by_name("last_value").unwrap(), sources.column_by_name("count").unwrap());
        assert_eq!(latitude.as_primitive::<Float64Type>().value(0), 183.24);
        assert_eq!(count.as_primitive::<UInt64Type>().value(0), report.sources[0].count);
    }

    #[test]
    fn histograms_and_numbers_keep_their_parts() {
        let report = fixture::troubled();
        let timing = read_back("timing", &report);
        let bins = timing.column_by_name("histogram").unwrap().as_list::<i32>();
        let of_first = bins.value(0);
        let counts =
            of_first.as_struct().column_by_name("count").unwrap().as_primitive::<UInt64Type>().clone();
        let want: Vec<u64> = report.timing[0].histogram.iter().map(|bin| bin.count).collect();
        assert_eq!(counts.values(), want.as_slice());
        let findings = read_back("findings", &report);
        let numbers = findings.column_by_name("numbers").unwrap().as_list::<i32>().value(0);
        let names = numbers.as_struct().column_by_name("name").unwrap().as_string::<i32>().clone();
        let want: Vec<&str> = report.findings[0].numbers.keys().copied().collect();
        assert_eq!(names.iter().flatten().collect::<Vec<_>>(), want);
    }

    #[test]
    fn a_report_without_rows_makes_empty_tables() {
        for table in &TABLES {
            assert_eq!(read_back(table.name, &fixture::empty()).num_rows(), 0, "{}", table.name);
        }
    }
}
