//! Several recordings of one boat as one stream, in order of time.

use super::{Reckoning, Record, Recording, RecordingError, Summary, Take};
use crate::time::Time;

/// A step back in one recording's time beyond this is a clock that was set, microseconds.
const CLOCK_SET_US: i64 = 10_000_000;

/// Several recordings read as one.
///
/// The earliest record goes first. Records without time go at once, in the order of the recordings. When a recording's
/// clock is set back, its records keep their place in the stream beside the others (their times are not changed):
/// otherwise the others would wait until it had caught up with itself.
pub struct Merged<R = Box<dyn Recording>> {
    sources: Vec<Source<R>>,
    current: usize,
}

struct Source<R> {
    recording: R,
    /// How its clock is put right; `None` when it is left alone.
    reckoning: Option<Reckoning>,
    state: State,
    /// Added to its times for the order.
    shift: i64,
    /// The latest place it had.
    latest: Option<i64>,
}

/// Where a source stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    /// Its next record must be fetched.
    Due,
    /// It stands on a record that has this place; `None` when it has no time.
    Ready(Option<i64>),
    /// At its end.
    Ended,
}

impl<R: Recording> Source<R> {
    fn fetch(&mut self) -> Result<(), RecordingError> {
        self.state = State::Ended;
        if self.recording.advance()? {
            let time = self.time();
            self.state = State::Ready(time.map(|time| self.place(time)));
        }
        Ok(())
    }

    /// The time of its record, by the common clock.
    fn time(&self) -> Option<Time> {
        let time = self.recording.record().time?;
        Some(self.reckoning.as_ref().map_or(time, |reckoning| reckoning.correct(time)))
    }

    /// Moves on when there is no other source to keep in step with, so that nobody asks for its place.
    fn next(&mut self) -> Result<bool, RecordingError> {
        let due = self.state != State::Ended;
        self.state = State::Ended;
        if due && self.recording.advance()? {
            self.state = State::Ready(None);
        }
        Ok(self.state != State::Ended)
    }

    fn place(&mut self, Time(us): Time) -> i64 {
        let mut place = us.saturating_add(self.shift);
        if let Some(latest) = self.latest {
            if place < latest.saturating_sub(CLOCK_SET_US) {
                self.shift = latest.saturating_sub(us);
            }
            place = place.max(latest);
        }
        self.latest = Some(place);
        place
    }
}

impl<R: Recording> Merged<R> {
    /// Merges `recordings`; their order is the order of their numbers.
    #[must_use]
    pub fn new(recordings: Vec<R>) -> Self {
        Self::reckoned(recordings, &[])
    }

    /// As [`new`](Self::new), with clocks put right: the reckonings in the order of the recordings.
    #[must_use]
    pub fn reckoned(recordings: Vec<R>, reckonings: &[Reckoning]) -> Self {
        let source = |(number, recording): (usize, R)| Source {
            recording,
            reckoning: reckonings.get(number).filter(|r: &&Reckoning| r.moves()).cloned(),
            state: State::Due,
            shift: 0,
            latest: None,
        };
        Self { sources: recordings.into_iter().enumerate().map(source).collect(), current: 0 }
    }

    /// Moves to the next record; `false` at the end of all recordings.
    ///
    /// # Errors
    /// When one of the recordings cannot be read on. That one counts as ended; the next call goes on with the others.
    #[inline]
    pub fn advance(&mut self) -> Result<bool, RecordingError> {
        if let [source] = self.sources.as_mut_slice() {
            return source.next();
        }
        if let Some(source) = self.sources.get_mut(self.current)
            && matches!(source.state, State::Ready(_))
        {
            source.state = State::Due;
        }
        for source in &mut self.sources {
            if source.state == State::Due {
                source.fetch()?;
            }
        }
        let ready = self.sources.iter().enumerate().filter_map(|(index, source)| match source.state {
            State::Ready(place) => Some((place, index)),
            State::Due | State::Ended => None,
        });
        let first = ready.min();
        if let Some((_, index)) = first {
            self.current = index;
        }
        Ok(first.is_some())
    }

    /// Moves on over records of a recording that is read alone, as [`Recording::run`] does.
    #[inline]
    pub fn run(&mut self, take: &mut impl Take) {
        if let [Source { recording, reckoning: None, state: State::Ready(_), .. }] =
            self.sources.as_mut_slice()
        {
            recording.run(take);
        }
    }

    /// The number of the recording whose record `advance` moved to.
    #[must_use]
    pub fn number(&self) -> usize {
        self.current
    }

    /// The record that `advance` moved to.
    #[inline]
    #[must_use]
    pub fn record(&self) -> Record<'_> {
        match self.sources.get(self.current) {
            None => Record { time: None, wire: 0, payload: super::Payload::Line(&[]) },
            Some(source) if source.reckoning.is_some() => {
                Record { time: source.time(), ..source.recording.record() }
            }
            Some(source) => source.recording.record(),
        }
    }

    /// Whether every record of a recording has been read.
    #[must_use]
    pub fn ended(&self, number: usize) -> bool {
        self.sources.get(number).is_none_or(|source| source.state == State::Ended)
    }

    /// What was worked out of the record where it was read (see [`Recording::digest`]).
    #[must_use]
    pub fn digest(&self) -> Option<u64> {
        self.sources.get(self.current)?.recording.digest()
    }

    /// The summaries in the order of the recordings; complete once `advance` returned `false`.
    pub fn summaries(&self) -> impl Iterator<Item = &Summary> {
        self.sources.iter().map(|source| source.recording.summary())
    }

    /// Share of the files that has been read, 0 to 1, when all their sizes are known.
    #[must_use]
    pub fn progress(&self) -> Option<f64> {
        let (mut read, mut all) = (0.0, 0.0);
        for source in &self.sources {
            let bytes = source.recording.summary().bytes as f64;
            read += source.recording.progress()? * bytes;
            all += bytes;
        }
        (all > 0.0).then(|| read / all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Payload;

    /// Records with the given times.
    struct Fake(Vec<Option<i64>>, usize, Summary);

    impl Recording for Fake {
        fn advance(&mut self) -> Result<bool, RecordingError> {
            self.1 += 1;
            Ok(self.1 <= self.0.len())
        }

        fn record(&self) -> Record<'_> {
            let time = self.0.get(self.1.wrapping_sub(1)).copied().flatten().map(Time);
            Record { time, wire: 0, payload: Payload::Line(&[]) }
        }

        fn summary(&self) -> &Summary {
            &self.2
        }
    }

    fn boxed(times: &&[Option<i64>]) -> Box<dyn Recording> {
        Box::new(Fake(times.to_vec(), 0, Summary::default()))
    }

    fn order(sources: &[&[Option<i64>]]) -> Vec<(usize, Option<i64>)> {
        let mut merged = Merged::new(sources.iter().map(boxed).collect());
        let mut out = Vec::new();
        while merged.advance().unwrap() {
            out.push((merged.number(), merged.record().time.map(|t| t.0)));
        }
        assert!(!merged.advance().unwrap(), "the end stays the end");
        out
    }

    #[test]
    fn the_earliest_goes_first_and_records_without_time_at_once() {
        let merged = order(&[&[Some(1), Some(4)], &[None, Some(2), None], &[Some(2), Some(3)]]);
        let want =
            [(1, None), (0, Some(1)), (1, Some(2)), (1, None), (2, Some(2)), (2, Some(3)), (0, Some(4))];
        assert_eq!(merged, want);
        assert_eq!(order(&[]), []);
        assert_eq!(order(&[&[], &[None]]), [(1, None)]);
    }

    #[test]
    fn a_clock_put_right_changes_times_and_order() {
        let sources: [&[Option<i64>]; 2] = [&[Some(1_000_000)], &[Some(5_000_000), None]];
        let late = Reckoning { offset_s: -4.5, ..Reckoning::untouched("", None) };
        let mut merged =
            Merged::reckoned(sources.iter().map(boxed).collect(), &[Reckoning::untouched("", None), late]);
        assert!(merged.advance().unwrap());
        assert_eq!(merged.record().time, Some(Time(500_000)));
        assert_eq!(merged.number(), 1);
        assert!(merged.advance().unwrap());
        assert_eq!((merged.number(), merged.record().time), (1, None), "no time stays no time");
    }

    #[test]
    fn a_clock_set_back_does_not_stall_the_others() {
        const S: i64 = 1_000_000;
        let back: Vec<_> =
            (0..4).map(|n| Some(n * 100 * S)).chain((0..4).map(|n| Some(n * 100 * S))).collect();
        let steady: Vec<_> = (0..8).map(|n| Some(n * 100 * S + 1)).collect();
        let merged = order(&[&back, &steady]);
        let most_ahead = merged.iter().fold((0i32, 0), |(balance, most), &(index, _)| {
            let balance = balance + if index == 0 { 1 } else { -1 };
            (balance, most.max(balance.abs()))
        });
        assert!(most_ahead.1 <= 2, "both advance side by side: {merged:?}");
    }
}
