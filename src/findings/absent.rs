//! What "nothing supplies it" has in common for every quantity.

use super::words::{labels, seconds};
use super::{Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::Source;
use crate::books::timing::{Message, Stream};
use crate::report::model::Severity;

/// Fewer messages without a value may be a sensor that is starting.
const ENOUGH: u64 = 20;

/// A note when every message for the quantity comes without a value.
pub(super) fn never_valued(evidence: &Evidence<'_>, quantity: &str, check: &str) -> Vec<Finding> {
    let books = evidence.books;
    let sources: Vec<&Source> = books.series.of(quantity).collect();
    let count: u64 = sources.iter().map(|source| source.count).sum();
    if count < ENOUGH || sources.iter().any(|source| source.valid > 0) {
        return Vec::new();
    }
    let mut devices: Vec<DeviceId> = sources.iter().map(|source| source.key.device).collect();
    devices.sort_unstable();
    devices.dedup();
    let mut messages: Vec<String> = sources.iter().map(|source| source.key.message.to_string()).collect();
    messages.dedup();
    let title = format!("No message in this recording holds a {quantity}, though {count} are sent for it");
    let finding = Finding::new(Severity::Note, title)
        .evidence(format!("{} sends {} without a value.", labels(books, &devices), messages.join(", ")))
        .devices(devices)
        .messages(messages)
        .check(check);
    vec![finding]
}

/// A note when no source of the quantity was seen at all.
pub(super) fn finding(evidence: &Evidence<'_>, quantity: &str, check: &str) -> Vec<Finding> {
    let books = evidence.books;
    // Where the recorder cut packets with lines in them, it may stand behind the cut.
    let cut = books.networks.iter().any(|(_, network)| network.hosts.values().any(|host| host.cut.any()));
    if cut || books.series.of(quantity).next().is_some() {
        return Vec::new();
    }
    let looked = books.range().map(|_| format!(" in {}", seconds(books.lasted_s()))).unwrap_or_default();
    let wires = books.wires.iter().count();
    let closed = senders_of_closed_streams(books);
    let nothing = if closed.is_empty() { "Nothing" } else { "Nothing that can be read" };
    let title = format!("{nothing} in this recording supplies {quantity}");
    let mut finding = Finding::new(Severity::Note, title).evidence(format!(
        "No message that is for {quantity}{looked} on {wires} {}.",
        if wires == 1 { "wire" } else { "wires" }
    ));
    if !closed.is_empty() {
        finding = finding.evidence(format!(
            "Not told: whether {quantity} is in the datagrams of {}, whose form is not open.",
            labels(books, &closed)
        ));
    }
    vec![finding.check(check)]
}

/// Who sends steady datagrams without sentences, which may hold anything: a maker's own form, a picture.
fn senders_of_closed_streams(books: &Books) -> Vec<DeviceId> {
    let closed = |s: &&Stream| s.message == Message::Protocol("udp") && s.is_periodic();
    let mut senders: Vec<DeviceId> = books.timing.iter().filter(closed).map(|s| s.device).collect();
    senders.sort_unstable();
    senders.dedup();
    senders
}
