//! Batches that are worked on behind whoever hands them over.

use super::{Crew, Shared, Station, WAITING};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Where batches go, one after the other, into a `K`.
pub struct Sink<T, K> {
    desk: Arc<Desk<T, K>>,
    crew: Arc<Shared>,
}

type Take<T, K> = Box<dyn FnMut(&mut K, &mut T) + Send>;

struct Desk<T, K> {
    /// What batches go into, and how; `None` when it was closed.
    keeper: Mutex<Option<(K, Take<T, K>)>>,
    tray: Mutex<Tray<T>>,
}

struct Tray<T> {
    full: VecDeque<T>,
    /// Batches to be filled again.
    spent: Vec<T>,
}

impl<T: Default + Send + 'static, K: Send + 'static> Sink<T, K> {
    /// A sink that works every batch into `keeper`, with `take`.
    pub fn new(crew: &Crew, keeper: K, take: impl FnMut(&mut K, &mut T) + Send + 'static) -> Self {
        let tray = Tray { full: VecDeque::new(), spent: Vec::new() };
        let keeper = Mutex::new(Some((keeper, Box::new(take) as Take<T, K>)));
        let desk = Arc::new(Desk { keeper, tray: Mutex::new(tray) });
        let station: Arc<dyn Station> = Arc::<Desk<T, K>>::clone(&desk);
        Self { desk, crew: crew.open(station, false) }
    }

    /// Hands a batch over, for one to be filled: it is new or holds what `take` left in it.
    ///
    /// # Panics
    /// When `take` did.
    pub fn put(&mut self, full: T) -> T {
        let mut full = Some(full);
        self.crew.until(|| {
            let mut tray = self.desk.tray();
            if tray.full.len() >= WAITING {
                return None;
            }
            tray.full.extend(full.take());
            Some(tray.spent.pop().unwrap_or_default())
        })
    }

    /// What the batches went into, when all have.
    ///
    /// # Panics
    /// When `take` did.
    pub fn close(self) -> K {
        self.crew.until(|| {
            while self.desk.work() {}
            // Whoever takes a batch off the tray holds the keeper. So does who finds the tray empty, for a moment, and tells nobody when
            // that is over: it must be waited for here.
            let mut held = self.desk.keeper.lock().ok()?;
            let is_all = self.desk.tray().full.is_empty();
            held.take_if(|_| is_all).map(|(keeper, _)| keeper)
        })
    }
}

impl<T, K> Desk<T, K> {
    fn tray(&self) -> MutexGuard<'_, Tray<T>> {
        self.tray.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<T: Send, K: Send> Station for Desk<T, K> {
    fn work(&self) -> bool {
        let Ok(mut held) = self.keeper.try_lock() else { return false };
        let Some((keeper, take)) = held.as_mut() else { return false };
        let Some(mut batch) = self.tray().full.pop_front() else { return false };
        take(keeper, &mut batch);
        self.tray().spent.push(batch);
        true
    }
}
