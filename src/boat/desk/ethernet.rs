//! Ports, plugs and lengths of the Ethernet.

use crate::boat::check::kit::sockets;
use crate::boat::load::Boat;
use crate::boat::model::{BoatFile, Cable};
use crate::boat::sheet::{Row, Standing, Topic};
use toml::Spanned;

/// Longest run of copper between two devices, metres: IEEE 802.3 clause 25 (100BASE-TX) over a channel after
/// ISO/IEC 11801-1.
const MAX_COPPER_M: f64 = 100.0;

pub(super) fn rows(boat: &Boat) -> Vec<Row> {
    let file = &boat.file;
    let mut rows: Vec<Row> = total_ports(file).into_iter().collect();
    for switch in &file.switches {
        let name = switch.name.get_ref();
        let ends = file.cables.iter().flat_map(|cable| [cable.from.get_ref(), cable.to.get_ref()]);
        let used = ends.filter(|end| *end == name).count();
        rows.push(
            Row::new(Topic::Cabling, name, "enough ports for its cables")
                .numbers("at most", f64::from(*switch.ports.get_ref()), Some(used as f64), "cables")
                .judged(used <= *switch.ports.get_ref() as usize)
                .note("Too few: take a switch with more ports, or add a second one.")
                .at(boat.line(&switch.ports)),
        );
    }
    for cable in &file.cables {
        rows.extend(length(boat, cable));
        rows.extend(end(boat, cable, &cable.from, &cable.from_plug, &cable.from_adapter));
        rows.extend(end(boat, cable, &cable.to, &cable.to_plug, &cable.to_adapter));
    }
    rows
}

/// Whether the sockets of all devices and switches suffice to join them: a tree of n things has n - 1 cables, and each
/// cable takes two sockets.
fn total_ports(file: &BoatFile) -> Option<Row> {
    let hosts = || file.devices.iter().filter(|device| device.mac.is_some());
    let things = hosts().count() + file.switches.len();
    if hosts().count() < 2 {
        return None;
    }
    let there: u32 = hosts().map(|device| sockets(file, device.name.get_ref())).sum();
    let there = there.saturating_add(file.switches.iter().map(|switch| *switch.ports.get_ref()).sum());
    let wanted = (things - 1).saturating_mul(2);
    let row = Row::new(Topic::Cabling, "Ethernet", "enough ports to join all devices");
    if file.switches.is_empty() {
        return Some(
            row.words("the switches", "none in the file")
                .note("Add a [[switch]] with its ports, so that they can be counted against the devices."),
        );
    }
    Some(
        row.numbers("at least", wanted as f64, Some(f64::from(there)), "sockets")
            .judged(u64::from(there) >= wanted as u64)
            .note(format!(
                "{} devices and {} switches need {} cables with two ends each. Too few: add a switch, or one with more \
                 ports.",
                hosts().count(),
                file.switches.len(),
                things - 1
            )),
    )
}

fn title(cable: &Cable) -> String {
    format!("cable {} to {}", cable.from.get_ref(), cable.to.get_ref())
}

fn length(boat: &Boat, cable: &Cable) -> Option<Row> {
    let length = cable.length_m.as_ref()?;
    Some(
        Row::new(Topic::Cabling, title(cable), "no longer than copper carries Ethernet")
            .numbers("at most", MAX_COPPER_M, Some(*length.get_ref()), "m")
            .judged(*length.get_ref() <= MAX_COPPER_M)
            .note("IEEE 802.3 clause 25, ISO/IEC 11801-1. Too long: put a switch in between, or use fibre.")
            .at(boat.line(length)),
    )
}

/// Whether the plug, or what an adapter makes of it, fits the socket.
fn end(
    boat: &Boat,
    cable: &Cable,
    place: &Spanned<String>,
    plug: &Option<Spanned<String>>,
    adapter: &Option<Spanned<String>>,
) -> Option<Row> {
    let file = &boat.file;
    let name = place.get_ref();
    let socket = match file.switch(name) {
        Some(switch) => switch.socket.as_ref(),
        None => file.device(name)?.socket.as_ref(),
    };
    let plug = plug.as_ref()?;
    let row = Row::new(Topic::Cabling, title(cable), format!("its plug fits {name}")).at(boat.line(plug));
    let Some(socket) = socket else {
        let mut row = row
            .words("", plug.get_ref())
            .note(format!("Add the form of the socket of {name}: socket = \"..\"."));
        row.standing = Standing::NotSeen;
        return Some(row);
    };
    let offered = adapter.as_ref().unwrap_or(plug).get_ref();
    let measured = match adapter {
        Some(adapter) => format!("{} with an adapter to {}", plug.get_ref(), adapter.get_ref()),
        None => plug.get_ref().clone(),
    };
    Some(row.words(socket, measured).judged(same_form(offered, socket)).note(
        "Does not fit: take another cable, or an adapter (from_adapter, to_adapter) with a strain relief of its own.",
    ))
}

/// Whether two names of a connector mean one form: letters and digits alike, in capitals or not.
fn same_form(one: &str, other: &str) -> bool {
    let bare = |text: &str| -> String {
        text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    bare(one) == bare(other)
}
