//! Writes the copy, compressed as the recording was.

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};

/// Compression levels: as the usual tools have them when not asked.
const GZIP_LEVEL: u32 = 6;
const ZSTD_LEVEL: i32 = 3;

/// A file that a copy is written to.
pub struct Packer<'a> {
    file: Packed<'a>,
}

enum Packed<'a> {
    Plain(io::BufWriter<&'a mut File>),
    Gzip(flate2::write::GzEncoder<&'a mut File>),
    Zstd(zstd::stream::write::Encoder<'static, &'a mut File>),
}

impl<'a> Packer<'a> {
    /// Writes into `file`; `compression` is `gzip`, `zstd` or none. A gzip header bears no name, no comment and no time.
    ///
    /// # Errors
    /// When the compression cannot be set up.
    pub fn new(file: &'a mut File, compression: Option<&str>) -> io::Result<Self> {
        let file = match compression {
            Some("gzip") => {
                let level = flate2::Compression::new(GZIP_LEVEL);
                Packed::Gzip(flate2::GzBuilder::new().mtime(0).write(file, level))
            }
            Some("zstd") => Packed::Zstd(zstd::stream::write::Encoder::new(file, ZSTD_LEVEL)?),
            _ => Packed::Plain(io::BufWriter::new(file)),
        };
        Ok(Self { file })
    }

    /// Writes some bytes.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        match &mut self.file {
            Packed::Plain(file) => file.write_all(bytes),
            Packed::Gzip(file) => file.write_all(bytes),
            Packed::Zstd(file) => file.write_all(bytes),
        }
    }

    /// Ends the copy. When `whole` is `false` the compressed stream stays without its end, as the recording's was.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn finish(&mut self, whole: bool) -> io::Result<()> {
        match &mut self.file {
            Packed::Plain(file) => file.flush(),
            Packed::Gzip(file) => {
                if whole {
                    return file.try_finish();
                }
                file.flush()?;
                let end = file.get_mut().stream_position()?;
                file.try_finish()?;
                cut(file.get_mut(), end)
            }
            Packed::Zstd(file) => {
                if whole {
                    return file.do_finish();
                }
                file.flush()?;
                let end = file.get_mut().stream_position()?;
                file.do_finish()?;
                cut(file.get_mut(), end)
            }
        }
    }
}

fn cut(file: &mut File, end: u64) -> io::Result<()> {
    file.set_len(end)?;
    file.seek(SeekFrom::Start(end)).map(|_| ())
}
