//! What the hosts of the boat's Ethernet have to tell each other.

use crate::demo::boat::{State, VARIATION_DEG, Voyage};
use crate::demo::network::Host;
use crate::demo::nmea0183_encode as encode;
use crate::demo::rng::Rng;
use crate::demo::sensors::{Compass, CompassFault, Receiver, SounderFault, depth, moment, water_celsius};

/// The sensors behind the hosts.
#[derive(Debug)]
pub(super) struct Data {
    compass: Compass,
    receiver: Receiver,
    noise: Rng,
}

impl Data {
    /// The sensors of a recording that lasts `seconds`.
    pub(super) fn new(seed: u64, seconds: f64) -> Self {
        Self {
            compass: Compass::new(seed, "network compass", CompassFault::default(), seconds),
            receiver: Receiver::new(seed, "network receiver", 0.0, seconds),
            noise: Rng::stream(seed, "network noise"),
        }
    }

    /// The console's 0183 sentences: heading, now and then with depth and water temperature.
    pub(super) fn sentences(&mut self, voyage: &Voyage, t: f64, with_depth: bool) -> Vec<u8> {
        let mut text = encode::hdg("II", self.compass.magnetic_deg(voyage, t)) + "\r\n";
        if with_depth {
            let m = depth(&voyage.at(t), t, SounderFault::None, &mut self.noise).unwrap_or_default();
            text += &(encode::dpt("II", m, 0.3) + "\r\n");
            text += &(encode::mtw("II", water_celsius(t, &mut self.noise)) + "\r\n");
        }
        text.into_bytes()
    }

    /// The gateway's 0183 sentences of a whole second.
    pub(super) fn position(&self, voyage: &Voyage, second: f64) -> Vec<u8> {
        let state = voyage.at(second);
        let (time, at) = (moment(second), self.receiver.place(&state, second));
        let (course_deg, kn) = self.receiver.course_speed(&state, second);
        let rmc = encode::rmc("GP", time, at, kn, course_deg, VARIATION_DEG);
        format!("{rmc}\r\n{}\r\n", encode::gga("GP", time, at, self.receiver.hdop(second))).into_bytes()
    }

    /// What one display tells the other, in a form of its own: a mark, a counter, and settings that stay.
    pub(super) fn display(host: Host, count: u32) -> Vec<u8> {
        let length: u8 = if host == Host::Console { 110 } else { 78 };
        let mut bytes = vec![0xD1, 0x5B, 0x01, 0x00];
        bytes.extend(count.to_le_bytes());
        bytes.extend((0..length).map(|index| index.wrapping_mul(7) ^ 0x5A));
        bytes
    }

    /// A line of the sounder's picture: a mark, a counter, and one byte of echo strength for each decimetre.
    pub(super) fn picture(&mut self, state: &State, count: u32) -> Vec<u8> {
        let bottom = state.depth_m() * 10.0;
        let mut bytes = vec![0x50, 0x1C, 0x02, 0x00];
        bytes.extend(count.to_le_bytes());
        bytes.extend((0..160).map(|decimetre| {
            let below = f64::from(decimetre) - bottom;
            if below >= 0.0 { (200.0 - 6.0 * below).max(20.0) as u8 } else { 0 }
        }));
        // One fish.
        if let Some(byte) = bytes.get_mut(8 + (self.noise.bits() % 40) as usize) {
            *byte = 90;
        }
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depth_comes_only_when_asked() {
        let (voyage, mut data) = (Voyage::new(1), Data::new(1, 300.0));
        let plain = String::from_utf8(data.sentences(&voyage, 9.0, false)).unwrap();
        assert!(plain.starts_with("$IIHDG,") && plain.matches("\r\n").count() == 1, "{plain}");
        let full = String::from_utf8(data.sentences(&voyage, 9.0, true)).unwrap();
        assert!(full.contains("$IIDPT,") && full.ends_with("\r\n") && full.matches('$').count() == 3);
    }

    #[test]
    fn the_displays_own_messages_are_no_sentences() {
        for bytes in [Data::display(Host::Bow, 1), Data::new(1, 9.0).picture(&State::default(), 1)] {
            assert!(!bytes.starts_with(b"$") && bytes.len() > 80);
        }
    }
}
