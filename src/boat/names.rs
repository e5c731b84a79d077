//! The installer's names as plain data, for whoever gives devices their labels.

use super::check::kit;
use super::load::Boat;
use super::model::{BoatFile, Device, Node};
use crate::books::naming::{Called, Heard, NodeParts};

impl Boat {
    /// How each device is recognised and what it is called then.
    #[must_use]
    pub fn names(&self) -> Vec<Called> {
        self.file.devices.iter().map(|device| called(&self.file, device)).collect()
    }
}

fn called(file: &BoatFile, device: &Device) -> Called {
    let mac_of = |device: &Device| device.mac.as_ref().and_then(|mac| kit::mac(mac.get_ref()));
    Called {
        name: device.name.get_ref().clone(),
        mac: mac_of(device),
        node: device.n2k.as_ref().map(node),
        talker: device.talker.as_ref().map(|talker| talker.get_ref().clone()),
        heard: match (&device.carried_by, &device.line) {
            (Some(carrier), _) => {
                file.device(carrier.get_ref()).and_then(mac_of).map_or(Heard::Anywhere, Heard::From)
            }
            (None, Some(line)) => {
                let line = file.lines.iter().find(|known| known.name.get_ref() == line.get_ref());
                Heard::OnLine(
                    line.and_then(|line| line.recorded_as.as_ref()).map(|label| label.get_ref().clone()),
                )
            }
            (None, None) => Heard::Anywhere,
        },
    }
}

fn node(node: &Node) -> NodeParts {
    NodeParts {
        name: node.name.as_ref().and_then(|name| u64::from_str_radix(name.get_ref(), 16).ok()),
        manufacturer: node.manufacturer.as_ref().map(|v| *v.get_ref()),
        unique_number: node.unique_number.as_ref().map(|v| *v.get_ref()),
        function: node.function,
        class: node.class.as_ref().map(|v| *v.get_ref()),
        device_instance: node.device_instance,
        system_instance: node.system_instance.as_ref().map(|v| *v.get_ref()),
        model: node.model.clone(),
        serial: node.serial.clone(),
        address: node.address.as_ref().map(|v| *v.get_ref()),
    }
}
