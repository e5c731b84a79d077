//! IP addresses: as they were set, from the one server, or none.

use super::Held;
use crate::boat::model::{Device, IpRule};
use crate::boat::sheet::{Row, Topic};
use crate::report::model::DeviceRow;
use std::collections::BTreeSet;
use std::net::IpAddr;
use toml::Spanned;

/// Findings that say that a device got no address from a server.
const WITHOUT: [&str; 2] = ["dhcp-unanswered", "self-assigned-address"];

pub(super) fn rows(held: &Held<'_>) -> Vec<Row> {
    let mut rows: Vec<Row> = held.file().devices.iter().filter_map(|device| row(held, device)).collect();
    rows.extend(held.file().addresses.server.as_ref().map(|server| only_server(held, server)));
    rows
}

fn row(held: &Held<'_>, device: &Device) -> Option<Row> {
    let (rule, at) = (device.ip_rule()?, device.ip.as_ref()?);
    let name = device.name.get_ref();
    let base = Row::new(Topic::Address, name, "holds its IP address").at(held.boat.line(at));
    let expected = match rule {
        IpRule::Fixed(ip) => ip.to_string(),
        IpRule::Server => String::from("one from the server"),
        IpRule::None => String::from("none"),
    };
    let hosts: Vec<&DeviceRow> =
        held.rows(name).iter().copied().filter(|row| row.kind == "ethernet").collect();
    if hosts.is_empty() {
        return Some(base.words(expected, "").note("The device was not heard on an Ethernet."));
    }
    let ips: Vec<IpAddr> = hosts.iter().flat_map(|host| &host.ips).filter_map(|ip| ip.parse().ok()).collect();
    // Every IPv6 host gives itself a link-local address; the file speaks of those that matter to the displays.
    let own: Vec<&IpAddr> = ips.iter().filter(|ip| ip.is_ipv4() || rule == IpRule::Fixed(**ip)).collect();
    let found = own.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let found = if found.is_empty() { String::from("none") } else { found };
    let ids: Vec<&str> = hosts.iter().map(|host| host.id.as_str()).collect();
    let refused = held.report.findings.iter().any(|finding| {
        WITHOUT.contains(&finding.kind) && finding.devices.iter().any(|id| ids.contains(&id.as_str()))
    });
    let self_made = |ip: &IpAddr| matches!(ip, IpAddr::V4(ip) if ip.is_link_local());
    let (passed, note) = match rule {
        IpRule::Fixed(ip) => (ips.contains(&ip), "Set the address in the device, or mend the file."),
        IpRule::Server => (
            !refused && own.iter().any(|ip| !self_made(ip)),
            "See that the server is on and reaches the device, and that the device asks for an address.",
        ),
        IpRule::None => (own.is_empty(), "It should have none: look at its network setting."),
    };
    let base = base.words(expected, found);
    if !passed && own.is_empty() && rule != IpRule::None && !refused {
        return Some(base.note("It used no IP address while the recording ran."));
    }
    Some(base.judged(passed).note(if passed { "" } else { note }))
}

fn only_server(held: &Held<'_>, server: &Spanned<String>) -> Row {
    let name = server.get_ref();
    let row =
        Row::new(Topic::Address, name, "is the only one that hands out addresses").at(held.boat.line(server));
    if let Some(rivals) = held.report.findings.iter().find(|finding| finding.kind == "rival-dhcp-servers") {
        let note = "Switch the address server of every other device off.";
        return row.words("one server", &rivals.summary).judged(false).note(note);
    }
    let giving = held.report.devices.iter().filter(|row| row.dhcp_answers.is_some());
    let others: BTreeSet<&str> = giving
        .filter(|row| row.called.as_deref() != Some(name.as_str()))
        .map(|row| row.label.as_str())
        .collect();
    let own: u64 = held.rows(name).iter().filter_map(|row| row.dhcp_answers).fold(0, u64::saturating_add);
    if own == 0 && others.is_empty() {
        return row
            .words("one server", "")
            .note("It handed out no address while the recording ran: start a device anew while recording.");
    }
    if held.file().device(name).is_some_and(|device| device.mac.is_none()) {
        return row
            .words("one server", "")
            .note("Add its mac: who hands out addresses is known by that alone.");
    }
    if others.is_empty() {
        return row.words("one server", "no other was seen").judged(true);
    }
    let others = others.into_iter().collect::<Vec<_>>().join(", ");
    let note = if own > 0 {
        "Switch the address server of every other device off."
    } else {
        "Another device hands them out: switch its address server off and that of the device named on, or mend the file."
    };
    row.words("one server", format!("answers from {others}")).judged(false).note(note)
}
