//! Writes a big recording of the demo boat, as a measure of speed and memory: a demo recording again and again, with time
//! moving on.
//!
//! `big ethernet|pcapng|socketcan|can-log|line-log MEGABYTES FILE [DEVICES]`
//!
//! `pcapng` holds the packets of `ethernet`, whose file is a pcap.
//!
//! With DEVICES the traffic is that of so many hosts (Ethernet) or so many nodes, in sixes (CAN), at the same number of
//! frames, so that the time can be compared.

#![allow(clippy::print_stderr, reason = "a program for a terminal")]

use leadsman::messages::n2k::{CanId, GLOBAL};
use leadsman::recording::{CanFrame, Payload, open};
use leadsman::time::Time;
use std::error::Error;
use std::fs::File;
use std::io::{BufWriter, Write};

/// How long a full frame holds a bus of 250 kbit/s, microseconds.
const FRAME_US: i64 = 560;

/// Frames a second of a bus that is busy and not full.
const BUSY_FPS: f64 = 1400.0;

/// Nodes of the demo boat's bus.
const NODES: usize = 6;

/// Nodes of the busy bus that is written when no number is given.
const USUAL_NODES: usize = 24;

type Failure = Box<dyn Error>;

/// A demo recording: when it begins, how many microseconds it lasts, and what was kept of its records, each with
/// microseconds since the beginning.
type Demo<T> = (Time, i64, Vec<(i64, T)>);

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [kind, size, file, devices @ ..] = arguments.as_slice() else {
        return Err("usage: big ethernet|pcapng|socketcan|can-log|line-log MEGABYTES FILE [DEVICES]".into());
    };
    let devices = devices.first().map(|number| number.parse::<usize>()).transpose()?;
    let mut out = Out { file: BufWriter::new(File::create(file)?), room: size.parse::<u64>()? * 1_000_000 };
    match (kind.as_str(), devices) {
        ("ethernet", None) => {
            out.write(&pcap_header(1))?;
            ethernet(&mut out, packet_record)?;
        }
        ("pcapng", None) => {
            out.write(&pcapng_header(1))?;
            ethernet(&mut out, packet_block)?;
        }
        ("ethernet", Some(hosts)) => hosts_by_turns(&mut out, hosts)?,
        ("socketcan", nodes) => {
            out.write(&pcap_header(227))?;
            bus(&mut out, nodes.unwrap_or(USUAL_NODES), |time, frame| {
                let mut packet = (frame.id | 0x8000_0000).to_be_bytes().to_vec();
                packet.extend([frame.len, 0, 0, 0]);
                packet.extend(frame.data());
                packet_record(time, &packet)
            })?;
        }
        ("can-log", nodes) => bus(&mut out, nodes.unwrap_or(USUAL_NODES), |time, frame| {
            let (seconds, micros) = (time.0.div_euclid(1_000_000), time.0.rem_euclid(1_000_000));
            let data: String = frame.data().iter().map(|byte| format!("{byte:02X}")).collect();
            format!("({seconds}.{micros:06}) can0 {:08X}#{data}\n", frame.id).into_bytes()
        })?,
        ("line-log", None) => lines(&mut out)?,
        _ => return Err(format!("{kind} is no kind of recording that is made here").into()),
    }
    out.file.flush()?;
    Ok(())
}

/// A file that takes only so much.
struct Out {
    file: BufWriter<File>,
    room: u64,
}

impl Out {
    fn write(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.room = self.room.saturating_sub(bytes.len() as u64);
        Ok(self.file.write_all(bytes)?)
    }

    fn is_full(&self) -> bool {
        self.room == 0
    }
}

/// A demo recording's records, as `take` keeps them, with their times counted from the first, and how long it lasts.
fn demo<T>(file: &str, take: impl Fn(Payload<'_>) -> Option<T>) -> Result<Demo<T>, Failure> {
    let mut recording = open(&format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR")))?;
    let (mut first, mut records) = (None, Vec::new());
    while recording.advance()? {
        let record = recording.record();
        let Some(time) = record.time else { continue };
        let began = *first.get_or_insert(time);
        records.extend(take(record.payload).map(|kept| (time.micros_since(began), kept)));
    }
    let last = records.last().map_or(0, |(after_us, _)| *after_us);
    Ok((first.ok_or("no record has a time")?, last + 100_000, records))
}

fn ethernet(out: &mut Out, write: impl Fn(Time, &[u8]) -> Vec<u8>) -> Result<(), Failure> {
    let (first, length_us, packets) = demo("healthy-network.pcapng.gz", |payload| match payload {
        Payload::Packet { bytes, .. } => Some(bytes.to_vec()),
        _ => None,
    })?;
    for round in 0.. {
        for (after_us, packet) in &packets {
            out.write(&write(Time(first.0 + round * length_us + after_us), packet))?;
            if out.is_full() {
                return Ok(());
            }
        }
    }
    Ok(())
}

fn lines(out: &mut Out) -> Result<(), Failure> {
    let (first, length_us, lines) = demo("healthy-line.log", |payload| match payload {
        Payload::Line(line) => Some(line.to_vec()),
        _ => None,
    })?;
    for round in 0.. {
        for (after_us, line) in &lines {
            let time = Time(first.0 + round * length_us + after_us).to_string();
            out.write(&[time.get(..23).unwrap_or(&time).as_bytes(), b"Z ", line, b"\r\n"].concat())?;
            if out.is_full() {
                return Ok(());
            }
        }
    }
    Ok(())
}

/// A message of the machinery that stands in for one of the demo boat's, with as many frames.
fn of_machinery(pgn: u32) -> u32 {
    match pgn {
        // Heading: attitude. Position: rate of turn. Depth: speed through water. Whole fix: a maker's own message.
        127_250 => 127_257,
        129_025 => 127_251,
        128_267 => 128_259,
        129_029 => 126_720,
        other => other,
    }
}

/// A bus with `nodes` nodes: the demo boat's six as often as wanted, all but the first six as machinery, for no boat has
/// forty compasses. When they would fill the bus, time is stretched.
fn bus(out: &mut Out, nodes: usize, write: impl Fn(Time, &CanFrame) -> Vec<u8>) -> Result<(), Failure> {
    let (first, length_us, frames) = demo("two-headings.log.gz", |payload| match payload {
        Payload::Can(frame) => Some(frame.kept()),
        _ => None,
    })?;
    let mut addresses: Vec<u8> = frames.iter().map(|(_, frame)| CanId::from_bits(frame.id).source).collect();
    addresses.sort_unstable();
    addresses.dedup();
    let copies = nodes.div_ceil(NODES).clamp(1, 252 / NODES);
    let of_copy = |address: u8, copy: usize| match addresses.iter().position(|known| *known == address) {
        Some(at) => (copy * NODES + at) as u8,
        None => address,
    };
    let fps = frames.len() as f64 * copies as f64 / (length_us as f64 / 1e6);
    let stretch = (fps / BUSY_FPS).max(1.0);
    let mut free_us = first.0;
    for round in 0.. {
        for (after_us, frame) in &frames {
            let ready = (round * length_us + after_us) as f64 * stretch;
            for copy in 0..copies {
                let id = CanId::from_bits(frame.id);
                if round > 0 && id.pgn == 60_928 {
                    continue;
                }
                let destination =
                    if id.destination == GLOBAL { GLOBAL } else { of_copy(id.destination, copy) };
                let mut frame = *frame;
                let pgn = if copy == 0 { id.pgn } else { of_machinery(id.pgn) };
                frame.id = CanId { source: of_copy(id.source, copy), destination, pgn, ..id }.to_bits();
                if id.pgn == 60_928
                    && let Some(byte) = frame.bytes.first_mut()
                {
                    // Another unit of the same kind: another identity number in its NAME.
                    *byte = byte.wrapping_add(copy as u8);
                }
                free_us = (free_us + FRAME_US).max(first.0 + ready as i64);
                out.write(&write(Time(free_us), &frame))?;
                if out.is_full() {
                    return Ok(());
                }
            }
        }
    }
    Ok(())
}

/// So many hosts that speak by turns, a thousand packets a second in all: datagrams to a group, one in five to a
/// neighbour alone, one in twenty a question for an address.
fn hosts_by_turns(out: &mut Out, hosts: usize) -> Result<(), Failure> {
    out.write(&pcap_header(1))?;
    let mac = |host: usize| [0x02, 0x4C, 0x45, 0x20, (host >> 8) as u8, host as u8];
    let ip = |host: usize| [10, 47, (host >> 8) as u8, host as u8];
    for count in 0_usize.. {
        let (host, round) = (count % hosts, count / hosts);
        let next = (host + 1) % hosts;
        let mut packet = Vec::new();
        if (round + host) % 20 == 7 {
            packet.extend([0xFF; 6]);
            packet.extend(mac(host));
            packet.extend([8, 6, 0, 1, 8, 0, 6, 4, 0, 1]);
            packet.extend(mac(host));
            packet.extend(ip(host));
            packet.extend([0; 6]);
            packet.extend(ip(next));
            packet.resize(60, 0);
        } else {
            let alone = (round + host) % 5 == 3;
            packet.extend(if alone { mac(next) } else { [1, 0, 0x5E, 0x7E, 7, 2] });
            packet.extend(mac(host));
            packet.extend([8, 0]);
            datagram(&mut packet, ip(host), if alone { ip(next) } else { [239, 254, 7, 2] }, count as u32);
        }
        out.write(&packet_record(Time(1_778_308_200_000_000 + count as i64 * 1000), &packet))?;
        if out.is_full() {
            return Ok(());
        }
    }
    Ok(())
}

/// An IPv4 header with a datagram of 100 bytes that begins with `count`; the datagram has no checksum (RFC 768).
fn datagram(packet: &mut Vec<u8>, from: [u8; 4], to: [u8; 4], count: u32) {
    const PAYLOAD: u8 = 100;
    let mut header = vec![0x45, 0, 0, 28 + PAYLOAD, (count >> 8) as u8, count as u8, 0, 0, 4, 17, 0, 0];
    header.extend(from);
    header.extend(to);
    let sum: u32 = header.as_chunks::<2>().0.iter().map(|pair| u32::from(u16::from_be_bytes(*pair))).sum();
    let folded = (sum & 0xFFFF) + (sum >> 16);
    let check = !(((folded & 0xFFFF) + (folded >> 16)) as u16);
    if let Some(place) = header.get_mut(10..12) {
        place.copy_from_slice(&check.to_be_bytes());
    }
    packet.extend(header);
    for field in [51_402_u16, 51_402, 8 + u16::from(PAYLOAD), 0] {
        packet.extend(field.to_be_bytes());
    }
    packet.extend([0xD1, 0x5B, 1, 0]);
    packet.extend(count.to_be_bytes());
    packet.extend((8..PAYLOAD).map(|index| index.wrapping_mul(7)));
}

/// A pcap header (little endian, microseconds) of packets of link type `link`.
fn pcap_header(link: u32) -> Vec<u8> {
    words(&[0xA1B2_C3D4, 0x0004_0002, 0, 0, 65_535, link])
}

/// Numbers as they stand in a file, little endian.
fn words(fields: &[u32]) -> Vec<u8> {
    fields.iter().flat_map(|field| field.to_le_bytes()).collect()
}

fn packet_record(time: Time, packet: &[u8]) -> Vec<u8> {
    let (seconds, micros) = (time.0.div_euclid(1_000_000) as u32, time.0.rem_euclid(1_000_000) as u32);
    let length = packet.len() as u32;
    let mut record = words(&[seconds, micros, length, length]);
    record.extend(packet);
    record
}

/// A pcapng section of one interface (microseconds) of link type `link`.
fn pcapng_header(link: u32) -> Vec<u8> {
    words(&[0x0A0D_0D0A, 28, 0x1A2B_3C4D, 1, u32::MAX, u32::MAX, 28, 1, 20, link, 0, 20])
}

/// An enhanced packet block of a pcapng.
fn packet_block(time: Time, packet: &[u8]) -> Vec<u8> {
    let micros = time.0.cast_unsigned();
    let length = packet.len() as u32;
    let total = 32 + length.next_multiple_of(4);
    let mut block = words(&[6, total, 0, (micros >> 32) as u32, micros as u32, length, length]);
    block.extend(packet);
    block.resize(total as usize - 4, 0);
    block.extend(total.to_le_bytes());
    block
}
