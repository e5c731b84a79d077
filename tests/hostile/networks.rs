//! Hostile networks: hosts, streams, fragments and names without end, or that contradict themselves.

use crate::examine::{Seen, examine, examine_stream};
use crate::make::*;
use std::io::Read;

fn seen(input: Box<dyn Read + Send>) -> Seen {
    examine_stream(input, None).unwrap()
}

/// Broadcasts, each from a host of its own.
pub(crate) fn many_macs(count: u64) -> Seen {
    seen(made(pcap_head(1), count, |n, out| {
        let arp =
            [&[0, 1, 8, 0, 6, 4, 0, 1][..], &mac(n), &(n as u32).to_be_bytes(), &[0; 6], &[10, 0, 0, 1]];
        pcap_record(out, n * 50, &ethernet(n, ALL, 0x0806, &arp.concat()));
    }))
}

#[test]
fn macs_without_end() {
    let seen = many_macs(20_000);
    assert_eq!(seen.summaries[0].frames, 20_000);
    seen.assert_says("devices are listed");
}

#[test]
#[ignore = "the large size"]
fn a_million_macs() {
    many_macs(1_000_000).assert_says("devices are listed");
}

/// TCP segments of as many directions as there are numbers, each with a hole before it, so that its bytes are held.
pub(crate) fn many_holes(count: u64) -> Seen {
    seen(made(pcap_head(1), count, |n, out| {
        let (ips, ports) =
            ((0x0A00_0001, 0x0A00_0002), (1024 + (n % 60_000) as u16, 10110 + (n / 60_000) as u16));
        for (seq, flags, payload) in [(0, 2, &[][..]), (5000, 16, &[b'$'; 1200])] {
            let packet = tcp(ips, ports, seq, flags, payload);
            pcap_record(out, n * 20, &ethernet(1, mac(2), 0x0800, &packet));
        }
    }))
}

#[test]
fn tcp_streams_with_holes_that_never_fill() {
    assert_eq!(many_holes(10_000).summaries[0].frames, 20_000);
}

#[test]
#[ignore = "the large size"]
fn half_a_million_tcp_streams_with_holes() {
    many_holes(500_000);
}

/// One TCP direction: overlapping, repeated, wrapping sequence numbers and holes, by a fixed rule.
pub(crate) fn tangled_tcp(count: u64) -> Seen {
    seen(made(pcap_head(1), count, |n, out| {
        let seq = 0xFFFF_F000_u32.wrapping_add((n.wrapping_mul(0x9E37_79B9) % 60_000) as u32);
        let text = sentence("SDDPT,7.4,0.4,100").repeat(20);
        let payload = &text.as_bytes()[..(n % 400) as usize];
        let flags = [16, 24, 17, 2, 4][usize::from(n % 97 == 0) * (n % 5) as usize];
        let packet = tcp((0x0A00_0001, 0x0A00_0002), (10110, 40_000), seq, flags, payload);
        pcap_record(out, n * 300, &ethernet(1, mac(2), 0x0800, &packet));
    }))
}

#[test]
fn tcp_that_overlaps_and_wraps() {
    assert_eq!(tangled_tcp(20_000).summaries[0].frames, 20_000);
}

#[test]
fn overlapping_fragments_and_ones_never_finished() {
    let seen = seen(made(pcap_head(1), 30_000, |n, out| {
        // Every seventh says that it is the last, at the far end of what an offset can say.
        let (offset, more) = if n % 7 == 0 { (0xFFF8, false) } else { ((n * 12 % 4000) as u16 & !7, true) };
        let packet = ipv4(
            0x0A00_0001 + (n / 3 % 999) as u32,
            0x0A00_0002,
            17,
            ((n % 50) as u16, offset, more),
            &[7; 64],
        );
        pcap_record(out, n * 10, &ethernet(1, mac(2), 0x0800, &packet));
    }));
    assert_eq!(seen.summaries[0].frames, 30_000);
}

/// An mDNS message whose names point at themselves, at each other and past the end (RFC 1035, 4.1.4).
fn looping_names() -> Vec<Vec<u8>> {
    let head = [0, 0, 0x84, 0, 0, 0, 0, 40, 0, 0, 0, 0];
    let record = |name: [u8; 2]| [&name[..], &[0, 12, 0, 1, 0, 0, 0, 60, 0, 2], &name].concat();
    let message = |names: &[[u8; 2]]| {
        let mut out = head.to_vec();
        names.iter().cycle().take(40).for_each(|name| out.extend(record(*name)));
        out
    };
    vec![
        message(&[[0xC0, 12]]),
        message(&[[0xC0, 26], [0xC0, 12]]),
        message(&[[0xFF, 0xFF]]),
        message(&[[63, 63]]),
        [&head[..], &[0xC0, 0]].concat(),
    ]
}

#[test]
fn dns_names_that_point_at_themselves() {
    let packet = |payload: &Vec<u8>| {
        ethernet(
            1,
            ALL,
            0x0800,
            &ipv4(0x0A00_0001, 0xE000_00FB, 17, (0, 0, false), &udp(5353, 5353, payload)),
        )
    };
    let packets: Vec<_> = looping_names().iter().map(packet).cycle().take(5000).collect();
    assert_eq!(examine(&pcap(1, packets)).unwrap().summaries[0].frames, 5000);
}

#[test]
fn dhcp_options_that_run_out() {
    let mut message = vec![1, 1, 6, 0];
    message.resize(236, 0);
    message.extend([0x63, 0x82, 0x53, 0x63]);
    let ends: [&[u8]; 6] = [&[], &[53], &[53, 255], &[12, 200, b'a'], &[52, 1, 3, 255], &[0; 300]];
    let packet = |end: &&[u8]| {
        let payload = [&message[..], end].concat();
        ethernet(1, ALL, 0x0800, &ipv4(0, 0xFFFF_FFFF, 17, (0, 0, false), &udp(68, 67, &payload)))
    };
    let seen = examine(&pcap(1, ends.iter().map(packet))).unwrap();
    assert_eq!(seen.summaries[0].frames, ends.len() as u64);
}

#[test]
fn names_of_hosts_are_text_and_nothing_else() {
    // An LLDP system name (IEEE 802.1AB 8.5.6) that clears the screen, turns the reading direction and ends the line.
    let name = "x\x1b[2J\u{202e}<b>\r\n|=1+1";
    let mut lldp = vec![2, 7, 4, 2, 0, 0, 0, 0, 1, 4, 4, 7, 0, 0, 1, 6, 2, 0, 120, 10, name.len() as u8];
    lldp.extend(name.as_bytes());
    lldp.extend([0, 0]);
    let packet = ethernet(1, [1, 0x80, 0xC2, 0, 0, 0x0E], 0x88CC, &lldp);
    let seen = examine(&pcap(1, vec![packet])).unwrap();
    assert!(seen.report.devices[0].label.contains("<b>"), "{:?}", seen.report.devices);
}

/// As many Ethernet interfaces as a recording can have, each with streams that are held and fragments that wait.
pub(crate) fn many_networks(interfaces: u32, packets: u64) -> Seen {
    let mut head = section();
    (0..interfaces).for_each(|n| head.extend(interface(1, 0, &name_option(n))));
    seen(made(head, packets, move |n, out| {
        let (wire, k) = ((n % u64::from(interfaces)) as u32, n / u64::from(interfaces));
        let ips = (0x0A00_0001, 0x0A00_0002);
        let syn = tcp(ips, (1024 + k as u16, 10110), 0, 2, &[]);
        let held = tcp(ips, (1024 + k as u16, 10110), 9000, 16, &[b'$'; 1400]);
        let piece = ipv4(0x0A00_0001, 0x0A00_0002, 17, (k as u16, 65_000, true), &[7; 64]);
        for packet in [syn, held, piece] {
            out.extend(enhanced(wire, START_US + n * 10, &ethernet(1, mac(2), 0x0800, &packet)));
        }
    }))
}

/// The option that names an interface.
fn name_option(n: u32) -> Vec<u8> {
    let name = format!("e{n:07}");
    [&[2, 0, 8, 0][..], name.as_bytes()].concat()
}

#[test]
fn networks_without_end_share_the_memory() {
    let seen = many_networks(300, 20_000);
    seen.assert_says("wires");
    assert_eq!(seen.summaries[0].frames, 60_000);
}

#[test]
#[ignore = "the large size"]
fn every_network_holds_all_it_may() {
    many_networks(300, 1_000_000);
}
