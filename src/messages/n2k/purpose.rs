//! What a device is for, by the class and function in its NAME.
//!
//! Source: NMEA's public list of class and function codes, version 2.00, as the fact sheet gives it (from memory).
//! A function number means something only together with its class.

use super::Name;

/// Class, function, what it is, in the words of someone aboard.
const PURPOSES: &[(u8, u8, &str)] = &[
    (10, 130, "diagnostic tool"),
    (10, 140, "bus logger"),
    (20, 110, "alarm"),
    (25, 130, "PC gateway"),
    (25, 131, "analog gateway"),
    (25, 132, "analog gateway"),
    (25, 133, "serial gateway"),
    (25, 135, "0183 gateway"),
    (25, 136, "network gateway"),
    (25, 137, "wireless gateway"),
    (25, 140, "router"),
    (25, 150, "bridge"),
    (25, 160, "repeater"),
    (30, 130, "event monitor"),
    (30, 140, "load controller"),
    (35, 140, "engine"),
    (35, 141, "generator"),
    (35, 160, "battery charger"),
    (35, 163, "DC converter"),
    (35, 170, "battery monitor"),
    (40, 130, "follow-up controller"),
    (40, 140, "mode controller"),
    (40, 150, "autopilot"),
    (40, 155, "rudder sensor"),
    (40, 160, "heading sensor"),
    (40, 170, "trim tabs"),
    (50, 140, "engine"),
    (50, 155, "motor"),
    (50, 160, "engine gateway"),
    (50, 165, "transmission"),
    (60, 130, "sounder"),
    (60, 135, "sounder with speed"),
    (60, 136, "sounder with speed and temperature"),
    (60, 140, "heading sensor"),
    (60, 145, "GNSS receiver"),
    (60, 155, "speed sensor"),
    (60, 160, "turn rate sensor"),
    (60, 170, "integrated navigation"),
    (60, 175, "integrated navigation"),
    (60, 190, "navigation management"),
    (60, 195, "AIS"),
    (60, 200, "radar"),
    (70, 160, "data transceiver"),
    (70, 190, "radio"),
    (75, 130, "temperature sensor"),
    (75, 140, "pressure sensor"),
    (75, 150, "fluid level sensor"),
    (75, 160, "flow sensor"),
    (80, 130, "clock"),
    (80, 160, "display"),
    (80, 180, "weather station"),
    (80, 190, "transducer"),
    (80, 200, "0183 converter"),
    (85, 130, "weather station"),
    (85, 160, "water sensor"),
    (110, 130, "buttons"),
    (110, 135, "switches"),
    (120, 130, "display"),
    (120, 140, "alarm"),
    (125, 130, "multimedia player"),
];

impl Name {
    /// What the device is for; `None` when class and function are not in the public list.
    #[must_use]
    pub fn purpose(self) -> Option<&'static str> {
        let key = (self.class(), self.function());
        PURPOSES.iter().find(|(class, function, _)| (*class, *function) == key).map(|(_, _, what)| *what)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_claim_of_the_fact_sheet_is_a_receiver() {
        assert_eq!(Name(0xC078_9100_FFFB_CD15).purpose(), Some("GNSS receiver"));
        assert_eq!(Name(0).purpose(), None);
    }
}
