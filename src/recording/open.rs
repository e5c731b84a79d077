//! Opening: from a path or a stream to the reader for its content.

use super::buffer::Buffer;
use super::compressed::{Compression, Counted, Origin, Unpacked};
use super::reader::Pieces;
use super::reel::Spool;
use super::sniff::{HEAD, Kind, sniff};
use super::{Recording, RecordingError, pcap::Pcap, pcapng::Pcapng, text::Text};
use std::fs::File;
use std::io::{Cursor, ErrorKind, Read};
use std::sync::atomic::Ordering::Relaxed;
use std::sync::{Arc, Mutex};

/// Layers of compression that are looked through.
const MAX_LAYERS: u32 = 2;

/// Opens the recording at `path`; `-` is standard input. The kind is told from the content alone.
///
/// # Errors
/// When the system refuses, or when the content is of no kind that is read.
pub fn open(path: &str) -> Result<Box<dyn Recording>, RecordingError> {
    open_pieces(path).map(|pieces| pieces as Box<dyn Recording>)
}

/// As [`open`], to be read piece by piece.
///
/// # Errors
/// As [`open`].
pub(super) fn open_pieces(path: &str) -> Result<Box<dyn Pieces>, RecordingError> {
    let (size, input) = input(path)?;
    open_input(path, size, input, None)
}

/// Opens the recording at `path` as [`open`] does, with all its bytes on a spool.
///
/// # Errors
/// As [`open`].
pub(super) fn open_onto(path: &str, spool: &Arc<Mutex<Spool>>) -> Result<Box<dyn Pieces>, RecordingError> {
    let (size, input) = input(path)?;
    open_input(path, size, input, Some(spool))
}

/// The stored size, when known, and the bytes of what is at `path`.
fn input(path: &str) -> Result<(Option<u64>, Box<dyn Read + Send>), RecordingError> {
    if path == "-" {
        return Ok((None, Box::new(std::io::stdin())));
    }
    let io = |source| RecordingError::Io { path: path.to_owned(), source };
    let file = File::open(path).map_err(io)?;
    let about = file.metadata().map_err(io)?;
    if about.is_dir() {
        let found = "it is a directory; name the files in it".to_owned();
        return Err(RecordingError::Unknown { path: path.to_owned(), found });
    }
    Ok((about.is_file().then_some(about.len()), Box::new(file)))
}

/// Opens a recording that is read from `input`. `path` is what messages call it, `size` its stored size in bytes when
/// known.
///
/// # Errors
/// As [`open`].
pub fn open_reader(
    path: &str,
    size: Option<u64>,
    input: Box<dyn Read + Send>,
) -> Result<Box<dyn Recording>, RecordingError> {
    open_input(path, size, input, None).map(|pieces| pieces as Box<dyn Recording>)
}

fn open_input(
    path: &str,
    size: Option<u64>,
    input: Box<dyn Read + Send>,
    spool: Option<&Arc<Mutex<Spool>>>,
) -> Result<Box<dyn Pieces>, RecordingError> {
    let origin = Arc::new(Origin::new(path, size));
    open_content(Arc::clone(&origin), input, spool).map_err(|refusal| match refusal {
        Refusal::Io(source) => RecordingError::Io { path: path.to_owned(), source },
        Refusal::Unknown(found) => {
            let fault = origin.take_fault().map(|fault| format!(" ({fault})")).unwrap_or_default();
            RecordingError::Unknown { path: path.to_owned(), found: format!("{found}{fault}") }
        }
    })
}

/// Why content is not opened.
pub(super) enum Refusal {
    /// The system failed.
    Io(std::io::Error),
    /// What was found instead of a recording.
    Unknown(String),
}

impl From<std::io::Error> for Refusal {
    fn from(error: std::io::Error) -> Self {
        Self::Io(error)
    }
}

fn open_content(
    origin: Arc<Origin>,
    input: Box<dyn Read + Send>,
    spool: Option<&Arc<Mutex<Spool>>>,
) -> Result<Box<dyn Pieces>, Refusal> {
    let mut input: Box<dyn Read + Send> = Box::new(Counted::new(input, Arc::clone(&origin)));
    loop {
        let head = read_head(&mut input)?;
        let (kind, is_empty) = (sniff(&head), head.is_empty());
        input = Box::new(Cursor::new(head).chain(input));
        let buffer = |input| match spool {
            Some(spool) => Buffer::spooled(input, Arc::clone(spool)),
            None => Buffer::new(input),
        };
        return match kind {
            Kind::Compressed(compression) => {
                if origin.layers.load(Relaxed) >= MAX_LAYERS {
                    return Err(Refusal::Unknown(
                        "it is compressed more than twice; unpack it first".to_owned(),
                    ));
                }
                input = unpacked(input, compression, &origin)?;
                continue;
            }
            Kind::Pcap => Ok(Box::new(Pcap::new(buffer(input), origin)?)),
            Kind::Pcapng => Ok(Box::new(Pcapng::new(buffer(input), origin)?)),
            Kind::Text => Ok(Box::new(Text::new(buffer(input), origin)?)),
            Kind::Unknown(_) if is_empty && origin.layers.load(Relaxed) > 0 => {
                Err(Refusal::Unknown("compressed data that is cut off before its first byte".to_owned()))
            }
            Kind::Unknown(found) => Err(Refusal::Unknown(found.to_owned())),
        };
    }
}

fn unpacked(
    input: Box<dyn Read + Send>,
    compression: Compression,
    origin: &Arc<Origin>,
) -> Result<Box<dyn Read + Send>, Refusal> {
    origin.layers.fetch_add(1, Relaxed);
    origin.compression.get_or_init(|| compression.name());
    Ok(Box::new(Unpacked::new(input, compression, Arc::clone(origin))?))
}

/// The first bytes of a stream, fewer only when it is shorter.
fn read_head(input: &mut Box<dyn Read + Send>) -> std::io::Result<Vec<u8>> {
    let mut head = vec![0; HEAD];
    let mut filled = 0;
    while let Some(free) = head.get_mut(filled..).filter(|free| !free.is_empty()) {
        match input.read(free) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    head.truncate(filled);
    Ok(head)
}
