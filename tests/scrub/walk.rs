//! Everything that the reader can see in a recording, piece by piece.

use leadsman::frames::{Content, LineSplitter, Transport, datagram_lines, looks_like_lines, parse};
use leadsman::messages::n2k::{Assembler, CanId};
use leadsman::recording::{CanFrame, CanKind, Payload, can_line, open};
use std::collections::HashMap;
use std::net::IpAddr;

/// A piece of a recording's content.
#[derive(Clone, Copy)]
pub(crate) enum Piece<'a> {
    /// Bytes as they stand: a packet, a CAN frame's data.
    Raw(&'a [u8]),
    /// Addresses of a packet: hardware addresses, then IP addresses.
    Stations(&'a [[u8; 6]], &'a [IpAddr]),
    /// A whole N2K message.
    N2k(CanId, &'a [u8]),
    /// A line of a 0183 wire, a datagram or a stream.
    Line(&'a [u8]),
}

/// What must be remembered between one record and the next.
#[derive(Default)]
struct Walk {
    buses: HashMap<usize, Assembler>,
    carried: Assembler,
    streams: HashMap<(IpAddr, IpAddr, u16, u16), LineSplitter>,
}

/// Shows every piece of a recording to `see`.
pub(crate) fn walk(path: &str, see: &mut dyn FnMut(Piece<'_>)) {
    let mut recording = open(path).unwrap();
    let mut state = Walk::default();
    while recording.advance().unwrap() {
        let record = recording.record();
        match record.payload {
            Payload::Can(frame) => {
                frame_pieces(state.buses.entry(record.wire).or_default(), &frame.kept(), see)
            }
            Payload::Line(line) => see(Piece::Line(line)),
            Payload::Packet { link, bytes, original } => {
                see(Piece::Raw(bytes));
                let packet = parse(link, bytes, original);
                let mut macs: Vec<[u8; 6]> =
                    [packet.source, packet.destination].into_iter().flatten().map(|mac| mac.0).collect();
                let mut ips = Vec::new();
                match &packet.content {
                    Content::Arp(arp) => {
                        macs.push(arp.sender_mac.0);
                        ips.push(IpAddr::V4(arp.sender_ip));
                    }
                    Content::Ip(ip) => ips.extend([ip.source, ip.destination]),
                    _ => {}
                }
                see(Piece::Stations(&macs, &ips));
                if let Content::Ip(ip) = &packet.content {
                    let key = |a, b| (ip.source, ip.destination, a, b);
                    match ip.transport() {
                        Transport::Udp(udp) if looks_like_lines(udp.payload) => {
                            datagram_lines(udp.payload).for_each(|line| state.carried_line(line, see));
                        }
                        Transport::Tcp(tcp) => {
                            let mut lines = Vec::new();
                            let key = key(tcp.source_port, tcp.destination_port);
                            let splitter = state.streams.entry(key).or_default();
                            splitter.push(tcp.payload, |line| lines.push(line.to_vec()));
                            lines.iter().for_each(|line| state.carried_line(line, see));
                        }
                        _ => {}
                    }
                }
            }
            Payload::Other => {}
        }
    }
}

impl Walk {
    fn carried_line(&mut self, line: &[u8], see: &mut dyn FnMut(Piece<'_>)) {
        match can_line(line) {
            Some(frame) => frame_pieces(&mut self.carried, &frame, see),
            None => see(Piece::Line(line)),
        }
    }
}

fn frame_pieces(bus: &mut Assembler, frame: &CanFrame, see: &mut dyn FnMut(Piece<'_>)) {
    see(Piece::Raw(frame.data()));
    if frame.kind == CanKind::Extended {
        let id = CanId::from_bits(frame.id);
        if id.pgn == 60_928 {
            see(Piece::N2k(id, frame.data()));
        }
        bus.push(None, id, frame.data(), &mut |message| see(Piece::N2k(message.id, message.data)));
    }
}
