//! Devices that came, went, moved or changed.

use super::model::{Change, DeviceChange};
use super::same::Same;
use super::side::Device;
use super::view::{Absent, View};
use std::collections::BTreeSet;

/// Compares the devices of the wires that are on both sides.
pub(super) fn compare(forth: &View<'_>, back: &View<'_>, same: &Same) -> Vec<DeviceChange> {
    let mut changes = absent(forth, Change::Went, Change::NotHeard);
    changes.extend(absent(back, Change::Came, Change::FirstHeard));
    for (i, before) in forth.from.devices.iter().enumerate() {
        let Some(partner) = forth.partner(i) else { continue };
        // One device on several wires is compared once.
        if same.before.get(partner) != Some(&Some(i)) {
            continue;
        }
        if let Some(after) = forth.to.devices.get(partner) {
            changes.extend(changed(before, after));
        }
    }
    changes.sort_by_key(|change| change.change);
    changes
}

fn absent(view: &View<'_>, sure: Change, unsure: Change) -> Vec<DeviceChange> {
    let alone = view.from.devices.iter().enumerate().filter(|(i, _)| view.partner(*i).is_none());
    alone
        .filter_map(|(_, device)| {
            let (change, mut because) = match view.absent(device) {
                Absent::Gone(why) => (sure, why),
                Absent::Unsure(why) => (unsure, why),
                Absent::NotCovered(_) => return None,
            };
            let supplied: BTreeSet<&str> = view
                .from
                .sources
                .iter()
                .filter(|source| source.device == device.id && source.valid > 0)
                .map(|source| source.quantity.as_str())
                .collect();
            if !supplied.is_empty() {
                let supplied: Vec<String> =
                    supplied.iter().map(|quantity| quantity.replace('-', " ")).collect();
                let verb = if sure == Change::Went { "supplied" } else { "supplies" };
                because.push_str(&format!("; it {verb} {}", supplied.join(", ")));
            }
            Some(DeviceChange {
                change,
                device: device.label.clone(),
                identity: identity(device),
                what: None,
                before: None,
                after: None,
                because,
            })
        })
        .collect()
}

/// What a device is known by.
fn identity(device: &Device) -> String {
    let named = |word: &str, text: &Option<String>| text.as_ref().map(|text| format!("{word} {text}"));
    match device.kind.as_str() {
        "n2k" => named("NAME", &device.name).or_else(|| device.address.map(|a| format!("address {a}"))),
        "talker" => match (&device.talker, &device.mac) {
            (Some(talker), Some(mac)) => Some(format!("talker {talker} from MAC {mac}")),
            (Some(talker), None) => Some(format!("talker {talker}")),
            (None, mac) => named("MAC", mac),
        },
        _ => named("MAC", &device.mac),
    }
    .unwrap_or_else(|| device.label.clone())
}

/// Every difference between a device before and after; what one side did not hear is none.
fn changed(before: &Device, after: &Device) -> Vec<DeviceChange> {
    let number = |n: Option<u8>| n.map(|n| n.to_string());
    let text = |text: &Option<String>| {
        text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned)
    };
    let v4 = |device: &Device| -> BTreeSet<String> {
        device.ips.iter().filter(|ip| !ip.contains(':')).cloned().collect()
    };
    // One host gives its name with its domain (mDNS) and without (DHCP).
    let bare = |name: &String| name.to_lowercase().trim_end_matches(".local").to_owned();
    let names = |device: &Device| device.hostnames.iter().map(bare).collect::<BTreeSet<_>>();
    let fields = [
        ("address", number(before.address), number(after.address)),
        ("model", text(&before.model), text(&after.model)),
        ("software", text(&before.software), text(&after.software)),
        ("serial", text(&before.serial), text(&after.serial)),
        ("device instance", number(before.device_instance), number(after.device_instance)),
        ("system instance", number(before.system_instance), number(after.system_instance)),
        ("load equivalency", number(before.load_equivalency), number(after.load_equivalency)),
    ];
    let mut found: Vec<(&'static str, String, String)> = fields
        .into_iter()
        .filter_map(|(what, before, after)| before.zip(after).map(|(b, a)| (what, b, a)))
        .filter(|(_, before, after)| before != after)
        .collect();
    // A talker has the addresses of its host, which is a device of its own.
    if before.kind == "ethernet" {
        for (what, b, a) in
            [("IP address", v4(before), v4(after)), ("host name", names(before), names(after))]
        {
            // A side may have heard some of several only.
            if !b.is_subset(&a) && !a.is_subset(&b) {
                let join = |set: BTreeSet<String>| set.into_iter().collect::<Vec<_>>().join(", ");
                found.push((what, join(b), join(a)));
            }
        }
    }
    found
        .into_iter()
        .map(|(what, b, a)| DeviceChange {
            change: Change::Changed,
            device: after.label.clone(),
            identity: identity(after),
            what: Some(what),
            before: Some(b),
            after: Some(a),
            because: String::from("both sides say so"),
        })
        .collect()
}
