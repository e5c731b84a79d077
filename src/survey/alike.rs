//! For tests: a recording that is read ahead and in runs, and record by record.

use super::{Options, When, report, report_on};
use crate::recording::open;
use crate::time::Time;

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
