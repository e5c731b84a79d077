//! The boat's Ethernet: four hosts on a small switch that itself says nothing, seen from a mirror port.

use crate::demo::boat::Voyage;
use crate::demo::ethernet_encode::{self as encode, ACK, BROADCAST, End, Mac, PUSH, SYN};
use crate::demo::join_encode::{self as join, Dhcp, MDNS};
use crate::demo::network_data::Data;
use crate::demo::passed_on::PassedOn;
use crate::demo::rng::Rng;
use crate::demo::sensors::moment;
use crate::time::Time;
use std::net::Ipv4Addr;

/// Port of NMEA 0183 over IP (IANA).
const NMEA_0183: u16 = 10_110;

/// Group of the console's 0183 sentences.
const SENTENCES: Ipv4Addr = Ipv4Addr::new(239, 254, 7, 1);
/// Group in which the displays keep each other up to date, in their makers' own way.
const DISPLAYS: Ipv4Addr = Ipv4Addr::new(239, 254, 7, 2);
/// Group of the sounder's picture.
const PICTURE: Ipv4Addr = Ipv4Addr::new(239, 254, 7, 3);

/// How long a host takes from its link's coming up to its first data: three probes and a wait (RFC 5227 1.1).
const JOIN_S: f64 = 4.2;

/// The hosts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Host {
    /// The console display: fixed address, leases addresses to the others, sends heading and depth on.
    Console,
    /// The bow display.
    Bow,
    /// The sounder module.
    Sounder,
    /// The gateway to the GPS puck.
    Gateway,
    /// The second console display, to starboard, on the whole boat.
    Starboard,
    /// The second bow display, on the whole boat.
    SecondBow,
}

impl Host {
    /// The hosts of the small network.
    pub(super) const FOUR: &'static [Self] = &[Self::Console, Self::Bow, Self::Sounder, Self::Gateway];
    /// The hosts of the whole boat, whose console display hears the puck on the bus.
    pub(super) const WHOLE: &'static [Self] =
        &[Self::Console, Self::Starboard, Self::Bow, Self::SecondBow, Self::Sounder];

    /// Last byte of the (locally administered) hardware address and of the IP address, name, service, groups
    /// that it wants, and how long after the switch its link comes up in seconds.
    const fn facts(self) -> (u8, u8, &'static str, &'static str, &'static [Ipv4Addr], f64) {
        match self {
            Self::Console => (1, 1, "console-md12", "_helm._udp", &[DISPLAYS, PICTURE, MDNS], 0.0),
            Self::Bow => (2, 20, "bow-md9", "_helm._udp", &[SENTENCES, DISPLAYS, PICTURE, MDNS], 0.7),
            Self::Sounder => (3, 21, "sonar-sd4", "_sonar._udp", &[MDNS], 0.4),
            Self::Gateway => (4, 22, "gateway-gw1", "_nmea-0183._tcp", &[MDNS], 1.1),
            Self::Starboard => {
                (5, 23, "starboard-md12", "_helm._udp", &[SENTENCES, DISPLAYS, PICTURE, MDNS], 0.5)
            }
            Self::SecondBow => (6, 24, "bow2-md9", "_helm._udp", &[SENTENCES, DISPLAYS, PICTURE, MDNS], 0.9),
        }
    }

    const fn mac(self) -> Mac {
        [0x02, 0x4C, 0x45, 0x10, 0x00, self.facts().0]
    }

    const fn ip(self) -> Ipv4Addr {
        Ipv4Addr::new(192, 168, 47, self.facts().1)
    }

    const fn end(self, port: u16) -> End {
        End { mac: self.mac(), ip: self.ip(), port }
    }
}

/// What a network recording is to show; by default a healthy boat.
#[derive(Debug, Clone, Copy)]
pub(super) struct NetworkPlan {
    /// Seconds of recording.
    pub(super) seconds: f64,
    /// Who is on it.
    pub(super) hosts: &'static [Host],
    /// When the switch has no supply: from, to (seconds).
    pub(super) switch_off: Option<(f64, f64)>,
    /// When a host's link is down: host, from, to (seconds).
    pub(super) link_down: &'static [(Host, f64, f64)],
}

impl Default for NetworkPlan {
    fn default() -> Self {
        Self { seconds: 0.0, hosts: Host::FOUR, switch_off: None, link_down: &[] }
    }
}

impl NetworkPlan {
    /// When a host's link comes up: at the start and after every time that it was down.
    fn joins(&self, host: Host) -> Vec<f64> {
        let late = host.facts().5;
        let mut joins = vec![0.5 + late];
        joins.extend(self.switch_off.map(|(_, to)| to + late));
        joins.extend(self.link_down.iter().filter(|d| d.0 == host).map(|d| d.2));
        joins
    }

    /// Whether a host is there and its link is up.
    fn linked(&self, host: Host, t: f64) -> bool {
        let there = self.hosts.contains(&host);
        let off = self.switch_off.is_some_and(|(from, to)| t >= from && t < to + host.facts().5);
        let down = self.link_down.iter().any(|d| d.0 == host && t >= d.1 && t < d.2);
        there && !off && !down
    }

    /// Whether a host has joined and sends its data.
    fn ready(&self, host: Host, t: f64) -> bool {
        let last = self.joins(host).into_iter().filter(|join| *join <= t).fold(f64::MIN, f64::max);
        self.linked(host, t) && t >= last + JOIN_S
    }
}

/// The recording's packets. With `passed_on` the console display repeats what it hears on the bus; without, sensors of
/// the network's own are behind its sentences.
pub(super) fn packets(
    plan: &NetworkPlan,
    voyage: &Voyage,
    passed_on: Option<&PassedOn>,
    seed: u64,
) -> Vec<(Time, Vec<u8>)> {
    let mut wire = Wire { plan, passed_on, rng: Rng::stream(seed, "network"), sent: Vec::new() };
    for &host in plan.hosts {
        for (index, t) in plan.joins(host).into_iter().enumerate() {
            wire.join(host, t, index > 0);
        }
    }
    wire.housekeeping();
    let mut data = Data::new(seed, plan.seconds);
    wire.datagrams(voyage, &mut data);
    wire.stream(voyage, &data);
    wire.sent.sort_by(|a, b| a.0.total_cmp(&b.0));
    wire.sent.into_iter().map(|(t, packet)| (moment(t), packet)).collect()
}

struct Wire<'a> {
    plan: &'a NetworkPlan,
    passed_on: Option<&'a PassedOn>,
    rng: Rng,
    sent: Vec<(f64, Vec<u8>)>,
}

impl Wire<'_> {
    /// Sends a packet of a host whose link is up; some tens of microseconds late, as software is.
    fn send(&mut self, host: Host, t: f64, packet: Vec<u8>) {
        if t <= self.plan.seconds && self.plan.linked(host, t) {
            self.sent.push((t + self.rng.between(0.0, 90e-6), packet));
        }
    }

    fn datagram(&mut self, host: Host, t: f64, to: End, port: u16, data: &[u8]) {
        let ttl = if to.ip == MDNS { 255 } else { 4 };
        self.send(host, t, encode::udp(host.end(port), to, packet_id(t), ttl, data));
    }

    /// A host whose link has come up gets its address, probes it, joins its groups and names its service.
    fn join(&mut self, host: Host, t: f64, knows_its_lease: bool) {
        let (.., name, service, groups, _) = host.facts();
        if host != Host::Console {
            self.lease(host, name, t + 0.1, knows_its_lease);
        }
        let (mac, ip) = (host.mac(), host.ip());
        for probe in 0..3 {
            let packet = encode::arp(BROADCAST, 1, (mac, Ipv4Addr::UNSPECIFIED), ([0; 6], ip));
            self.send(host, t + 0.3 + f64::from(probe) * 1.2, packet);
        }
        let ready = t + JOIN_S;
        for announcement in 0..2 {
            let packet = encode::arp(BROADCAST, 1, (mac, ip), ([0; 6], ip));
            self.send(host, ready + f64::from(announcement) * 2.0, packet);
        }
        for again in [0.05, 1.15] {
            let packet = encode::igmp_report((mac, ip), packet_id(ready + again), 4, groups);
            self.send(host, ready + again, packet);
        }
        let announcement = join::mdns_announce(name, service, ip, NMEA_0183);
        for again in [0.3, 1.3] {
            self.datagram(host, ready + again, End::group(MDNS, 5353), 5353, &announcement);
        }
    }

    fn lease(&mut self, host: Host, name: &str, t: f64, remembered: bool) {
        let transaction = self.rng.bits() as u32;
        let (client, server) = (join::dhcp_client(host.mac()), Host::Console.end(67));
        let everyone = |port| End { mac: BROADCAST, ip: Ipv4Addr::BROADCAST, port };
        let steps: &[(Dhcp, f64)] = if remembered {
            &[(Dhcp::Request, 0.0), (Dhcp::Acknowledge, 0.012)]
        } else {
            &[(Dhcp::Discover, 0.0), (Dhcp::Offer, 0.015), (Dhcp::Request, 0.021), (Dhcp::Acknowledge, 0.033)]
        };
        for &(kind, after_s) in steps {
            let (speaker, from, to) = match kind {
                Dhcp::Discover | Dhcp::Request => (host, client, everyone(67)),
                Dhcp::Offer | Dhcp::Acknowledge => (Host::Console, server, everyone(68)),
            };
            let message =
                join::dhcp(kind, transaction, (host.mac(), name), host.ip(), server.ip, !remembered);
            let packet = encode::udp(from, to, packet_id(t + after_s), 64, &message);
            self.send(speaker, t + after_s, packet);
        }
    }

    /// What goes on all the time: address refreshes, group membership, searches for services.
    fn housekeeping(&mut self) {
        let (console, gateway) = (Host::Console, Host::Gateway);
        for round in 1..9 {
            let t = 37.0 * f64::from(round);
            if self.plan.ready(console, t) && self.plan.ready(gateway, t) {
                self.resolve(console, gateway, t, gateway.mac());
            }
        }
        for t in [70.0, 195.0] {
            let query = encode::igmp_query((console.mac(), console.ip()), packet_id(t));
            self.send(console, t, query);
            for &host in self.plan.hosts {
                let t = t + self.rng.between(0.5, 9.5);
                let report = encode::igmp_report((host.mac(), host.ip()), packet_id(t), 2, host.facts().4);
                if self.plan.ready(host, t) {
                    self.send(host, t, report);
                }
            }
        }
        for t in [25.0, 85.0, 170.0] {
            if self.plan.ready(Host::Bow, t) {
                let query = join::mdns_query("_sonar._udp");
                self.datagram(Host::Bow, t, End::group(MDNS, 5353), 5353, &query);
            }
            if self.plan.ready(Host::Sounder, t) {
                let (.., name, service, _, _) = Host::Sounder.facts();
                let answer = join::mdns_announce(name, service, Host::Sounder.ip(), NMEA_0183);
                self.datagram(Host::Sounder, t + 0.06, End::group(MDNS, 5353), 5353, &answer);
            }
        }
    }

    /// One host asks for another's hardware address and gets it.
    fn resolve(&mut self, asker: Host, asked: Host, t: f64, to: Mac) {
        let (a, b) = ((asker.mac(), asker.ip()), (asked.mac(), asked.ip()));
        self.send(asker, t, encode::arp(to, 1, a, ([0; 6], b.1)));
        self.send(asked, t + 0.0004, encode::arp(a.0, 2, b, a));
    }

    fn datagrams(&mut self, voyage: &Voyage, data: &mut Data) {
        let streams = [
            (Host::Console, SENTENCES, NMEA_0183, 0.2),
            (Host::Console, DISPLAYS, 51_402, 0.5),
            (Host::Bow, DISPLAYS, 51_402, 0.5),
            (Host::Sounder, PICTURE, 51_410, 0.25),
            (Host::Starboard, DISPLAYS, 51_402, 0.5),
            (Host::SecondBow, DISPLAYS, 51_402, 0.5),
        ];
        let streams =
            streams.into_iter().enumerate().filter(|(_, stream)| self.plan.hosts.contains(&stream.0));
        for (index, (host, group, port, period_s)) in streams {
            for count in 0.. {
                let t = 0.013 * index as f64 + f64::from(count) * period_s + self.rng.between(0.0, 0.004);
                if t > self.plan.seconds {
                    break;
                }
                let bytes = match group {
                    SENTENCES => match self.passed_on {
                        Some(bus) => bus.sentences(t, count % 5 == 2),
                        None => data.sentences(voyage, t, count % 5 == 2),
                    },
                    DISPLAYS => Data::display(host, count),
                    _ => data.picture(&voyage.at(t), count),
                };
                if self.plan.ready(host, t) {
                    self.datagram(host, t, End::group(group, port), port, &bytes);
                }
            }
        }
    }

    /// The gateway's position sentences, once a second, over a TCP connection that the console opens.
    fn stream(&mut self, voyage: &Voyage, data: &Data) {
        let (client, server) = (Host::Console, Host::Gateway);
        let mut open: Option<(End, u32, u32)> = None;
        let far = server.end(NMEA_0183);
        for second in 1..self.plan.seconds as u32 {
            let t = f64::from(second) + 0.18 + self.rng.between(0.0, 0.01);
            if !(self.plan.ready(client, t) && self.plan.ready(server, t)) {
                open = None;
                continue;
            }
            let Some((near, asked, told)) = open else {
                let near = client.end(50_000 + (second % 10_000) as u16);
                let (asked, told) = (self.rng.bits() as u32, self.rng.bits() as u32);
                self.resolve(client, server, t, BROADCAST);
                let id = packet_id(t);
                let (next, after) = (asked.wrapping_add(1), told.wrapping_add(1));
                self.send(client, t + 0.002, encode::tcp(near, far, id, (SYN, asked, 0), &[]));
                self.send(server, t + 0.0024, encode::tcp(far, near, id, (SYN | ACK, told, next), &[]));
                self.send(client, t + 0.0028, encode::tcp(near, far, id + 1, (ACK, next, after), &[]));
                open = Some((near, next, after));
                continue;
            };
            let text = data.position(voyage, f64::from(second));
            let next = told.wrapping_add(text.len() as u32);
            let id = packet_id(t);
            self.send(server, t, encode::tcp(far, near, id, (PUSH | ACK, told, asked), &text));
            self.send(client, t + 0.0005, encode::tcp(near, far, id, (ACK, asked, next), &[]));
            open = Some((near, asked, next));
        }
    }
}

/// The IP identification of a packet that leaves at `t`: it counts milliseconds, so no two of a host are alike.
fn packet_id(t: f64) -> u16 {
    ((t * 1000.0) as u32 % 65_000) as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(packets: &[(Time, Vec<u8>)], host: Host) -> Vec<(f64, &[u8])> {
        let sent = packets.iter().filter(|p| p.1[6..12] == host.mac());
        sent.map(|(t, bytes)| (t.since(moment(0.0)), &bytes[..])).collect()
    }

    #[test]
    fn a_host_whose_link_was_down_comes_back_as_it_should() {
        const DOWN: &[(Host, f64, f64)] = &[(Host::Bow, 40.0, 46.0)];
        let plan = NetworkPlan { seconds: 60.0, link_down: DOWN, ..NetworkPlan::default() };
        let packets = packets(&plan, &Voyage::new(1), None, 1);
        let bow = from(&packets, Host::Bow);
        let silent = bow.windows(2).map(|w| w[1].0 - w[0].0).fold(0.0, f64::max);
        assert!((6.0..6.7).contains(&silent), "{silent}");
        let back: Vec<&[u8]> = bow.iter().filter(|(t, _)| *t >= 46.0 && *t < 52.0).map(|p| p.1).collect();
        let count = |test: &dyn Fn(&[u8]) -> bool| back.iter().filter(|p| test(p)).count();
        assert_eq!(count(&|p| p[12..14] == [8, 6] && p[28..32] == [0; 4]), 3, "ARP probes");
        assert_eq!(count(&|p| p[23] == 17 && p[36..38] == [0, 67]), 1, "DHCP request");
        assert_eq!(count(&|p| p[12..14] == [8, 0] && p[23] == 2), 2, "IGMP reports");
        assert_eq!(count(&|p| p[23] == 17 && p[36..38] == [0x14, 0xE9]), 2, "mDNS announcements");
        assert!(from(&packets, Host::Console).windows(2).all(|w| w[1].0 - w[0].0 < 4.0));
    }

    #[test]
    fn without_the_switch_no_one_speaks() {
        let plan = NetworkPlan { seconds: 70.0, switch_off: Some((40.0, 48.0)), ..NetworkPlan::default() };
        let packets = packets(&plan, &Voyage::new(1), None, 1);
        let seconds: Vec<f64> = packets.iter().map(|p| p.0.since(moment(0.0))).collect();
        assert!(seconds.iter().all(|t| !(40.001..48.0).contains(t)));
        let syn: Vec<f64> = from(&packets, Host::Console)
            .iter()
            .filter(|(_, p)| p[23] == 6 && p[12..14] == [8, 0] && p[47] == SYN)
            .map(|p| p.0)
            .collect();
        assert_eq!(syn.len(), 2, "the connection is opened anew: {syn:?}");
    }
}
