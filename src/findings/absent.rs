//! What "nothing supplies it" has in common for every quantity.

use super::words::seconds;
use super::{Evidence, Finding};
use crate::report::model::Severity;

/// A note when no source of the quantity was seen at all.
pub(super) fn finding(evidence: &Evidence<'_>, quantity: &str, check: &str) -> Vec<Finding> {
    let books = evidence.books;
    // Where the recorder cut packets with lines in them, it may stand behind the cut.
    let cut = books.networks.iter().any(|(_, network)| network.hosts.values().any(|host| host.lines_cut));
    if cut || books.series.of(quantity).next().is_some() {
        return Vec::new();
    }
    let looked =
        books.range().map(|(from, to)| format!(" in {}", seconds(to.since(from)))).unwrap_or_default();
    let wires = books.wires.iter().count();
    vec![
        Finding::new(Severity::Note, format!("Nothing in this recording supplies {quantity}"))
            .evidence(format!(
                "No message that is for {quantity}{looked} on {wires} {}.",
                if wires == 1 { "wire" } else { "wires" }
            ))
            .check(check),
    ]
}
