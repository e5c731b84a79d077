//! What talker identifiers mean, in plain words.
//!
//! Source: IEC 61162-1 table of talker identifiers, NMEA 0183 v4.11.

/// Every known talker identifier with its meaning, in the order of the identifiers (the search relies on it).
pub const TALKERS: &[(&str, &str)] = &[
    ("AB", "AIS base station"),
    ("AD", "dependent AIS base"),
    ("AG", "autopilot, general"),
    ("AI", "AIS mobile station"),
    ("AN", "AIS aid to navigation"),
    ("AP", "autopilot, magnetic"),
    ("AR", "AIS receiving station"),
    ("AS", "AIS limited base"),
    ("AT", "AIS transmitting station"),
    ("AX", "AIS simplex repeater"),
    ("BD", "BeiDou receiver"),
    ("BI", "bilge system"),
    ("BN", "bridge watch alarm"),
    ("BS", "AIS base (old use)"),
    ("CA", "central alarm management"),
    ("CC", "computer, programmed calculator (old)"),
    ("CD", "digital selective calling"),
    ("CR", "data receiver"),
    ("CS", "satellite communication"),
    ("CT", "radiotelephone MF/HF"),
    ("CV", "radiotelephone VHF"),
    ("CX", "scanning receiver"),
    ("DE", "Decca (old)"),
    ("DF", "direction finder"),
    ("DP", "dynamic positioning"),
    ("DU", "duplex repeater station"),
    ("EC", "ECDIS"),
    ("EP", "EPIRB"),
    ("ER", "engine room monitoring"),
    ("FD", "fire door"),
    ("FE", "fire extinguisher"),
    ("FR", "fire detection"),
    ("FS", "fire sprinkler"),
    ("GA", "Galileo receiver"),
    ("GB", "BeiDou receiver"),
    ("GI", "NavIC receiver"),
    ("GL", "GLONASS receiver"),
    ("GN", "combined GNSS"),
    ("GP", "GPS receiver"),
    ("GQ", "QZSS receiver"),
    ("HC", "heading, magnetic compass"),
    ("HD", "hull door"),
    ("HE", "heading, north-seeking gyro"),
    ("HF", "heading, fluxgate"),
    ("HN", "heading, non-north-seeking gyro"),
    ("HS", "hull stress"),
    ("II", "integrated instrumentation"),
    ("IN", "integrated navigation"),
    ("JA", "alarm and monitoring subsystems"),
    ("JB", "alarm and monitoring subsystems"),
    ("JC", "alarm and monitoring subsystems"),
    ("JD", "alarm and monitoring subsystems"),
    ("JE", "alarm and monitoring subsystems"),
    ("JF", "alarm and monitoring subsystems"),
    ("JG", "alarm and monitoring subsystems"),
    ("JH", "alarm and monitoring subsystems"),
    ("LC", "Loran C"),
    ("MX", "multiplexer"),
    ("NL", "navigation light controller"),
    ("NV", "night vision"),
    ("RA", "radar"),
    ("RB", "record book"),
    ("RC", "propulsion remote control"),
    ("RI", "rudder angle indicator"),
    ("SA", "AIS physical shore station"),
    ("SC", "steering control"),
    ("SD", "depth sounder"),
    ("SG", "steering gear"),
    ("SN", "electronic positioning, other"),
    ("SS", "scanning sounder"),
    ("TC", "track control"),
    ("TI", "turn rate indicator"),
    ("TR", "transit (old)"),
    ("U0", "user configured"),
    ("U1", "user configured"),
    ("U2", "user configured"),
    ("U3", "user configured"),
    ("U4", "user configured"),
    ("U5", "user configured"),
    ("U6", "user configured"),
    ("U7", "user configured"),
    ("U8", "user configured"),
    ("U9", "user configured"),
    ("UP", "microprocessor controller"),
    ("VA", "VDES ASM"),
    ("VD", "Doppler speed log"),
    ("VM", "speed log, magnetic"),
    ("VR", "voyage data recorder"),
    ("VS", "VDES satellite"),
    ("VT", "VDES terrestrial"),
    ("VW", "speed log, mechanical"),
    ("WD", "watertight door"),
    ("WI", "weather instruments"),
    ("WL", "water level detection"),
    ("YC", "temperature transducer (old)"),
    ("YD", "displacement (old)"),
    ("YF", "frequency (old)"),
    ("YL", "level (old)"),
    ("YP", "pressure (old)"),
    ("YR", "flow rate (old)"),
    ("YT", "tachometer (old)"),
    ("YV", "volume (old)"),
    ("YX", "transducer"),
    ("ZA", "atomic clock"),
    ("ZC", "chronometer"),
    ("ZQ", "quartz clock"),
    ("ZV", "radio time"),
];

/// What kind of equipment talks with this identifier; `None` when it is not in the table.
#[must_use]
pub fn meaning(talker: &str) -> Option<&'static str> {
    let at = TALKERS.binary_search_by(|(id, _)| (*id).cmp(talker)).ok()?;
    TALKERS.get(at).map(|&(_, meaning)| meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_talkers() {
        assert!(TALKERS.is_sorted_by(|a, b| a.0 < b.0));
        assert_eq!(meaning("SD"), Some("depth sounder"));
        assert_eq!(meaning("U7"), Some("user configured"));
        assert_eq!((meaning("QQ"), meaning("P"), meaning("")), (None, None, None));
    }
}
