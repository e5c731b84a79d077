//! Switch banks: PGN 127501.

use super::emit;
use super::field::Fields;
use crate::messages::{Absent, Reading};

/// Indicators of one bank.
const INDICATORS: usize = 28;

/// PGN 127501: how many of a bank's indicators are on; one that is not fitted or in error does not count.
pub(super) fn bank(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let states = (0..INDICATORS).map(|n| fields.unsigned(8 + 2 * n, 2));
    let (mut known, mut on) = (0, 0);
    for state in states.flatten() {
        known += 1;
        on += u32::from(state == 1);
    }
    let none = if message.len() < 2 { Absent::Missing } else { Absent::NotAvailable };
    let value = if known == 0 { Err(none) } else { Ok(f64::from(on)) };
    emit::main(out, "switches-on", fields.small(0, 8), "count", value);
}
