//! Current and voltage along the trunk.
//!
//! A device at the distance d from the feed that draws I amperes lowers the voltage at the place x by
//! I x 2 x r x min(d, x), with r the ohms of one metre of one conductor and 2 for the way there and back; the drops of all
//! devices on one side of the feed add up (Ohm's law). With all devices at the far end this is the formula of published
//! installation guides: 0.1 x sum of load units x metres x ohms per metre.

use super::{UNIT_A, on_it, row};
use crate::boat::load::Boat;
use crate::boat::model::{Backbone, TrunkCable};
use crate::boat::sheet::Row;
use toml::Spanned;

/// Voltage at the feed when the file does not tell: the nominal one, volts.
const NOMINAL_V: f64 = 12.0;

/// Least voltage that a device must work with, volts (NMEA 2000: 9.0 to 16.0 V).
const LEAST_V: f64 = 9.0;

/// Ohms of one metre of one supply conductor of a drop, which is light cable.
const DROP_OHM_M: f64 = TrunkCable::Light.ohm_per_m();

/// One device on the trunk.
struct Tap<'a> {
    device: &'a str,
    /// Metres from the feed.
    distance: f64,
    /// Whether it sits before the feed, seen from the begin of the trunk.
    before: bool,
    amps: f64,
    drop_m: f64,
}

pub(super) fn rows(boat: &Boat, backbone: &Backbone) -> Vec<Row> {
    let loads = || {
        on_it(boat, backbone)
            .into_iter()
            .filter_map(|name| Some((name, boat.file.device(name)?.load_equivalency.as_ref()?)))
    };
    let unknown = on_it(boat, backbone).len() - loads().count();
    let units: u32 = loads().map(|(_, load)| *load.get_ref()).fold(0, u32::saturating_add);
    let caveat = match unknown {
        0 => String::new(),
        n => {
            format!(" {n} of the devices have no load_equivalency in the file; what they draw comes on top.")
        }
    };
    let Some(cable) = backbone.cable else {
        let note = format!("Add the cable of the trunk: cable = \"light\", \"mid\" or \"heavy\".{caveat}");
        let sum = format!("{units} load units, {:.2} A", f64::from(units) * UNIT_A);
        return vec![row("trunk", "carries the current of all devices").words("", sum).note(note)];
    };
    let mut rows = vec![current(boat, backbone, cable, units, &caveat)];
    rows.push(voltage(boat, backbone, cable, &caveat));
    rows
}

fn value(at: &Option<Spanned<f64>>) -> Option<f64> {
    at.as_ref().map(|at| *at.get_ref())
}

/// The current of each side of the feed against what the cable carries; without the feed's place all of it is one side.
fn current(boat: &Boat, backbone: &Backbone, cable: TrunkCable, units: u32, caveat: &str) -> Row {
    let taps = taps(boat, backbone);
    let side =
        |before| taps.iter().flatten().filter(|tap| tap.before == before).map(|tap| tap.amps).sum::<f64>();
    let placed = taps.is_some();
    let amps = if placed { side(true).max(side(false)) } else { f64::from(units) * UNIT_A };
    let of = if placed {
        "on the more loaded side of the feed"
    } else {
        "all together, for the places are not all known"
    };
    let row = row("trunk", "carries the current of all devices")
        .numbers("at most", cable.max_a(), Some(amps), "A")
        .judged(amps <= cable.max_a())
        .note(format!(
            "{units} load units of 50 mA, {of}; {} cable. Too much: feed in the middle, or take heavier cable.{caveat}",
            cable.words()
        ));
    match &backbone.power_at_m {
        Some(at) => row.at(boat.line(at)),
        None => row,
    }
}

/// The devices with their distance from the feed, when the feed and every loaded device have a place.
fn taps<'a>(boat: &'a Boat, backbone: &'a Backbone) -> Option<Vec<Tap<'a>>> {
    let feed = value(&backbone.power_at_m)?;
    let taps = on_it(boat, backbone).into_iter().filter_map(|device| {
        let load = boat.file.device(device)?.load_equivalency.as_ref()?;
        let drop = backbone.drops.iter().find(|drop| drop.device.get_ref() == device);
        let at = drop.and_then(|drop| value(&drop.at_m));
        Some(at.map(|at| Tap {
            device,
            distance: (at - feed).abs(),
            before: at < feed,
            amps: f64::from(*load.get_ref()) * UNIT_A,
            drop_m: drop.and_then(|drop| value(&drop.length_m)).unwrap_or(0.0),
        }))
    });
    taps.collect()
}

/// The device that gets least, and how much.
fn lowest<'a>(taps: &[Tap<'a>], ohm_per_m: f64, feed_v: f64) -> Option<(&'a str, f64)> {
    let at = |tap: &Tap<'a>| {
        let trunk: f64 = taps
            .iter()
            .filter(|other| other.before == tap.before)
            .map(|other| other.amps * 2.0 * ohm_per_m * other.distance.min(tap.distance))
            .sum();
        feed_v - trunk - tap.amps * 2.0 * DROP_OHM_M * tap.drop_m
    };
    taps.iter().map(|tap| (tap.device, at(tap))).min_by(|a, b| a.1.total_cmp(&b.1))
}

fn voltage(boat: &Boat, backbone: &Backbone, cable: TrunkCable, caveat: &str) -> Row {
    let least = value(&boat.file.limits.backbone_min_v).unwrap_or(LEAST_V);
    let feed_v = value(&backbone.feed_v).unwrap_or(NOMINAL_V);
    let base = row("backbone", "every device gets enough voltage");
    let base = match &backbone.feed_v {
        Some(at) => base.at(boat.line(at)),
        None => base,
    };
    let Some(taps) = taps(boat, backbone).filter(|taps| !taps.is_empty()) else {
        return base.numbers("at least", least, None, "V").note(format!(
            "To work it out add power_at_m, the at_m of every drop, and the load_equivalency of the devices.{caveat}"
        ));
    };
    let Some((device, volts)) = lowest(&taps, cable.ohm_per_m(), feed_v) else { return base };
    base.numbers("at least", least, Some(volts), "V").judged(volts >= least).note(format!(
        "Worked out at {device}, which gets least: {feed_v} V at the feed, less the sum of current x 2 x {} ohm/m x metres \
         over all devices (Ohm's law; 1 load unit is 50 mA), and its own drop. Too low: feed nearer to the middle, take \
         heavier cable, or a second feed with its section isolated.{caveat}",
        cable.ohm_per_m()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tap(device: &'static str, at: f64, feed: f64, units: f64, drop_m: f64) -> Tap<'static> {
        Tap { device, distance: (at - feed).abs(), before: at < feed, amps: units * UNIT_A, drop_m }
    }

    /// Published installation guides: volts = 0.1 x load units x metres x ohms per metre of one conductor, which holds
    /// for all load at the end of the trunk. 40 units at 20 m of light cable: 0.1 x 40 x 20 x 0.053 = 4.24 V.
    #[test]
    fn all_load_at_the_end_gives_the_published_formula() {
        let taps = [tap("a", 20.0, 0.0, 25.0, 0.0), tap("b", 20.0, 0.0, 15.0, 0.0)];
        let (_, volts) = lowest(&taps, 0.053, 12.0).unwrap();
        assert!((12.0 - volts - 4.24).abs() < 1e-9, "{volts}");
    }

    /// Ohm's law by hand: 1 A at 10 m and 1 A at 20 m; the first 10 m carry 2 A and the next 10 m carry 1 A, so that the
    /// end lies 2 x 0.053 x (10 x 2 + 10 x 1) = 3.18 V lower. A drop of 6 m with 1 A adds 2 x 0.053 x 6 = 0.636 V.
    #[test]
    fn spread_loads_and_the_own_drop_add_up() {
        let taps = [tap("near", 10.0, 0.0, 20.0, 0.0), tap("far", 20.0, 0.0, 20.0, 6.0)];
        let (device, volts) = lowest(&taps, 0.053, 12.0).unwrap();
        assert_eq!(device, "far");
        assert!((12.0 - volts - 3.18 - 0.636).abs() < 1e-9, "{volts}");
    }

    #[test]
    fn the_sides_of_the_feed_do_not_load_each_other() {
        let taps = [tap("left", 0.0, 10.0, 20.0, 0.0), tap("right", 20.0, 10.0, 20.0, 0.0)];
        let (_, volts) = lowest(&taps, 0.053, 12.0).unwrap();
        assert!((12.0 - volts - 1.06).abs() < 1e-9, "{volts}");
    }
}
