//! What a complaint is about, and whether a finding concerns it.

use crate::books::Books;
use crate::books::inventory::{Device, DeviceId, Identity};
use crate::books::series::Source;
use crate::books::wires::WireId;
use crate::findings::{Finding, duplicate_depth_source};
use crate::recording::WireKind;

/// What a complaint is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scope {
    /// One quantity, by its plain name.
    Quantity(&'static str),
    /// Data of any kind.
    AnyData,
    /// Displays and other hosts on the Ethernet.
    Hosts,
}

impl Scope {
    /// In a sentence.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Quantity("depth") => "the trouble with depth",
            Self::Quantity("heading") => "the trouble with heading",
            Self::Quantity("position") => "the trouble with position",
            Self::Quantity(_) => "it",
            Self::AnyData => "data that drops out",
            Self::Hosts => "a display that drops off the network",
        }
    }

    /// Whether this kind says that nothing supplies the quantity.
    pub(super) fn is_missing(self, kind: &str) -> bool {
        matches!(self, Self::Quantity(q) if kind.strip_prefix("no-").and_then(|k| k.strip_suffix("-source")) == Some(q))
    }

    /// Whether a finding concerns what the complaint is about.
    ///
    /// A finding without devices is about a whole wire and concerns what the wire may carry. One on a device concerns a
    /// quantity when the device supplies it, or carries it in its packets; one on single messages, when they carry it.
    pub(super) fn concerns(self, books: &Books, finding: &Finding) -> bool {
        match self {
            Self::AnyData => true,
            Self::Hosts => {
                let ethernet = |id: &DeviceId| {
                    books.inventory.get(*id).is_some_and(|d| matches!(d.identity, Identity::Ethernet { .. }))
                };
                // The supply is that of the whole boat, whoever reports it.
                if finding.kind == "low-supply-voltage" {
                    true
                } else if finding.devices.is_empty() {
                    books.wires.iter().any(|(_, w)| w.kind == WireKind::Ethernet)
                } else {
                    finding.devices.iter().any(ethernet)
                }
            }
            Self::Quantity(quantity) => {
                // A supply that dips takes every device of the bus with it, whoever reports it.
                if finding.kind == "low-supply-voltage" {
                    return true;
                }
                if finding.devices.is_empty() {
                    return finding.wires.is_empty()
                        || finding.wires.iter().any(|wire| may_carry(books, *wire, quantity));
                }
                if finding.kind == "fix-lost" && quantity == "heading" {
                    return finding.devices.iter().any(|id| goes_with_the_fix(books, *id, finding));
                }
                // Two sounders that agree leave no display without a depth, and show no wrong one.
                if duplicate_depth_source::agree(finding) {
                    return false;
                }
                let by_message =
                    matches!(finding.kind, "message-dropout" | "slow-message" | "irregular-message");
                // Without an address a device may send nothing: what it would supply is not seen. The few messages that came
                // while it contended for one prove nothing: they may be its rival's.
                let homeless = finding.kind == "address-claim-failed";
                finding.devices.iter().any(|id| {
                    if homeless && !flows(books, *id) {
                        return is_for(books, *id, quantity);
                    }
                    supplies(books, *id, quantity, by_message.then_some(finding.messages.as_slice()))
                })
            }
        }
    }
}

/// A heading that is missing for this long is missed, seconds.
const MISSED_S: f64 = 1.5;

/// Whether a receiver's heading is missing when its fix is, most of the time: a satellite compass knows none without. What has a
/// compass of its own goes on.
fn goes_with_the_fix(books: &Books, id: DeviceId, lost: &Finding) -> bool {
    let of_it = |s: &&Source| books.inventory.same(s.key.device, id);
    books.series.of("heading").filter(of_it).any(|source| {
        let without = source.runs.absent(MISSED_S);
        let all_s: f64 = without.iter().map(|span| span.seconds()).sum();
        let shared =
            without.iter().flat_map(|span| lost.spans.iter().map(move |lost| lost.shared_s(*span).max(0.0)));
        all_s > 0.0 && 2.0 * shared.sum::<f64>() >= all_s
    })
}

/// Whether a device supplies anything by a rhythm.
fn flows(books: &Books, id: DeviceId) -> bool {
    let supplied = books.series.iter().filter(|s| s.key.device == id);
    let mut streams = supplied.flat_map(|s| books.timing.of(id).filter(|t| t.message == s.key.message));
    streams.any(|stream| stream.pulse_s().is_some())
}

/// Whether a device's NAME allows that it is there to supply a quantity.
fn is_for(books: &Books, id: DeviceId, quantity: &str) -> bool {
    let purpose = books.inventory.get(id).and_then(Device::name).and_then(|name| name.purpose());
    purpose.is_none_or(|purpose| match quantity {
        "heading" => matches!(purpose, "heading sensor" | "turn rate sensor"),
        "position" => purpose == "GNSS receiver",
        "depth" => purpose.starts_with("sounder"),
        _ => false,
    })
}

/// Whether a wire carries a quantity, as far as can be told: it does on a bus or line with a source of it, and may where there
/// is no source at all. What displays tell each other over Ethernet is their makers' own, and may hold anything.
fn may_carry(books: &Books, wire: WireId, quantity: &str) -> bool {
    let ethernet = books.wires.get(wire).is_none_or(|w| w.kind == WireKind::Ethernet);
    let mut sources = books.series.of(quantity).filter_map(|s| books.inventory.get(s.key.device)).peekable();
    ethernet || sources.peek().is_none() || sources.any(|device| device.wire == wire)
}

/// Whether a device supplies a quantity (in one of `messages` when these are given), itself or in its packets.
fn supplies(books: &Books, id: DeviceId, quantity: &str, messages: Option<&[String]>) -> bool {
    let own = |device: DeviceId| device == id || books.carrier(device) == Some(id);
    books
        .series
        .of(quantity)
        .filter(|s| messages.is_none_or(|m| m.contains(&s.key.message.to_string())))
        .any(|s| own(s.key.device))
}
