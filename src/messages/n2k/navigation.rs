//! Routes and waypoints: PGN 129283, 129284, 129285.

use super::emit;
use super::field::Fields;
use crate::messages::{Absent, Reading};
use crate::units::{KNOTS_PER_M_S, Place};

/// Waypoints read of one message: more than fit a fast packet (13 bytes each).
const MAX_WAYPOINTS: usize = 32;

/// PGN 129283: distance from the planned track.
pub(super) fn cross_track(message: &[u8], out: &mut Vec<Reading>) {
    emit::main(out, "cross-track-error", None, "m", Fields(message).scaled_signed(16, 32, 0.01));
}

/// PGN 129284: the way to the next waypoint.
pub(super) fn to_waypoint(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    emit::main(out, "distance-to-waypoint", None, "m", fields.scaled(8, 32, 0.01));
    emit::other(out, "bearing-to-waypoint", None, "deg", fields.direction_deg(112));
    let closing_kn = fields.scaled_signed(256, 16, 0.01 * KNOTS_PER_M_S);
    emit::other(out, "waypoint-closing-speed", None, "kn", closing_kn);
}

/// The place that PGN 129284 leads to.
///
/// # Errors
/// When the message holds no destination.
pub fn destination(message: &[u8]) -> Result<Place, Absent> {
    Fields(message).place(192, 224)
}

/// A waypoint of a route.
#[derive(Debug, Clone, PartialEq)]
pub struct Waypoint {
    /// Number within the route.
    pub id: Option<u16>,
    /// Its name, as somebody typed it.
    pub name: String,
    /// Where it is.
    pub at: Result<Place, Absent>,
}

/// A route or a part of one.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Its name, as somebody typed it.
    pub name: String,
    /// The waypoints that are whole in the message.
    pub waypoints: Vec<Waypoint>,
}

/// Reads PGN 129285; `None` when it ends within the route's name.
#[must_use]
pub fn route(message: &[u8]) -> Option<Route> {
    let fields = Fields(message);
    let items = fields.unsigned(16, 16).map_or(0, |items| items as usize).min(MAX_WAYPOINTS);
    let (name, end) = fields.variable_text(9)?;
    let mut route = Route { name, waypoints: Vec::new() };
    // One reserved byte stands between the name and the first waypoint.
    let mut byte = end + 1;
    for _ in 0..items {
        let Some((name, end)) = fields.variable_text(byte + 2) else { break };
        let id = fields.unsigned(byte * 8, 16).ok().and_then(|id| u16::try_from(id).ok());
        let at = fields.place(end * 8, end * 8 + 32);
        if at == Err(Absent::Missing) {
            break;
        }
        route.waypoints.push(Waypoint { id, name, at });
        byte = end + 8;
    }
    Some(route)
}
