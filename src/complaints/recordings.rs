//! Which recording would tell a cause that this one leaves open.

use super::in_order::under_way_s;
use crate::books::Books;

/// What the recordings below last, seconds.
const MINUTE_S: f64 = 60.0;
const TEN_MINUTES_S: f64 = 600.0;

/// A millisecond, and what a recorder's own digits add.
const MILLISECOND_S: f64 = 0.0011;

/// What to record so that a cause shows or is excluded; `None` for what no recording shows.
///
/// The answer completes "It would show in ...". A recording of a kind that this one is already is none to ask for.
pub(super) fn that_tells(books: &Books, cause: &str) -> Option<&'static str> {
    if is_such(books, cause) {
        return None;
    }
    TELLING.iter().find(|(name, _)| *name == cause).and_then(|(_, recording)| *recording)
}

/// Whether the recording is already of the kind that would tell a cause.
fn is_such(books: &Books, cause: &str) -> bool {
    let roots = || books.wires.iter().map(|(_, w)| w).filter(|w| w.carried_by.is_none() && w.frames > 0);
    let lasted = |seconds: f64| roots().next().is_some() && roots().all(|w| books.recorded_s(w) >= seconds);
    match cause {
        "low-supply-voltage" => books.series.of("voltage").any(|source| source.valid > 0),
        "poor-fix" => books.series.of("fix-quality").any(|source| source.valid > 0),
        "irregular-message" => lasted(TEN_MINUTES_S) && roots().all(|w| w.stamp_s() <= MILLISECOND_S),
        "slow-message" => lasted(MINUTE_S),
        "position-frozen" => under_way_s(books) >= TEN_MINUTES_S,
        _ => false,
    }
}

/// Every candidate cause, in alphabetical order.
const TELLING: &[(&str, Option<&str>)] = &[
    ("address-claim-failed", Some("a recording of the bus that begins before the devices are switched on")),
    ("address-conflict", Some("a recording of the bus that begins before the devices are switched on")),
    ("arp-unanswered", Some("ten minutes at a mirror port of the switch with every display on")),
    ("bad-checksum", Some("ten minutes of the 0183 line itself, taken at the listener's end")),
    ("broadcast-storm", Some("a minute at a mirror port of the switch while it happens")),
    ("bus-error", Some("a recording by an adapter that notes error frames")),
    ("bus-load-high", Some("a minute of the bus with every device on, each frame with its own stamp")),
    (
        "compass-deviation",
        Some("a slow full circle each way, and straight runs at over 3 knots on six courses"),
    ),
    ("course-used-as-heading", None),
    ("depth-frozen", Some("a run over a bottom that changes, with speed over ground in the same recording")),
    (
        "depth-lost-at-speed",
        Some("a run from standstill to full speed and back, with depth and speed over ground in it"),
    ),
    ("depth-not-available", Some("a few minutes of the wire that the sounder speaks on, over known depth")),
    ("depth-second-echo", Some("a slow drift over a bottom of known depth, in shallow water")),
    ("device-dropout", Some("a recording of an hour, or of ten minutes while someone moves its cable")),
    ("device-restart", Some("a recording of the bus while motors and pumps start, ten minutes or more")),
    ("dhcp-unanswered", Some("a recording at a mirror port that begins before the display is switched on")),
    ("display-by-radio", None),
    ("display-set-to-another-source", None),
    (
        "duplicate-depth-source",
        Some("a recording with every display and sounder on, over a bottom that changes"),
    ),
    ("duplicate-heading-source", Some("a slow full circle with every device on, on every wire at once")),
    (
        "duplicate-position-source",
        Some("ten minutes under way with every receiver on, on every wire at once"),
    ),
    ("fast-packet-loss", Some("ten minutes of the bus by an adapter that drops no frames")),
    (
        "fix-lost",
        Some("the time and place at which it happens, with satellites and dilution of precision in it"),
    ),
    ("garbled-sentence", Some("ten minutes of the 0183 line itself, taken at the listener's end")),
    ("heading-frozen", Some("a slow full circle with course over ground in the same recording")),
    ("heading-jump", Some("ten minutes with turns, the heading at its full rate")),
    (
        "heading-misaligned",
        Some("straight runs at over 3 knots on six courses and back, with course over ground in it"),
    ),
    ("heading-paired-by-radio", None),
    ("ip-conflict", Some("a recording at a mirror port that begins before any display is switched on")),
    ("irregular-message", Some("ten minutes by a recorder that stamps each frame to a millisecond")),
    (
        "line-overloaded",
        Some("a minute of the line with every sentence switched on, and the baud rate noted"),
    ),
    ("link-flap", Some("a recording at a mirror port of the switch, of an hour or until it happens")),
    ("link-saturated", Some("a minute at a mirror port with camera and radar pictures on")),
    ("message-dropout", Some("a recording of an hour, or until it happens")),
    ("no-depth-source", Some("a few minutes of each wire aboard, the sounder switched on")),
    ("no-heading-source", Some("a few minutes of each wire aboard, the heading sensor switched on")),
    ("no-position-source", Some("a few minutes of each wire aboard, the receiver switched on")),
    ("low-supply-voltage", Some("a recording with a device on the bus that reports the battery's voltage")),
    ("offset-set-twice", None),
    ("poor-fix", Some("a recording with the receiver's satellites and dilution of precision in it")),
    ("position-frozen", Some("ten minutes under way, with speed over ground in the same recording")),
    ("position-jump", Some("ten minutes under way, the position at its full rate")),
    (
        "rival-dhcp-servers",
        Some("a recording at a mirror port that begins before the displays are switched on"),
    ),
    (
        "self-assigned-address",
        Some("a recording at a mirror port that begins before the display is switched on"),
    ),
    ("slow-message", Some("a minute of the wire on which the device itself speaks")),
    ("sounder-on-another-wire", Some("a few minutes of every other wire aboard")),
    ("speed-of-sound", None),
    ("split-subnet", Some("a recording at a mirror port of the switch with every display on")),
    ("tcp-retransmission", Some("ten minutes at a mirror port of the switch, whole packets")),
    ("true-against-magnetic", None),
    ("wire-outage", Some("a recording of an hour, of two wires at once")),
];

#[cfg(test)]
mod tests {
    use super::super::COMPLAINTS;
    use super::*;

    #[test]
    fn every_cause_has_its_entry_and_no_entry_is_idle() {
        let causes: std::collections::BTreeSet<&str> =
            COMPLAINTS.iter().flat_map(|complaint| complaint.causes).map(|cause| cause.name).collect();
        let entries: Vec<&str> = TELLING.iter().map(|(name, _)| *name).collect();
        for cause in &causes {
            assert_eq!(entries.iter().filter(|name| *name == cause).count(), 1, "{cause}");
        }
        for entry in entries {
            assert!(causes.contains(entry), "{entry} is no cause");
        }
    }
}
