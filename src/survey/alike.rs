//! For tests: a recording that is read ahead and in runs, and record by record.

use super::{Options, When, report, report_on};
use crate::recording::open;
use crate::time::Time;
use proptest::prelude::*;

/// From one record to the next, microseconds: mostly on, at times back a little, or far.
pub(super) fn step() -> impl Strategy<Value = i64> {
    prop_oneof![9 => 0_i64..60_000, 1 => -200_000_i64..0, 1 => -5_000_000_i64..9_000_000]
}

/// A window of some seconds, or none.
pub(super) fn window() -> impl Strategy<Value = Option<(i64, i64)>> {
    prop::option::of((0_i64..6_000_000, 0_i64..12_000_000))
}

/// A part of a recording, for properties that hold of any part: from so many microseconds after a moment to so many.
pub(super) fn part(of: i64, window: Option<(i64, i64)>) -> Options {
    let moment = |us: i64| Some(When::Moment(Time(of + us)));
    Options {
        from: window.and_then(|(from, _)| moment(from)),
        to: window.and_then(|(_, to)| moment(to)),
        ..Options::default()
    }
}

/// Both reports on a file of this content, as JSON.
pub(super) fn reports(content: &[u8], options: &Options) -> (String, String) {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), content).unwrap();
    let path = file.path().to_str().unwrap();
    let json = |report| serde_json::to_string(&report).unwrap();
    let ahead = json(report(&[path.to_owned()], options, &mut |_| {}).unwrap());
    (ahead, json(report_on(vec![open(path).unwrap()], options, &mut |_| {}).unwrap()))
}
