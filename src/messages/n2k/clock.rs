//! Time of day: PGN 126992, 129033.

use super::emit;
use super::field::Fields;
use crate::messages::Reading;

/// PGN 126992: system time.
pub(super) fn system_time(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::Clock { days: fields.days(16), of_day_us: fields.of_day_us(32) });
}

/// PGN 129033: time with the local offset. The standard's sign of the offset is not agreed on in the field.
pub(super) fn local_time(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    out.push(Reading::Clock { days: fields.days(0), of_day_us: fields.of_day_us(16) });
    emit::other(out, "local-time-offset", None, "min", fields.scaled_signed(48, 16, 1.0));
}
