//! What a recording must hold before the absence of a finding means anything, kind by kind.

/// What one kind of finding needs to show itself.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Need {
    /// A quantity that must be supplied.
    pub(super) quantity: Option<&'static str>,
    /// Devices that stand in each other's way: the trouble is over when one of them is gone.
    pub(super) rivals: bool,
    /// What must happen to the boat; few reports tell whether it did (see `conditions`).
    pub(super) conditions: Option<&'static str>,
    /// The kind of wire that it is seen on, for findings without devices.
    pub(super) wire: Option<&'static str>,
    /// Whether it is told from stamps.
    pub(super) stamps: bool,
    /// Whether it is told from the loads that devices declare, which they do only when asked.
    pub(super) declared: bool,
}

/// Whether a kind speaks of the recording and not of the boat: such a one is neither cleared nor new.
pub(super) fn is_of_recording(kind: &str) -> bool {
    kind.starts_with("recording-") || matches!(kind, "clock-step" | "coarse-timestamps")
}

/// The need of one kind. A kind that is not known here (of a newer program) needs its devices and time alone.
pub(super) fn of(kind: &str) -> Need {
    let quantity = match kind {
        "duplicate-heading-source"
        | "heading-jump"
        | "heading-frozen"
        | "heading-misaligned"
        | "compass-deviation" => Some("heading"),
        "duplicate-position-source" | "position-jump" | "position-frozen" | "fix-lost" | "poor-fix" => {
            Some("position")
        }
        "duplicate-depth-source"
        | "depth-not-available"
        | "depth-lost-at-speed"
        | "depth-second-echo"
        | "depth-frozen" => Some("depth"),
        _ => None,
    };
    let conditions = match kind {
        "heading-jump" => Some("it may come with turns of the boat, with the bow motor or with a pump"),
        "position-jump" => {
            Some("it may depend on the view of the sky and on what transmits beside the antenna")
        }
        "heading-frozen" => Some("it shows only while the boat turns"),
        "heading-misaligned" | "compass-deviation" => Some("it shows only under way on several courses"),
        "position-frozen" => Some("it shows only under way"),
        "depth-lost-at-speed" => Some("it shows only at speed"),
        "depth-frozen" => Some("it shows only under way over changing depths"),
        "depth-second-echo" => Some("it depends on the bottom and on the depth"),
        "low-supply-voltage" => Some("it depends on which loads are switched on"),
        _ => None,
    };
    let wire = match kind {
        "bus-error"
        | "bus-load-high"
        | "address-conflict"
        | "address-claim-failed"
        | "duplicate-instance"
        | "fast-packet-loss"
        | "request-unanswered"
        | "power-budget" => Some("can"),
        "broadcast-storm"
        | "link-saturated"
        | "ip-conflict"
        | "rival-dhcp-servers"
        | "dhcp-unanswered"
        | "self-assigned-address"
        | "split-subnet"
        | "tcp-retransmission"
        | "arp-unanswered"
        | "link-flap" => Some("ethernet"),
        "bad-checksum" | "garbled-sentence" | "line-overloaded" => Some("line"),
        _ => None,
    };
    Need {
        quantity,
        conditions,
        wire,
        rivals: kind.starts_with("duplicate-")
            || matches!(kind, "address-conflict" | "ip-conflict" | "rival-dhcp-servers" | "split-subnet"),
        declared: kind == "power-budget",
        stamps: matches!(
            kind,
            "message-dropout"
                | "device-dropout"
                | "wire-outage"
                | "link-flap"
                | "slow-message"
                | "irregular-message"
                | "heading-jump"
                | "position-jump"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings;

    /// Every kind that this file names is one of the catalogue: a misspelt one would need nothing.
    #[test]
    fn every_kind_named_here_is_in_the_catalogue() {
        let source = include_str!("need.rs").split("#[cfg(test)]").next().unwrap();
        let kinds: Vec<&str> = findings::kinds().collect();
        let not_kinds =
            ["heading", "position", "depth", "can", "ethernet", "line", "recording-", "duplicate-"];
        let quoted = source.split('"').skip(1).step_by(2).filter(|text| !text.contains(' '));
        for name in quoted.filter(|name| !not_kinds.contains(name)) {
            assert!(kinds.contains(&name), "{name} is no kind");
        }
        assert!(kinds.iter().filter(|kind| is_of_recording(kind)).count() >= 5);
    }
}
