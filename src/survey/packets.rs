//! Packets that lie ready into the books: as many as there are of a network, in a loop of their own.

use super::Intake;
use super::packet::Tables;
use super::taking::Taken;
use super::window::Window;
use crate::books::wires::{Wire, WireId};
use crate::recording::{Packets, ReadyPacket};
use crate::time::Time;

impl Intake {
    /// Takes in packets of a recording's wire, as far as they are asked for.
    #[inline(never)]
    pub(super) fn packets(
        &mut self,
        number: usize,
        wire: WireId,
        packets: &mut Packets<'_>,
        window: &mut Window<'_>,
        taken: &mut Taken,
    ) {
        let crowded = self.is_crowded();
        let mut tables = self.tables(wire);
        self.place.1 = number as u32;
        loop {
            if crowded {
                self.look_ahead(&tables.doubles, wire, packets.coming());
            }
            let Some(packet) = packets.next() else { break };
            if window.holds(packet.time) {
                taken.note(1, packet.time, packet.time);
                self.place.0 += 1;
                let time = self.running(wire, packet.time);
                self.packet(&mut tables, (wire, time), &packet);
            }
        }
        self.followed.put_back(wire, tables);
    }

    /// Takes in one packet of a wire at this moment.
    #[inline(never)]
    pub(super) fn packet_alone(&mut self, wire: WireId, time: Option<Time>, packet: &ReadyPacket<'_>) {
        let mut tables = self.tables(wire);
        self.packet(&mut tables, (wire, time), packet);
        self.followed.put_back(wire, tables);
    }

    /// The moment of a stamp of a wire in running time.
    #[inline(always)]
    pub(super) fn running(&mut self, wire: WireId, stamp: Option<Time>) -> Option<Time> {
        let latest = self.books.wires.get(wire).and_then(Wire::ended);
        self.books.rewinds.running(stamp, latest)
    }

    /// What is remembered of a network, to be [put back](super::followed::Followed::put_back).
    fn tables(&mut self, wire: WireId) -> Box<Tables> {
        let (tables, given_up) = self.followed.take(wire);
        if let Some((other, tables)) = given_up {
            self.settle_network(other, tables);
        }
        tables
    }
}

#[cfg(test)]
mod tests {
    use super::super::alike::{part, reports, step, window};
    use etherparse::PacketBuilder;
    use proptest::prelude::*;

    /// The stamp of the first packet, microseconds.
    const BEGIN_US: i64 = 1_700_000_000_000_000;

    /// A block of a pcapng around `body`.
    fn block(kind: u32, body: &[u32], bytes: &[u8]) -> Vec<u8> {
        let mut content = body.iter().flat_map(|word| word.to_le_bytes()).collect::<Vec<_>>();
        content.extend(bytes);
        content.resize(content.len().next_multiple_of(4), 0);
        let total = (content.len() as u32 + 12).to_le_bytes();
        [&kind.to_le_bytes()[..], &total, &content, &total].concat()
    }

    /// One of a few kinds of packet: datagrams with sentences, with anything else, or something other than IP.
    fn packet(kind: u8, number: usize) -> Vec<u8> {
        let (host, number) = (kind % 3, number % 50);
        let mut bytes = Vec::new();
        let body = match kind {
            0..3 => format!("HCHDG,{number}.5,,,4.4,E"),
            3..6 => format!("SDDPT,{number}.2,0.5"),
            _ => {
                let from = [2, 0, 0, 0, 0, host];
                return [&[0xFF; 6][..], &from, &[0x88, 0xB5, kind, number as u8], &[0; 50]].concat();
            }
        };
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        PacketBuilder::ethernet2([2, 0, 0, 0, 0, host], [0x01, 0, 0x5E, 0, 0, 9])
            .ipv4([10, 47, 0, host], [239, 47, 0, 9], 4)
            .udp(2000, 10_110 + u16::from(kind == 5))
            .write(&mut bytes, format!("${body}*{sum:02X}\r\n").as_bytes())
            .unwrap();
        bytes
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        /// Packets in one loop tell what they do one by one, whatever order and interface they come in and on, and whatever part of
        /// them is asked for.
        #[test]
        fn one_loop_changes_nothing(
            packets in prop::collection::vec(
                (
                    step(),
                    0_u8..8,
                    prop_oneof![4 => Just(0_u32), 1 => Just(1)],
                    0..20_u32,
                ),
                2..400,
            ),
            window in window(),
        ) {
            let mut content = block(0x0A0D_0D0A, &[0x1A2B_3C4D, 1, u32::MAX, u32::MAX], &[]);
            content.extend([block(1, &[1, 0], &[]), block(1, &[1, 0], &[])].concat());
            let mut us = BEGIN_US;
            for (number, (step, kind, interface, cut)) in packets.iter().enumerate() {
                us += step;
                let packet = packet(*kind, number);
                let captured = packet.len() - if *cut == 0 { 9 } else { 0 };
                let head = [*interface, (us >> 32) as u32, us as u32, captured as u32, packet.len() as u32];
                content.extend(block(6, &head, &packet[..captured]));
            }
            let (ahead, on) = reports(&content, &part(BEGIN_US, window));
            prop_assert!(window.is_some() || ahead.contains("\"mac\""));
            prop_assert_eq!(ahead, on);
        }
    }
}
