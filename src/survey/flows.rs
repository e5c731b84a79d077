//! Flows of datagrams and segments: what was found out with the first of each, and need not be looked up for the next.

use super::carried::FeedId;
use super::packet::{Between, is_own};
use crate::books::floods::Cast;
use crate::books::inventory::DeviceId;
use crate::frames::FlowKey;
use std::net::{IpAddr, Ipv4Addr};

/// Places for flows of a network: a boat has a few dozen. More of them would not help where thousands of hosts speak by
/// turns, for then what is looked up lies nearer than what is remembered.
const PLACES: usize = 256;

/// One flow, between hosts that are known.
#[derive(Debug)]
pub(super) struct Flow {
    key: FlowKey,
    host: DeviceId,
    /// To one host, when it goes to one.
    to: Option<DeviceId>,
    cast: Cast,
    /// The sender's address, when it can be its own.
    own_ip: Option<Ipv4Addr>,
    pub(super) onward: Onward,
}

impl Flow {
    pub(super) fn new(key: FlowKey, (host, to): (DeviceId, Option<DeviceId>), cast: Cast) -> Self {
        let (ip, to_ip) = key.ips();
        let own_ip = Some(ip).filter(|ip| is_own(IpAddr::V4(*ip)));
        let onward = Onward::new(to_ip.into(), key.ports().1);
        Self { key, host, to, cast, own_ip, onward }
    }

    /// Whose frame a packet of it with this identification is, and whom it is for.
    #[inline(always)]
    pub(super) const fn between(&self, id: u16) -> Between {
        Between {
            host: Some(self.host),
            to: self.to,
            to_group: self.to.is_none(),
            cast: self.cast,
            addressed: true,
            outgoing: false,
            numbered: id != 0,
            own_ip: self.own_ip,
        }
    }
}

/// Where the datagrams go, and what was made of them.
#[derive(Debug)]
pub(super) struct Onward {
    /// Address and port.
    pub(super) receiver: (IpAddr, u16),
    /// Tells it apart from other flows of its sender.
    pub(super) part: u32,
    /// The feed of the lines in them, once there was one.
    pub(super) feed: Option<FeedId>,
}

impl Onward {
    pub(super) fn new(destination: IpAddr, port: u16) -> Self {
        let receiver = (destination, port);
        Self { receiver, part: super::packet::part(&receiver), feed: None }
    }
}

/// The flows of a network, each in the one place that its key leads to: one that comes later drives the other out.
#[derive(Debug)]
pub(super) struct Flows(Box<[Option<Flow>; PLACES]>);

impl Default for Flows {
    fn default() -> Self {
        Self(Box::new([const { None }; PLACES]))
    }
}

impl Flows {
    /// The flow with this key; what `make` gives when it is not remembered.
    #[inline(always)]
    pub(super) fn of(&mut self, key: &FlowKey, make: impl FnOnce() -> Option<Flow>) -> Option<&mut Flow> {
        let place = self.0.get_mut((key.mark() >> 32) as usize % PLACES)?;
        if !matches!(place, Some(flow) if flow.key == *key) {
            *place = Some(make()?);
        }
        place.as_mut()
    }

    /// The flows from a host to another that are remembered.
    pub(super) fn between(&self, host: DeviceId, to: DeviceId) -> impl Iterator<Item = &Onward> {
        let is_it = move |flow: &&Flow| flow.host == host && flow.to == Some(to);
        self.0.iter().flatten().filter(is_it).map(|flow| &flow.onward)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::PlainDatagram;
    use crate::recording::LinkType;

    fn flow(number: u16) -> Flow {
        let mut bytes = vec![2, 0, 0, 0, 0, 2, 2, 0, 0, 0];
        bytes.extend(number.to_be_bytes());
        bytes.extend([8, 0, 0x45, 0, 0, 28, 0, 7, 0x40, 0, 64, 17, 0, 0, 192, 0, 2, 1, 192, 0, 2, 2]);
        bytes.extend([0x07, 0xD0, 0x27, 0x7E, 0, 8, 0, 0]);
        let plain = PlainDatagram::of(LinkType::Ethernet, &bytes, 0).unwrap();
        Flow::new(plain.flow, (DeviceId(number.into()), None), Cast::Signal)
    }

    #[test]
    fn a_flow_is_made_once_unless_it_was_driven_out() {
        let mut flows = Flows::default();
        for (count, made_again) in [(20, 0..8), (60_000, 59_000..60_001)] {
            let mut made = 0;
            // What was driven out comes again.
            for number in (0..count).chain(0..count) {
                let make = || {
                    made += 1;
                    Some(flow(number))
                };
                let found = flows.of(&flow(number).key, make).unwrap();
                assert_eq!(found.host, DeviceId(number.into()));
            }
            assert!(made_again.contains(&(made - usize::from(count))), "{made} of {count}");
        }
        assert!(flows.of(&flow(60_001).key, || None).is_none());
    }
}
