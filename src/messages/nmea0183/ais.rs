//! AIS in VDM (received) and VDO (own ship): armour, fragments, and the messages that name and place vessels.
//!
//! Source: IEC 61162-1 (VDM, VDO), ITU-R M.1371-5 annex 8. Own ship's messages make no readings: they repeat what
//! another sensor said.

mod assembler;
mod bits;

pub use assembler::{AisFault, Assembler};

use crate::messages::{Absent, Value};
use crate::time::days_from_civil;
use crate::units::Place;
use bits::Bits;

/// Where a vessel says it is and how it moves (types 1, 2, 3, 18, 19).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AisPosition {
    /// Whether a class A transponder sent it.
    pub class_a: bool,
    /// Navigational status 0 to 15, of class A.
    pub status: Option<u8>,
    /// Degrees a minute, to port negative; out of range when the sensor knows the side only.
    pub rate_of_turn_deg_per_min: Value,
    /// The place.
    pub at: Result<Place, Absent>,
    /// Speed over ground, knots.
    pub speed_kn: Value,
    /// Course over ground, degrees true.
    pub course_deg: Value,
    /// Heading, degrees true.
    pub heading_deg: Value,
    /// Second of the minute in which it was measured.
    pub second: Option<u8>,
}

/// A base station's report (type 4).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AisBase {
    /// The place.
    pub at: Result<Place, Absent>,
    /// Days since 1970-01-01.
    pub days: Option<i64>,
    /// Microseconds since midnight, UTC.
    pub of_day_us: Option<i64>,
}

/// What a vessel says of itself (types 5, 19, 24). Texts are from strangers.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AisIdentity {
    /// Name.
    pub name: Option<String>,
    /// Call sign.
    pub call_sign: Option<String>,
    /// IMO number.
    pub imo: Option<u32>,
    /// Kind of ship and cargo.
    pub ship_type: Option<u8>,
    /// Metres from the antenna to bow, stern, port side, starboard side.
    pub dimensions_m: Option<[u16; 4]>,
    /// Draught in tenths of a metre.
    pub draught_dm: Option<u8>,
    /// Destination.
    pub destination: Option<String>,
}

/// What a message is about.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AisMessage {
    /// Message type, 1 to 27.
    pub kind: u8,
    /// MMSI of the sender.
    pub mmsi: u32,
    /// Whether it is own ship's (VDO).
    pub own: bool,
    /// Where the sender is.
    pub position: Option<AisPosition>,
    /// A base station's place and clock.
    pub base: Option<AisBase>,
    /// What the sender says of itself.
    pub identity: Option<AisIdentity>,
}

/// Reads the joined bits; `None` when they are too few for their type.
fn message(bits: &Bits<'_>, own: bool) -> Option<AisMessage> {
    let kind = bits.unsigned(0, 6)? as u8;
    let mut message = AisMessage { kind, mmsi: bits.unsigned(8, 30)?, own, ..AisMessage::default() };
    match kind {
        1..=3 => message.position = Some(class_a(bits)?),
        4 => message.base = Some(base(bits)?),
        5 => message.identity = Some(static_a(bits)?),
        18 => message.position = Some(class_b(bits)?),
        19 => {
            message.position = Some(class_b(bits)?);
            message.identity = Some(AisIdentity {
                name: bits.text(143, 20),
                ship_type: bits.unsigned(263, 8).map(|v| v as u8),
                dimensions_m: dimensions(bits, 271),
                ..AisIdentity::default()
            });
        }
        24 => message.identity = static_b(bits, message.mmsi),
        _ => {}
    }
    Some(message)
}

fn class_a(bits: &Bits<'_>) -> Option<AisPosition> {
    Some(AisPosition {
        class_a: true,
        status: Some(bits.unsigned(38, 4)? as u8),
        rate_of_turn_deg_per_min: rate_of_turn(bits.signed(42, 8)?),
        at: place(bits.signed(61, 28)?, bits.signed(89, 27)?),
        speed_kn: speed(bits.unsigned(50, 10)?),
        course_deg: course(bits.unsigned(116, 12)?),
        heading_deg: heading(bits.unsigned(128, 9)?),
        second: second(bits.unsigned(137, 6)?),
    })
}

fn class_b(bits: &Bits<'_>) -> Option<AisPosition> {
    Some(AisPosition {
        class_a: false,
        status: None,
        rate_of_turn_deg_per_min: Err(Absent::Missing),
        at: place(bits.signed(57, 28)?, bits.signed(85, 27)?),
        speed_kn: speed(bits.unsigned(46, 10)?),
        course_deg: course(bits.unsigned(112, 12)?),
        heading_deg: heading(bits.unsigned(124, 9)?),
        second: second(bits.unsigned(133, 6)?),
    })
}

fn base(bits: &Bits<'_>) -> Option<AisBase> {
    let [year, month, day, hour, minute, second] = [
        bits.unsigned(38, 14)?,
        bits.unsigned(52, 4)?,
        bits.unsigned(56, 5)?,
        bits.unsigned(61, 5)?,
        bits.unsigned(66, 6)?,
        bits.unsigned(72, 6)?,
    ]
    .map(i64::from);
    let sound = hour < 24 && minute < 60 && second < 60;
    Some(AisBase {
        at: place(bits.signed(79, 28)?, bits.signed(107, 27)?),
        days: days_from_civil(year, month, day),
        of_day_us: sound.then_some(((hour * 60 + minute) * 60 + second) * 1_000_000),
    })
}

fn static_a(bits: &Bits<'_>) -> Option<AisIdentity> {
    Some(AisIdentity {
        imo: Some(bits.unsigned(40, 30)?).filter(|&v| v != 0),
        call_sign: bits.text(70, 7),
        name: bits.text(112, 20),
        ship_type: Some(bits.unsigned(232, 8)? as u8),
        dimensions_m: dimensions(bits, 240),
        draught_dm: bits.unsigned(294, 8).map(|v| v as u8).filter(|&v| v != 0),
        destination: bits.text(302, 20),
    })
}

/// Type 24: part A brings the name, part B the rest.
fn static_b(bits: &Bits<'_>, mmsi: u32) -> Option<AisIdentity> {
    match bits.unsigned(38, 2)? {
        0 => Some(AisIdentity { name: bits.text(40, 20), ..AisIdentity::default() }),
        1 => Some(AisIdentity {
            ship_type: Some(bits.unsigned(40, 8)? as u8),
            call_sign: bits.text(90, 7),
            // An auxiliary craft (98 at the head of the MMSI) puts its mother ship's MMSI here.
            dimensions_m: if mmsi / 10_000_000 == 98 { None } else { dimensions(bits, 132) },
            ..AisIdentity::default()
        }),
        _ => None,
    }
}

fn dimensions(bits: &Bits<'_>, at: usize) -> Option<[u16; 4]> {
    let side = |at, length| bits.unsigned(at, length).map(|v| v as u16);
    Some([side(at, 9)?, side(at + 9, 9)?, side(at + 18, 6)?, side(at + 24, 6)?])
}

/// Raw value is 4.733 times the root of degrees a minute; 127 means faster than 5 degrees in 30 s, no sensor.
fn rate_of_turn(raw: i32) -> Value {
    match raw {
        -128 => Err(Absent::NotAvailable),
        -127 | 127 => Err(Absent::OutOfRange),
        _ => Ok((f64::from(raw) / 4.733).powi(2).copysign(f64::from(raw))),
    }
}

fn place(lon: i32, lat: i32) -> Result<Place, Absent> {
    /// Ten-thousandths of a minute in a degree.
    const PER_DEGREE: f64 = 600_000.0;
    if lon == 181 * 600_000 || lat == 91 * 600_000 {
        return Err(Absent::NotAvailable);
    }
    Place::new(f64::from(lat) / PER_DEGREE, f64::from(lon) / PER_DEGREE).ok_or(Absent::Unusable)
}

fn speed(raw: u32) -> Value {
    match raw {
        1023 => Err(Absent::NotAvailable),
        1022 => Err(Absent::OutOfRange),
        _ => Ok(f64::from(raw) / 10.0),
    }
}

fn course(raw: u32) -> Value {
    match raw {
        3600 => Err(Absent::NotAvailable),
        0..3600 => Ok(f64::from(raw) / 10.0),
        _ => Err(Absent::Unusable),
    }
}

fn heading(raw: u32) -> Value {
    match raw {
        511 => Err(Absent::NotAvailable),
        0..360 => Ok(f64::from(raw)),
        _ => Err(Absent::Unusable),
    }
}

fn second(raw: u32) -> Option<u8> {
    (raw < 60).then_some(raw as u8)
}
