//! Suppliers, needs and addresses.

use crate::boat::check::kit::rivals;
use crate::boat::load::Boat;
use crate::boat::model::{IpRule, Supply};
use crate::boat::reach::Reach;
use crate::boat::sheet::{Row, Topic};
use std::collections::BTreeSet;

pub(super) fn rows(boat: &Boat) -> Vec<Row> {
    let mut rows = rival_rows(boat);
    rows.extend(need_rows(boat));
    rows.extend(server_row(boat));
    rows
}

/// Whether of two that supply one thing, one is named as the other's stand-by.
fn settled(one: &Supply, other: &Supply) -> bool {
    let names = |a: &Supply, b: &Supply| a.stand_by.iter().any(|name| name.get_ref() == b.device.get_ref());
    names(one, other) || names(other, one)
}

fn rival_rows(boat: &Boat) -> Vec<Row> {
    let supplies = &boat.file.supplies;
    let mut rows = Vec::new();
    let mut told = BTreeSet::new();
    for (i, supply) in supplies.iter().enumerate() {
        let quantity = supply.quantity.get_ref().as_str();
        let all: Vec<&Supply> = supplies.iter().filter(|other| rivals(supply, other)).collect();
        if all.is_empty() {
            continue;
        }
        let later = supplies.iter().skip(i + 1).filter(|other| rivals(supply, other));
        let open: BTreeSet<&str> = later
            .filter(|other| !settled(supply, other))
            .map(|other| other.device.get_ref().as_str())
            .collect();
        for other in &open {
            let mut pair = [supply.device.get_ref().as_str(), *other];
            pair.sort_unstable();
            if !told.insert((quantity, pair)) {
                continue;
            }
            rows.push(
                Row::new(Topic::Supply, quantity, "one source, or named stand-bys")
                    .words("one named as stand-by", format!("{} and {other}, neither", supply.device.get_ref()))
                    .judged(false)
                    .note(format!(
                        "A display that finds two may swap between them. Switch one off, or choose one on every display \
                         and write stand_by = [{other:?}] here."
                    ))
                    .at(boat.line(&supply.quantity)),
            );
        }
        if open.is_empty() && !supply.stand_by.is_empty() {
            let others: Vec<&str> = supply.stand_by.iter().map(|name| name.get_ref().as_str()).collect();
            rows.push(
                Row::new(Topic::Supply, quantity, "one source, or named stand-bys")
                    .words(
                        "one named as stand-by",
                        format!("{}, stand-by {}", supply.device.get_ref(), others.join(", ")),
                    )
                    .judged(true)
                    .at(boat.line(&supply.quantity)),
            );
        }
    }
    rows
}

fn need_rows(boat: &Boat) -> Vec<Row> {
    let reach = Reach::of(&boat.file);
    let rows = boat.file.needs.iter().map(|need| {
        let (device, quantity) = (need.device.get_ref().as_str(), need.quantity.get_ref().as_str());
        let suppliers: BTreeSet<&str> = boat
            .file
            .supplies
            .iter()
            .filter(|supply| supply.quantity.get_ref() == quantity)
            .map(|supply| supply.device.get_ref().as_str())
            .collect();
        let arriving: Vec<&str> = suppliers.iter().copied().filter(|from| reach.reaches(from, device)).collect();
        let row = Row::new(Topic::Need, device, format!("a supplier of {quantity} on a wire that reaches it"))
            .at(boat.line(&need.quantity));
        if !arriving.is_empty() {
            return row.words("at least one", arriving.join(", ")).judged(true);
        }
        let (found, note) = if suppliers.is_empty() {
            (String::from("none"), String::from("No device of the file supplies it: add a [[supply]], or take the need out."))
        } else {
            let names = suppliers.into_iter().collect::<Vec<_>>().join(", ");
            let note = String::from(
                "They share no wire: connect both to one, or mark the device that hands data on with passes_on = true.",
            );
            (format!("{names}, on another wire"), note)
        };
        row.words("at least one", found).judged(false).note(note)
    });
    rows.collect()
}

/// Whether there is a server for those whose addresses are handed out.
fn server_row(boat: &Boat) -> Option<Row> {
    let file = &boat.file;
    let asking = file.devices.iter().find(|device| device.ip_rule() == Some(IpRule::Server))?;
    let row = Row::new(Topic::Address, "Ethernet", "one device hands out the addresses");
    let at = asking.ip.as_ref().map_or(0, |ip| boat.line(ip));
    Some(match &file.addresses.server {
        Some(server) => row.words("one server", server.get_ref()).judged(true).at(boat.line(server)),
        None => row
            .words("one server", "")
            .at(at)
            .note("Name the device that hands out addresses: [addresses] server = \"..\". Only one may."),
    })
}
