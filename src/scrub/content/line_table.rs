//! What stays of each 0183 sentence, and what is replaced. Everything that is not named here is blanked.
//!
//! Source of the fields: IEC 61162-1 and NMEA 0183 v4.11, as in `messages::nmea0183`.

/// What is done with a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Act {
    /// A number stays; anything else is blanked.
    Number,
    /// As `Number`, of an angle in degrees; what is none becomes nines.
    Angle,
    /// As `Number`, of a speed in any unit; what is none becomes nines.
    Speed,
    /// A time of day stays; anything else is blanked.
    Clock,
    /// One capital letter stays; anything else is blanked.
    Letter,
    /// Up to eight capital letters stay; anything else is blanked.
    Letters,
    /// Three capitals or digits, such as a formatter, stay; anything else is blanked.
    Code,
    /// A number becomes zero: it tells the region.
    Zero,
    /// Date `ddmmyy`.
    Date,
    /// Day, month and year: this field and the two behind it.
    LongDate,
    /// A place: this field and the three behind it.
    Place,
    /// A satellite; in the last field of a GSV it may be the signal.
    Satellite,
    /// Name of a waypoint or route.
    Waypoint,
    /// Name of a target.
    Target,
    /// A maker's three letters.
    Maker,
    /// A datum's code.
    Datum,
    /// A hardware address of twelve digits.
    Mac,
    /// Four fields: a transducer's type, value, unit and name.
    Transducer,
    /// AIS payload.
    Ais,
    /// Belongs to the field before.
    Rest,
}

use Act::{
    Ais, Angle as A, Clock as T, Code, Date, Datum, Letter as L, Letters, LongDate, Mac, Maker, Number as N,
    Place, Rest as R, Satellite as S, Speed as V, Target, Transducer, Waypoint, Zero,
};

/// Fields from the first on, and fields that come again and again behind them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub(super) first: &'static [Act],
    pub(super) again: &'static [Act],
}

impl Line {
    /// What is done with field `n`, counted from 0.
    pub(super) fn act(self, n: usize) -> Option<Act> {
        let again = || self.again.get((n - self.first.len()).checked_rem(self.again.len())?);
        self.first.get(n).or_else(again).copied()
    }
}

const fn line(first: &'static [Act]) -> Option<Line> {
    Some(Line { first, again: &[] })
}

/// The fields of a known sentence, or `None`: all of it is blanked.
#[rustfmt::skip]
pub(super) fn fields(formatter: &str) -> Option<Line> {
    match formatter.as_bytes() {
        b"ALC" => Some(Line { first: &[N, N, N, N], again: &[Maker, N, N, N] }),
        b"ALF" => line(&[N, N, N, T, L, L, L, Maker, N, N, N, N]),
        b"ALR" => line(&[T, N, L, L]),
        b"APB" => line(&[L, L, N, L, L, L, L, A, L, Waypoint, A, L, A, L, L]),
        b"BOD" => line(&[A, L, A, L, Waypoint, Waypoint]),
        b"BWC" => line(&[T, Place, R, R, R, A, L, A, L, N, L, Waypoint, L]),
        b"DBK" | b"DBS" | b"DBT" => line(&[N, L, N, L, N, L]),
        b"DPT" => line(&[N, N, N]),
        b"DTM" => line(&[Datum, L, Zero, L, Zero, L, Zero, Datum]),
        b"GGA" => line(&[T, Place, R, R, R, N, N, N, Zero, L, Zero, L, N, Zero]),
        b"GLL" => line(&[Place, R, R, R, T, L, L]),
        b"GNS" => line(&[T, Place, R, R, R, Letters, N, N, Zero, Zero, N, Zero, L]),
        b"GSA" => line(&[L, N, S, S, S, S, S, S, S, S, S, S, S, S, N, N, N, N]),
        b"GST" => line(&[T, N, N, N, N, N, N, N]),
        b"GSV" => Some(Line { first: &[N, N, N], again: &[S, Zero, Zero, N] }),
        b"HBT" => line(&[N, L, N]),
        b"HDG" => line(&[A, A, L, A, L]),
        b"HDM" | b"HDT" | b"THS" => line(&[A, L]),
        b"MTW" | b"ROT" => line(&[N, L]),
        b"MWD" | b"VHW" => line(&[A, L, A, L, V, L, V, L]),
        b"MWV" => line(&[A, L, V, L, L]),
        b"OSD" => line(&[A, L, A, L, V, L, A, V, L]),
        b"RMB" => line(&[L, N, L, Waypoint, Waypoint, Place, R, R, R, N, A, V, L, L]),
        b"RMC" => line(&[T, L, Place, R, R, R, V, A, Date, A, L, L, L]),
        b"RPM" => line(&[L, N, N, N, L]),
        b"RSA" => line(&[A, L, A, L]),
        b"RTE" => Some(Line { first: &[N, N, L], again: &[Waypoint] }),
        b"SRP" => line(&[N, Mac]),
        b"TTM" => line(&[N, N, A, L, V, A, L, N, N, L, Target, L, L, T, L]),
        b"TXT" => line(&[N, N, N]),
        b"VBW" => line(&[V, V, L, V, V, L, V, L, V, L]),
        b"VDM" | b"VDO" => line(&[N, N, N, AIS_CHANNEL, Ais, N]),
        b"VLW" => line(&[N, L, N, L, N, L, N, L]),
        b"VTG" => line(&[A, L, A, L, V, L, V, L, L]),
        b"VWR" | b"VWT" => line(&[A, L, V, L, V, L, V, L]),
        b"WPL" => line(&[Place, R, R, R, Waypoint]),
        b"XDR" => Some(Line { first: &[], again: &[Transducer, R, R, R] }),
        b"XTE" => line(&[L, L, N, L, L, L]),
        b"ZDA" => line(&[T, LongDate, R, R, Zero, Zero]),
        _ => None,
    }
}

/// The radio channel: `A`, `B`, `1` or `2`.
const AIS_CHANNEL: Act = Letters;

/// Field 1 of a question: the sentence that is wanted.
pub(super) const QUERY: Line = Line { first: &[Code], again: &[] };

#[cfg(test)]
mod tests {
    use super::*;
    use crate::messages::nmea0183::SENTENCES;

    /// A new sentence in the registry is blanked until somebody has thought about what of it may leave.
    #[test]
    fn every_sentence_that_is_decoded_has_its_line() {
        let without: Vec<_> =
            SENTENCES.iter().map(|known| known.formatter).filter(|f| fields(f).is_none()).collect();
        assert!(without.is_empty(), "{without:?}");
        assert!(fields("DSC").is_none());
    }
}
