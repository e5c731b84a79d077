//! Many recordings, each reported on by itself, on as many threads as there are processors.

use super::{Options, report, report_alone};
use crate::recording::RecordingError;
use crate::report::model::Report;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::{Condvar, Mutex, PoisonError};

/// Reports that a thread may be ahead of the one that is to be handed out next: they wait in memory.
const AHEAD: usize = 2;

/// What the threads share.
#[derive(Default)]
struct Shared {
    /// Number of the next recording to be read.
    next: usize,
    /// Number of the next report to be handed out.
    due: usize,
    /// Reports that are done and not handed out.
    done: BTreeMap<usize, Result<Report, RecordingError>>,
    /// Nobody wants any more.
    stopped: bool,
}

/// Reports on each recording by itself and hands the reports to `take`, in the order of the paths.
///
/// As many recordings are read at once as there are processors; memory is that of so many runs. When `take` breaks off,
/// those that are being read are finished and thrown away.
pub fn each(
    paths: &[String],
    options: &Options,
    mut take: impl FnMut(&str, Result<Report, RecordingError>) -> ControlFlow<()>,
) {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(paths.len());
    let shared = Mutex::new(Shared::default());
    let changed = Condvar::new();
    let lock = || shared.lock().unwrap_or_else(PoisonError::into_inner);
    let wait = |guard| changed.wait(guard).unwrap_or_else(PoisonError::into_inner);
    let work = || {
        loop {
            let number = {
                let mut state = lock();
                while !state.stopped && state.next < paths.len() && state.next >= state.due + threads * AHEAD
                {
                    state = wait(state);
                }
                if state.stopped || state.next >= paths.len() {
                    return;
                }
                state.next += 1;
                state.next - 1
            };
            let Some(path) = paths.get(number) else { return };
            let result = match paths {
                [_] => report(paths, options, &mut |_| {}),
                _ => report_alone(path, options),
            };
            lock().done.insert(number, result);
            changed.notify_all();
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(work);
        }
        for (number, path) in paths.iter().enumerate() {
            let mut state = lock();
            let result = loop {
                match state.done.remove(&number) {
                    Some(result) => break result,
                    None => state = wait(state),
                }
            };
            state.due = number + 1;
            drop(state);
            changed.notify_all();
            if take(path, result).is_break() {
                lock().stopped = true;
                changed.notify_all();
                return;
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn recordings(dir: &std::path::Path, count: usize) -> Vec<String> {
        let make = |i: usize| {
            let path = dir.join(format!("{i}.log"));
            // The first takes longest, so that the others would overtake it.
            let lines = if i == 0 { 20_000 } else { 5 };
            fs::write(&path, "1772051516.5 $SDDBT,7.7,f,2.3,M,1.3,F*05\n".repeat(lines)).unwrap();
            path.to_str().unwrap().to_owned()
        };
        (0..count).map(make).collect()
    }

    #[test]
    fn reports_come_in_the_order_of_the_recordings() {
        let dir = tempfile::tempdir().unwrap();
        let mut paths = recordings(dir.path(), 20);
        paths.insert(7, dir.path().join("none.log").to_str().unwrap().to_owned());
        let mut seen = Vec::new();
        each(&paths, &Options::default(), |path, result| {
            assert_eq!(result.is_err(), path.ends_with("none.log"));
            if let Ok(report) = result {
                assert_eq!(report.recordings[0].path, path);
            }
            seen.push(path.to_owned());
            ControlFlow::Continue(())
        });
        assert_eq!(seen, paths);
    }

    #[test]
    fn breaking_off_ends_it() {
        let dir = tempfile::tempdir().unwrap();
        let mut seen = 0;
        each(&recordings(dir.path(), 20), &Options::default(), |_, _| {
            seen += 1;
            if seen == 3 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert_eq!(seen, 3);
        each(&[], &Options::default(), |_, _| ControlFlow::Continue(()));
    }
}
