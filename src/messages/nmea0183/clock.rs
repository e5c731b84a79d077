//! Time and date: ZDA. (IEC 61162-1.)

use super::Sentence;
use crate::messages::Reading;
use crate::time::days_from_civil;

/// ZDA: UTC and date. The local zone is left aside: nothing aboard is timed by it.
pub(super) fn zda(s: &Sentence<'_>, out: &mut Vec<Reading>) {
    let date = || days_from_civil(s.whole(4)?, s.whole(3)?, s.whole(2)?);
    out.push(Reading::Clock { days: date(), of_day_us: s.time_of_day(1) });
}
