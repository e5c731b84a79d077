//! Two servers offer addresses.

use super::network_address::{once, own_claims};
use super::words::labels;
use super::{Detector, Doc, Evidence, Finding};
use crate::books::inventory::DeviceId;
use crate::books::network::Network;
use crate::report::model::Severity;
use std::net::Ipv4Addr;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "rival-dhcp-servers",
        severity: "fault",
        meaning: "Two devices give addresses to the others. Which one answers first is chance: devices end up in different networks \
                  or with one address twice, differently at every start.",
        detection: "DHCP offers, acknowledgements or refusals from two hosts (where the recorder cut off which of these: answers with an \
                    address in them that no relay passed on), or two servers whose offers clients take: clients say \
                    so to everyone, so that this shows at any port.",
        lookalikes: "A relay passes on the answers of one server. One server with two addresses is one host.",
        checks: "Leave address service on in one device only (often a display or the router) and switch it off in the other; then \
                 start all devices anew.",
        cautions: "None beyond the usual.",
    },
    complaints: &["display-disconnects", "data-drops-out"],
    detect,
};

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let mut findings = Vec::new();
    for (_, network) in books.networks.iter() {
        let mut devices = Vec::new();
        let direct = network.servers.iter().filter(|s| !s.relays);
        for server in direct.clone() {
            if !devices.contains(&server.device) {
                devices.push(server.device);
            }
        }
        // Servers that only a relay or a client's choice tells of; the hosts behind them may be unknown.
        let mut others = Vec::new();
        let told = network.servers.iter().filter(|s| s.relays).map(|s| s.ip);
        for ip in told.chain(network.chosen.iter().map(|(ip, _)| *ip)) {
            if !direct.clone().any(|s| s.ip == ip) && !others.contains(&ip) {
                others.push(ip);
            }
        }
        let unseen = |ip: &Ipv4Addr| match owner(network, *ip) {
            Some(device) if devices.contains(&device) => None,
            device => Some(device),
        };
        let further: Vec<Option<DeviceId>> = others.iter().filter_map(unseen).collect();
        let servers = devices.len() + further.len();
        if servers < 2 {
            continue;
        }
        devices.extend(further.into_iter().flatten());
        let mut finding = Finding::new(
            Severity::Fault,
            format!("{servers} devices give addresses: {}", labels(books, &devices)),
        )
        .devices(devices.iter().copied())
        .count("servers", servers as u64);
        for server in direct {
            let router = server.router.map(|r| format!(", router {r}")).unwrap_or_default();
            finding = finding.evidence(format!(
                "{} answered {} times as server {}{router}.",
                books.inventory.label(server.device),
                server.answers,
                server.ip
            ));
        }
        for (ip, times) in network.chosen.iter().filter(|(ip, _)| others.contains(ip)) {
            finding = finding.evidence(format!(
                "Clients took {times} offers of server {ip}, whose own answers the recorder did not see."
            ));
        }
        findings.push(finding.check(
            "Switch the address service (DHCP server) off in all devices but one, then start all anew.",
        ));
    }
    once(books, findings)
}

/// The host that uses an address for itself.
fn owner(network: &Network, ip: Ipv4Addr) -> Option<DeviceId> {
    let (_, claimants) = own_claims(network).into_iter().find(|(known, _)| *known == ip)?;
    claimants.first().map(|c| c.device)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::network::Server;
    use crate::findings::network_address::tests::Bench;

    fn server(bench: &mut Bench, device: u32, ip: [u8; 4], relays: bool) {
        let server = Server { ip: ip.into(), device: DeviceId(device), answers: 2, router: None, relays };
        bench.network().servers.push(server);
    }

    #[test]
    fn two_servers_are_found_even_with_one_address() {
        for second in [[192, 168, 1, 2], [192, 168, 1, 1]] {
            let mut bench = Bench::new(3);
            server(&mut bench, 0, [192, 168, 1, 1], false);
            server(&mut bench, 1, second, false);
            let found = bench.find(detect);
            assert_eq!(found[0].devices, [DeviceId(0), DeviceId(1)]);
            assert_eq!(found[0].numbers["servers"], crate::report::model::Number::Count(2));
        }
    }

    #[test]
    fn what_clients_choose_tells_of_a_server_that_is_not_seen() {
        let mut bench = Bench::new(3);
        bench.claims(2, [192, 168, 1, 3], true, (0.0, 9.0), 4);
        bench.network().chosen = vec![([192, 168, 1, 1].into(), 2), ([192, 168, 1, 3].into(), 1)];
        let found = bench.find(detect);
        assert_eq!(found[0].devices, [DeviceId(2)]);
    }

    #[test]
    fn a_relay_and_a_server_with_two_addresses_are_one() {
        let mut relayed = Bench::new(3);
        server(&mut relayed, 0, [192, 168, 1, 1], false);
        server(&mut relayed, 1, [192, 168, 1, 1], true);
        relayed.network().chosen = vec![([192, 168, 1, 1].into(), 2)];
        assert!(relayed.find(detect).is_empty());
        let mut aliases = Bench::new(3);
        server(&mut aliases, 0, [192, 168, 1, 1], false);
        server(&mut aliases, 0, [10, 0, 0, 1], false);
        assert!(aliases.find(detect).is_empty());
    }
}
