//! Lines that a gateway sends in TCP connections to displays that come, go, and connect anew.

use crate::make::{ALL, START_US, ethernet, ipv4, mac, pcap_head, pcap_record, sentence, tcp, udp};
use crate::{alarms, judge};
use leadsman::report::model::Report;

const FIN: u8 = 0x11;
const SYN: u8 = 0x02;
const RST: u8 = 0x14;
const SYN_ACK: u8 = 0x12;
const ACK: u8 = 0x10;

/// Hosts, and the last bytes of their addresses.
const DISPLAY: u64 = 1;
const OTHER: u64 = 2;
const GATEWAY: u64 = 5;

const fn ip(host: u64) -> u32 {
    0xC0A8_2F00 + host as u32
}

/// Seconds that are recorded.
const LASTS_S: f64 = 120.0;

/// Everything that is sent in a recording, each packet with its second.
struct Boat(Vec<(f64, Vec<u8>)>);

impl Boat {
    /// Beats of two displays to everyone, twice a second; that of the first one while it is there.
    fn new(display_is_there: impl Fn(f64) -> bool) -> Self {
        let mut packets = Vec::new();
        for i in 0..(2.0 * LASTS_S) as u32 {
            let t = f64::from(i) / 2.0;
            for host in [DISPLAY, OTHER] {
                if host == OTHER || display_is_there(t) {
                    let datagram = ipv4(ip(host), 0xEFFE_0701, 17, (0, 0, false), &udp(4000, 4000, &[7; 60]));
                    let packet = ethernet(host, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram);
                    packets.push((t + 0.01 * host as f64, packet));
                }
            }
        }
        Self(packets)
    }

    /// A segment between two hosts' ports.
    fn segment(
        &mut self,
        t: f64,
        hosts: (u64, u64),
        ports: (u16, u16),
        (seq, ack): (u32, u32),
        flags: u8,
        said: &[u8],
    ) {
        let mut packet = ethernet(
            hosts.0,
            mac(hosts.1),
            0x0800,
            &tcp((ip(hosts.0), ip(hosts.1)), ports, seq, flags, said),
        );
        // Behind the headers of Ethernet and IPv4.
        packet[42..46].copy_from_slice(&ack.to_be_bytes());
        self.0.push((t, packet));
    }

    /// The gateway's next bytes to a display, and their acknowledgment.
    fn send(&mut self, t: f64, to: u64, link: &mut Link, said: &[u8]) {
        self.segment(t, (GATEWAY, to), (link.gateway, link.display), (link.next, 1), ACK, said);
        link.next += said.len() as u32;
        self.segment(t + 0.0004, (to, GATEWAY), (link.display, link.gateway), (1, link.next), ACK, &[]);
    }

    /// A display comes up: it probes for its address and announces it (RFC 5227).
    fn announce(&mut self, t: f64) {
        for (late, sender) in [(0.0, 0), (1.0, 0), (2.0, 0), (4.0, ip(DISPLAY)), (6.0, ip(DISPLAY))] {
            let mut arp = vec![0, 1, 8, 0, 6, 4, 0, 1];
            arp.extend(mac(DISPLAY));
            arp.extend(u32::to_be_bytes(sender));
            arp.extend([0; 6]);
            arp.extend(ip(DISPLAY).to_be_bytes());
            self.0.push((t + late, ethernet(DISPLAY, ALL, 0x0806, &arp)));
        }
    }

    fn judged(mut self) -> Report {
        self.0.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut out = pcap_head(1);
        self.0.iter().for_each(|(at, packet)| pcap_record(&mut out, START_US + (at * 1e6) as u64, packet));
        judge(&[out])
    }
}

/// A connection: the gateway's port, the display's, and the number of the gateway's next byte.
struct Link {
    gateway: u16,
    display: u16,
    next: u32,
}

/// What the gateway has to say at every tenth of a second, while the boat turns through 15 degrees a second for some time.
type Says = fn(u32) -> Vec<u8>;

fn heading_deg(i: u32) -> f64 {
    let t = f64::from(i) / 10.0;
    (100.0 + 0.2 * t + 15.0 * (t - 34.0).clamp(0.0, 4.0)) % 360.0
}

/// Sentences: a heading, and the time once a second.
fn sentences(i: u32) -> Vec<u8> {
    let mut said = sentence(&format!("HCHDT,{:.1},T", heading_deg(i))).into_bytes();
    if i.is_multiple_of(10) {
        let s = i / 10;
        said.extend(
            sentence(&format!("GPZDA,00{:02}{:02}.00,01,01,2026,00,00", s / 60, s % 60)).into_bytes(),
        );
    }
    said
}

/// Frames of a bus: a heading, the engine's revolutions, the depth.
fn frames(i: u32) -> Vec<u8> {
    let rad = (heading_deg(i).to_radians() * 1e4) as u16;
    let [low, high] = rad.to_le_bytes();
    let mut said = format!("00:00:00.000 R 09F11223 FF {low:02X} {high:02X} FF 7F FF 7F FC\r\n");
    said += "00:00:00.001 R 09F20010 00 40 1F FF FF FF FF FF\r\n";
    if i.is_multiple_of(10) {
        let cm = 400 + i / 10;
        let [low, high] = (cm as u16).to_le_bytes();
        said += &format!("00:00:00.002 R 0DF50B30 FF {low:02X} {high:02X} 00 00 00 00 FF\r\n");
    }
    said.into_bytes()
}

/// How many lines and buses are carried.
fn carried(report: &Report) -> usize {
    report.wires.iter().filter(|wire| wire.kind != "ethernet").count()
}

/// A display opens a second connection, and the data never pause: whatever port the gateway has, whether or not anything shows
/// that the first one ended.
#[test]
fn a_display_that_connects_anew_finds_the_same_line() {
    for says in [sentences as Says, frames] {
        for (gateway, closes, opens) in
            [(10_110, true, true), (50_000, true, true), (60_001, false, true), (39_150, false, false)]
        {
            let mut boat = Boat::new(|_| true);
            let mut link = Link { gateway, display: 36_001, next: 1000 };
            for i in 0..(10.0 * LASTS_S) as u32 {
                let t = f64::from(i) / 10.0 + 0.003;
                if i == 600 {
                    let ports = (link.display, link.gateway);
                    if closes {
                        boat.segment(t - 0.05, (DISPLAY, GATEWAY), ports, (1, link.next), FIN, &[]);
                    }
                    link = Link { gateway, display: 34_002, next: 770_000 };
                    if opens {
                        let ports = (link.display, link.gateway);
                        boat.segment(t - 0.04, (DISPLAY, GATEWAY), ports, (0, 0), SYN, &[]);
                        boat.segment(
                            t - 0.039,
                            (GATEWAY, DISPLAY),
                            (ports.1, ports.0),
                            (link.next - 1, 1),
                            SYN_ACK,
                            &[],
                        );
                    }
                }
                boat.send(t, DISPLAY, &mut link, &says(i));
            }
            let report = boat.judged();
            assert!(alarms(&report).is_empty(), "port {gateway}: {:?}", report.findings);
            assert_eq!(carried(&report), 1, "port {gateway}");
        }
    }
}

/// Two displays have their connections from the beginning: they get one line, and its talkers count once.
#[test]
fn two_displays_of_one_gateway_get_one_line() {
    for says in [sentences as Says, frames] {
        let mut boat = Boat::new(|_| true);
        let mut links = [(DISPLAY, 36_001), (OTHER, 49_700)]
            .map(|(to, display)| (to, Link { gateway: 50_000, display, next: 1000 }));
        for i in 0..(10.0 * LASTS_S) as u32 {
            for (to, link) in &mut links {
                boat.send(f64::from(i) / 10.0 + 0.001 * *to as f64, *to, link, &says(i));
            }
        }
        let report = boat.judged();
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        assert_eq!(carried(&report), 1);
        assert_eq!(report.sources.iter().filter(|source| source.quantity == "heading").count(), 1);
    }
}

/// Tenths of a second of what it has to say that the gateway has room to keep.
const KEPT: usize = 50;

/// A display is away from second 30 to second 42. The gateway repeats its first unacknowledged segment, ever more seldom, and has
/// kept what it had to say meanwhile, as far as it had room.
fn away(says: Says, announces: bool) -> Report {
    let gone = |t: f64| (30.0..42.0).contains(&t);
    let mut boat = Boat::new(|t| !gone(t));
    if announces {
        boat.announce(42.05);
    }
    let mut link = Link { gateway: 50_000, display: 36_001, next: 1000 };
    let mut kept = Vec::new();
    for i in 0..(10.0 * LASTS_S) as u32 {
        let t = f64::from(i) / 10.0 + 0.003;
        if gone(t) || !kept.is_empty() && t < 43.6 {
            if kept.len() < KEPT {
                kept.push(says(i));
            }
            continue;
        }
        for (n, late) in
            kept.drain(..).zip(0..).map(|(said, n)| (said, f64::from(n) * 0.0005)).collect::<Vec<_>>()
        {
            if late == 0.0 {
                for repeated in [30.303, 30.903, 32.103, 34.503, 39.303] {
                    boat.segment(
                        repeated,
                        (GATEWAY, DISPLAY),
                        (link.gateway, link.display),
                        (link.next, 1),
                        ACK,
                        &n,
                    );
                }
                boat.segment(
                    30.003,
                    (GATEWAY, DISPLAY),
                    (link.gateway, link.display),
                    (link.next, 1),
                    ACK,
                    &n,
                );
            }
            boat.send(t - 0.08 + late, DISPLAY, &mut link, &n);
        }
        boat.send(t, DISPLAY, &mut link, &says(i));
    }
    boat.judged()
}

/// The display is what was away: neither the gateway, which repeats itself ever more seldom, nor the bus or the talkers behind it.
/// What comes late when the display is back was said before: the boat did not turn in an instant, nor did the recorder's
/// clock leap.
#[test]
fn a_display_that_is_away_is_no_fault_of_who_sends_to_it() {
    for says in [sentences as Says, frames] {
        for (announces, kind) in [(true, "link-flap"), (false, "device-dropout")] {
            let report = away(says, announces);
            assert_eq!(alarms(&report), [kind], "{:?}", report.findings);
            let told = report.findings.iter().find(|f| f.kind == kind).unwrap();
            let display = report.devices.iter().find(|d| told.devices.contains(&d.id)).unwrap();
            assert!(display.ips.iter().any(|ip| ip.ends_with(".1")), "{display:?}");
            assert!((told.spans[0].seconds() - 12.0).abs() < 0.6, "{told:?}");
        }
    }
}

/// The gateway itself is away, and what it sends first when it is back is the segment that was not acknowledged.
#[test]
fn a_gateway_that_is_away_is_missed_itself() {
    for says in [sentences as Says, frames] {
        let mut boat = Boat::new(|_| true);
        let mut link = Link { gateway: 50_000, display: 36_001, next: 1000 };
        for i in 0..(10.0 * LASTS_S) as u32 {
            let t = f64::from(i) / 10.0 + 0.003;
            if !(30.0..42.0).contains(&t) {
                if i == 420 {
                    boat.segment(
                        29.95,
                        (GATEWAY, DISPLAY),
                        (link.gateway, link.display),
                        (link.next, 1),
                        ACK,
                        &says(299),
                    );
                    boat.send(t - 0.05, DISPLAY, &mut link, &says(299));
                }
                boat.send(t, DISPLAY, &mut link, &says(i));
            }
        }
        let report = boat.judged();
        assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
        let told = report.findings.iter().find(|f| f.kind == "device-dropout").unwrap();
        let gateway = report.devices.iter().find(|d| told.devices.contains(&d.id)).unwrap();
        assert!(gateway.mac.is_some() && gateway.ips.iter().any(|ip| ip.ends_with(".5")), "{gateway:?}");
    }
}

/// Whom a display asked by TCP is away for good, and the display repeats its question ever more seldom; later its own link goes
/// down for a while.
#[test]
fn a_connection_whose_peer_left_hides_no_later_flap() {
    let gone = |t: f64| (90.0..97.0).contains(&t);
    let mut boat = Boat::new(|t| !gone(t));
    boat.announce(97.05);
    let ports = (40_001, 8080);
    for i in 0..75_u32 {
        let t = f64::from(i) + 0.2;
        boat.segment(t, (DISPLAY, 9), ports, (1000 + 40 * i, 1), ACK, &[7; 40]);
        boat.segment(t + 0.001, (9, DISPLAY), (ports.1, ports.0), (1, 1040 + 40 * i), ACK, &[]);
    }
    for late in [0.0, 0.3, 0.9, 2.1, 4.5, 13.8, 42.6] {
        boat.segment(75.2 + late, (DISPLAY, 9), ports, (4000, 1), ACK, &[7; 40]);
    }
    let report = boat.judged();
    let flaps: Vec<_> = report.findings.iter().filter(|f| f.kind == "link-flap").collect();
    assert_eq!(flaps.len(), 1, "{:?}", report.findings);
}

/// The only client of a gateway closes its connection or breaks it off: the gateway has nobody to send to, and says no more than
/// who its neighbours are. One that stops though its client goes on waiting is missed.
#[test]
fn a_gateway_without_a_client_has_nothing_to_say() {
    for says in [sentences as Says, frames] {
        for (flags, given_up_s) in [(FIN, None), (RST, None), (RST, Some(15.0)), (RST, Some(1.3))] {
            let lives = given_up_s.is_none();
            let mut boat = Boat::new(|_| true);
            let mut link = Link { gateway: 50_000, display: 36_001, next: 1000 };
            for i in 0..600 {
                boat.send(f64::from(i) / 10.0 + 0.003, DISPLAY, &mut link, &says(i));
            }
            let late = given_up_s.unwrap_or(0.0);
            let ports = (link.display, link.gateway);
            boat.segment(59.95 + late, (DISPLAY, GATEWAY), ports, (1, link.next), flags, &[]);
            if lives {
                if flags == FIN {
                    let ports = (link.gateway, link.display);
                    boat.segment(59.951, (GATEWAY, DISPLAY), ports, (link.next, 2), FIN, &[]);
                }
                for asks in [72.0, 96.0] {
                    let body = [
                        &[0, 1, 8, 0, 6, 4, 0, 1][..],
                        &mac(GATEWAY),
                        &ip(GATEWAY).to_be_bytes(),
                        &[0; 6],
                        &ip(OTHER).to_be_bytes(),
                    ];
                    boat.0.push((asks, ethernet(GATEWAY, ALL, 0x0806, &body.concat())));
                }
            }
            let report = boat.judged();
            let owed: &[&str] = if lives { &[] } else { &["device-dropout"] };
            assert_eq!(alarms(&report), owed, "{flags} {lives}: {:?}", report.findings);
        }
    }
}

/// A display beats every 2 s and acknowledges ten times a second what a gateway sends, until the gateway is gone; then it seeks it anew
/// every few seconds. It speaks on all the while.
#[test]
fn who_seeks_a_lost_gateway_is_not_silent() {
    let mut boat = Boat::new(|_| false);
    let mut link = Link { gateway: 50_000, display: 36_001, next: 1000 };
    for i in 0..(LASTS_S / 2.0) as u32 {
        let datagram = ipv4(ip(DISPLAY), 0xEFFE_0701, 17, (0, 0, false), &udp(4000, 4000, &[7; 60]));
        let packet = ethernet(DISPLAY, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram);
        boat.0.push((2.0 * f64::from(i) + 0.01, packet));
    }
    for i in (0..600).chain(1000..1200) {
        boat.send(f64::from(i) / 10.0 + 0.003, DISPLAY, &mut link, &sentences(i));
    }
    for (n, at) in (0..).zip([66.3, 69.9, 74.2, 79.9, 84.3, 88.1, 92.05, 96.2]) {
        boat.segment(at, (DISPLAY, GATEWAY), (36_002 + n, link.gateway), (1, 0), SYN, &[]);
    }
    let report = boat.judged();
    let of_display = |f: &&leadsman::report::model::FindingRow| {
        let ids = report.devices.iter().filter(|d| d.ips.iter().any(|ip| ip.ends_with(".1"))).map(|d| &d.id);
        f.severity != leadsman::report::model::Severity::Note && ids.clone().any(|id| f.devices.contains(id))
    };
    let told: Vec<_> = report.findings.iter().filter(of_display).map(|f| &f.summary).collect();
    assert!(told.is_empty(), "{told:?}");
}

/// A camera's pictures to a display end with the connection by which the display had asked for them; when only they end, the camera
/// is missed.
#[test]
fn pictures_end_with_the_connection_that_asked_for_them() {
    for closed in [true, false] {
        let mut boat = Boat::new(|_| true);
        let camera = 8;
        for i in 0..1050 {
            let datagram = ipv4(ip(camera), ip(DISPLAY), 17, (0, 0, false), &udp(5004, 50_004, &[9; 400]));
            boat.0.push((f64::from(i) / 10.0 + 0.007, ethernet(camera, mac(DISPLAY), 0x0800, &datagram)));
        }
        for at in [4.0, 29.0, 54.0, 79.0, 104.9] {
            boat.segment(at, (DISPLAY, camera), (36_001, 554), (at as u32, 1), ACK | 8, b"OPTIONS");
            boat.segment(at + 0.003, (camera, DISPLAY), (554, 36_001), (at as u32, 1), ACK | 8, b"200 OK");
        }
        if closed {
            boat.segment(104.95, (DISPLAY, camera), (36_001, 554), (200, 1), FIN, &[]);
            boat.segment(104.96, (camera, DISPLAY), (554, 36_001), (200, 201), FIN, &[]);
        }
        let report = boat.judged();
        let told: &[&str] = if closed { &[] } else { &["device-dropout"] };
        assert_eq!(alarms(&report), told, "{:?}", report.findings);
    }
}

/// A display connects to a gateway that has nothing to say for some seconds: it is not silent then.
#[test]
fn a_gateway_may_have_nothing_to_say_yet() {
    let mut boat = Boat::new(|_| true);
    let mut link = Link { gateway: 50_000, display: 36_001, next: 1000 };
    let (there, back) = ((link.display, link.gateway), (link.gateway, link.display));
    boat.segment(0.6, (DISPLAY, GATEWAY), there, (0, 0), SYN, &[]);
    boat.segment(0.601, (GATEWAY, DISPLAY), back, (999, 1), SYN | ACK, &[]);
    boat.segment(0.602, (DISPLAY, GATEWAY), there, (1, 1000), ACK, &[]);
    for i in 33..1200 {
        boat.send(f64::from(i) / 10.0 + 0.003, DISPLAY, &mut link, &sentences(i));
    }
    let report = boat.judged();
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}
