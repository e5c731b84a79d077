//! Writes NMEA 2000 messages: identifiers, fast packets and the fields of the messages that the demo boat sends.
//!
//! Written from the field tables of the standard, apart from the reading side, so that the two check each other.

use crate::recording::{CanFrame, CanKind};
use crate::units::{KNOTS_PER_M_S, Place, wrap_180, wrap_360};

/// A message before it is cut into frames.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Message {
    /// Priority 0 (most urgent) to 7.
    pub(super) priority: u32,
    /// Parameter group number.
    pub(super) pgn: u32,
    /// Destination for an addressed group, 255 for everyone.
    pub(super) to: u8,
    /// Whether the group is sent as a fast packet.
    pub(super) fast: bool,
    /// Its bytes.
    pub(super) payload: Vec<u8>,
}

impl Message {
    fn single(priority: u32, pgn: u32, payload: Vec<u8>) -> Self {
        Self { priority, pgn, to: 255, fast: false, payload }
    }

    fn fast(priority: u32, pgn: u32, payload: Vec<u8>) -> Self {
        Self { fast: true, ..Self::single(priority, pgn, payload) }
    }

    /// The same message to one address.
    pub(super) fn to(self, address: u8) -> Self {
        Self { to: address, ..self }
    }

    /// The message's CAN frames as the device at `source` sends them; `sequence` is the fast packet counter.
    ///
    /// Source: ISO 11783-3 5.2 (identifier), NMEA 2000 fast packet clause.
    pub(super) fn frames(&self, source: u8, sequence: u8) -> Vec<CanFrame> {
        // Below 240 the format byte makes the group an addressed one (PDU1).
        let specific = if (self.pgn >> 8) & 0xFF < 240 { u32::from(self.to) << 8 } else { 0 };
        let id = self.priority << 26 | self.pgn << 8 | specific | u32::from(source);
        if !self.fast {
            return vec![CanFrame::new(id, CanKind::Extended, &self.payload)];
        }
        let mut bytes = vec![self.payload.len() as u8];
        bytes.extend(&self.payload);
        let mut frames = Vec::new();
        for (counter, chunk) in bytes.chunks(7).enumerate() {
            let mut data = vec![sequence << 5 | counter as u8];
            data.extend(chunk);
            data.resize(8, 0xFF);
            frames.push(CanFrame::new(id, CanKind::Extended, &data));
        }
        frames
    }
}

/// A device's NAME (ISO 11783-5 clause 4), marine industry group, self-configurable.
pub(super) fn name(unique: u32, manufacturer: u16, function: u8, class: u8) -> u64 {
    u64::from(unique & 0x1F_FFFF)
        | u64::from(manufacturer & 0x7FF) << 21
        | u64::from(function) << 40
        | u64::from(class) << 49
        | 4 << 60
        | 1 << 63
}

/// PGN 60928: this NAME claims the address that it is sent from.
pub(super) fn address_claim(name: u64) -> Message {
    Message::single(6, 60928, name.to_le_bytes().to_vec())
}

/// PGN 59904: asks for a group.
pub(super) fn request(pgn: u32) -> Message {
    Message::single(6, 59904, pgn.to_le_bytes().into_iter().take(3).collect())
}

/// PGN 126993: still here. The interval of 60 s in units of 1 ms; controller error active, equipment operational.
pub(super) fn heartbeat(counter: u8) -> Message {
    let mut p = 60_000_u16.to_le_bytes().to_vec();
    p.extend([counter, 0xCC, 0xFF, 0xFF, 0xFF, 0xFF]);
    Message::single(7, 126_993, p)
}

/// PGN 126996: who this is. `load` is the load equivalency number (1 is 50 mA).
pub(super) fn product(code: u16, model: &str, software: &str, serial: &str, load: u8) -> Message {
    let mut p = 2100_u16.to_le_bytes().to_vec();
    p.extend(code.to_le_bytes());
    for text in [model, software, "A", serial] {
        let mut field = text.as_bytes().to_vec();
        field.resize(32, 0xFF);
        p.extend(field);
    }
    p.extend([1, load]);
    Message::fast(6, 126_996, p)
}

/// PGN 126992: date and time of day, from GNSS.
pub(super) fn system_time(sid: u8, days: u16, of_day_s: f64) -> Message {
    let mut p = vec![sid, 0xF0];
    p.extend(days.to_le_bytes());
    p.extend(scaled(of_day_s, 1e-4).to_le_bytes());
    Message::single(3, 126_992, p)
}

/// PGN 127250: magnetic heading without deviation or variation.
pub(super) fn magnetic_heading(sid: u8, deg: f64) -> Message {
    let mut p = vec![sid];
    p.extend(angle(deg).to_le_bytes());
    p.extend([0xFF, 0x7F, 0xFF, 0x7F, 0xFD]);
    Message::single(2, 127_250, p)
}

/// PGN 127251: rate of turn.
pub(super) fn rate_of_turn(sid: u8, deg_s: f64) -> Message {
    let mut p = vec![sid];
    p.extend(((deg_s.to_radians() / 3.125e-8).round() as i32).to_le_bytes());
    p.extend([0xFF; 3]);
    Message::single(2, 127_251, p)
}

/// PGN 127258: magnetic variation, by the World Magnetic Model 2025.
pub(super) fn variation(sid: u8, days: u16, deg: f64) -> Message {
    let mut p = vec![sid, 0xF9];
    p.extend(days.to_le_bytes());
    p.extend(((wrap_180(deg).to_radians() / 1e-4).round() as i16).to_le_bytes());
    p.extend([0xFF; 2]);
    Message::single(6, 127_258, p)
}

/// PGN 127488: engine speed.
pub(super) fn engine_speed(rpm: f64) -> Message {
    let mut p = vec![0];
    p.extend(((rpm / 0.25).round() as u16).to_le_bytes());
    p.extend([0xFF, 0xFF, 0x7F, 0xFF, 0xFF]);
    Message::single(2, 127_488, p)
}

/// PGN 127508: battery voltage.
pub(super) fn battery(sid: u8, volts: f64) -> Message {
    let mut p = vec![0];
    p.extend(((volts / 0.01).round() as i16).to_le_bytes());
    p.extend([0xFF, 0x7F, 0xFF, 0xFF, sid]);
    Message::single(6, 127_508, p)
}

/// PGN 128259: speed through the water, paddle wheel.
pub(super) fn water_speed(sid: u8, kn: Option<f64>) -> Message {
    let mut p = vec![sid];
    p.extend(kn.map_or(u16::MAX, |kn| (kn / KNOTS_PER_M_S / 0.01).round() as u16).to_le_bytes());
    p.extend([0xFF, 0xFF, 0x00, 0xFF, 0xFF]);
    Message::single(2, 128_259, p)
}

/// PGN 128267: depth below the transducer (`None`: not available), with the offset to the waterline.
pub(super) fn depth(sid: u8, m: Option<f64>, offset_m: f64) -> Message {
    let mut p = vec![sid];
    p.extend(m.map_or(u32::MAX, |m| scaled(m, 0.01)).to_le_bytes());
    p.extend(((offset_m / 0.001).round() as i16).to_le_bytes());
    p.push(0xFF);
    Message::single(3, 128_267, p)
}

/// PGN 130312: water temperature (`None`: not available).
pub(super) fn water_temperature(sid: u8, celsius: Option<f64>) -> Message {
    let mut p = vec![sid, 0, 0];
    p.extend(celsius.map_or(u16::MAX, |c| ((c + 273.15) / 0.01).round() as u16).to_le_bytes());
    p.extend([0xFF; 3]);
    Message::single(5, 130_312, p)
}

/// PGN 129025: position, ten times a second.
pub(super) fn position_rapid(at: Place) -> Message {
    let mut p = ((at.lat_deg / 1e-7).round() as i32).to_le_bytes().to_vec();
    p.extend(((at.lon_deg / 1e-7).round() as i32).to_le_bytes());
    Message::single(2, 129_025, p)
}

/// PGN 129026: course over ground from true north, and speed.
pub(super) fn course_speed(sid: u8, course_deg: f64, kn: f64) -> Message {
    let mut p = vec![sid, 0xFC];
    p.extend(angle(course_deg).to_le_bytes());
    p.extend(((kn / KNOTS_PER_M_S / 0.01).round() as u16).to_le_bytes());
    p.extend([0xFF; 2]);
    Message::single(2, 129_026, p)
}

/// PGN 129029: the full fix: GPS with SBAS, 10 satellites, no reference station.
pub(super) fn gnss_position(sid: u8, days: u16, of_day_s: f64, at: Place, hdop: f64) -> Message {
    // Whole nanodegrees first: the field's 1e-16 degrees are finer than any machine's last bit.
    let degrees = |deg: f64| ((deg * 1e9).round() as i64).saturating_mul(10_000_000);
    let mut p = vec![sid];
    p.extend(days.to_le_bytes());
    p.extend(scaled(of_day_s, 1e-4).to_le_bytes());
    p.extend(degrees(at.lat_deg).to_le_bytes());
    p.extend(degrees(at.lon_deg).to_le_bytes());
    p.extend(1_200_000_i64.to_le_bytes());
    p.extend([0x13, 0xFD, 10]);
    p.extend(((hdop * 100.0).round() as i16).to_le_bytes());
    p.extend(((hdop * 180.0).round() as i16).to_le_bytes());
    p.extend((-1_840_i32).to_le_bytes());
    p.push(0);
    Message::fast(3, 129_029, p)
}

/// PGN 129539: dilution of precision, three-dimensional fix.
pub(super) fn dilution(sid: u8, hdop: f64) -> Message {
    let mut p = vec![sid, 0xD3];
    for share in [1.0, 1.5, 0.8] {
        p.extend(((hdop * share * 100.0).round() as i16).to_le_bytes());
    }
    Message::single(6, 129_539, p)
}

/// PGN 129540: satellites in view, each with number, elevation, azimuth and signal to noise ratio.
pub(super) fn satellites(sid: u8, sky: &[(u8, f64, f64, f64)]) -> Message {
    let mut p = vec![sid, 0xFF, sky.len() as u8];
    for &(number, elevation_deg, azimuth_deg, db) in sky {
        p.push(number);
        p.extend(angle(elevation_deg).to_le_bytes());
        p.extend(angle(azimuth_deg).to_le_bytes());
        p.extend(((db / 0.01).round() as u16).to_le_bytes());
        p.extend(i32::MAX.to_le_bytes());
        p.push(0xF2);
    }
    Message::fast(6, 129_540, p)
}

/// An angle of the circle in units of 1e-4 rad; a full circle is 0 again.
fn angle(deg: f64) -> u16 {
    let raw = (wrap_360(deg).to_radians() / 1e-4).round() as u16;
    if raw >= 62_832 { 0 } else { raw }
}

fn scaled(value: f64, resolution: f64) -> u32 {
    (value / resolution).round() as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(frame: &CanFrame) -> String {
        let data: String = frame.data().iter().map(|b| format!("{b:02X}")).collect();
        format!("{:08X}#{data}", frame.id)
    }

    fn one(message: &Message, source: u8) -> String {
        hex(message.frames(source, 0).first().unwrap())
    }

    /// Frames that independent open libraries (PyPI `n2k` 0.5.0, crate `kinavis-nmea2000` 0.2.0) read back as stated.
    #[test]
    fn single_frames_agree_with_independent_libraries() {
        let at = Place::new(54.3233, 10.1394).unwrap();
        assert_eq!(one(&position_rapid(at), 0x23), "09F80123#E813612050260B06");
        // 1.2217 rad, 2.83 m/s.
        let (deg, kn) = (1.2217_f64.to_degrees(), 2.83 * KNOTS_PER_M_S);
        assert_eq!(one(&course_speed(17, deg, kn), 0x23), "09F80223#11FCB92F1B01FFFF");
        assert_eq!(one(&system_time(17, 20_454, 45_296.5), 0x23), "0DF01023#11F0E64F88B2FF1A");
        assert_eq!(one(&rate_of_turn(42, (-0.0174533_f64).to_degrees()), 5), "09F11305#2A567AF7FFFFFFFF");
        assert_eq!(one(&water_temperature(49, Some(15.5)), 0x22), "15FD0822#310000C170FFFFFF");
        assert_eq!(one(&heartbeat(7), 0x23), "1DF01123#60EA07CCFFFFFFFF");
        assert_eq!(one(&request(126_996), 1), "18EAFF01#14F001");
        let claim = address_claim(name(1_821_973, 2047, 145, 60));
        assert_eq!(one(&claim, 0x23), "18EEFF23#15CDFBFF009178C0");
        assert_eq!(one(&depth(50, None, -1.2), 0x22), "0DF50B22#32FFFFFFFF50FBFF");
    }

    /// PGN 126996 as encoded and read back by PyPI `n2k` 0.5.0: 20 frames, "Depth Sensor", "1.02", "A", "SN000123".
    #[test]
    fn product_information_fills_twenty_frames() {
        let frames = product(1234, "Depth Sensor", "1.02", "SN000123", 3).frames(0x22, 1);
        assert_eq!(frames.len(), 20);
        assert_eq!(hex(&frames[0]), "19F01422#20863408D2044465");
        assert_eq!(hex(&frames[19]), "19F01422#330103FFFFFFFFFF");
    }

    #[test]
    fn a_fast_packet_carries_its_bytes_in_order() {
        let at = Place::new(54.3233, 10.1394).unwrap();
        let frames = gnss_position(17, 20_454, 45_296.5, at, 0.9).frames(0x23, 2);
        // Second frame of the same fix in the vector that both libraries read.
        assert_eq!(hex(&frames[0]), "0DF80523#402B11E64F88B2FF");
        assert_eq!(hex(&frames[1]), "0DF80523#411A0010450B89F3");
        assert_eq!(frames.len(), 7);
        assert_eq!(satellites(1, &[(5, 45.0, 90.0, 42.5); 12]).frames(0x23, 0).len(), 22);
    }

    #[test]
    fn angles_stay_on_the_circle() {
        assert_eq!(angle(359.9999), 0);
        assert_eq!(angle(-90.0), 47_124);
    }
}
