//! Tanks: PGN 127505.

use super::emit;
use super::field::Fields;
use crate::messages::Reading;

/// PGN 127505: level and capacity of a tank, named by what is in it: instances count per fluid.
pub(super) fn level(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let instance = fields.small(0, 4);
    let quantity = match fields.small(4, 4) {
        Some(0) => "fuel-level",
        Some(1) => "fresh-water-level",
        Some(2) => "waste-water-level",
        Some(3) => "live-well-level",
        Some(4) => "oil-level",
        Some(5) => "black-water-level",
        Some(6) => "petrol-level",
        _ => "fluid-level",
    };
    emit::main(out, quantity, instance, "percent", fields.scaled_signed(8, 16, 0.004));
    emit::other(out, "tank-capacity", instance, "L", fields.scaled(24, 32, 0.1));
}
