//! The desk check: what cannot work, told before anybody records.

mod backbone;
mod ethernet;
mod supply;

use super::load::Boat;
use super::sheet::{Row, Sheet};

/// Checks the file against what the standards allow and what the wires can carry, without a recording.
#[must_use]
pub fn desk_check(boat: &Boat) -> Sheet {
    Sheet::new(boat, Vec::new(), rows(boat), Vec::new())
}

/// The expectations that need no recording.
pub(super) fn rows(boat: &Boat) -> Vec<Row> {
    let mut rows = ethernet::rows(boat);
    rows.extend(backbone::rows(boat));
    rows.extend(supply::rows(boat));
    rows
}
