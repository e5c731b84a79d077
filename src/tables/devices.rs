//! Devices: one row each.

use super::columns::Columns;
use crate::report::model::{DeviceRow, Report};
use arrow_array::RecordBatch;
use arrow_schema::ArrowError;

/// The rows of this table.
///
/// # Errors
/// When the columns are not equally long.
pub(super) fn rows(recording: &str, report: &Report) -> Result<RecordBatch, ArrowError> {
    let all = &report.devices;
    let text = |pick: fn(&DeviceRow) -> Option<&str>| all.iter().map(pick);
    let texts = |pick: fn(&DeviceRow) -> &[String]| {
        all.iter()
            .map(move |d| Box::new(pick(d).iter().map(String::as_str)) as Box<dyn Iterator<Item = &str>>)
    };
    let whole = |pick: fn(&DeviceRow) -> Option<i64>| all.iter().map(pick);
    Columns::default()
        .text("recording", all.iter().map(|_| Some(recording)))
        .text("device", text(|d| Some(&d.id)))
        .text("wire", text(|d| Some(&d.wire)))
        .text("kind", text(|d| Some(d.kind)))
        .text("label", text(|d| Some(&d.label)))
        .whole("address", whole(|d| d.address.map(i64::from)))
        .text("name", text(|d| d.name.as_deref()))
        .whole("manufacturer_code", whole(|d| d.manufacturer_code.map(i64::from)))
        .whole("function_code", whole(|d| d.function_code.map(i64::from)))
        .whole("class_code", whole(|d| d.class_code.map(i64::from)))
        .whole("device_instance", whole(|d| d.device_instance.map(i64::from)))
        .whole("system_instance", whole(|d| d.system_instance.map(i64::from)))
        .text("model", text(|d| d.model.as_deref()))
        .text("software", text(|d| d.software.as_deref()))
        .text("serial", text(|d| d.serial.as_deref()))
        .whole("load_equivalency", whole(|d| d.load_equivalency.map(i64::from)))
        .text("mac", text(|d| d.mac.as_deref()))
        .texts("ips", texts(|d| &d.ips))
        .texts("hostnames", texts(|d| &d.hostnames))
        .texts("services", texts(|d| &d.services))
        .whole("dhcp_answers", whole(|d| d.dhcp_answers.and_then(|n| i64::try_from(n).ok())))
        .text("talker", text(|d| d.talker.as_deref()))
        .texts("sentences", texts(|d| &d.sentences))
        .moment("first", all.iter().map(|d| d.first))
        .moment("last", all.iter().map(|d| d.last))
        .count("frames", all.iter().map(|d| d.frames))
        .count("bytes", all.iter().map(|d| d.bytes))
        .table()
}
