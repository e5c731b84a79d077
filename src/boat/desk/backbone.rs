//! Lengths, nodes, terminators, current and voltage of the NMEA 2000 backbone.
//!
//! Limits of lengths, nodes and current are those that several published installation guides for NMEA 2000 print alike.

mod volts;

use crate::boat::load::Boat;
use crate::boat::model::{Backbone, TrunkCable};
use crate::boat::sheet::{Row, Topic};

/// One load equivalency unit, amperes.
const UNIT_A: f64 = 0.05;

/// Highest load equivalency number of one device: 1 A.
const MAX_DEVICE_LOAD: u32 = 20;

/// Longest drop, metres.
const MAX_DROP_M: f64 = 6.0;

/// Longest sum of all drops, metres.
const MAX_DROPS_M: f64 = 78.0;

/// Most nodes on one backbone.
const MAX_NODES: usize = 50;

/// A terminator within this distance of an end counts as at the end, metres: a tee and its plug.
const AT_END_M: f64 = 0.5;

const GUIDES: &str = "NMEA 2000, as published installation guides print it.";

impl TrunkCable {
    /// Longest trunk, metres.
    const fn max_m(self) -> f64 {
        match self {
            Self::Light => 100.0,
            Self::Mid | Self::Heavy => 200.0,
        }
    }

    /// Highest current, amperes.
    const fn max_a(self) -> f64 {
        match self {
            Self::Light => 3.0,
            Self::Mid => 4.0,
            Self::Heavy => 8.0,
        }
    }

    /// Ohms of one metre of one supply conductor: copper of 22, 16 and 15 AWG (IEC 60228 and physics).
    const fn ohm_per_m(self) -> f64 {
        match self {
            Self::Light => 0.053,
            Self::Mid => 0.013,
            Self::Heavy => 0.010,
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Mid => "mid",
            Self::Heavy => "heavy",
        }
    }
}

pub(super) fn rows(boat: &Boat) -> Vec<Row> {
    let mut rows = Vec::new();
    let Some(backbone) = &boat.file.backbone else { return rows };
    rows.extend(trunk(boat, backbone));
    rows.extend(drops(boat, backbone));
    rows.push(nodes(boat, backbone));
    rows.push(terminators(boat, backbone));
    rows.extend(device_loads(boat));
    rows.extend(volts::rows(boat, backbone));
    rows
}

fn row(subject: &str, expectation: &str) -> Row {
    Row::new(Topic::Backbone, subject, expectation)
}

/// The trunk's length, with what drops add that are longer than the way from their tee to the terminator.
fn trunk(boat: &Boat, backbone: &Backbone) -> Option<Row> {
    let at = backbone.trunk_m.as_ref()?;
    let expectation = "no longer than its cable allows";
    let Some(cable) = backbone.cable else {
        let note = "Add the cable of the trunk: cable = \"light\", \"mid\" or \"heavy\".";
        return Some(
            row("trunk", expectation).words("", format!("{} m", at.get_ref())).note(note).at(boat.line(at)),
        );
    };
    let trunk = *at.get_ref();
    let placed = backbone
        .drops
        .iter()
        .filter_map(|d| Some((*d.at_m.as_ref()?.get_ref(), *d.length_m.as_ref()?.get_ref())));
    let (mut before, mut behind) = (0.0_f64, 0.0_f64);
    for (tee, length) in placed {
        // A drop in the middle of a trunk shorter than itself prolongs the nearer end only.
        if tee <= trunk / 2.0 {
            before = before.max(length - tee);
        } else {
            behind = behind.max(length - (trunk - tee));
        }
    }
    let counted = trunk + before + behind;
    let added = if counted > trunk {
        format!(
            " The trunk itself is {trunk} m; drops longer than the way from their tee to its end count as trunk and add \
             {:.1} m.",
            counted - trunk
        )
    } else {
        String::new()
    };
    Some(
        row("trunk", expectation)
            .numbers("at most", cable.max_m(), Some(counted), "m")
            .judged(counted <= cable.max_m())
            .note(format!("{} cable. {GUIDES}{added}", cable.words()))
            .at(boat.line(at)),
    )
}

fn drops(boat: &Boat, backbone: &Backbone) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut sum = 0.0;
    for drop in &backbone.drops {
        let Some(length) = &drop.length_m else { continue };
        sum += length.get_ref();
        rows.push(
            row(drop.device.get_ref(), "its drop is short enough")
                .numbers("at most", MAX_DROP_M, Some(*length.get_ref()), "m")
                .judged(*length.get_ref() <= MAX_DROP_M)
                .note(format!("{GUIDES} Too long: lead the trunk past the device."))
                .at(boat.line(length)),
        );
    }
    if let Some(first) = backbone.drops.iter().find_map(|drop| drop.length_m.as_ref()) {
        rows.push(
            row("all drops", "their sum is short enough")
                .numbers("at most", MAX_DROPS_M, Some(sum), "m")
                .judged(sum <= MAX_DROPS_M)
                .note(GUIDES)
                .at(boat.line(first)),
        );
    }
    rows
}

/// Names of the devices on the backbone: those with a drop, and those that are known on the bus.
fn on_it<'a>(boat: &'a Boat, backbone: &'a Backbone) -> std::collections::BTreeSet<&'a str> {
    let known = boat.file.devices.iter().filter(|device| device.n2k.is_some()).map(|device| &device.name);
    let drops = backbone.drops.iter().map(|drop| &drop.device);
    known.chain(drops).map(|name| name.get_ref().as_str()).collect()
}

fn nodes(boat: &Boat, backbone: &Backbone) -> Row {
    let nodes = on_it(boat, backbone).len();
    row("backbone", "not too many nodes")
        .numbers("at most", MAX_NODES as f64, Some(nodes as f64), "nodes")
        .judged(nodes <= MAX_NODES)
        .note(GUIDES)
}

fn terminators(boat: &Boat, backbone: &Backbone) -> Row {
    let base = row("backbone", "one terminator at each end");
    let Some(given) = &backbone.terminators_at_m else {
        return base
            .words("2, one at each end", "")
            .note("Add where they sit: terminators_at_m = [0.0, ..]; or measure 60 ohm between the data lines, power off.");
    };
    let base = base.at(boat.line(given));
    let places: Vec<f64> = given.get_ref().iter().map(|at| *at.get_ref()).collect();
    let listed: Vec<String> = places.iter().map(|m| format!("{m} m")).collect();
    let measured = if places.is_empty() {
        String::from("none")
    } else {
        format!("{}: at {}", places.len(), listed.join(", "))
    };
    let trunk = backbone.trunk_m.as_ref().map(|m| *m.get_ref());
    let near = |end: f64| places.iter().filter(|at| (**at - end).abs() <= AT_END_M).count();
    let (passed, note) = match (places.len(), trunk) {
        (2, Some(trunk)) if near(0.0) == 1 && near(trunk) == 1 => (true, ""),
        (2, Some(_)) => (false, "Two, but not at the ends: move each to an end of the trunk."),
        (2, None) => {
            let note = "Add the trunk's length (trunk_m), so that their places can be judged.";
            return base.words("2, one at each end", measured).note(note);
        }
        (n, _) if n < 2 => (
            false,
            "At least one is missing: about 120 ohm between the data lines with the power off, instead of 60. Some devices have \
             one built in: write its place too.",
        ),
        _ => (
            false,
            "At least one too many: about 40 ohm between the data lines with the power off, instead of 60. Take out what is not at an end.",
        ),
    };
    base.words("2, one at each end", measured).judged(passed).note(format!("{GUIDES} {note}").trim_end())
}

fn device_loads(boat: &Boat) -> Vec<Row> {
    let loads = boat.file.devices.iter().filter_map(|d| Some((d, d.load_equivalency.as_ref()?)));
    let rows = loads.map(|(device, load)| {
        row(device.name.get_ref(), "draws no more than one device may")
            .numbers("at most", f64::from(MAX_DEVICE_LOAD), Some(f64::from(*load.get_ref())), "load units")
            .judged(*load.get_ref() <= MAX_DEVICE_LOAD)
            .note(format!("1 unit is 50 mA. {GUIDES} More: feed the device from a fused supply of its own."))
            .at(boat.line(load))
    });
    rows.collect()
}
