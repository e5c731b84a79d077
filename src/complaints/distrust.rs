//! What keeps a recording from excluding a cause, whatever it shows: its parts stand in the wrong order, it has holes, or its
//! packets are cut.

use super::Scope;
use crate::books::Books;
use crate::books::wires::Wire;
use crate::findings::Finding;
use crate::findings::network_address::may_mix;
use crate::findings::words::seconds;
use crate::report::model::{Number, Severity};

/// A hole this long may hide what the owner noticed, seconds.
const HOLE_S: f64 = 2.5;

/// Packets that were cut behind so many bytes hold whole DHCP messages (RFC 2131 2: 576 octets are enough), octets.
const WHOLE_DHCP: u32 = 576 + 14;

/// Why the recording excludes nothing of a cause, in a sentence.
pub(super) fn distrust(books: &Books, findings: &[Finding], scope: Scope, cause: &str) -> Option<String> {
    match cause {
        "link-flap" | "device-dropout" if matches!(scope, Scope::Quantity(_)) => {
            someone_elses(findings).or_else(|| disorder(books)).or_else(|| hole(findings))
        }
        "message-dropout" | "device-dropout" | "device-restart" | "wire-outage" | "link-flap" => {
            disorder(books).or_else(|| hole(findings))
        }
        "tcp-retransmission" | "fast-packet-loss" => disorder(books),
        "self-assigned-address" | "split-subnet" => mixed(books),
        "dhcp-unanswered" | "rival-dhcp-servers" => cut(books),
        _ => None,
    }
}

/// A link that went down and carries nothing of the quantity may be that of the display that lacks it.
fn someone_elses(findings: &[Finding]) -> Option<String> {
    let flap = findings.iter().find(|f| f.kind == "link-flap" && f.severity > Severity::Note)?;
    Some(format!("{}: if that is the display that lacks it, look there first.", flap.summary))
}

/// Stamps that run backwards: across such a place nothing shows what was sent meanwhile.
fn disorder(books: &Books) -> Option<String> {
    let roots = books.wires.iter().map(|(_, wire)| wire).filter(|wire| wire.carried_by.is_none());
    let set_back = books.rewinds.list().iter().map(|rewind| -rewind.size_s()).filter(|s| *s > 0.0);
    let back = roots.flat_map(Wire::set_back).map(|span| span.seconds()).chain(set_back);
    let back = back.max_by(f64::total_cmp)?;
    Some(format!(
        "Time in the recording steps back by {}: parts of it may stand in the wrong order.",
        seconds(back)
    ))
}

/// A hole of the recording.
fn hole(findings: &[Finding]) -> Option<String> {
    let long = |f: &&Finding| matches!(f.numbers.get("longest_s"), Some(Number::Real(s)) if *s >= HOLE_S);
    let gap = findings.iter().filter(|f| f.kind == "recording-gap").find(long)?;
    Some(format!("{}: it may have happened there.", gap.summary))
}

/// A recording on several links of a machine at once.
fn mixed(books: &Books) -> Option<String> {
    let mixed = books.networks.iter().any(|(_, network)| may_mix(network));
    mixed.then(|| {
        "The recorder took what came over all links of its machine: which addresses belong to one network does not show. \
         Record on one link."
            .to_owned()
    })
}

/// Packets without their ends.
fn cut(books: &Books) -> Option<String> {
    let short = books.recordings.iter().filter(|r| r.cut_packets > 0 && r.cut_to < WHOLE_DHCP);
    let worst = short.min_by_key(|r| r.cut_to)?;
    Some(format!(
        "{} of {} packets were cut behind {} bytes: what addresses were asked for and given is not seen.",
        worst.cut_packets, worst.frames, worst.cut_to
    ))
}
