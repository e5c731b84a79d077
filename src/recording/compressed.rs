//! The stored file: counting what is read of it, and unpacking it.

use std::io::{Error, ErrorKind, Read, Result};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Largest window of a zstd stream, as a power of two: 32 MiB. RFC 8878, 3.1.1.1.2 leaves it to the decoder and asks for
/// 8 MiB, which the usual levels keep to; a window is memory, and a whole run is to stay below 128 MiB.
const MAX_ZSTD_WINDOW_LOG: u32 = 25;

/// As above, of a zstd stream inside another: 8 MiB.
const MAX_INNER_WINDOW_LOG: u32 = 23;

/// A way of compression that is looked through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Compression {
    /// RFC 1952.
    Gzip,
    /// RFC 8878.
    Zstd,
}

impl Compression {
    /// Its name in the summary.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Gzip => "gzip",
            Self::Zstd => "zstd",
        }
    }
}

/// What is known of the stored file while it is read; shared by all layers of readers above it.
#[derive(Debug, Default)]
pub(super) struct Origin {
    /// The path as it was given.
    pub(super) path: String,
    /// The stored size, when known beforehand.
    pub(super) size: Option<u64>,
    /// Stored bytes read so far.
    read: AtomicU64,
    /// The outermost compression.
    pub(super) compression: OnceLock<&'static str>,
    /// Layers of compression.
    pub(super) layers: AtomicU32,
    /// What is wrong with a compressed stream.
    fault: Mutex<Option<String>>,
    /// Whether the system failed to deliver: then a decoder's error is not the stream's fault.
    failed: AtomicBool,
}

impl Origin {
    /// A file of which nothing was read yet.
    pub(super) fn new(path: &str, size: Option<u64>) -> Self {
        Self { path: path.to_owned(), size, ..Self::default() }
    }

    /// Stored bytes read so far.
    pub(super) fn read(&self) -> u64 {
        self.read.load(Relaxed)
    }

    /// Takes what is wrong with a compressed stream.
    pub(super) fn take_fault(&self) -> Option<String> {
        self.fault.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}

/// Counts the stored bytes on their way.
pub(super) struct Counted {
    input: Box<dyn Read + Send>,
    origin: Arc<Origin>,
}

impl Counted {
    /// Counts what is read from `input` in `origin`.
    pub(super) fn new(input: Box<dyn Read + Send>, origin: Arc<Origin>) -> Self {
        Self { input, origin }
    }
}

impl Read for Counted {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        match self.input.read(out) {
            Ok(n) => {
                self.origin.read.fetch_add(n as u64, Relaxed);
                Ok(n)
            }
            Err(error) => {
                self.origin.failed.store(error.kind() != ErrorKind::Interrupted, Relaxed);
                Err(error)
            }
        }
    }
}

/// An unpacked stream. A cut or broken one ends where it cannot be read on, and says so in the [`Origin`].
pub(super) struct Unpacked {
    decoder: Box<dyn Read + Send>,
    kind: Compression,
    given: u64,
    origin: Arc<Origin>,
    ended: bool,
}

impl Unpacked {
    /// Unpacks `input`.
    ///
    /// # Errors
    /// When the decoder cannot be set up (memory).
    pub(super) fn new(input: Box<dyn Read + Send>, kind: Compression, origin: Arc<Origin>) -> Result<Self> {
        let decoder: Box<dyn Read + Send> = match kind {
            Compression::Gzip => Box::new(flate2::read::MultiGzDecoder::new(input)),
            Compression::Zstd => {
                let mut decoder = zstd::stream::read::Decoder::new(input)?;
                let inner = origin.layers.load(Relaxed) > 1;
                decoder.window_log_max(if inner { MAX_INNER_WINDOW_LOG } else { MAX_ZSTD_WINDOW_LOG })?;
                Box::new(decoder)
            }
        };
        Ok(Self { decoder, kind, given: 0, origin, ended: false })
    }

    fn fault(&self, error: &Error) -> String {
        let (name, given) = (self.kind.name(), self.given);
        if given == 0 && error.to_string().contains("too much memory") {
            "the zstd stream needs more memory than is given here (a long window); unpack it first with \
             `zstd -d --long=31`"
                .to_owned()
        } else if error.kind() == ErrorKind::UnexpectedEof {
            format!("the {name} stream is cut off; {given} unpacked bytes could be read")
        } else {
            format!(
                "the {name} stream is broken after {given} unpacked bytes; what follows could not be read"
            )
        }
    }
}

impl Read for Unpacked {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        if self.ended {
            return Ok(0);
        }
        // Small portions: what a decoder had unpacked in the call that failed is lost.
        let portion = out.len().min(16 << 10);
        match self.decoder.read(out.get_mut(..portion).unwrap_or_default()) {
            Ok(n) => {
                self.given = self.given.saturating_add(n as u64);
                Ok(n)
            }
            Err(error) if error.kind() == ErrorKind::Interrupted || self.origin.failed.load(Relaxed) => {
                Err(error)
            }
            Err(error) => {
                self.ended = true;
                let fault = self.fault(&error);
                self.origin.fault.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(fault);
                Ok(0)
            }
        }
    }
}
