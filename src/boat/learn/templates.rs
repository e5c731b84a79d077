//! What no recording tells: cables, ports, the backbone, needs. Written as comments, to be filled in.

use super::crew::Crew;
use super::ink::{Ink, quoted};
use super::{BUS_LOAD_PERCENT, ETHERNET_LOAD_PERCENT, SUPPLY_MIN_V};
use crate::report::model::Report;

pub(super) fn limits(ink: &mut Ink, report: &Report) {
    let has = |kind| report.wires.iter().any(|wire| wire.kind == kind);
    let volts = report.sources.iter().any(|source| source.quantity == "voltage" && source.valid > 0);
    if !has("can") && !has("ethernet") && !volts {
        return;
    }
    ink.blank();
    ink.table("[limits]");
    if has("can") {
        ink.value("bus_load_percent", BUS_LOAD_PERCENT);
    }
    if has("ethernet") {
        ink.value("ethernet_load_percent", ETHERNET_LOAD_PERCENT);
    }
    if volts {
        ink.value("supply_min_v", format!("{SUPPLY_MIN_V:.1}"));
    }
    if has("ethernet") {
        ink.blank();
        ink.comment("[addresses]");
        ink.comment("server = \"..\"   FILL IN: the device that hands out the addresses");
    }
}

pub(super) fn cabling(ink: &mut Ink, crew: &Crew<'_>) {
    if crew.of_kind("ethernet").next().is_none() {
        return;
    }
    ink.blank();
    ink.comment(
        "FILL IN the Ethernet cables; take the # away. Then findings name the cable and port to try.",
    );
    for line in ["[[switch]]", "name = \"switch\"", "ports = 5", "socket = \"RJ45\""] {
        ink.comment(line);
    }
    for member in crew.of_kind("ethernet") {
        ink.comment("");
        ink.comment("[[cable]]");
        ink.comment(&format!("from = {}", quoted(&member.name)));
        for line in
            ["to = \"switch\"", "port = 1", "length_m = 1.0", "from_plug = \"RJ45\"", "to_plug = \"RJ45\""]
        {
            ink.comment(line);
        }
    }
}

pub(super) fn backbone(ink: &mut Ink, crew: &Crew<'_>) {
    if crew.of_kind("n2k").next().is_none() {
        return;
    }
    ink.blank();
    ink.comment(
        "FILL IN the NMEA 2000 backbone; take the # away. Then lengths, current and voltage are checked.",
    );
    let keys = [
        "[backbone]",
        "cable = \"light\"",
        "trunk_m = 10.0",
        "power_at_m = 5.0",
        "feed_v = 12.0",
        "terminators_at_m = [0.0, 10.0]",
    ];
    keys.iter().for_each(|line| ink.comment(line));
    for member in crew.of_kind("n2k") {
        ink.comment("");
        ink.comment("[[backbone.drop]]");
        ink.comment(&format!("device = {}", quoted(&member.name)));
        ink.comment("at_m = 5.0");
        ink.comment("length_m = 1.0");
    }
}

pub(super) fn needs(ink: &mut Ink) {
    ink.blank();
    ink.comment("FILL IN what each display needs; which source it uses never shows on the wire.");
    for line in ["[[need]]", "device = \"..\"", "quantity = \"depth\""] {
        ink.comment(line);
    }
}
