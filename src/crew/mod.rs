//! A crew: helping threads that do whatever work is at hand, so that no processor waits while another has too much to do.
//!
//! The work of a run is a row of stations: batches are filled by [`Source`]s, the run itself goes over them, and [`Sink`]s
//! take what it hands on. Each station does its batches one after the other, and no two threads are at one station. A
//! thread is not bound to a station: whoever has to wait, the run as well as the helpers, lends a hand where a batch lies
//! ready, so that the work is shared out evenly whatever its parts take.

mod sink;
mod source;

pub use sink::Sink;
pub use source::Source;

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Batches that may wait between two stations: a few, so that nobody waits for one that takes longer.
const WAITING: usize = 2;

/// A place of work.
trait Station: Send + Sync {
    /// Works on one batch, if there is one and nobody else is here; says whether it did.
    fn work(&self) -> bool;
}

/// Some helping threads. They go when the crew is dropped, as soon as they have done what they are at.
pub struct Crew(Arc<Shared>);

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    /// In the order in which the run lends a hand: sources and then sinks, as it waits for what only it can go over. The
    /// helpers go the other way round.
    stations: Vec<Arc<dyn Station>>,
    /// Counts what may have given somebody work.
    turn: u64,
    /// Threads that wait for the next turn.
    waiting: usize,
    dismissed: bool,
    /// What a helper died of.
    panic: Option<Box<dyn Any + Send>>,
}

impl Crew {
    /// A crew for so many stations: no more helpers than they can use, and none for the processor of the thread that asks,
    /// which does all the work where there is but one.
    #[must_use]
    pub fn new(stations: usize) -> Self {
        let others = thread::available_parallelism().map_or(1, usize::from).saturating_sub(1);
        Self::of(others.min(stations))
    }

    /// A crew of so many helpers, or fewer when the system gives no threads.
    #[must_use]
    pub fn of(helpers: usize) -> Self {
        let shared = Arc::new(Shared::default());
        for _ in 0..helpers {
            let shared = Arc::clone(&shared);
            if thread::Builder::new().name("helper".to_owned()).spawn(move || shared.help()).is_err() {
                break;
            }
        }
        Self(shared)
    }

    /// Opens a station: a source, or a sink.
    fn open(&self, station: Arc<dyn Station>, is_source: bool) -> Arc<Shared> {
        let mut state = self.0.lock();
        let at = if is_source { 0 } else { state.stations.len() };
        state.stations.insert(at, station);
        drop(state);
        self.0.tell();
        Arc::clone(&self.0)
    }
}

impl Drop for Crew {
    fn drop(&mut self) {
        self.0.lock().dismissed = true;
        self.0.tell();
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Says that there may be work.
    fn tell(&self) {
        let mut state = self.lock();
        state.turn += 1;
        let waiting = state.waiting > 0;
        drop(state);
        if waiting {
            self.changed.notify_all();
        }
    }

    /// Waits until something has happened since `turn`.
    fn wait(&self, turn: u64) {
        let mut state = self.lock();
        state.waiting += 1;
        while state.turn == turn {
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.waiting -= 1;
    }

    /// Works on one batch at the first station that has one.
    fn work<'a>(&self, mut stations: impl Iterator<Item = &'a Arc<dyn Station>>) -> bool {
        let worked = stations.any(|station| station.work());
        if worked {
            self.tell();
        }
        worked
    }

    /// A helper's life.
    fn help(&self) {
        loop {
            let (stations, turn) = {
                let state = self.lock();
                if state.dismissed {
                    return;
                }
                (state.stations.clone(), state.turn)
            };
            match catch_unwind(AssertUnwindSafe(|| self.work(stations.iter().rev()))) {
                Ok(true) => {}
                Ok(false) => self.wait(turn),
                Err(panic) => {
                    self.lock().panic = Some(panic);
                    self.tell();
                    return;
                }
            }
        }
    }

    /// Lends a hand until `done` gives something.
    ///
    /// # Panics
    /// When a helper did.
    fn until<T>(&self, mut done: impl FnMut() -> Option<T>) -> T {
        loop {
            let turn = self.lock().turn;
            if let Some(done) = done() {
                self.tell();
                return done;
            }
            let (stations, panic) = {
                let mut state = self.lock();
                (state.stations.clone(), state.panic.take())
            };
            if let Some(panic) = panic {
                resume_unwind(panic);
            }
            if !self.work(stations.iter()) {
                self.wait(turn);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers through a source, the run and a sink: each once, in order.
    #[test]
    fn batches_keep_their_order_however_many_help() {
        for helpers in 0..4 {
            let crew = Crew::of(helpers);
            let mut next = 0;
            let mut source = Source::new(&crew, move |batch: &mut Vec<u64>, _| {
                batch.clear();
                batch.extend(next..next + 100);
                next += 100;
                next == 10_000
            });
            let mut sink = Sink::new(&crew, Vec::new(), |all: &mut Vec<u64>, batch: &mut Vec<u64>| {
                all.append(batch);
            });
            let (mut from, mut to) = (Vec::new(), Vec::new());
            while let Some(batch) = source.next(from) {
                to.extend(batch.iter().map(|number| number * 2));
                from = batch;
                to = sink.put(to);
            }
            sink.put(vec![7]);
            let all = sink.close();
            assert_eq!(
                all.split_last(),
                Some((&7, (0..10_000).map(|n| n * 2).collect::<Vec<_>>().as_slice()))
            );
        }
    }

    /// A helper that looks in vain whether there is work holds nobody up.
    #[test]
    fn a_sink_closes_whenever_helpers_look_at_it() {
        for _ in 0..400 {
            let crew = Crew::of(3);
            for number in 0..50 {
                let mut sink = Sink::new(&crew, 0, |sum: &mut u32, batch: &mut u32| *sum += *batch);
                sink.put(number);
                assert_eq!(sink.close(), number);
            }
        }
    }

    #[test]
    fn what_a_helper_dies_of_is_not_waited_for() {
        for helpers in 0..3 {
            let crew = Crew::of(helpers);
            let mut sink = Sink::new(&crew, (), |(), _: &mut u8| panic!("dropped the batch"));
            let all = catch_unwind(AssertUnwindSafe(|| {
                for number in 0..100 {
                    sink.put(number);
                }
                sink.close();
            }));
            assert_eq!(all.unwrap_err().downcast_ref(), Some(&"dropped the batch"));
        }
    }

    #[test]
    fn a_crew_can_go_before_its_work_is_done() {
        let mut source = Source::new(&Crew::of(2), |batch: &mut u8, _| {
            *batch += 1;
            *batch == 200
        });
        let mut taken = 0;
        while source.next(taken).is_some() {
            taken += 1;
        }
        assert_eq!(taken, 200);
    }
}
