//! Boats made in memory, each for a judgement that is easily got wrong. What each shows is said beside it; the truth is
//! what was put in.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test fails by panicking, on numbers of its own"
)]

mod hosts;
#[path = "../hostile/make.rs"]
#[allow(dead_code, reason = "shared with another set of tests")]
mod make;

use leadsman::recording::open_reader;
use leadsman::report::model::{Report, Severity};
use leadsman::survey::{self, Options};
use leadsman::{complaints, findings, report};
use std::io::Cursor;

/// The report of recordings of these bytes.
fn judge(recordings: &[Vec<u8>]) -> Report {
    let opened = recordings.iter().enumerate().map(|(n, bytes)| {
        let size = Some(bytes.len() as u64);
        open_reader(&format!("recording {n}"), size, Box::new(Cursor::new(bytes.clone()))).unwrap()
    });
    let books = survey::fill(opened.collect(), &Options::default(), &mut |_| {}).unwrap();
    let found = findings::judge(&books);
    let answers = complaints::answer(&books, &found, None);
    report::assemble(&books, found, answers, true)
}

/// Names of the findings that are more than a note, in the report's order.
fn alarms(report: &Report) -> Vec<&'static str> {
    report.findings.iter().filter(|f| f.severity > Severity::Note).map(|f| f.kind).collect()
}
