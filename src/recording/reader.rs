//! What every reader does around its own steps.

use super::account::{Account, Rank};
use super::ahead::Batch;
use super::buffer::Buffer;
use super::cursor::{Content, Cursor};
use super::reel::Recorded;
use super::{Record, Recording, RecordingError, Summary};

/// A reader of one container: it looks at the next piece of its input, and says whether a record came of it.
pub(super) trait Reader: Send {
    /// The next piece: `Some(true)` when the cursor stands on a record, `None` when it held none, `Some(false)` at the end.
    fn step(&mut self) -> std::io::Result<Option<bool>>;

    /// Takes records into a batch until it is full or one needs a closer look than those before it: that one is the next
    /// step's. The cursor stays where it is.
    fn run(&mut self, _: &mut Batch) {}

    /// The end was reached; may be called again.
    fn finish(&mut self);

    /// What has been read so far.
    fn account(&self) -> &Account;

    /// The same, to write into.
    fn account_mut(&mut self) -> &mut Account;

    /// The record that the reader stands on.
    fn cursor(&self) -> &Cursor;

    /// The same, to move.
    fn cursor_mut(&mut self) -> &mut Cursor;

    /// Where the record's bytes lie.
    fn buffer(&self) -> &Buffer;
}

/// A recording that is read piece by piece: what stands between the records counts as well.
pub(super) trait Pieces: Recording {
    /// Looks at the next piece: `Some(true)` when it is a record, `None` when it is something else, `Some(false)` at the
    /// end.
    ///
    /// # Errors
    /// As [`Recording::advance`].
    fn piece(&mut self) -> Result<Option<bool>, RecordingError>;

    /// The record that the last piece was, without its bytes.
    fn recorded(&self) -> Recorded;

    /// Reads records into a batch until it is full; `false` at the end of the recording.
    ///
    /// # Errors
    /// As [`Recording::advance`].
    fn load(&mut self, batch: &mut Batch) -> Result<bool, RecordingError>;
}

impl<R: Reader> Pieces for R {
    fn piece(&mut self) -> Result<Option<bool>, RecordingError> {
        match self.step() {
            Ok(Some(false)) => {
                self.cursor_mut().content = Content::Nothing;
                self.finish();
                Ok(Some(false))
            }
            Ok(found) => Ok(found),
            Err(source) => {
                let path = self.account().summary.path.clone();
                self.account_mut().note(Rank::Cut, "reading failed before the end".to_owned());
                Err(RecordingError::Io { path, source })
            }
        }
    }

    fn recorded(&self) -> Recorded {
        Recorded::of(self.cursor())
    }

    fn load(&mut self, batch: &mut Batch) -> Result<bool, RecordingError> {
        loop {
            self.run(batch);
            if batch.is_full() {
                return Ok(true);
            }
            if !self.advance()? {
                return Ok(false);
            }
            batch.add(&self.record());
        }
    }
}

impl<R: Reader> Recording for R {
    fn advance(&mut self) -> Result<bool, RecordingError> {
        loop {
            if let Some(is_record) = self.piece()? {
                return Ok(is_record);
            }
        }
    }

    fn record(&self) -> Record<'_> {
        self.cursor().record(self.buffer())
    }

    fn summary(&self) -> &Summary {
        &self.account().summary
    }

    fn progress(&self) -> Option<f64> {
        self.account().progress()
    }
}

/// The parts of a reader with the usual fields `account`, `cursor` and `buffer`.
macro_rules! usual_parts {
    () => {
        fn account(&self) -> &Account {
            &self.account
        }

        fn account_mut(&mut self) -> &mut Account {
            &mut self.account
        }

        fn cursor(&self) -> &Cursor {
            &self.cursor
        }

        fn cursor_mut(&mut self) -> &mut Cursor {
            &mut self.cursor
        }

        fn buffer(&self) -> &Buffer {
            &self.buffer
        }
    };
}

pub(super) use usual_parts;
