//! Ethernet hosts that come, wait and go.

use crate::make::{ALL, ethernet, ipv4, mac, pcap_head, pcap_record, sentence, tcp, udp};
use crate::{alarms, judge, number};

pub(super) const GROUP: u32 = 0xEFFE_0701;

/// The traffic of a network, in any order of time.
#[derive(Default)]
pub(super) struct Traffic(pub(super) Vec<(f64, Vec<u8>)>);

impl Traffic {
    /// Two displays that show themselves to each other ten times a second, with the addresses 192.168.47.1 and .2, for so long.
    pub(super) fn of_two_displays(seconds: f64) -> Self {
        let mut traffic = Self::default();
        for host in [1, 2] {
            traffic.asks_around(host, 0xC0A8_2F00 + host as u32, seconds);
            traffic.sends(host, 0xC0A8_2F00 + host as u32, 0.1, (0.02 * host as f64, seconds));
        }
        traffic
    }

    /// A host sends to the group, one datagram each so many seconds.
    pub(super) fn sends(&mut self, host: u64, ip: u32, every: f64, (from, to): (f64, f64)) {
        let count = ((to - from) / every) as u32;
        let packet = ethernet(
            host,
            [1, 0, 0x5E, 0x7E, 7, 1],
            0x0800,
            &ipv4(ip, GROUP, 17, (0, 0, false), &udp(4000, 4000, &[7; 60])),
        );
        self.0.extend((0..count).map(|i| (every.mul_add(f64::from(i), from), packet.clone())));
    }

    /// A host asks the neighbours for their addresses now and then.
    pub(super) fn asks_around(&mut self, host: u64, ip: u32, seconds: f64) {
        for i in 0..(seconds / 40.0) as u32 {
            self.arp(40.0 * f64::from(i) + 1.0, host, ip, 0xC0A8_2F01 + u32::from(host == 1));
        }
    }

    /// An ARP request (RFC 826); a probe has no sender's address, an announcement asks for its own (RFC 5227).
    pub(super) fn arp(&mut self, at: f64, host: u64, from: u32, target: u32) {
        let body =
            [&[0, 1, 8, 0, 6, 4, 0, 1][..], &mac(host), &from.to_be_bytes(), &[0; 6], &target.to_be_bytes()];
        self.0.push((at, ethernet(host, ALL, 0x0806, &body.concat())));
    }

    /// An ARP reply: who answers, and who asked.
    pub(super) fn answers(&mut self, at: f64, (host, ip): (u64, u32), (to, to_ip): (u64, u32)) {
        let body =
            [&[0, 1, 8, 0, 6, 4, 0, 2][..], &mac(host), &ip.to_be_bytes(), &mac(to), &to_ip.to_be_bytes()];
        self.0.push((at, ethernet(host, mac(to), 0x0806, &body.concat())));
    }

    /// Probes and announcements of an address (RFC 5227), the first at `at`.
    pub(super) fn takes(&mut self, at: f64, host: u64, ip: u32) {
        for (late, from) in [(0.0, 0), (1.3, 0), (2.6, 0), (4.6, ip), (6.6, ip)] {
            self.arp(at + late, host, from, ip);
        }
    }

    /// A DHCP discover (RFC 2131).
    pub(super) fn discovers(&mut self, at: f64, host: u64) {
        let mut body = vec![1, 1, 6, 0, 0, 0, 0, 1];
        body.resize(28, 0);
        body.extend(mac(host));
        body.resize(236, 0);
        body.extend([0x63, 0x82, 0x53, 0x63, 53, 1, 1, 255]);
        self.0.push((
            at,
            ethernet(host, ALL, 0x0800, &ipv4(0, u32::MAX, 17, (0, 0, false), &udp(68, 67, &body))),
        ));
    }

    /// A host sends to another alone, one datagram each so many seconds.
    pub(super) fn sends_to(
        &mut self,
        (host, ip): (u64, u32),
        (to, to_ip): (u64, u32),
        every: f64,
        (from, until): (f64, f64),
    ) {
        let datagram = ipv4(ip, to_ip, 17, (0, 0, false), &udp(5004, 5004, &[7; 900]));
        let packet = ethernet(host, mac(to), 0x0800, &datagram);
        let count = ((until - from) / every) as u32;
        self.0.extend((0..count).map(|i| (every.mul_add(f64::from(i), from), packet.clone())));
    }

    /// The recording.
    pub(super) fn recorded(self) -> Vec<u8> {
        self.recorded_up_to(usize::MAX)
    }

    /// The recording of a recorder whose clock shows something else than the time.
    fn recorded_by(mut self, clock: impl Fn(f64) -> f64) -> Vec<u8> {
        self.0.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut out = pcap_head(1);
        self.0.iter().for_each(|(at, packet)| pcap_record(&mut out, (clock(*at) * 1e6) as u64, packet));
        out
    }

    /// The recording of a recorder that keeps so many bytes of each packet.
    pub(super) fn recorded_up_to(mut self, snap: usize) -> Vec<u8> {
        self.0.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut out = pcap_head(1);
        for (at, packet) in self.0 {
            let start = out.len();
            pcap_record(&mut out, (at * 1e6) as u64, &packet);
            if packet.len() > snap {
                out[start + 8..start + 12].copy_from_slice(&(snap as u32).to_le_bytes());
                out.truncate(start + 16 + snap);
            }
        }
        out
    }
}

const OWN: u32 = 0xA9FE_2107;

/// RFC 2131 4.1: the client asks after 4, 8 and 16 s again, and gives up after as long; RFC 3927 2.2: then it gives itself an
/// address. Its link was up all the while.
#[test]
fn waiting_for_an_address_is_no_flap() {
    let mut traffic = Traffic::of_two_displays(200.0);
    for at in [20.0, 24.0, 32.0, 48.0] {
        traffic.discovers(at, 3);
    }
    traffic.takes(64.3, 3, OWN);
    traffic.sends(3, OWN, 1.0, (72.0, 200.0));
    assert_eq!(alarms(&judge(&[traffic.recorded()])), ["self-assigned-address"]);
}

/// A host that has an address and still looks for another loses its link within a second of a discover: that is a flap.
#[test]
fn a_discover_just_before_excuses_no_flap_of_a_host_that_sends() {
    let mut traffic = Traffic::of_two_displays(300.0);
    traffic.takes(5.0, 3, OWN);
    traffic.sends(3, OWN, 0.2, (12.0, 120.0));
    traffic.discovers(119.4, 3);
    traffic.takes(126.0, 3, OWN);
    traffic.sends(3, OWN, 0.2, (133.0, 300.0));
    assert!(alarms(&judge(&[traffic.recorded()])).contains(&"link-flap"));
}

/// A router that says nothing of its own answers whoever asks for it: first somebody now and then, later a phone often, until
/// the phone leaves.
#[test]
fn who_only_answers_is_not_missed() {
    const ROUTER: u32 = 0xC0A8_2F63;
    let mut traffic = Traffic::of_two_displays(300.0);
    for i in 0..30 {
        let at = 2.3f64.mul_add(f64::from(i), 80.0);
        traffic.arp(at, 7, 0xC0A8_2F07, ROUTER);
        traffic.answers(at + 0.001, (9, ROUTER), (7, 0xC0A8_2F07));
    }
    for at in [5.0, 43.0, 200.0, 240.0, 290.0] {
        traffic.answers(at, (9, ROUTER), (1, 0xC0A8_2F01));
    }
    let report = judge(&[traffic.recorded()]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A camera sends its picture to a display while somebody looks at it.
#[test]
fn a_picture_that_is_opened_and_closed_is_no_dropout() {
    let mut traffic = Traffic::of_two_displays(240.0);
    traffic.asks_around(3, 0xC0A8_2F03, 240.0);
    for shown in [(40.0, 75.0), (120.0, 150.0)] {
        traffic.sends_to((3, 0xC0A8_2F03), (1, 0xC0A8_2F01), 0.05, shown);
    }
    let report = judge(&[traffic.recorded()]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A gateway sends depth and position in one datagram, at first in this order and then in the other: behind the cut of a
/// recorder that keeps 100 bytes the depth is not seen, and not missed.
#[test]
fn what_stands_behind_the_cut_is_not_missed() {
    let mut traffic = Traffic::of_two_displays(240.0);
    for i in 0..240_u32 {
        let depth = sentence("SDDPT,7.4,0.4,100");
        let fix = sentence(&format!("GPGLL,5430.{i:04},N,01010.0000,E,1200{:02}.00,A,A", i % 60));
        let lines = if i < 120 { depth + &fix } else { fix + &depth };
        let datagram = ipv4(0xC0A8_2F04, GROUP, 17, (0, 0, false), &udp(10110, 10110, lines.as_bytes()));
        traffic.0.push((f64::from(i) + 0.5, ethernet(4, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram)));
    }
    let report = judge(&[traffic.recorded_up_to(100)]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// Between its probes a host that comes up is silent too, for longer than its beats are apart: all that it shows then tells of
/// the one flap.
#[test]
fn what_a_host_shows_in_steps_tells_of_one_flap() {
    let mut traffic = Traffic::of_two_displays(200.0);
    let ip = 0xC0A8_2F07;
    for stretch in [(0.5, 100.0), (108.2, 200.0)] {
        traffic.sends(7, ip, 2.0, stretch);
    }
    for (late, from) in [(0.0, 0), (1.8, 0), (3.7, 0), (5.6, ip)] {
        traffic.arp(107.5 + late, 7, from, ip);
    }
    let report = judge(&[traffic.recorded()]);
    assert_eq!(alarms(&report), ["link-flap"], "{:?}", report.findings);
}

/// A link that is down for half of the recording, a quarter of a minute at a time.
#[test]
fn who_is_down_as_long_as_up_flaps() {
    let mut traffic = Traffic::of_two_displays(286.0);
    for i in 0..10_u32 {
        let from = 30.0 * f64::from(i);
        traffic.takes(from + 0.5, 7, 0xC0A8_2F07);
        traffic.sends(7, 0xC0A8_2F07, 0.5, (from + 0.8, from + 15.0));
    }
    let report = judge(&[traffic.recorded()]);
    assert_eq!(alarms(&report), ["link-flap"], "{:?}", report.findings);
    assert_eq!(number(&report, "link-flap", "flaps"), 9.0);
}

/// A host is away for more than half of the recording and shows when it is back that its link came up.
#[test]
fn who_is_away_for_most_of_the_time_is_missed() {
    for (gone, back) in [(60.0, 190.0), (40.0, 250.0)] {
        let mut traffic = Traffic::of_two_displays(300.0);
        traffic.sends(7, 0xC0A8_2F07, 0.2, (0.5, gone));
        traffic.takes(back, 7, 0xC0A8_2F07);
        traffic.sends(7, 0xC0A8_2F07, 0.2, (back + 5.0, 300.0));
        let report = judge(&[traffic.recorded()]);
        assert_eq!(alarms(&report), ["link-flap"], "{:?}", report.findings);
        assert!((number(&report, "link-flap", "longest_s") - (back - gone)).abs() < 1.0);
    }
}

/// A display that says something once a second loses its link for four seconds, again and again, and takes its address anew each
/// time: four intervals are enough when the link shows that it came up.
#[test]
fn short_flaps_of_a_slow_host_are_found() {
    let mut traffic = Traffic::of_two_displays(281.0);
    let own = 0xC0A8_2F03;
    for i in 0..7_u32 {
        let from = 40.0 * f64::from(i) + 5.0;
        traffic.takes(from, 3, own);
        traffic.sends(3, own, 1.0, (from + 0.3, from + 36.0));
    }
    let report = judge(&[traffic.recorded()]);
    assert_eq!(alarms(&report), ["link-flap"], "{:?}", report.findings);
    // A host that supplies nothing speaks to no complaint about depth or heading: what a finding names is answered.
    let flap = report.findings.iter().find(|f| f.kind == "link-flap").unwrap();
    let answered: Vec<_> = report.complaints.iter().map(|row| row.complaint).collect();
    assert!(flap.complaints.iter().all(|name| answered.contains(name)), "{answered:?}");
    assert_eq!(report.findings[0].spans.len(), 6);
}

/// A host that sends from an address which it gave itself, and shows no ARP where it is heard.
#[test]
fn an_address_of_its_own_shows_without_arp() {
    let mut traffic = Traffic::of_two_displays(200.0);
    traffic.sends(3, OWN, 1.0, (0.3, 200.0));
    assert_eq!(alarms(&judge(&[traffic.recorded()])), ["self-assigned-address"]);
}

/// A tablet with a hardware address drawn by lot leaves and comes back, twice: the same from a device of the boat is a fault.
#[test]
fn a_tablet_comes_and_goes() {
    use leadsman::report::model::Severity;
    const TABLET: u64 = 0xD800_0000_0003;
    for (host, severity) in [(3, Severity::Fault), (TABLET, Severity::Note)] {
        let mut traffic = Traffic::of_two_displays(300.0);
        for from in [5.0, 90.0, 200.0] {
            traffic.takes(from, host, 0xC0A8_2F03);
            traffic.sends(host, 0xC0A8_2F03, 0.2, (from + 1.0, from + 60.0));
        }
        let report = judge(&[traffic.recorded()]);
        let told =
            |kind| report.findings.iter().find(|f| f.kind == kind).map(|f| (f.severity, f.spans.len()));
        assert_eq!(told("link-flap"), Some((severity, 2)), "{:?}", report.findings);
    }
}

/// A laptop asks a display for its page three seconds long once a minute, and is silent else: its packets have a rhythm only
/// while it asks.
#[test]
fn who_asks_in_bursts_is_not_missed_between_them() {
    let mut traffic = Traffic::of_two_displays(300.0);
    traffic.asks_around(3, 0xC0A8_2F03, 300.0);
    for burst in 0..5 {
        let from = 60.0f64.mul_add(f64::from(burst), 10.0);
        for poll in 0..4 {
            let at = 0.9f64.mul_add(f64::from(poll), from);
            traffic.sends_to((3, 0xC0A8_2F03), (1, 0xC0A8_2F01), 0.011, (at, at + 0.3));
        }
    }
    let report = judge(&[traffic.recorded()]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A module sends a display a file for fifteen seconds and closes the connection (FIN, RFC 9293 3.6): nothing is missing after
/// that. Without the end of it, something is.
#[test]
fn a_file_that_was_sent_is_not_missed() {
    for (last_flags, expected) in [(0x11, &[][..]), (0x10, &["device-dropout"])] {
        let mut traffic = Traffic::of_two_displays(240.0);
        let ips = (0xC0A8_2F03, 0xC0A8_2F01);
        for i in 0..750_u32 {
            let flags = if i == 749 { last_flags } else { 0x10 };
            let segment = tcp(ips, (50_000, 8080), 1000 + 900 * i, flags, &[7; 900]);
            let packet = ethernet(3, mac(1), 0x0800, &segment);
            traffic.0.push((0.02f64.mul_add(f64::from(i), 60.0), packet));
        }
        assert_eq!(alarms(&judge(&[traffic.recorded()])), expected);
    }
}

/// Two recorders of one network: the first sleeps for forty seconds while the second goes on, and both see one flap.
#[test]
fn what_two_recorders_saw_is_told_once() {
    let mut traffic = Traffic::of_two_displays(300.0);
    for from in [5.0, 190.0] {
        traffic.takes(from, 3, 0xC0A8_2F03);
        traffic.sends(3, 0xC0A8_2F03, 0.2, (from + 1.0, from + 170.0));
    }
    let second = Traffic(traffic.0.clone()).recorded();
    traffic.0.retain(|(t, _)| !(60.0..100.0).contains(t));
    let report = judge(&[traffic.recorded(), second]);
    assert_eq!(alarms(&report), ["link-flap", "recording-gap"], "{:?}", report.findings);
}

/// A television and its router share the switch with the boat's displays, and talk to each other only.
#[test]
fn a_network_of_its_own_is_no_split() {
    let mut traffic = Traffic::of_two_displays(200.0);
    for host in [5, 6] {
        traffic.asks_around(host, 0xC0A8_2F00 + host as u32, 200.0);
        traffic.sends(host, 0xC0A8_2F00 + host as u32, 0.5, (1.0, 200.0));
    }
    let (one, other) = ((7, 0xC0A8_0814), (8, 0xC0A8_0801));
    traffic.sends_to(one, other, 0.5, (1.0, 200.0));
    traffic.sends_to(other, one, 0.5, (1.2, 200.0));
    let report = judge(&[traffic.recorded()]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// Some machines record IP packets without the link's header (LINKTYPE_RAW): two compasses that they send are compared all
/// the same, and no hardware address is made up for the hosts.
#[test]
fn packets_without_a_link_are_read() {
    let mut out = pcap_head(101);
    for i in 0..1200_u32 {
        let (host, deg) =
            (2 + i % 2, f64::from(i % 2).mul_add(11.0, 100.0 + 80.0 * (f64::from(i) / 60.0).sin()));
        let line = sentence(&format!("HCHDG,{deg:.1},,,,"));
        let packet = ipv4(0xC0A8_2F00 + host, GROUP, 17, (0, 0, false), &udp(10110, 10110, line.as_bytes()));
        pcap_record(&mut out, u64::from(i) * 100_000, &packet);
    }
    let report = judge(&[out]);
    assert_eq!(alarms(&report), ["duplicate-heading-source"], "{:?}", report.findings);
    assert!((number(&report, "duplicate-heading-source", "median_difference_deg").abs() - 11.0).abs() < 0.5);
    assert!(report.devices.iter().any(|d| d.ips == ["192.168.47.2"] && d.mac.is_none()));
}

/// A host with a proper address announces a link-local one besides: somebody gave it one.
#[test]
fn an_address_beside_a_proper_one_is_none_that_it_had_to_give_itself() {
    let mut traffic = Traffic::of_two_displays(200.0);
    traffic.sends(3, 0xC0A8_2F03, 1.0, (2.0, 200.0));
    for i in 0..10 {
        traffic.arp(15.0 + 18.0 * f64::from(i), 3, OWN, OWN);
    }
    assert!(alarms(&judge(&[traffic.recorded()])).is_empty());
}

/// Three hosts of one switch go down and up together while a fourth goes on: they share the cause.
#[test]
fn hosts_that_go_down_together_share_the_cause() {
    let mut traffic = Traffic::default();
    traffic.sends(9, 0xC0A8_2F09, 0.1, (0.0, 200.0));
    for host in [1, 2, 3] {
        let ip = 0xC0A8_2F00 + host as u32;
        let late = 0.3 * host as f64;
        traffic.sends(host, ip, 0.1, (late, 80.0));
        traffic.takes(95.0 + late, host, ip);
        traffic.sends(host, ip, 0.1, (102.0 + late, 200.0));
    }
    let report = judge(&[traffic.recorded()]);
    assert_eq!(alarms(&report), ["link-flap"; 3], "{:?}", report.findings);
    for finding in &report.findings {
        assert!(finding.kind != "link-flap" || finding.checks[0].contains("share"), "{:?}", finding.checks);
    }
}

/// A switching loop brings an ARP request back hundreds of times a second: it was asked once.
#[test]
fn a_request_that_a_loop_brings_back_is_one() {
    let mut traffic = Traffic::of_two_displays(60.0);
    let asked = |traffic: &mut Traffic, at: f64| traffic.arp(at, 1, 0xC0A8_2F01, 0xC0A8_2F63);
    (0..9000).for_each(|i| asked(&mut traffic, 20.0 + f64::from(i) / 1500.0));
    let alarms = alarms(&judge(&[traffic.recorded()]));
    assert!(!alarms.contains(&"arp-unanswered"), "{alarms:?}");
}

/// Displays that send each other datagrams in a form of their own may well send a depth in them.
#[test]
fn what_cannot_be_read_may_hold_what_is_missing() {
    let report = judge(&[Traffic::of_two_displays(90.0).recorded()]);
    let row = report.findings.iter().find(|row| row.kind == "no-depth-source").unwrap();
    assert!(row.summary.starts_with("Nothing that can be read"), "{}", row.summary);
    assert!(
        row.evidence.iter().any(|line| line.contains("depth is in the datagrams of")),
        "{:?}",
        row.evidence
    );
}

/// A damaged length of a packet says nothing of the load.
#[test]
fn a_packet_longer_than_any_loads_nothing() {
    let mut recording = Traffic::of_two_displays(90.0).recorded();
    // The length on the wire in the header of the first packet.
    recording[24 + 12..24 + 16].copy_from_slice(&(3_u32 << 20).to_le_bytes());
    let report = judge(&[recording]);
    let peak = report.wires[0].load.as_ref().unwrap().peak_percent;
    assert!((0.0..1.0).contains(&peak), "{peak}");
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A host is silent for half a minute and says nothing of its link as it comes back. Later the recorder's clock is set back; what
/// the host shows then bears stamps of the time before.
#[test]
fn what_a_host_shows_after_the_clock_was_set_back_is_no_return() {
    let mut traffic = Traffic::of_two_displays(300.0);
    traffic.arp(3.0, 3, 0xC0A8_2F03, 0xC0A8_2F03);
    traffic.sends(3, 0xC0A8_2F03, 0.2, (3.0, 160.0));
    traffic.sends(3, 0xC0A8_2F03, 0.2, (190.0, 300.0));
    traffic.arp(240.0, 3, 0xC0A8_2F03, 0xC0A8_2F03);
    let report = judge(&[traffic.recorded_by(|t| 1000.0 + if t < 205.0 { t } else { t - 90.0 })]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
}

/// A display asks for an address that nobody has, every two seconds; the recorder's clock is set ahead by two hours meanwhile, as
/// the boat's own clock shows.
#[test]
fn a_leap_of_the_clock_makes_no_search_slow() {
    let mut traffic = Traffic::of_two_displays(240.0);
    for i in 0..240 {
        let said = sentence(&format!("GPZDA,12{:02}{:02}.00,01,01,2026,00,00", i / 60, i % 60));
        let datagram = udp(10110, 10110, said.as_bytes());
        let packet = ipv4(0xC0A8_2F02, GROUP, 17, (0, 0, false), &datagram);
        let at = f64::from(i) + 0.5;
        traffic.0.push((at, ethernet(2, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &packet)));
        if i % 2 == 0 {
            traffic.arp(at, 1, 0xC0A8_2F01, 0xC0A8_2F63);
        }
    }
    let report = judge(&[traffic.recorded_by(|t| 1000.0 + if t < 100.2 { t } else { t + 7200.0 })]);
    assert_eq!(alarms(&report), ["arp-unanswered"], "{:?}", report.findings);
}

/// Four displays of a network whose recorder slept for three seconds.
fn with_a_gap(mut traffic: Traffic) -> Traffic {
    for host in [3, 4, 5, 6] {
        let ip = 0xC0A8_2F00 + host as u32;
        traffic.sends(host, ip, 0.1, (0.02 * host as f64, 150.0));
    }
    traffic.0.retain(|(at, _)| !(60.0..63.0).contains(at));
    traffic
}

/// Whose link goes down seconds after the recorder slept is told, and the gap is the recorder's still.
#[test]
fn a_link_that_goes_down_after_a_gap_is_told() {
    let mut traffic = with_a_gap(Traffic::of_two_displays(150.0));
    let host = mac(4);
    traffic.0.retain(|(at, packet)| packet[6..12] != host || !(68.0..72.0).contains(at));
    traffic.takes(72.0, 4, 0xC0A8_2F04);
    let mut kinds = alarms(&judge(&[traffic.recorded()]));
    kinds.sort_unstable();
    assert_eq!(kinds, ["link-flap", "recording-gap"]);
}

/// Two of the hosts contend for one address and announce it all the while, also seconds after the gap: nobody came up.
#[test]
fn rivals_that_announce_their_address_after_a_gap_have_not_come_up() {
    let mut traffic = Traffic::default();
    for (host, ip) in [(1, 1), (2, 2), (3, 3), (4, 3)] {
        traffic.sends(host, 0xC0A8_2F00 + ip, 0.1, (0.02 * host as f64, 150.0));
    }
    for (n, at) in [10.0, 30.0, 50.0, 66.8, 90.0, 110.0].into_iter().enumerate() {
        traffic.arp(at + 0.02 * (n % 2) as f64, 3, 0xC0A8_2F03, 0xC0A8_2F03);
        traffic.arp(at + 0.01, 4, 0xC0A8_2F03, 0xC0A8_2F03);
    }
    traffic.0.retain(|(at, _)| !(60.0..63.0).contains(at));
    let mut kinds = alarms(&judge(&[traffic.recorded()]));
    kinds.sort_unstable();
    assert_eq!(kinds, ["ip-conflict", "recording-gap"]);
}
