//! The report held against the boat file: every expectation, with the measured value beside the expected one.

mod addresses;
mod devices;
mod findings;
mod held;
mod limits;
mod listened;
mod needs;
mod supplies;
mod unexpected;
mod ways;

use super::desk;
use super::load::Boat;
use super::sheet::{Heard, Sheet};
use crate::report::model::Report;
pub(super) use held::{Held, missing_percent};

/// Holds a report against the file. The report must have been made with the file's names
/// ([`Boat::names`](super::Boat::names)), for these tell which device is which.
#[must_use]
pub fn verify(boat: &Boat, report: &Report) -> Sheet {
    let held = Held::new(boat, report);
    let mut rows = devices::rows(&held);
    rows.extend(supplies::rows(&held));
    rows.extend(needs::rows(&held));
    rows.extend(addresses::rows(&held));
    rows.extend(limits::rows(&held));
    rows.extend(findings::rows(&held));
    rows.extend(desk::rows(boat));
    let nothing_seen = !boat.file.devices.is_empty()
        && !report.devices.iter().any(|row| row.called.is_some() && row.frames > 0);
    rows.extend(nothing_seen.then(devices::none_heard));
    let heard = report.recordings.iter().map(|recording| Heard {
        path: recording.path.clone(),
        first: recording.first,
        last: recording.last,
        duration_s: recording.duration_s,
        frames: recording.frames,
    });
    let mut sheet = Sheet::new(boat, heard.collect(), rows, unexpected::things(&held));
    sheet.nothing_seen = nothing_seen;
    sheet.too_short = report.findings.iter().any(|finding| finding.kind == "recording-too-short");
    sheet
}
