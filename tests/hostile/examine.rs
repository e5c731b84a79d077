//! One run over hostile input, measured, and what must hold of every report.

use crate::HEAP;
use crate::bodies::check;
use leadsman::recording::{RecordingError, Summary, open_reader};
use leadsman::report::model::Report;
use leadsman::survey::{self, Options};
use leadsman::{complaints, findings, report};
use std::io::{Cursor, Read};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// What no run may exceed, whatever it reads.
pub(crate) const MAX_HEAP: usize = 128 << 20;

/// What no run of these tests may keep a processor busy; the largest take seconds in a debug build.
const MAX_TIME: Duration = Duration::from_secs(120);

/// Held while one run is measured: the counter is the process's.
static ALONE: Mutex<()> = Mutex::new(());

/// What a run over hostile input came to.
pub(crate) struct Seen {
    pub(crate) report: Report,
    pub(crate) summaries: Vec<Summary>,
    /// The most memory that it held at a time, bytes.
    pub(crate) heap: usize,
    /// How long it kept a processor busy.
    pub(crate) time: Duration,
}

impl Seen {
    /// Whether a line of the recordings' problems holds this text.
    pub(crate) fn says(&self, part: &str) -> bool {
        self.report.recordings.iter().flat_map(|r| &r.problems).any(|line| line.contains(part))
    }

    /// Asserts that a line of the recordings' problems holds this text.
    #[track_caller]
    pub(crate) fn assert_says(&self, part: &str) {
        let lines: Vec<_> = self.report.recordings.iter().flat_map(|r| &r.problems).collect();
        assert!(self.says(part), "{part:?} is not in {lines:#?}");
    }
}

/// What this thread has kept a processor busy: other than a clock, it does not see what else the machine does. Linux tells
/// it; elsewhere it is nothing, and only what never ends is noticed.
fn processor_time() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    Duration::from_nanos(told.split(' ').next().and_then(|ns| ns.parse().ok()).unwrap_or(0))
}

/// The lock under which runs are measured; a test that failed must not fail the others.
pub(crate) fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Examines one recording of these bytes.
pub(crate) fn examine(bytes: &[u8]) -> Result<Seen, RecordingError> {
    examine_stream(Box::new(Cursor::new(bytes.to_vec())), Some(bytes.len() as u64))
}

/// As [`examine`], of a stream that need not stand in memory.
pub(crate) fn examine_stream(input: Box<dyn Read + Send>, size: Option<u64>) -> Result<Seen, RecordingError> {
    let _alone = alone();
    measured(input, size)
}

/// As [`examine_stream`], for a caller that holds the lock [`alone`] already.
pub(crate) fn measured(input: Box<dyn Read + Send>, size: Option<u64>) -> Result<Seen, RecordingError> {
    let before = HEAP.current_usage();
    HEAP.reset_peak_usage();
    let worked = processor_time();
    let run = || {
        let recordings = vec![open_reader("hostile", size, input)?];
        let books = survey::fill(recordings, &Options::default(), &mut |_| {})?;
        let summaries = books.recordings.clone();
        let found = findings::judge(&books);
        let answers = complaints::answer(&books, &found.findings, None);
        Ok((report::assemble(&books, found, answers, true), summaries))
    };
    let outcome = run().map(|(report, summaries)| {
        // What the check below takes to read the report again is the test's own.
        let heap = HEAP.peak_usage().saturating_sub(before);
        let time = processor_time().saturating_sub(worked);
        check(&report);
        Seen { report, summaries, heap, time }
    });
    let heap = HEAP.peak_usage().saturating_sub(before);
    assert!(heap <= MAX_HEAP, "{heap} bytes of memory, the checks included");
    let time = processor_time().saturating_sub(worked);
    assert!(time <= MAX_TIME, "{time:?}");
    outcome
}
