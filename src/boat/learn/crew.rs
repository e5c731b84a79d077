//! The devices of the recording as entries of the file: one entry for what is one device on several wires.

use super::ink::{Ink, quoted};
use crate::report::model::{DeviceRow, Report, Severity};
use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;

/// Most devices that are drafted; a boat file holds no more.
const MAX_DEVICES: usize = 1000;

/// Longest name that is made of what a device says of itself, characters.
const MAX_NAME: usize = 60;

/// One device of the draft.
pub(super) struct Member<'a> {
    pub(super) name: String,
    /// The rows of the report that are this device.
    pub(super) rows: Vec<&'a DeviceRow>,
}

/// The devices of the draft.
pub(super) struct Crew<'a> {
    report: &'a Report,
    pub(super) members: Vec<Member<'a>>,
    by_id: BTreeMap<&'a str, usize>,
    /// The lines of the recording that travel in no packets, by wire: name, and the recorder's name.
    lines: Vec<(&'a str, String, Option<&'a str>)>,
}

/// What makes two rows one device.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Mark<'a> {
    Name(&'a str),
    Node(&'a str, Option<u8>),
    Host(&'a str),
    Carried(&'a str, &'a str),
    OnLine(&'a str, &'a str),
}

impl<'a> Crew<'a> {
    pub(super) fn of(report: &'a Report) -> Self {
        let bare = |wire: &str| {
            report.wires.iter().any(|row| row.id == wire && row.kind == "line" && row.carried_by.is_none())
        };
        let mut crew = Self { report, members: Vec::new(), by_id: BTreeMap::new(), lines: lines(report) };
        let mut marks: BTreeMap<Mark<'_>, usize> = BTreeMap::new();
        let mut names = BTreeSet::new();
        crew.lines.iter().for_each(|(_, name, _)| {
            names.insert(name.clone());
        });
        for row in report.devices.iter().filter(|row| row.frames > 0) {
            let talker = row.talker.as_deref().unwrap_or_default();
            let mark = match (row.kind, &row.name, &row.mac) {
                ("n2k", Some(name), _) => Mark::Name(name),
                ("n2k", None, _) => Mark::Node(&row.wire, row.address),
                ("ethernet", _, Some(mac)) => Mark::Host(mac),
                (_, _, Some(mac)) if !bare(&row.wire) => Mark::Carried(mac, talker),
                _ => Mark::OnLine(&row.wire, talker),
            };
            let at = match marks.get(&mark) {
                Some(at) => *at,
                None if crew.members.len() >= MAX_DEVICES => continue,
                None => {
                    let name = unique(base_name(report, row), &mut names);
                    crew.members.push(Member { name, rows: Vec::new() });
                    marks.insert(mark, crew.members.len() - 1);
                    crew.members.len() - 1
                }
            };
            if let Some(member) = crew.members.get_mut(at) {
                member.rows.push(row);
            }
            crew.by_id.insert(&row.id, at);
        }
        crew
    }

    /// The name of a device of the report in the draft.
    pub(super) fn name(&self, id: &str) -> Option<&str> {
        Some(&self.members.get(*self.by_id.get(id)?)?.name)
    }

    /// The devices with a row of this kind.
    pub(super) fn of_kind(&self, kind: &'static str) -> impl Iterator<Item = &Member<'a>> {
        self.members.iter().filter(move |member| member.rows.iter().any(|row| row.kind == kind))
    }

    pub(super) fn write(&self, ink: &mut Ink) {
        for (_, name, label) in &self.lines {
            ink.blank();
            ink.table("[[line]]");
            ink.text("name", name);
            if let Some(label) = label.filter(|_| self.lines.len() > 1) {
                ink.text("recorded_as", label);
            }
            ink.comment("listeners = [\"..\"]   FILL IN: the devices that listen on it");
        }
        for member in &self.members {
            self.write_member(ink, member);
        }
    }

    fn write_member(&self, ink: &mut Ink, member: &Member<'_>) {
        let Some(row) = member.rows.first() else { return };
        ink.blank();
        ink.table("[[device]]");
        ink.text("name", &member.name);
        ink.comment("mounted = \"..\"   FILL IN: where it is");
        match row.kind {
            "n2k" => node(ink, member, row),
            "ethernet" => self.host(ink, member, row),
            _ => self.talker(ink, row),
        }
    }

    fn host(&self, ink: &mut Ink, member: &Member<'_>, row: &DeviceRow) {
        row.mac.iter().for_each(|mac| ink.text("mac", mac));
        let dubious = self.report.findings.iter().find(|finding| {
            finding.severity == Severity::Fault
                && finding.kind == "ip-conflict"
                && finding.devices.contains(&row.id)
        });
        if let Some(fault) = dubious {
            ink.comment(&format!(
                "ip = \"..\"   FILL IN: kept out, for the recording shows a fault: {}",
                fault.summary
            ));
            return;
        }
        let asks =
            self.report.timing.iter().any(|timing| {
                timing.message == "dhcp" && member.rows.iter().any(|row| row.id == timing.device)
            });
        let first = row.ips.iter().find(|ip| {
            ip.parse::<IpAddr>()
                .is_ok_and(|ip| matches!(ip, IpAddr::V4(ip) if !ip.is_link_local() && !ip.is_unspecified()))
        });
        match (asks, first) {
            (true, Some(ip)) => {
                ink.text("ip", "server");
                ink.comment(&format!(
                    "It spoke DHCP and held {ip}. FILL IN: when it hands the addresses out itself, write ip = {} here and",
                    quoted(ip)
                ));
                ink.comment("name it under [addresses] server = \"..\".");
            }
            (false, Some(ip)) => ink.text("ip", ip),
            (_, None) => ink.comment("ip = \"..\"   FILL IN: it held none in the recording"),
        }
        ink.comment("socket = \"..\"   FILL IN: form of its Ethernet socket, such as \"RJ45\" or \"M12 D\"");
    }

    fn talker(&self, ink: &mut Ink, row: &DeviceRow) {
        row.talker.iter().for_each(|talker| ink.text("talker", talker));
        let line = self.lines.iter().find(|(wire, ..)| *wire == row.wire);
        let carrier = row.mac.as_ref().and_then(|mac| {
            let hosts = self.members.iter().filter(|m| m.rows.iter().any(|r| r.kind == "ethernet"));
            hosts
                .into_iter()
                .find(|m| m.rows.iter().any(|r| r.kind == "ethernet" && r.mac.as_ref() == Some(mac)))
        });
        match (line, carrier) {
            (Some((_, name, _)), _) => ink.text("line", name),
            (None, Some(carrier)) => ink.text("carried_by", &carrier.name),
            (None, None) => {}
        }
        if !row.sentences.is_empty() {
            ink.comment(&format!("It sent {}.", row.sentences.join(", ")));
        }
    }
}

fn node(ink: &mut Ink, member: &Member<'_>, row: &DeviceRow) {
    let address = row.address.filter(|address| *address <= 251);
    match (&row.name, address) {
        (Some(name), Some(address)) => {
            ink.value("n2k", format!("{{ name = {}, address = {address} }}", quoted(name)))
        }
        (Some(name), None) => ink.value("n2k", format!("{{ name = {} }}", quoted(name))),
        (None, Some(address)) => {
            ink.value("n2k", format!("{{ address = {address} }}"));
            ink.comment("It claimed no address in the recording, so only its address tells it from others. Switch the bus off");
            ink.comment("and on while recording, and learn again.");
        }
        (None, None) => {
            ink.comment("n2k = { name = \"..\" }   FILL IN: its NAME; the recording does not tell it")
        }
    }
    let told = [("model", &row.model), ("software", &row.software), ("serial", &row.serial)];
    let told: Vec<String> =
        told.iter().filter_map(|(what, text)| Some(format!("{what} {}", text.as_ref()?))).collect();
    if !told.is_empty() {
        ink.comment(&format!("It says: {}.", told.join(", ")));
    }
    if let Some(load) = member.rows.iter().find_map(|row| row.load_equivalency) {
        ink.value("load_equivalency", load);
    }
}

/// The lines of the recording that travel in no packets, each with a name.
fn lines(report: &Report) -> Vec<(&str, String, Option<&str>)> {
    let bare = report.wires.iter().filter(|wire| wire.kind == "line" && wire.carried_by.is_none());
    let named = bare.enumerate().map(|(i, wire)| {
        let name = if i == 0 { String::from("NMEA 0183 line") } else { format!("NMEA 0183 line {}", i + 1) };
        (wire.id.as_str(), name, wire.label.as_deref())
    });
    named.collect()
}

/// A name out of what the device says of itself.
fn base_name(report: &Report, row: &DeviceRow) -> String {
    let said = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
    let host = |row: &DeviceRow| {
        let given = row.hostnames.first().map(|host| host.trim_end_matches(".local").to_owned());
        given.filter(|host| !host.is_empty()).unwrap_or_else(|| row.label.clone())
    };
    match row.kind {
        "n2k" => said(&row.model).unwrap_or_else(|| row.label.clone()),
        "ethernet" => host(row),
        _ => {
            let carrier =
                report.devices.iter().find(|d| d.kind == "ethernet" && d.mac.is_some() && d.mac == row.mac);
            let talker = row.talker.clone().unwrap_or_default();
            carrier.map_or_else(|| row.label.clone(), |carrier| format!("{talker} from {}", host(carrier)))
        }
    }
}

/// The name, cut to a length, with a number behind it when it is taken.
fn unique(base: String, names: &mut BTreeSet<String>) -> String {
    let base: String = base.chars().take(MAX_NAME).collect();
    let base = if base.trim().is_empty() { String::from("device") } else { base };
    let numbered = (2..).map(|n: u32| format!("{base} {n}"));
    let name =
        std::iter::once(base.clone()).chain(numbered).find(|name| !names.contains(name)).unwrap_or(base);
    names.insert(name.clone());
    name
}
