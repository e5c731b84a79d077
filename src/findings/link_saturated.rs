//! A device's link is full.

use super::broadcast_storm::is_loop;
use super::network_address::once;
use super::words::{longest, number, seconds};
use super::{Detector, Doc, Evidence, Finding};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::Network;
use crate::report::model::Severity;
use crate::time::Span;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "link-saturated",
        severity: "warning over 70 %, fault over 90 % of 100 Mbit/s in any second",
        meaning: "One device sends or is sent about as much as its link can carry. What else must pass there waits or is lost.",
        detection: "The octets that one host sends, or that are sent to it alone, in a second that begins at any tenth, with preamble, check \
                    sequence and gaps, against 100 Mbit/s. Where a recorder gathers packets for up to half a second and then stamps them, a second is counted from when it \
                    began to gather. More than 110 Mbit/s shows that the link is a faster one. Not what a flood or a loop fills.",
        lookalikes: "The sum of many hosts at a mirror port may be larger than any one link carries.",
        checks: "Switch off or slow down the stream (camera, radar, chart copy). Use a switch with faster ports on the way.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

/// Octets a second of a 100 Mbit/s link.
const FULL: f64 = 12_500_000.0;

/// A link that carried more than this is no 100 Mbit/s link, Mbit/s: less may be a tenth of a second that the recorder's stamps moved.
const FASTER_MBIT_S: f64 = 110.0;

/// A second that is this full is told, octets.
const BUSY: f64 = 0.7 * FULL;

/// A link in its full seconds.
struct Full<'a> {
    device: DeviceId,
    towards: bool,
    peak: u64,
    busy: &'a [Span],
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mut told: Vec<Full<'_>> = Vec::new();
        for link in full_links(network) {
            // One stream fills the sender's link and the receiver's: one event, told of its sender.
            let same = |other: &&Full<'_>| {
                other.towards != link.towards
                    && overlap(other.busy, link.busy)
                    && network.talks.iter().any(|t| (t.from, t.to) == (other.device, link.device))
            };
            if told.iter().any(|other| same(&other)) || floods(network, &link) {
                continue;
            }
            findings.push(tell(books, network, &link));
            told.push(link);
        }
    }
    once(books, findings)
}

/// The longest frame, with preamble, check sequence and gap (IEEE 802.3 clause 3), octets.
const LONGEST: u64 = 1538;

/// A flood that fills no two whole seconds is shorter than this, seconds.
const SHORT_S: f64 = 3.0;

/// Whether a flood fills the link: what a host sends for everyone, were all its frames of the longest. What is sent to one host
/// alone is no flood, but a loop may multiply it.
fn floods(network: &Network, link: &Full<'_>) -> bool {
    network.floods.list.iter().filter(|flood| overlap(&[flood.span], link.busy)).any(|flood| {
        let own = flood.senders.iter().find(|sender| sender.device == link.device);
        // Floods are counted by whole seconds, links by any: of a short flood two of those meet in one of these.
        let seconds = if flood.span.seconds() < SHORT_S { 2 } else { 1 };
        let per_s = own.map_or(0, |own| own.frames.min(seconds * network.floods.peak_of(flood, true)));
        let left = link.peak.saturating_sub(if link.towards { 0 } else { per_s * LONGEST });
        left as f64 <= BUSY || is_loop(flood)
    })
}

/// Links with full seconds, those of senders first.
fn full_links(network: &Network) -> Vec<Full<'_>> {
    let mut links = Vec::new();
    let mut hosts: Vec<_> = network.hosts.iter().collect();
    hosts.sort_unstable_by_key(|(id, _)| *id);
    for (id, host) in hosts {
        for (towards, rate) in [(false, &host.sent), (true, &host.received)] {
            let Some((_, peak)) = rate.peak() else { continue };
            if peak as f64 > BUSY && peak as f64 * 8.0 / 1e6 <= FASTER_MBIT_S {
                links.push(Full { device: id, towards, peak, busy: &rate.busy });
            }
        }
    }
    links.sort_by_key(|l| l.towards);
    links
}

fn overlap(a: &[Span], b: &[Span]) -> bool {
    a.iter().any(|a| b.iter().any(|b| a.touches(*b, 0.0)))
}

fn tell(books: &Books, network: &Network, link: &Full<'_>) -> Finding {
    let share = link.peak as f64 / FULL;
    let mbit = link.peak as f64 * 8.0 / 1e6;
    let severity = if share > 0.9 { Severity::Fault } else { Severity::Warning };
    let who = books.inventory.label(link.device);
    // The host at the other end of most of its packets.
    let ends = network.talks.iter().filter_map(|t| match link.towards {
        false if t.from == link.device => Some((t.packets, t.to)),
        true if t.to == link.device => Some((t.packets, t.from)),
        _ => None,
    });
    let end = ends.max().map(|(_, id)| books.inventory.label(id));
    let (way, end) = match (link.towards, end) {
        (false, Some(end)) => ("sends", format!(" Most of its packets go to {end}.")),
        (true, Some(end)) => ("is sent", format!(" Most of the packets come from {end}.")),
        (false, None) => ("sends", String::new()),
        (true, None) => ("is sent", String::new()),
    };
    Finding::new(
        severity,
        format!("The link of {who} is full: it {way} {} Mbit in a second", number(mbit, 0)),
    )
    .devices([link.device])
    .real("peak_mbit_s", mbit)
    .evidence(format!(
        "{} % of 100 Mbit/s in the busiest second, with preambles and gaps; above 70 % for up to {}.{end}",
        number(share * 100.0, 0),
        seconds(longest(link.busy).max(1.0))
    ))
    .evidence(
        "The recording does not tell how fast the link is; 100 Mbit/s is taken, for it never carried more.",
    )
    .spans(link.busy.iter().copied())
    .check(format!(
        "Switch off or slow down the streams from or to {who}, or use a faster switch on the way."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::talks::Packet;
    use crate::findings::network_address::tests::{Bench, at};
    use std::net::IpAddr;

    const IP: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    /// Hosts 1 to `senders` each send `mbit` a second to host 0, for five seconds.
    fn streams(senders: u32, mbit: u64) -> Bench {
        let mut bench = Bench::new(6);
        for i in 0..500 {
            let time = at(10.0 + f64::from(i) / 100.0);
            for sender in 1..=senders {
                let octets = mbit * 1_000_000 / 8 / 100;
                bench.network().frame(DeviceId(sender), time, octets, false);
                bench.network().received(DeviceId(0), time, octets);
                bench.network().talk(DeviceId(sender), DeviceId(0), (IP, IP), Packet::Data, time);
            }
        }
        bench
    }

    #[test]
    fn one_stream_is_told_once_of_its_sender() {
        let found = streams(1, 95).find(detect);
        assert_eq!((found.len(), found[0].severity), (1, Severity::Fault));
        assert_eq!(found[0].devices, [DeviceId(1)]);
        assert!((found[0].spans[0].seconds() - 5.0).abs() < 0.1);
        assert_eq!(streams(1, 75).find(detect)[0].severity, Severity::Warning);
    }

    #[test]
    fn several_senders_fill_the_link_of_one_receiver() {
        let found = streams(4, 24).find(detect);
        assert_eq!((found.len(), found[0].severity), (1, Severity::Fault));
        assert_eq!(found[0].devices, [DeviceId(0)]);
    }

    #[test]
    fn room_left_or_a_faster_link_is_none() {
        assert!(streams(1, 60).find(detect).is_empty());
        assert!(streams(1, 300).find(detect).is_empty());
    }

    #[test]
    fn what_another_floods_explains_no_stream() {
        use crate::books::floods::Cast;
        use crate::frames::Doubles;
        for (flooder, found) in [(5, 1), (1, 0)] {
            let mut bench = streams(1, 95);
            let mut doubles = Doubles::default();
            for i in 0..14_000_u32 {
                let time = at(10.0 + f64::from(i) / 7000.0).unwrap();
                let copies = doubles.seen_hash(time, i.into());
                bench.network().floods.frame(time, Some(DeviceId(flooder)), copies.as_ref(), Cast::Signal);
            }
            let told = bench.find(detect).iter().filter(|f| f.devices == [DeviceId(1)]).count();
            assert_eq!(told, found, "{flooder}");
        }
    }
}
