//! The floors that the report's time is measured against: the least that anyone could do with the same file.
//!
//! `floor ethernet|pcapng|socketcan|can-log|line-log FILE` walks the file once, in one thread, and prints what it counted, so
//! that no part of the work can be left out.
//!
//! - `ethernet`, `pcapng`: a walk with pcap-parser that slices every packet with etherparse and sums lengths;
//! - `socketcan`: a walk over the records of a pcap that takes the identifier only;
//! - `can-log`: a split into lines that reads identifier and data from the hex;
//! - `line-log`: the crate `nmea` parses each line, without the time in front.

#![allow(clippy::print_stdout, reason = "a program for a terminal")]

use etherparse::{NetSlice, SlicedPacket, TransportSlice};
use pcap_parser::traits::PcapReaderIterator;
use pcap_parser::{Block, LegacyPcapReader, PcapBlockOwned, PcapError, PcapNGReader};
use std::error::Error;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};

type Failure = Box<dyn Error>;

/// Bytes that are read in one go.
const BUFFER: usize = 256 << 10;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [kind, file] = arguments.as_slice() else {
        return Err("usage: floor ethernet|pcapng|socketcan|can-log|line-log FILE".into());
    };
    let file = File::open(file)?;
    let (frames, sum) = match kind.as_str() {
        "ethernet" => ethernet(LegacyPcapReader::new(BUFFER, file)?)?,
        "pcapng" => ethernet(PcapNGReader::new(BUFFER, file)?)?,
        "socketcan" => socketcan(file)?,
        "can-log" => can_log(file)?,
        "line-log" => line_log(file)?,
        _ => return Err(format!("{kind} is no kind of recording that is walked here").into()),
    };
    println!("{frames} frames, sum {sum}");
    Ok(())
}

fn ethernet(mut reader: impl PcapReaderIterator) -> Result<(u64, u64), Failure> {
    let (mut frames, mut sum) = (0, 0);
    loop {
        match reader.next() {
            Ok((offset, block)) => {
                let packet = match block {
                    PcapBlockOwned::Legacy(packet) => Some(packet.data),
                    PcapBlockOwned::NG(Block::EnhancedPacket(packet)) => {
                        packet.data.get(..packet.caplen as usize)
                    }
                    _ => None,
                };
                if let Some(packet) = packet {
                    frames += 1;
                    sum += lengths(packet);
                }
                reader.consume(offset);
            }
            Err(PcapError::Eof | PcapError::UnexpectedEof) => return Ok((frames, sum)),
            Err(PcapError::Incomplete(_)) => {
                reader.refill().map_err(|_| "the file cannot be read on")?;
            }
            Err(_) => return Err("the file is damaged".into()),
        }
    }
}

/// Lengths of the layers of one packet.
fn lengths(bytes: &[u8]) -> u64 {
    let Ok(packet) = SlicedPacket::from_ethernet(bytes) else { return bytes.len() as u64 };
    let net = match &packet.net {
        Some(NetSlice::Ipv4(ip)) => ip.payload().payload.len(),
        Some(NetSlice::Ipv6(ip)) => ip.payload().payload.len(),
        _ => 0,
    };
    let transport = match &packet.transport {
        Some(TransportSlice::Udp(udp)) => udp.payload().len(),
        Some(TransportSlice::Tcp(tcp)) => tcp.payload().len(),
        _ => 0,
    };
    (bytes.len() + net + transport) as u64
}

fn socketcan(mut file: File) -> Result<(u64, u64), Failure> {
    file.read_exact(&mut [0; 24])?;
    let (mut frames, mut sum) = (0_u64, 0_u64);
    let (mut bytes, mut filled) = (vec![0; BUFFER], 0);
    loop {
        let read = file.read(bytes.get_mut(filled..).unwrap_or_default())?;
        if read == 0 {
            return Ok((frames, sum));
        }
        filled += read;
        let used = identifiers(bytes.get(..filled).unwrap_or_default(), &mut frames, &mut sum);
        bytes.copy_within(used..filled, 0);
        filled -= used;
    }
}

/// Sums the identifiers of the whole records in `bytes`; gives the bytes that they take.
fn identifiers(bytes: &[u8], frames: &mut u64, sum: &mut u64) -> usize {
    let mut at = 0;
    while let Some((header, rest)) = bytes.get(at..).and_then(|rest| rest.split_first_chunk::<16>()) {
        let [.., a, b, c, d, _, _, _, _] = *header;
        let length = u32::from_le_bytes([a, b, c, d]) as usize;
        let Some(id) = rest.get(..length).and_then(|packet| packet.first_chunk::<4>()) else { break };
        *frames += 1;
        *sum = sum.wrapping_add(u64::from(u32::from_be_bytes(*id) & 0x1FFF_FFFF));
        at += 16 + length;
    }
    at
}

fn can_log(file: File) -> Result<(u64, u64), Failure> {
    let mut input = BufReader::with_capacity(BUFFER, file);
    let (mut frames, mut sum, mut line) = (0, 0_u64, Vec::new());
    while next_line(&mut input, &mut line)? {
        let Some(at) = memchr::memchr(b'#', &line) else { continue };
        let (before, data) = line.split_at(at);
        let id = before.iter().rev().take(8).rev().fold(0, |id, byte| id << 4 | u64::from(digit(*byte)));
        let data = data.get(1..).unwrap_or_default().as_chunks::<2>().0;
        let bytes = data.iter().map(|[high, low]| u64::from(digit(*high) << 4 | digit(*low)));
        sum = sum.wrapping_add(id).wrapping_add(bytes.sum());
        frames += 1;
    }
    Ok((frames, sum))
}

fn digit(byte: u8) -> u8 {
    match byte {
        b'0'..=b'9' => byte - b'0',
        b'A'..=b'F' => byte - b'A' + 10,
        b'a'..=b'f' => byte - b'a' + 10,
        _ => 0,
    }
}

fn line_log(file: File) -> Result<(u64, u64), Failure> {
    let mut input = BufReader::with_capacity(BUFFER, file);
    let (mut frames, mut sum, mut line) = (0, 0, Vec::new());
    while next_line(&mut input, &mut line)? {
        let Some(at) = memchr::memchr(b'$', &line) else { continue };
        let sentence = std::str::from_utf8(line.get(at..).unwrap_or_default())?;
        frames += 1;
        sum += u64::from(nmea::parse_str(sentence).is_ok());
    }
    Ok((frames, sum))
}

/// The next line without its end; `false` at the end of the file.
fn next_line(input: &mut impl BufRead, line: &mut Vec<u8>) -> Result<bool, Failure> {
    line.clear();
    let read = input.read_until(b'\n', line)?;
    while line.last().is_some_and(|byte| matches!(byte, b'\r' | b'\n')) {
        line.pop();
    }
    Ok(read > 0)
}
