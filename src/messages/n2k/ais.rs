//! AIS reports on the bus: PGN 129038 to 129041, 129793, 129794, 129809, 129810.
//!
//! They speak of other vessels, or of the own one as others see it, and give no readings. They are read for what must
//! not leave the boat: identities and places.

use super::field::Fields;
use crate::messages::{Absent, Value};
use crate::units::Place;

/// What an AIS message says, as far as its kind has the field.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AisReport {
    /// ITU-R M.1371 message number.
    pub message: Option<u8>,
    /// The station's MMSI.
    pub mmsi: Option<u32>,
    /// The transceiver sent it itself (information 2, 3 or 4): the own vessel.
    pub own: bool,
    /// Where the station is.
    pub place: Option<Result<Place, Absent>>,
    /// Course over ground, degrees true.
    pub course_deg: Option<Value>,
    /// Speed over ground in knots.
    pub speed_kn: Option<Value>,
    /// Heading, degrees true.
    pub heading_deg: Option<Value>,
    /// Rate of turn, degrees a minute.
    pub rate_of_turn_deg_per_min: Option<Value>,
    /// Name of the vessel or aid.
    pub name: Option<String>,
    /// Radio call sign.
    pub call_sign: Option<String>,
    /// IMO number; 0 is "not available" and left out.
    pub imo: Option<u32>,
    /// ITU-R M.1371 type of ship.
    pub ship_type: Option<u8>,
    /// Length and beam in metres.
    pub size_m: Option<(Value, Value)>,
    /// Draught in metres.
    pub draught_m: Option<Value>,
    /// Where the vessel says it is bound.
    pub destination: Option<String>,
    /// Maker of the transceiver.
    pub vendor: Option<String>,
    /// MMSI of the vessel that a boat belongs to.
    pub mothership: Option<u32>,
}

/// Start bits of the fields that differ between the position reports.
struct Layout {
    course: usize,
    heading: usize,
    transceiver: usize,
}

/// Reads an AIS message; `None` when the PGN is none of the AIS ones or the message has not even an MMSI field.
#[must_use]
pub fn report(pgn: u32, message: &[u8]) -> Option<AisReport> {
    let fields = Fields(message);
    message.get(..5)?;
    let head = AisReport { message: fields.small(0, 6), mmsi: number(fields, 8), ..AisReport::default() };
    Some(match pgn {
        129_038 => AisReport {
            rate_of_turn_deg_per_min: Some(fields.scaled_signed(184, 16, 3.125e-5_f64.to_degrees() * 60.0)),
            ..moving(fields, &Layout { course: 112, heading: 168, transceiver: 163 }, head)
        },
        129_039 => moving(fields, &Layout { course: 112, heading: 168, transceiver: 163 }, head),
        129_040 => AisReport {
            ship_type: fields.small(160, 8),
            size_m: Some(size(fields, 192)),
            name: Some(fields.text(32, 20)),
            ..moving(fields, &Layout { course: 112, heading: 168, transceiver: 422 }, head)
        },
        129_041 => AisReport {
            own: own(fields, 200),
            place: Some(fields.place(72, 40)),
            size_m: Some(size(fields, 112)),
            name: fields.variable_text(26).map(|(name, _)| name),
            ..head
        },
        129_793 => AisReport { own: own(fields, 163), place: Some(fields.place(72, 40)), ..head },
        129_794 => AisReport {
            own: own(fields, 592),
            imo: number(fields, 40).filter(|imo| *imo != 0),
            call_sign: Some(fields.text(9, 7)),
            name: Some(fields.text(16, 20)),
            ship_type: fields.small(288, 8),
            size_m: Some(size(fields, 296)),
            draught_m: Some(fields.scaled(408, 16, 0.01)),
            destination: Some(fields.text(53, 20)),
            ..head
        },
        129_809 => AisReport { own: own(fields, 200), name: Some(fields.text(5, 20)), ..head },
        129_810 => AisReport {
            own: own(fields, 264),
            ship_type: fields.small(40, 8),
            vendor: Some(fields.text(6, 7)),
            call_sign: Some(fields.text(13, 7)),
            size_m: Some(size(fields, 160)),
            mothership: number(fields, 224),
            ..head
        },
        _ => return None,
    })
}

fn moving(fields: Fields<'_>, layout: &Layout, head: AisReport) -> AisReport {
    AisReport {
        own: own(fields, layout.transceiver),
        place: Some(fields.place(72, 40)),
        course_deg: Some(fields.direction_deg(layout.course)),
        speed_kn: Some(fields.speed_kn(layout.course + 16)),
        heading_deg: Some(fields.direction_deg(layout.heading)),
        ..head
    }
}

fn own(fields: Fields<'_>, start: usize) -> bool {
    matches!(fields.raw(start, 5), Some(2..=4))
}

fn number(fields: Fields<'_>, start: usize) -> Option<u32> {
    fields.unsigned(start, 32).ok().and_then(|value| u32::try_from(value).ok())
}

fn size(fields: Fields<'_>, start: usize) -> (Value, Value) {
    (fields.scaled(start, 16, 0.1), fields.scaled(start + 16, 16, 0.1))
}
