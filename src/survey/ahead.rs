//! A look ahead where there are thousands of hosts: what the packets that come will need is fetched from memory meanwhile
//! (see [`crate::soon`]).

use super::Intake;
use crate::books::inventory::DeviceId;
use crate::books::wires::WireId;
use crate::frames::{Doubles, Macs};
use crate::recording::{Coming, LinkType};

/// Hosts whose accounts lie in a processor's own cache, where looking ahead costs more than it saves: some 600 bytes each are
/// in use.
const CROWD: usize = 512;

/// How many records before its own turn a packet's hosts are looked up and their accounts fetched; its head is fetched as long
/// before that.
const BEFORE: usize = 12;

/// How many records before its own turn what lies behind the accounts is fetched.
const BEHIND: usize = 4;

/// Hosts that were looked up of late.
#[derive(Default)]
pub(super) struct Outlook {
    senders: [Option<DeviceId>; BEFORE - BEHIND],
    /// Where the next one comes to stand.
    next: usize,
}

impl Outlook {
    /// Notes the sender of a packet, and gives that of a packet `BEFORE - BEHIND` earlier.
    #[inline(always)]
    fn turn(&mut self, sender: DeviceId) -> Option<DeviceId> {
        self.next = (self.next + 1) % (BEFORE - BEHIND);
        self.senders.get_mut(self.next)?.replace(sender)
    }
}

impl Intake {
    /// Whether there are so many hosts that their accounts lie in no processor's own cache.
    pub(super) fn is_crowded(&self) -> bool {
        self.books.inventory.hosts() > CROWD
    }

    /// Fetches what the booking of packets to come will need, also of their network's doubles.
    #[inline(never)]
    pub(super) fn look_ahead(&mut self, doubles: &Doubles, wire: WireId, coming: Coming<'_>) {
        coming.fetch(2 * BEFORE);
        let Some((LinkType::Ethernet, bytes, likeness)) = coming.packet(BEFORE) else { return };
        doubles.fetch(likeness);
        let hosts = Macs::of(bytes).and_then(|macs| self.books.inventory.known_hosts(wire, macs));
        let Some((sender, receiver)) = hosts else { return };
        self.books.fetch_sender(wire, sender);
        if let Some(receiver) = receiver {
            self.books.fetch_receiver(wire, receiver);
        }
        if let Some(earlier) = self.outlook.turn(sender) {
            self.books.fetch_behind(wire, earlier);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Options;
    use super::super::alike::reports;

    /// A capture in which so many hosts speak by turns, to each other and to a group.
    fn capture(hosts: u16, packets: u32) -> Vec<u8> {
        let mut file = [0xA1B2_C3D4_u32, 0x0004_0002, 0, 0, 0xFFFF, 1].map(u32::to_le_bytes).concat();
        let mac = |host: u16| [2, 0, 0, 0, (host >> 8) as u8, host as u8];
        for number in 0..packets {
            let host = (number % u32::from(hosts)) as u16;
            let (to, to_ip) = match number % 5 {
                0 => (mac((host + 1) % hosts), [10, 47, 1, 1]),
                _ => ([0x01, 0, 0x5E, 0x7E, 7, 2], [239, 254, 7, 2]),
            };
            let [_, _, high, low] = u32::from(host).to_be_bytes();
            let mut packet = [to, mac(host)].concat();
            packet.extend([8, 0, 0x45, 0, 0, 40, 0, 7, 0x40, 0, 64, 17, 0, 0, 10, 47, high, low]);
            packet.extend(to_ip);
            packet.extend([0x07, 0xD0, 0x27, 0x7E, 0, 20, 0, 0]);
            packet.extend(number.to_be_bytes().repeat(3));
            let us = number * 970;
            let len = packet.len() as u32;
            file.extend(
                [1_700_000_000 + us / 1_000_000, us % 1_000_000, len, len].map(u32::to_le_bytes).concat(),
            );
            file.extend(packet);
        }
        file
    }

    #[test]
    fn looking_ahead_changes_nothing() {
        let (ahead, on) = reports(&capture(700, 20_000), &Options::default());
        assert!(ahead == on);
        let devices = ahead.matches("\"mac\":").count();
        assert!(devices >= 700, "{devices}");
    }
}
