//! Makers of hostile files: as streams, so that a gigabyte of them takes no memory, and small ones whole.

use std::io::Read;

/// A stream made piece by piece: the `n`-th piece is what `make` gives for `n`, until it gives none.
pub(crate) struct Made<F> {
    make: F,
    next: u64,
    piece: Vec<u8>,
    at: usize,
}

impl<F: FnMut(u64, &mut Vec<u8>) -> bool> Read for Made<F> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        while self.at == self.piece.len() {
            self.piece.clear();
            self.at = 0;
            if !(self.make)(self.next, &mut self.piece) {
                return Ok(0);
            }
            self.next += 1;
        }
        let n = out.len().min(self.piece.len() - self.at);
        out[..n].copy_from_slice(&self.piece[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

/// `head`, then `count` pieces.
pub(crate) fn made(
    head: Vec<u8>,
    count: u64,
    mut piece: impl FnMut(u64, &mut Vec<u8>) + Send + 'static,
) -> Box<dyn Read + Send> {
    let pieces = Made {
        make: move |n, out: &mut Vec<u8>| {
            if n < count {
                piece(n, out);
            }
            n < count
        },
        next: 0,
        piece: Vec::new(),
        at: 0,
    };
    Box::new(std::io::Cursor::new(head).chain(pieces))
}

/// Microseconds of the first record: 2026-01-01.
pub(crate) const START_US: u64 = 1_767_225_600_000_000;

/// A pcap header, little endian, microseconds.
pub(crate) fn pcap_head(link: u32) -> Vec<u8> {
    let mut out = 0xA1B2_C3D4_u32.to_le_bytes().to_vec();
    out.extend([2, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0, 0]);
    out.extend(link.to_le_bytes());
    out
}

/// A pcap record of a whole packet, `us` after the start.
pub(crate) fn pcap_record(out: &mut Vec<u8>, us: u64, packet: &[u8]) {
    let at = START_US + us;
    let len = packet.len() as u32;
    for word in [(at / 1_000_000) as u32, (at % 1_000_000) as u32, len, len] {
        out.extend(word.to_le_bytes());
    }
    out.extend(packet);
}

/// A pcap file of whole packets, a millisecond apart.
pub(crate) fn pcap(link: u32, packets: impl IntoIterator<Item = Vec<u8>>) -> Vec<u8> {
    let mut out = pcap_head(link);
    for (n, packet) in packets.into_iter().enumerate() {
        pcap_record(&mut out, n as u64 * 1000, &packet);
    }
    out
}

/// A locally administered MAC address with this number.
pub(crate) fn mac(n: u64) -> [u8; 6] {
    let b = n.to_be_bytes();
    [0x02 | b[2], b[3], b[4], b[5], b[6], b[7]]
}

/// An Ethernet frame.
pub(crate) fn ethernet(from: u64, to: [u8; 6], kind: u16, payload: &[u8]) -> Vec<u8> {
    let mut out = to.to_vec();
    out.extend(mac(from));
    out.extend(kind.to_be_bytes());
    out.extend(payload);
    out
}

/// The Internet checksum (RFC 1071).
fn checksum(bytes: &[u8], mut sum: u32) -> u16 {
    for pair in bytes.chunks(2) {
        sum += u32::from(pair[0]) << 8 | u32::from(pair.get(1).copied().unwrap_or(0));
    }
    while sum > 0xFFFF {
        sum = (sum >> 16) + (sum & 0xFFFF);
    }
    !(sum as u16)
}

/// An IPv4 packet (RFC 791); `fragment` is identification, offset in bytes, and whether more follow.
pub(crate) fn ipv4(from: u32, to: u32, protocol: u8, fragment: (u16, u16, bool), payload: &[u8]) -> Vec<u8> {
    let mut out = vec![0x45, 0];
    out.extend((payload.len() as u16 + 20).to_be_bytes());
    out.extend(fragment.0.to_be_bytes());
    out.extend(((fragment.1 / 8) | (u16::from(fragment.2) << 13)).to_be_bytes());
    out.extend([64, protocol, 0, 0]);
    out.extend(from.to_be_bytes());
    out.extend(to.to_be_bytes());
    let sum = checksum(&out, 0).to_be_bytes();
    out[10..12].copy_from_slice(&sum);
    out.extend(payload);
    out
}

/// A UDP datagram without checksum (RFC 768).
pub(crate) fn udp(from: u16, to: u16, payload: &[u8]) -> Vec<u8> {
    let mut out = [from.to_be_bytes(), to.to_be_bytes(), (payload.len() as u16 + 8).to_be_bytes()].concat();
    out.extend([0, 0]);
    out.extend(payload);
    out
}

/// A TCP segment in an IPv4 packet (RFC 9293), checksum included.
pub(crate) fn tcp(ips: (u32, u32), ports: (u16, u16), seq: u32, flags: u8, payload: &[u8]) -> Vec<u8> {
    let mut out = [ports.0.to_be_bytes(), ports.1.to_be_bytes()].concat();
    out.extend(seq.to_be_bytes());
    out.extend([0, 0, 0, 1, 0x50, flags, 0xFF, 0xFF, 0, 0, 0, 0]);
    out.extend(payload);
    let words = [ips.0 >> 16, ips.0 & 0xFFFF, ips.1 >> 16, ips.1 & 0xFFFF, 6, out.len() as u32];
    let sum = checksum(&out, words.iter().sum()).to_be_bytes();
    out[16..18].copy_from_slice(&sum);
    ipv4(ips.0, ips.1, 6, (0, 0, false), &out)
}

/// The broadcast address.
pub(crate) const ALL: [u8; 6] = [0xFF; 6];

/// A pcapng block, little endian.
pub(crate) fn block(kind: u32, body: &[u8]) -> Vec<u8> {
    let padded = body.len().next_multiple_of(4);
    let total = (padded as u32 + 12).to_le_bytes();
    let mut out = kind.to_le_bytes().to_vec();
    out.extend(total);
    out.extend(body);
    out.resize(8 + padded, 0);
    out.extend(total);
    out
}

/// A pcapng section header.
pub(crate) fn section() -> Vec<u8> {
    block(0x0A0D_0D0A, &[&[0x4D, 0x3C, 0x2B, 0x1A, 1, 0, 0, 0][..], &[0xFF; 8]].concat())
}

/// A pcapng interface of this link type with raw options.
pub(crate) fn interface(link: u16, snaplen: u32, options: &[u8]) -> Vec<u8> {
    block(1, &[&link.to_le_bytes()[..], &[0, 0], &snaplen.to_le_bytes(), options].concat())
}

/// A pcapng packet of this interface, `ticks` since 1970.
pub(crate) fn enhanced(interface: u32, ticks: u64, packet: &[u8]) -> Vec<u8> {
    let len = packet.len() as u32;
    let words = [interface, (ticks >> 32) as u32, ticks as u32, len, len];
    let mut body: Vec<u8> = words.iter().flat_map(|word| word.to_le_bytes()).collect();
    body.extend(packet);
    block(6, &body)
}

/// A 29-bit CAN frame as a SocketCAN packet (the linktype's registry page): identifier in network order.
pub(crate) fn can(priority: u32, pgn: u32, source: u8, data: &[u8]) -> Vec<u8> {
    let id = 0x8000_0000 | priority << 26 | pgn << 8 | u32::from(source);
    let mut out = id.to_be_bytes().to_vec();
    out.extend([data.len() as u8, 0, 0, 0]);
    out.extend(data);
    out
}

/// Link type of SocketCAN packets.
pub(crate) const CAN: u32 = 227;

/// A 0183 sentence with its checksum, and the line end.
pub(crate) fn sentence(body: &str) -> String {
    let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${body}*{sum:02X}\r\n")
}
