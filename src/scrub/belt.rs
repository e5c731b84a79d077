//! The way from the desk to the packer: the copy is packed and written on a thread of its own, portion by portion.

use super::content::Marker;
use super::order::{Orders, Slip};
use super::pack::Packer;
use std::io::{self, Error, ErrorKind};
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::thread::{Builder, Scope, ScopedJoinHandle};

/// Bytes of one portion at most.
const PORTION: usize = 256 << 10;

/// Portions on their way at one time.
const PORTIONS: usize = 4;

/// A portion of the copy, and what is left to do to it.
#[derive(Default)]
struct Portion {
    bytes: Vec<u8>,
    slip: Slip,
}

/// Where portions are put on.
pub(super) struct Belt<'scope> {
    full: SyncSender<Portion>,
    /// Portions that were written, to be filled again.
    empties: Receiver<Portion>,
    packing: ScopedJoinHandle<'scope, io::Result<()>>,
}

impl<'scope> Belt<'scope> {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives none.
    pub(super) fn start<'env>(
        scope: &'scope Scope<'scope, 'env>,
        out: &'scope mut Packer<'_>,
        marker: Marker,
    ) -> io::Result<Self> {
        let (full, portions) = sync_channel::<Portion>(PORTIONS);
        let (spent, empties) = channel();
        let packing = Builder::new().name("packer".to_owned()).spawn_scoped(scope, move || {
            for mut portion in portions {
                portion.slip.fill(&marker, &mut portion.bytes);
                out.write(&portion.bytes)?;
                // Nobody takes it when the desk has finished.
                drop(spent.send(portion));
            }
            Ok(())
        })?;
        Ok(Self { full, empties, packing })
    }

    /// Puts some bytes on, which begin at `at` of the tape, with the orders for them.
    ///
    /// # Errors
    /// When the packer has stopped; [`end`](Self::end) tells why.
    pub(super) fn put(&self, at: u64, bytes: &[u8], orders: &mut Orders) -> io::Result<()> {
        let (mut at, mut rest) = (at, bytes);
        while !rest.is_empty() {
            let most = at + rest.len().min(PORTION) as u64;
            // A datagram is shorter than a portion; should one not be, its end is worth more than its mark.
            let end = Some(orders.cut(most)).filter(|end| *end > at).unwrap_or(most);
            let (bytes, behind) = rest.split_at_checked((end - at) as usize).unwrap_or((rest, &[]));
            let mut portion = self.empties.try_recv().unwrap_or_default();
            portion.bytes.clear();
            portion.bytes.extend_from_slice(bytes);
            orders.take(at, end, &mut portion.slip);
            self.full.send(portion).map_err(|_| stopped())?;
            (at, rest) = (end, behind);
        }
        Ok(())
    }

    /// Waits until all is written.
    ///
    /// # Errors
    /// When the system refused.
    pub(super) fn end(self) -> io::Result<()> {
        drop(self.full);
        self.packing.join().unwrap_or_else(|_| Err(stopped()))
    }
}

fn stopped() -> Error {
    Error::new(ErrorKind::BrokenPipe, "the thread that writes it has stopped")
}
