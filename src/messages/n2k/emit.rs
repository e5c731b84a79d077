//! Small helpers of the message files: readings that a message only sometimes has.

use crate::messages::{Absent, Reading, Value};

/// Whether the sender says anything in this field at all: a value, or a code other than "not available".
pub(super) const fn is_said(value: &Value) -> bool {
    !matches!(value, Err(Absent::NotAvailable | Absent::Missing))
}

/// Adds a quantity that stands beside a message's main one. Senders leave most of these fields unused, so one that is
/// not available is no reading.
pub(super) fn other(
    out: &mut Vec<Reading>,
    quantity: &'static str,
    instance: Option<u8>,
    unit: &'static str,
    value: Value,
) {
    if is_said(&value) {
        out.push(Reading::Other { quantity, instance, value, unit });
    }
}

/// Adds a quantity that the message is for, whether or not there is a value.
pub(super) fn main(
    out: &mut Vec<Reading>,
    quantity: &'static str,
    instance: Option<u8>,
    unit: &'static str,
    value: Value,
) {
    out.push(Reading::Other { quantity, instance, value, unit });
}
