//! How messages of a PGN are spread over frames: fixed per PGN by the standard.
//!
//! Source: NMEA 2000 appendix (ranges); list of fast-packet PGNs compared with PyPI n2k 0.5.0.

use super::registry::lookup;

/// How messages of one PGN travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Frames {
    /// One frame of up to 8 bytes.
    Single,
    /// NMEA 2000 fast packet, up to 223 bytes.
    Fast,
    /// ISO transport protocol, up to 1785 bytes.
    Transport,
}

/// Fast-packet PGNs that the registry need not know, as inclusive ranges in ascending order.
const OTHER_FAST: &[(u32, u32)] = &[
    (126_720, 126_720),
    (126_983, 126_988),
    (127_233, 127_233),
    (127_490, 127_491),
    (127_494, 127_498),
    (127_503, 127_504),
    (127_507, 127_507),
    (127_509, 127_514),
    (128_520, 128_520),
    (128_538, 128_538),
    (129_045, 129_045),
    (129_301, 129_302),
    (129_538, 129_538),
    (129_541, 129_542),
    (129_545, 129_545),
    (129_547, 129_547),
    (129_549, 129_549),
    (129_551, 129_551),
    (129_556, 129_556),
    (129_792, 129_816),
    (130_052, 130_054),
    (130_060, 130_061),
    (130_064, 130_074),
    (130_320, 130_324),
    (130_330, 130_330),
    (130_561, 130_567),
    (130_569, 130_574),
    (130_580, 130_581),
    (130_583, 130_584),
    (130_586, 130_586),
    (130_816, 131_071),
];

/// How messages of this PGN travel; [`Frames::Single`] when it is not known.
#[must_use]
pub fn frames_of(pgn: u32) -> Frames {
    if let Some(known) = lookup(pgn) {
        return known.frames;
    }
    let at = OTHER_FAST.partition_point(|(_, last)| *last < pgn);
    if OTHER_FAST.get(at).is_some_and(|(first, _)| *first <= pgn) { Frames::Fast } else { Frames::Single }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_and_ranged() {
        let fast = [126_208, 126_720, 126_996, 127_489, 129_029, 129_540, 129_802, 130_074, 130_816, 131_071];
        let single = [60_928, 61_184, 65_280, 126_992, 127_250, 127_493, 128_267, 130_316, 130_576, 130_815];
        assert!(fast.into_iter().all(|pgn| frames_of(pgn) == Frames::Fast));
        assert!(single.into_iter().all(|pgn| frames_of(pgn) == Frames::Single));
        assert_eq!(frames_of(65_240), Frames::Transport);
        assert!(OTHER_FAST.is_sorted() && OTHER_FAST.iter().all(|(first, last)| first <= last));
    }
}
