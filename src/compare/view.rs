//! One side looked at from the other: what one has, and whether the other could have had it.

use super::noise;
use super::same::{Ids, Same};
use super::side::{Device, Side, Wire};
use crate::report::figures::{counted, duration};

/// Two sides in one direction: what `from` has is looked for in `to`.
#[derive(Clone, Copy)]
pub(super) struct View<'a> {
    /// The side that has something.
    pub(super) from: &'a Side,
    /// The side where it is looked for.
    pub(super) to: &'a Side,
    /// Ids of `from`.
    pub(super) ids: &'a Ids<'a>,
    /// Ids of `to`.
    pub(super) to_ids: &'a Ids<'a>,
    /// What `to` is called.
    pub(super) name: &'static str,
    partners: &'a [Option<usize>],
    wires: &'a [Option<usize>],
}

/// Why something of one side is not on the other.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Absent {
    /// It would have been heard.
    Gone(String),
    /// Its wire was not recorded there, or not recognisably.
    NotCovered(String),
    /// It speaks too seldom for the time.
    Unsure(String),
}

impl<'a> View<'a> {
    /// From before to after.
    pub(super) fn forth(
        before: (&'a Side, &'a Ids<'a>),
        after: (&'a Side, &'a Ids<'a>),
        same: &'a Same,
    ) -> Self {
        Self {
            from: before.0,
            to: after.0,
            ids: before.1,
            to_ids: after.1,
            name: "AFTER",
            partners: &same.after,
            wires: &same.wire_after,
        }
    }

    /// From after to before.
    pub(super) fn back(
        before: (&'a Side, &'a Ids<'a>),
        after: (&'a Side, &'a Ids<'a>),
        same: &'a Same,
    ) -> Self {
        Self {
            from: after.0,
            to: before.0,
            ids: after.1,
            to_ids: before.1,
            name: "BEFORE",
            partners: &same.before,
            wires: &same.wire_before,
        }
    }

    /// Index on the other side of the device with this index.
    pub(super) fn partner(&self, device: usize) -> Option<usize> {
        self.partners.get(device).copied().flatten()
    }

    /// Index on the other side of the wire with this index.
    pub(super) fn wire_partner(&self, wire: usize) -> Option<usize> {
        self.wires.get(wire).copied().flatten()
    }

    /// The wire of a device, and its partner.
    pub(super) fn wires_of(&self, device: &Device) -> (Option<&'a Wire>, Option<&'a Wire>) {
        let index = self.ids.wire(&device.wire);
        let there = index.and_then(|i| self.wires.get(i).copied().flatten());
        (index.and_then(|i| self.from.wires.get(i)), there.and_then(|i| self.to.wires.get(i)))
    }

    /// Why the wire of a kind, or a device's own, does not serve for a comparison; `None` when it does.
    pub(super) fn uncovered(&self, wire: Option<&Wire>, there: Option<&Wire>) -> Option<String> {
        let kind = wire.map_or("", |w| w.kind.as_str());
        match there {
            Some(_) => None,
            None if self.to.wires.iter().any(|w| w.kind == kind) => Some(format!(
                "{} holds {}, but nothing shows that it is the same one",
                self.name,
                a_wire(kind)
            )),
            None => Some(format!("{} holds no {}", self.name, wire_kind(kind))),
        }
    }

    /// How much longer `to` listened on a wire than `from` did: by its clock, or by frames when one has none.
    pub(super) fn ratio(&self, wire: &Wire, there: &Wire) -> f64 {
        let times = wire.seconds().zip(there.seconds()).filter(|(here, _)| *here > 0.0);
        times.map_or_else(|| there.frames as f64 / wire.frames.max(1) as f64, |(here, there)| there / here)
    }

    /// Why a device of `from` is not on the other side.
    pub(super) fn absent(&self, device: &Device) -> Absent {
        let (wire, there) = self.wires_of(device);
        if let Some(reason) = self.uncovered(wire, there) {
            return Absent::NotCovered(reason);
        }
        // A wire of the same name may be another boat's.
        if self.partners.iter().all(Option::is_none) {
            return Absent::NotCovered(String::from(
                "no device is known on both sides, so its wire may be another",
            ));
        }
        let (Some(wire), Some(there)) = (wire, there) else {
            return Absent::NotCovered(format!("its wire in {} is not known", self.name));
        };
        self.silent(device.frames, (device.first.zip(device.last)).map(|(a, b)| b.since(a)), wire, there)
    }

    /// Whether a sender's silence on the other side means anything: `count` messages were heard over `about_s`.
    pub(super) fn silent(&self, count: u64, about_s: Option<f64>, wire: &Wire, there: &Wire) -> Absent {
        let expected = count as f64 * self.ratio(wire, there);
        let length = there.seconds().map_or_else(|| counted(there.frames, "frame", "frames"), duration);
        if there.seconds().is_some_and(|seconds| seconds < noise::LISTENED_S) {
            return Absent::Unsure(format!("{} has only {length}", self.name));
        }
        if expected < noise::EXPECTED {
            let heard = counted(count, "time", "times");
            return Absent::Unsure(format!(
                "it was heard only {heard}, too seldom to miss it in the {length} of {}",
                self.name
            ));
        }
        if let Some((about, whole)) = about_s.zip(wire.seconds())
            && about < noise::PRESENT * whole
        {
            return Absent::Unsure(format!(
                "it was about for only {} of {}: it comes and goes",
                duration(about),
                duration(whole)
            ));
        }
        Absent::Gone(format!("not heard in the {length} of {} on the same wire", self.name))
    }
}

/// For how long a message was about, by its number and its median interval; `None` when that is finer than the stamps
/// (a gateway that hands over in batches).
pub(super) fn about_s(count: u64, p50: Option<f64>, wire: &Wire) -> Option<f64> {
    let p50 = p50.filter(|p50| *p50 > 2.0 * wire.time_resolution_s.unwrap_or(0.0))?;
    Some(count as f64 * p50)
}

/// A kind of wire in words.
pub(super) fn wire_kind(kind: &str) -> &'static str {
    match kind {
        "can" => "CAN bus",
        "line" => "NMEA 0183 line",
        "ethernet" => "Ethernet",
        _ => "such wire",
    }
}

/// A kind of wire with its article.
pub(super) fn a_wire(kind: &str) -> String {
    format!("{} {}", if matches!(kind, "line" | "ethernet") { "an" } else { "a" }, wire_kind(kind))
}
