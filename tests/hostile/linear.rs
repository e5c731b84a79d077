//! Time grows with the input and no faster: four times the input may take at most six times as long.

use crate::containers::many_interfaces;
use crate::examine::{Seen, examine_stream};
use crate::make::*;
use crate::mutate::Dice;
use crate::networks::{many_holes, many_macs, many_networks, tangled_tcp};
use crate::wires::{endless_line, many_buses, many_names, many_streams, many_talkers, unfinished};

/// A name, a size, and what makes and reads input of a size.
type Case<'a> = (&'a str, u64, &'a dyn Fn(u64) -> Seen);

/// So many times the input ...
const TIMES: u64 = 4;

/// ... may take so many times as long: half as much again for caches and for tables that fill.
const AT_MOST: f64 = 6.0;

/// Noise behind the head of a container.
fn noise(head: Vec<u8>, kibibytes: u64) -> Seen {
    let mut dice = Dice(7);
    let input =
        made(head, kibibytes, move |_, out| (0..128).for_each(|_| out.extend(dice.next().to_le_bytes())));
    examine_stream(input, None).unwrap()
}

/// Blocks that claim to reach to the end of the file and do not: each is looked through for what may follow it.
fn lying_blocks(count: u64) -> Seen {
    let input = made(section(), count, |_, out| {
        out.extend([6, 0, 0, 0, 0, 0, 0x20, 0].iter().chain(&[0; 56]));
    });
    examine_stream(input, None).unwrap()
}

/// Two sentences, then half sentences without an end.
fn text_noise(count: u64) -> Seen {
    let head = sentence("SDDPT,7.4,0.4,100").repeat(2).into_bytes();
    let input =
        made(head, count, |n, out| out.extend(format!("$GP{n},,,*\\s:!$(1.{n}) can0 {n}#\n").bytes()));
    examine_stream(input, None).unwrap()
}

#[test]
#[ignore = "measures time: see docs/robustness.md"]
fn time_grows_with_the_input_and_no_faster() {
    let can_head = pcap_head(CAN);
    let cases: [Case<'_>; 15] = [
        ("macs", 50_000, &many_macs),
        ("TCP holes", 50_000, &many_holes),
        ("tangled TCP", 50_000, &tangled_tcp),
        ("networks in turn", 20_000, &|n| many_networks(300, n)),
        ("names", 50_000, &many_names),
        ("unfinished messages", 50_000, &unfinished),
        ("message streams", 20_000, &|n| many_streams(12_000, n / 4000)),
        ("talkers", 30_000, &many_talkers),
        ("buses", 30_000, &many_buses),
        ("interfaces", 20_000, &many_interfaces),
        ("one line", 16 << 20, &endless_line),
        ("noise in pcap", 4 << 10, &|n| noise(can_head.clone(), n)),
        ("noise in pcapng", 4 << 10, &|n| noise(section(), n)),
        ("blocks that lie", 50_000, &lying_blocks),
        ("noise in text", 30_000, &text_noise),
    ];
    for (name, size, run) in cases {
        let (once, more) = (run(size), run(size * TIMES));
        let ratio = more.time.as_secs_f64() / once.time.as_secs_f64();
        eprintln!(
            "| {name} | {size} | {:.2} s | {:.2} s | {ratio:.1} | {} KiB |",
            once.time.as_secs_f64(),
            more.time.as_secs_f64(),
            more.heap >> 10
        );
        assert!(ratio < AT_MOST, "{name}: {ratio}");
    }
}
