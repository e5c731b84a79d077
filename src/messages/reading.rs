//! Vocabulary: what a message says about the boat, whichever wire it came by.

use crate::units::Place;

/// Why a field holds no value. The reasons are kept apart because they point to different faults.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Absent {
    /// N2K "not available" code, or an empty 0183 field: the sensor lives and has nothing to say.
    NotAvailable,
    /// N2K "out of range" or "error" code.
    OutOfRange,
    /// N2K reserved code, or a value that cannot be (latitude 95, text where a number belongs).
    Unusable,
    /// The message itself says that its data must not be used (0183 status V, GNSS method 0).
    MarkedInvalid,
    /// The message ends before this field.
    Missing,
}

/// A number in the unit that its reading states, or the reason why there is none.
pub type Value = Result<f64, Absent>;

/// Which north a direction counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum North {
    /// True north.
    True,
    /// Magnetic north (or the compass's own, uncorrected for deviation).
    Magnetic,
}

/// What a depth is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DepthBelow {
    /// The transducer's face.
    Transducer,
    /// The water surface.
    Surface,
    /// The keel.
    Keel,
}

/// What a wind is relative to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WindReference {
    /// As felt on board, from the bow.
    Apparent,
    /// From true north, over ground.
    TrueNorth,
    /// From magnetic north, over ground.
    MagneticNorth,
    /// True wind, from the bow.
    TrueFromBow,
}

/// One thing that a message says. A message may say several.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// Where the bow points, 0 to 360 degrees.
    Heading {
        /// Degrees.
        deg: Value,
        /// Which north; `None` when the message does not say or says "error".
        north: Option<North>,
        /// Deviation that the message carries, degrees, east positive (not applied to `deg`).
        deviation_deg: Value,
        /// Variation that the message carries, degrees, east positive (not applied to `deg`).
        variation_deg: Value,
    },
    /// Where the boat is, with what the message says of the fix.
    Position {
        /// The place; absent without a fix.
        at: Result<Place, Absent>,
        /// Satellites used, when the message says.
        satellites: Option<u16>,
        /// Horizontal dilution of precision, when the message says.
        hdop: Option<f64>,
    },
    /// Quality of the fix in a message that carries no position (GSA, PGN 129539).
    FixQuality {
        /// Whether there is a fix, when the message says.
        fix: Option<bool>,
        /// Satellites used, when the message says.
        satellites: Option<u16>,
        /// Horizontal dilution of precision.
        hdop: Value,
    },
    /// Water depth in metres.
    Depth {
        /// Metres, as the message gives it (below what `below` says).
        m: Value,
        /// Where it is measured from.
        below: DepthBelow,
        /// Offset that the message carries: positive to the waterline, negative to the keel; metres.
        offset_m: Value,
    },
    /// Course and speed over ground.
    CourseSpeed {
        /// Course, degrees 0 to 360.
        course_deg: Value,
        /// Which north the course counts from.
        north: Option<North>,
        /// Speed in knots.
        speed_kn: Value,
    },
    /// Speed through the water in knots, forward positive.
    WaterSpeed {
        /// Knots.
        kn: Value,
    },
    /// Wind.
    Wind {
        /// Degrees 0 to 360 from what `reference` says.
        angle_deg: Value,
        /// Knots.
        speed_kn: Value,
        /// What it is relative to; `None` when not said.
        reference: Option<WindReference>,
    },
    /// Rate of turn, degrees a minute, positive when the bow goes to starboard.
    RateOfTurn {
        /// Degrees a minute.
        deg_per_min: Value,
    },
    /// Yaw, pitch (bow up positive) and roll (starboard down positive) in degrees.
    Attitude {
        /// Degrees.
        yaw_deg: Value,
        /// Degrees.
        pitch_deg: Value,
        /// Degrees.
        roll_deg: Value,
    },
    /// Rudder angle in degrees, positive to starboard.
    Rudder {
        /// Which rudder, when the message says.
        instance: Option<u8>,
        /// Degrees.
        deg: Value,
    },
    /// Water temperature in degrees Celsius.
    WaterTemperature {
        /// Which sensor, when the message says.
        instance: Option<u8>,
        /// Degrees Celsius.
        celsius: Value,
    },
    /// A supply voltage.
    Voltage {
        /// Which battery or supply, when the message says.
        instance: Option<u8>,
        /// Volts.
        volts: Value,
    },
    /// Engine speed.
    Engine {
        /// Which engine, when the message says.
        instance: Option<u8>,
        /// Revolutions a minute; absent in a message that carries other engine data only.
        rpm: Value,
    },
    /// Magnetic variation in degrees, east positive.
    Variation {
        /// Degrees.
        deg: Value,
    },
    /// What time it is aboard, UTC.
    Clock {
        /// Days since 1970-01-01, when the message gives a date.
        days: Option<i64>,
        /// Microseconds since midnight, when the message gives a time.
        of_day_us: Option<i64>,
    },
    /// Any other quantity, by its plain name (`humidity`, `air-pressure`, `fluid-level`, `trip-log` ...).
    Other {
        /// Plain lower-case name with hyphens.
        quantity: &'static str,
        /// Which one, when the message says.
        instance: Option<u8>,
        /// The value in `unit`.
        value: Value,
        /// The unit, as text (`percent`, `Pa`, `degC`, `m`, `kn`, `deg` ...).
        unit: &'static str,
    },
}

impl Reading {
    /// The quantity's plain name as the report gives it, or `None` for a reading that is no source of its own.
    #[must_use]
    pub const fn quantity(&self) -> Option<&'static str> {
        Some(match self {
            Self::Heading { .. } => "heading",
            Self::Position { .. } => "position",
            Self::FixQuality { .. } => return None,
            Self::Depth { .. } => "depth",
            Self::CourseSpeed { .. } => "course-and-speed-over-ground",
            Self::WaterSpeed { .. } => "speed-through-water",
            Self::Wind { .. } => "wind",
            Self::RateOfTurn { .. } => "rate-of-turn",
            Self::Attitude { .. } => "attitude",
            Self::Rudder { .. } => "rudder",
            Self::WaterTemperature { .. } => "water-temperature",
            Self::Voltage { .. } => "voltage",
            Self::Engine { .. } => "engine",
            Self::Variation { .. } => "variation",
            Self::Clock { .. } => "time",
            Self::Other { quantity, .. } => quantity,
        })
    }

    /// What the value counts from, as the report names it.
    #[must_use]
    pub const fn reference(&self) -> Option<&'static str> {
        match self {
            Self::Heading { north, .. } | Self::CourseSpeed { north, .. } => match north {
                Some(North::True) => Some("true"),
                Some(North::Magnetic) => Some("magnetic"),
                None => None,
            },
            Self::Depth { below, .. } => Some(match below {
                DepthBelow::Transducer => "below-transducer",
                DepthBelow::Surface => "below-surface",
                DepthBelow::Keel => "below-keel",
            }),
            Self::Wind { reference, .. } => match reference {
                Some(WindReference::Apparent) => Some("apparent"),
                Some(WindReference::TrueNorth) => Some("true-north"),
                Some(WindReference::MagneticNorth) => Some("magnetic-north"),
                Some(WindReference::TrueFromBow) => Some("true-from-bow"),
                None => None,
            },
            _ => None,
        }
    }

    /// A number that two readings share when [quantity](Self::quantity), [reference](Self::reference) and
    /// [instance](Self::instance) are the same, and no others do; of [`Other`](Self::Other) quantities all share it that
    /// have the same instance.
    #[must_use]
    pub const fn kind(&self) -> u32 {
        let (quantity, rest) = match self {
            Self::Heading { north, .. } => (0, north_number(*north)),
            Self::CourseSpeed { north, .. } => (1, north_number(*north)),
            Self::Position { .. } => (2, 0),
            Self::FixQuality { .. } => (3, 0),
            Self::Depth { below, .. } => (4, *below as u32),
            Self::WaterSpeed { .. } => (5, 0),
            Self::Wind { reference: None, .. } => (6, 0),
            Self::Wind { reference: Some(reference), .. } => (6, 1 + *reference as u32),
            Self::RateOfTurn { .. } => (7, 0),
            Self::Attitude { .. } => (8, 0),
            Self::Variation { .. } => (9, 0),
            Self::Clock { .. } => (10, 0),
            Self::Rudder { instance, .. } => (11, instance_number(*instance)),
            Self::WaterTemperature { instance, .. } => (12, instance_number(*instance)),
            Self::Voltage { instance, .. } => (13, instance_number(*instance)),
            Self::Engine { instance, .. } => (14, instance_number(*instance)),
            Self::Other { instance, .. } => (15, instance_number(*instance)),
        };
        quantity << 16 | rest
    }

    /// Which of several alike, when the message says.
    #[must_use]
    pub const fn instance(&self) -> Option<u8> {
        match self {
            Self::Rudder { instance, .. }
            | Self::WaterTemperature { instance, .. }
            | Self::Voltage { instance, .. }
            | Self::Engine { instance, .. }
            | Self::Other { instance, .. } => *instance,
            _ => None,
        }
    }

    /// Whether the reading holds what it is for.
    #[must_use]
    pub const fn is_valid(&self) -> bool {
        match self {
            Self::Heading { deg: v, .. }
            | Self::Depth { m: v, .. }
            | Self::WaterSpeed { kn: v }
            | Self::Wind { speed_kn: v, .. }
            | Self::RateOfTurn { deg_per_min: v }
            | Self::Rudder { deg: v, .. }
            | Self::WaterTemperature { celsius: v, .. }
            | Self::Voltage { volts: v, .. }
            | Self::Engine { rpm: v, .. }
            | Self::Variation { deg: v }
            | Self::FixQuality { hdop: v, .. }
            | Self::Other { value: v, .. } => v.is_ok(),
            Self::CourseSpeed { course_deg, speed_kn, .. } => course_deg.is_ok() || speed_kn.is_ok(),
            Self::Attitude { yaw_deg, pitch_deg, roll_deg } => {
                yaw_deg.is_ok() || pitch_deg.is_ok() || roll_deg.is_ok()
            }
            Self::Position { at, .. } => at.is_ok(),
            Self::Clock { days, of_day_us } => days.is_some() || of_day_us.is_some(),
        }
    }
}

/// A number for what may be said of north.
const fn north_number(north: Option<North>) -> u32 {
    match north {
        None => 0,
        Some(North::True) => 1,
        Some(North::Magnetic) => 2,
    }
}

/// A number for what may be said of the instance.
const fn instance_number(instance: Option<u8>) -> u32 {
    match instance {
        None => 0,
        Some(instance) => 1 + instance as u32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    #[test]
    fn kinds_tell_readings_apart_as_their_words_do() {
        let no = Err(Absent::Missing);
        let mut all = vec![
            Reading::Position {
                at: no.map(|_: f64| Place { lat_deg: 0.0, lon_deg: 0.0 }),
                satellites: None,
                hdop: None,
            },
            Reading::FixQuality { fix: None, satellites: None, hdop: no },
            Reading::WaterSpeed { kn: no },
            Reading::RateOfTurn { deg_per_min: no },
            Reading::Attitude { yaw_deg: no, pitch_deg: no, roll_deg: no },
            Reading::Variation { deg: no },
            Reading::Clock { days: None, of_day_us: None },
        ];
        for north in [None, Some(North::True), Some(North::Magnetic)] {
            all.push(Reading::Heading { deg: no, north, deviation_deg: no, variation_deg: no });
            all.push(Reading::CourseSpeed { course_deg: no, north, speed_kn: no });
        }
        for below in [DepthBelow::Transducer, DepthBelow::Surface, DepthBelow::Keel] {
            all.push(Reading::Depth { m: no, below, offset_m: no });
        }
        for reference in [
            None,
            Some(WindReference::Apparent),
            Some(WindReference::TrueNorth),
            Some(WindReference::MagneticNorth),
            Some(WindReference::TrueFromBow),
        ] {
            all.push(Reading::Wind { angle_deg: no, speed_kn: no, reference });
        }
        for instance in [None, Some(0), Some(1), Some(255)] {
            all.push(Reading::Rudder { instance, deg: no });
            all.push(Reading::WaterTemperature { instance, celsius: no });
            all.push(Reading::Voltage { instance, volts: no });
            all.push(Reading::Engine { instance, rpm: no });
            all.push(Reading::Other { quantity: "humidity", instance, value: no, unit: "percent" });
        }
        let words = |of: &Reading| (of.quantity(), of.reference(), of.instance());
        let by_kind: HashMap<_, _> = all.iter().map(|of| (of.kind(), words(of))).collect();
        assert_eq!(by_kind.len(), all.len(), "no two share a number");
        for of in &all {
            assert_eq!(by_kind.get(&of.kind()), Some(&words(of)));
        }
    }
}
