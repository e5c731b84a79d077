//! Batches that are filled ahead of whoever takes them.

use super::{Crew, Shared, Station, WAITING};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Where batches come from, one after the other.
pub struct Source<T> {
    supply: Arc<Supply<T>>,
    crew: Arc<Shared>,
}

type Fill<T> = Box<dyn FnMut(&mut T, bool) -> bool + Send>;

struct Supply<T> {
    /// Fills a batch and says whether it was the last; `None` after that.
    fill: Mutex<Option<Fill<T>>>,
    shelf: Mutex<Shelf<T>>,
}

struct Shelf<T> {
    full: VecDeque<T>,
    /// Batches to be filled again.
    spent: Vec<T>,
    ended: bool,
}

impl<T: Default + Send + 'static> Source<T> {
    /// A source of batches that `fill` fills, which says whether that was the last. A batch that it gets is new or holds
    /// what it held when it was [given back](Self::next); `true` tells that none is ready, so that what can be done
    /// later should be.
    pub fn new(crew: &Crew, fill: impl FnMut(&mut T, bool) -> bool + Send + 'static) -> Self {
        let shelf = Shelf { full: VecDeque::new(), spent: Vec::new(), ended: false };
        let supply =
            Arc::new(Supply { fill: Mutex::new(Some(Box::new(fill) as Fill<T>)), shelf: Mutex::new(shelf) });
        let station: Arc<dyn Station> = Arc::<Supply<T>>::clone(&supply);
        Self { supply, crew: crew.open(station, true) }
    }

    /// The next batch, for one that was looked through; `None` after the last.
    ///
    /// # Panics
    /// When a helper did.
    pub fn next(&mut self, spent: T) -> Option<T> {
        self.supply.shelf().spent.push(spent);
        self.crew.until(|| self.supply.take().or_else(|| self.supply.work().then(|| self.supply.take())?))
    }
}

impl<T: Default + Send> Supply<T> {
    fn shelf(&self) -> MutexGuard<'_, Shelf<T>> {
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next batch, or `Some(None)` when there was a last; `None` when there is none yet.
    fn take(&self) -> Option<Option<T>> {
        let mut shelf = self.shelf();
        let ended = shelf.ended;
        shelf.full.pop_front().map(Some).or_else(|| ended.then_some(None))
    }
}

impl<T: Default + Send> Station for Supply<T> {
    fn work(&self) -> bool {
        let Ok(mut held) = self.fill.try_lock() else { return false };
        let Some(fill) = held.as_mut() else { return false };
        let (mut batch, urgent) = {
            let mut shelf = self.shelf();
            if shelf.full.len() >= WAITING {
                return false;
            }
            (shelf.spent.pop().unwrap_or_default(), shelf.full.is_empty())
        };
        let ended = fill(&mut batch, urgent);
        if ended {
            *held = None;
        }
        // Nobody else fills one before this is on the shelf.
        let mut shelf = self.shelf();
        shelf.full.push_back(batch);
        shelf.ended = ended;
        true
    }
}
