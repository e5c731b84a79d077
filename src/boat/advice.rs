//! Which cable, port or tee to try: added to the findings that a bad one explains.

use super::load::Boat;
use super::model::{BoatFile, Cable, Drop};
use crate::report::model::Report;
use std::collections::BTreeSet;

/// Findings of a host that its cable, its port or its plug may cause.
const OF_CABLES: [&str; 6] = [
    "link-flap",
    "device-dropout",
    "wire-outage",
    "tcp-retransmission",
    "dhcp-unanswered",
    "self-assigned-address",
];

/// Findings of a node that its drop, its tee or the way of its supply may cause.
const OF_DROPS: [&str; 6] = [
    "device-dropout",
    "device-restart",
    "wire-outage",
    "fast-packet-loss",
    "low-supply-voltage",
    "bus-error",
];

/// Devices of one finding that get advice; more of them have a cause in common.
const MAX_ADVISED: usize = 3;

/// Puts the cable and port to try before the other checks of each finding that they explain, and before the next check
/// of the causes that rest on it.
pub fn advise(boat: &Boat, report: &mut Report) {
    let file = &boat.file;
    let all: Vec<Vec<String>> = report
        .findings
        .iter()
        .map(|finding| {
            let suspects: BTreeSet<&str> =
                finding.devices.iter().filter_map(|id| called(report, id)).collect();
            let mut lines = Vec::new();
            if finding.kind == "wire-outage" {
                lines.extend(common(file, &suspects));
            }
            if lines.is_empty() && suspects.len() <= MAX_ADVISED {
                for id in &finding.devices {
                    let Some((name, row)) =
                        called(report, id).zip(report.devices.iter().find(|row| row.id == *id))
                    else {
                        continue;
                    };
                    let line = match row.kind {
                        "ethernet" if OF_CABLES.contains(&finding.kind) => cable(file, name, &suspects),
                        "n2k" if OF_DROPS.contains(&finding.kind) => drop(file, name, &suspects),
                        _ => None,
                    };
                    lines.extend(line.filter(|line| !lines.contains(line)));
                }
            }
            lines
        })
        .collect();
    for (number, (finding, lines)) in report.findings.iter_mut().zip(all).enumerate() {
        let Some(first) = lines.first() else { continue };
        for cause in report.complaints.iter_mut().flat_map(|complaint| &mut complaint.causes) {
            if cause.findings.contains(&number) && finding.checks.contains(&cause.next_check) {
                cause.next_check.clone_from(first);
            }
        }
        finding.checks.splice(0..0, lines);
    }
}

fn called<'a>(report: &'a Report, id: &str) -> Option<&'a str> {
    report.devices.iter().find(|row| row.id == *id)?.called.as_deref()
}

/// The end of a cable that is not at `name`, with the port there.
fn far_end<'a>(cable: &'a Cable, name: &str) -> Option<(&'a str, Option<u32>)> {
    let (from, to) = (cable.from.get_ref().as_str(), cable.to.get_ref().as_str());
    let port = |port: &Option<toml::Spanned<u32>>| port.as_ref().map(|port| *port.get_ref());
    if from == name {
        Some((to, port(&cable.port)))
    } else if to == name {
        Some((from, port(&cable.from_port)))
    } else {
        None
    }
}

/// `4.6 m cable`, or `cable` when its length is not known.
fn lengthy(length: Option<&toml::Spanned<f64>>, what: &str) -> String {
    length.map_or_else(|| what.to_owned(), |m| format!("{} m {what}", m.get_ref()))
}

fn place(port: Option<u32>, thing: &str) -> String {
    port.map_or_else(|| format!("to the {thing}"), |port| format!("on port {port} of the {thing}"))
}

/// `bow display: 4.6 m cable on port 3 of the console switch; swap it with port 4 to tell cable from device.`
fn cable(file: &BoatFile, name: &str, suspects: &BTreeSet<&str>) -> Option<String> {
    let (own, (far, port)) = file.cables.iter().find_map(|cable| Some((cable, far_end(cable, name)?)))?;
    let head = format!("{name}: {} {}", lengthy(own.length_m.as_ref(), "cable"), place(port, far));
    // A neighbour on the same switch that has no trouble of its own.
    let other = file.cables.iter().filter_map(|cable| {
        let (at, _) = far_end(cable, far)?;
        let port = if cable.to.get_ref() == far { &cable.port } else { &cable.from_port };
        let port = port.as_ref().map(|port| *port.get_ref());
        (at != name && !suspects.contains(at)).then_some((at, port))
    });
    let swap = match other
        .min_by_key(|(_, other)| other.map_or(u32::MAX, |other| other.abs_diff(port.unwrap_or(0))))
    {
        Some((at, Some(port))) => {
            format!("swap it with port {port} ({at}) to tell cable and port from device")
        }
        Some((at, None)) => format!("swap it with the cable of {at} to tell cable from device"),
        None => String::from("swap it with a good one to tell cable from device"),
    };
    Some(format!("{head}; {swap}."))
}

/// The drop of a node, with the one to swap it with.
fn drop(file: &BoatFile, name: &str, suspects: &BTreeSet<&str>) -> Option<String> {
    let drops = &file.backbone.as_ref()?.drops;
    let own = drops.iter().find(|drop| drop.device.get_ref() == name)?;
    let tee = own
        .at_m
        .as_ref()
        .map(|at| format!(", its tee {} m along the trunk", at.get_ref()))
        .unwrap_or_default();
    let at = |drop: &Drop| drop.at_m.as_ref().map_or(0.0, |at| *at.get_ref());
    let others = drops
        .iter()
        .filter(|drop| !suspects.contains(drop.device.get_ref().as_str()) && drop.device.get_ref() != name);
    let near = others.min_by(|a, b| (at(a) - at(own)).abs().total_cmp(&(at(b) - at(own)).abs()));
    let swap = match near {
        Some(near) => format!(
            "with the supply off, swap it with the drop of {} to tell drop from device",
            near.device.get_ref()
        ),
        None => String::from("with the supply off, swap it with a good one to tell drop from device"),
    };
    Some(format!("{name}: {}{tee}; {swap}.", lengthy(own.length_m.as_ref(), "drop")))
}

/// The one switch that all of several hosts hang on.
fn common(file: &BoatFile, suspects: &BTreeSet<&str>) -> Option<String> {
    let far = |name: &str| file.cables.iter().find_map(|cable| Some(far_end(cable, name)?.0));
    let ends: BTreeSet<&str> = suspects.iter().filter_map(|name| far(name)).collect();
    let mut ends = ends.into_iter();
    let (Some(one), None) = (ends.next(), ends.next()) else { return None };
    let switch = file.switch(one)?;
    let mounted = switch.mounted.as_ref().map(|place| format!(" ({place})")).unwrap_or_default();
    Some(format!(
        "All of them hang on the {one}{mounted}: look at its supply plug and fuse before any cable."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::boat::parse;

    const BOAT: &str = r#"
[boat]
name = "b"
[[device]]
name = "bow display 2"
[[device]]
name = "console display"
[[device]]
name = "puck"
[[switch]]
name = "console switch"
ports = 5
[[cable]]
from = "bow display 2"
to = "console switch"
port = 3
length_m = 4.6
[[cable]]
from = "console switch"
from_port = 4
to = "console display"
[backbone]
[[backbone.drop]]
device = "puck"
at_m = 2.5
length_m = 1.0
[[backbone.drop]]
device = "console display"
at_m = 4
"#;

    #[test]
    fn cable_and_port_are_named_with_what_to_swap_them_with() {
        let file = parse("b", BOAT).unwrap().file;
        let none = BTreeSet::new();
        assert_eq!(
            cable(&file, "bow display 2", &none).unwrap(),
            "bow display 2: 4.6 m cable on port 3 of the console switch; swap it with port 4 (console display) to tell \
             cable and port from device."
        );
        assert_eq!(
            cable(&file, "console display", &BTreeSet::from(["bow display 2"])).unwrap(),
            "console display: cable on port 4 of the console switch; swap it with a good one to tell cable from device."
        );
        assert_eq!(cable(&file, "puck", &none), None);
        assert_eq!(
            drop(&file, "puck", &none).unwrap(),
            "puck: 1 m drop, its tee 2.5 m along the trunk; with the supply off, swap it with the drop of console display \
             to tell drop from device."
        );
        let both = BTreeSet::from(["bow display 2", "console display"]);
        assert!(common(&file, &both).unwrap().contains("console switch"));
        assert_eq!(common(&file, &none), None);
    }
}
