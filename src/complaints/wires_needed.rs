//! Which kind of wire must have been recorded for a cause to show at all.

use super::Scope;
use crate::books::Books;
use crate::recording::WireKind;

/// Why a cause cannot be told, and what to record: `None` when its wire was recorded, or when any would do.
pub(super) fn missing(books: &Books, cause: &str, scope: Scope) -> Option<(&'static str, &'static str)> {
    let needed = of_cause(cause, scope)?;
    if books.wires.iter().any(|(_, wire)| wire.kind == needed && wire.frames > 0) {
        return None;
    }
    Some(match needed {
        WireKind::Ethernet => {
            ("No Ethernet was recorded.", "Record the Ethernet as well, at a mirror port of the switch.")
        }
        WireKind::Can => ("No NMEA 2000 bus was recorded.", "Record the NMEA 2000 bus as well."),
        WireKind::Line => {
            ("No 0183 line was recorded.", "Record the 0183 line as well, at the listener's end.")
        }
    })
}

fn of_cause(cause: &str, scope: Scope) -> Option<WireKind> {
    match cause {
        "wire-outage" | "device-dropout" if scope == Scope::Hosts => Some(WireKind::Ethernet),
        "link-flap"
        | "ip-conflict"
        | "rival-dhcp-servers"
        | "dhcp-unanswered"
        | "self-assigned-address"
        | "split-subnet"
        | "arp-unanswered"
        | "broadcast-storm"
        | "link-saturated"
        | "tcp-retransmission" => Some(WireKind::Ethernet),
        "device-restart"
        | "address-conflict"
        | "address-claim-failed"
        | "bus-error"
        | "fast-packet-loss"
        | "bus-load-high" => Some(WireKind::Can),
        "bad-checksum" | "garbled-sentence" | "line-overloaded" => Some(WireKind::Line),
        _ => None,
    }
}
