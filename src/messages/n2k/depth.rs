//! Water depth: PGN 128267.

use super::emit;
use super::field::Fields;
use crate::messages::{DepthBelow, Reading};

/// PGN 128267: depth below the transducer; the offset is positive to the waterline, negative to the keel.
pub(super) fn depth(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::Depth {
        m: fields.scaled(8, 32, 0.01),
        below: DepthBelow::Transducer,
        offset_m: fields.scaled_signed(40, 16, 0.001),
    });
    emit::other(out, "depth-range", None, "m", fields.scaled(56, 8, 10.0));
}
