//! For how long a wire was recorded on which a device, or what it sends, would have been heard.

use super::Held;
use crate::boat::model::{Device, Supply};
use crate::report::model::WireRow;

/// Seconds for which a device may be silent: NMEA 2000 nodes send a heartbeat once a minute (PGN 126993), and hosts and
/// talkers of a boat something sooner (common practice, no source).
pub(super) const HEARTBEAT_S: f64 = 60.0;

/// Seconds of a wire from which on what was not seen on it is missing. Whatever a display shows comes every few seconds
/// (common practice, no source).
const LONG_ENOUGH_S: f64 = 10.0;

/// The same in intervals of the message: so many in a row are not lost by chance.
const LONG_ENOUGH_INTERVALS: f64 = 5.0;

/// The kinds of device in a report.
const KINDS: [&str; 3] = ["ethernet", "n2k", "talker"];

/// Whether the file tells how a device is recognised as one of a kind of the report.
pub(super) fn is_known_as(device: &Device, kind: &str) -> bool {
    match kind {
        "ethernet" => device.mac.is_some(),
        "n2k" => device.n2k.is_some(),
        _ => device.talker.is_some(),
    }
}

/// The least seconds after which a message of an interval is missing when it was not seen.
pub(super) fn long_enough_s(interval_s: Option<f64>) -> f64 {
    interval_s.map_or(0.0, |interval| interval * LONG_ENOUGH_INTERVALS).max(LONG_ENOUGH_S)
}

/// Why it tells nothing that a supply was not seen.
pub(super) enum Deaf {
    /// A wire that it may come on was not recorded.
    Unrecorded,
    /// The wire was recorded for too short a time.
    TooShort,
}

impl Held<'_> {
    /// Seconds for which a wire was recorded on which the device would be heard as one of this kind; none when no such
    /// wire was recorded.
    pub(super) fn listened_s(&self, device: &Device, kind: &str) -> Option<f64> {
        let wires = self.report.wires.iter().filter(|wire| wire.frames > 0);
        longest_s(wires.filter(|wire| self.would_carry(wire, device, kind)))
    }

    fn would_carry(&self, wire: &WireRow, device: &Device, kind: &str) -> bool {
        match (kind, &device.carried_by, &device.line) {
            ("ethernet", ..) => wire.kind == "ethernet",
            ("n2k", ..) => wire.kind == "can",
            (_, Some(carrier), _) => {
                self.heard(carrier.get_ref(), "ethernet").any(|carrier| carrier.wire == wire.id)
            }
            (_, None, Some(line)) => {
                let mut lines = self.file().lines.iter();
                let line = lines.find(|known| known.name.get_ref() == line.get_ref());
                let label = line.and_then(|line| line.recorded_as.as_ref()).map(|label| label.get_ref());
                wire.kind == "line"
                    && wire.carried_by.is_none()
                    && (label.is_none() || label == wire.label.as_ref())
            }
            (_, None, None) => wire.kind == "line",
        }
    }

    /// Whether the recordings are such that a supply would have been seen, did it come.
    pub(super) fn deaf_to(&self, supply: &Supply) -> Option<Deaf> {
        let device = self.file().device(supply.device.get_ref())?;
        let enough = long_enough_s(supply.interval_s.as_ref().map(|interval| *interval.get_ref()));
        let kinds: Vec<&str> = match supply.message.as_ref().map(|message| message.get_ref()) {
            Some(pgn) if pgn.bytes().all(|byte| byte.is_ascii_digit()) => vec!["n2k"],
            Some(_) => vec!["talker"],
            None => KINDS.into_iter().filter(|kind| is_known_as(device, kind)).collect(),
        };
        let listened: Option<Vec<f64>> = kinds.iter().map(|kind| self.listened_s(device, kind)).collect();
        match listened {
            None => Some(Deaf::Unrecorded),
            Some(seconds) if seconds.iter().any(|s| *s < enough) => Some(Deaf::TooShort),
            Some(_) => None,
        }
    }
}

/// Seconds from the first frame to the last on the wire where they are most. A wire without clock has none.
fn longest_s<'a>(wires: impl Iterator<Item = &'a WireRow>) -> Option<f64> {
    wires.map(|wire| wire.seconds().unwrap_or(0.0)).reduce(f64::max)
}
