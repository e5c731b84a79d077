//! Where a command writes: standard output, or a file that appears whole or not at all.

use super::beside::{Beside, Readers};
use super::exit::Error;
use crate::recording::{self, Recording as _};
use std::fs::{self, File};
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Columns when standard output is no terminal.
const PIPE_WIDTH: usize = 80;

/// An output that is being written.
pub(super) enum Output {
    /// Standard output.
    Standard,
    /// A file that is written beside this one under another name, and renamed when all is written.
    Beside(PathBuf),
    /// A device or pipe, which cannot be replaced and is written as it is.
    Special(File, PathBuf),
}

impl Output {
    /// Opens the output before the work begins, so that a wrong path is known at once.
    ///
    /// # Errors
    /// When nothing can be written there, when it is one of the `inputs`, or when a recording stands there.
    pub(super) fn open(path: Option<&Path>, inputs: &[String]) -> Result<Self, Error> {
        let Some(path) = path else { return Ok(Self::Standard) };
        let output = Self::over(path, inputs)?;
        match &output {
            Self::Beside(target) if is_recording(target) => Err(Error::Usage(format!(
                "{} is a recording and would be lost; name another file, or move that one away first",
                path.display()
            ))),
            _ => Ok(output),
        }
    }

    /// As [`open`](Self::open), for a user who said that whatever stands there may go.
    ///
    /// # Errors
    /// When nothing can be written there, or when it is one of the `inputs`.
    pub(super) fn over(path: &Path, inputs: &[String]) -> Result<Self, Error> {
        let name = path.display().to_string();
        if name == "-" {
            return Err(Error::Usage(String::from(
                "-o takes the name of a file, and - is none; what may go to standard output goes there without -o",
            )));
        }
        // A link is followed, so that it stays and what it points to is replaced.
        let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if inputs.iter().any(|input| fs::canonicalize(input).is_ok_and(|input| input == target)) {
            return Err(Error::Usage(format!("{name} is one of the inputs; it would be lost")));
        }
        match fs::metadata(&target) {
            Ok(there) if there.is_dir() => {
                Err(Error::Usage(format!("cannot write {name}: it is a folder, a file name is missing")))
            }
            Ok(there) if !there.is_file() => {
                let file = File::options().write(true).open(&target).map_err(Error::write(&name))?;
                Ok(Self::Special(file, target))
            }
            _ => {
                // Only tried: nothing stands in the folder while the recording is read.
                Beside::new(&target, Readers::All).map_err(Error::write(&name))?;
                Ok(Self::Beside(target))
            }
        }
    }

    /// Writes with `fill` and puts the file in its place.
    ///
    /// # Errors
    /// When the system refuses; a half-written file is gone then, and what stood there before stays.
    pub(super) fn write(self, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Error> {
        match self {
            Self::Standard => standard(fill),
            Self::Beside(path) => {
                let name = path.display().to_string();
                let mut beside = Beside::new(&path, Readers::All).map_err(Error::write(&name))?;
                let mut buffer = BufWriter::new(beside.file());
                let written = fill(&mut buffer).and_then(|()| buffer.flush());
                drop(buffer);
                written.map_err(Error::write(&format!("{name}; nothing was left there")))?;
                place([beside])
            }
            Self::Special(file, path) => {
                let mut buffer = BufWriter::new(file);
                fill(&mut buffer)
                    .and_then(|()| buffer.flush())
                    .map_err(Error::write(&path.display().to_string()))
            }
        }
    }

    /// Lets `fill` write the file itself and puts it in its place, behind the file that `fill` gives along.
    ///
    /// # Errors
    /// Those of `fill`, or when the system refuses; what stood there before stays then.
    pub(super) fn write_file<T>(
        self,
        fill: impl FnOnce(&mut File) -> Result<(T, Option<Beside>), Error>,
    ) -> Result<T, Error> {
        match self {
            Self::Standard => Err(Error::Usage(String::from("a file must be named to write to"))),
            Self::Special(mut file, _) => {
                let (done, along) = fill(&mut file)?;
                place(along)?;
                Ok(done)
            }
            Self::Beside(path) => {
                let refused = Error::write(&path.display().to_string());
                let mut beside = Beside::new(&path, Readers::All).map_err(refused)?;
                let (done, along) = fill(beside.file())?;
                place(along.into_iter().chain([beside]))?;
                Ok(done)
            }
        }
    }

    /// Whether colour is wanted there: on a terminal whose user did not set `NO_COLOR`.
    pub(super) fn colour(&self) -> bool {
        matches!(self, Self::Standard)
            && anstream::AutoStream::choice(&io::stdout()) != anstream::ColorChoice::Never
    }

    /// Columns of a line there.
    pub(super) fn width(&self) -> usize {
        match self {
            Self::Standard if io::stdout().is_terminal() => {
                terminal_size::terminal_size().map_or(PIPE_WIDTH, |(width, _)| usize::from(width.0))
            }
            _ => PIPE_WIDTH,
        }
    }
}

/// Whether what stands there holds a record, by its content: an earlier report does not.
fn is_recording(path: &Path) -> bool {
    let Ok(file) = File::open(path) else { return false };
    let name = path.to_string_lossy();
    let Ok(mut there) = recording::open_reader(&name, None, Box::new(file)) else { return false };
    // A capture without a packet is one nevertheless.
    there.summary().container.starts_with("pcap") || there.advance().unwrap_or(false)
}

/// Writes to standard output.
///
/// # Errors
/// When it refuses.
pub(super) fn standard(fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Error> {
    let stdout = io::stdout();
    // A file or pipe takes everything as it is, and nothing styled is written there: no need to look for styles.
    if anstream::AutoStream::choice(&stdout) == anstream::ColorChoice::Never {
        let mut buffer = BufWriter::new(stdout.lock());
        return fill(&mut buffer).and_then(|()| buffer.flush()).map_err(Error::write("to standard output"));
    }
    let mut buffer = BufWriter::new(anstream::AutoStream::auto(stdout.lock()));
    fill(&mut buffer).and_then(|()| buffer.flush()).map_err(Error::write("to standard output"))
}

/// Puts whole files in their places, all of them before an interrupt or none.
///
/// # Errors
/// When the system refuses.
pub(super) fn place(files: impl IntoIterator<Item = Beside>) -> Result<(), Error> {
    Beside::place(files).map_err(|(path, source)| Error::write(&path.display().to_string())(source))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_what_was_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.txt");
        fs::write(&path, "old").unwrap();
        let output = Output::open(Some(&path), &[]).unwrap();
        let error = output.write(|out| {
            out.write_all(b"half")?;
            Err(io::ErrorKind::StorageFull.into())
        });
        assert!(error.unwrap_err().to_string().contains("nothing was left"));
        assert_eq!(fs::read_to_string(&path).unwrap(), "old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_whole_write_takes_the_place() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.txt");
        Output::open(Some(&path), &[]).unwrap().write(|out| out.write_all(b"new")).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "new");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_recording_that_is_no_input_is_not_replaced_either() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("old");
        let opened = |content: &[u8]| {
            fs::write(&path, content).unwrap();
            let opened = Output::open(Some(&path), &[]).map(drop).map_err(|error| error.to_string());
            assert_eq!(fs::read(&path).unwrap(), content);
            opened
        };
        let pcap = [&[0xD4, 0xC3, 0xB2, 0xA1, 2, 0, 4, 0][..], &[0; 8], &[0, 0, 4, 0, 1, 0, 0, 0]].concat();
        for recording in [
            b"$HCHDG,12.0,,,,*74\r\n".as_slice(),
            b"(1778308200.200560) can0 18EEFF28#8532A0FF00A064C0\n",
            &pcap,
        ] {
            assert!(opened(recording).unwrap_err().contains("is a recording and would be lost"));
        }
        for other in [
            b"{\"format\": \"leadsman-report\"}".as_slice(),
            b"HEALTHY  No fault.\n",
            b"<!DOCTYPE html>\n",
            b"",
        ] {
            assert_eq!(opened(other), Ok(()));
        }
        assert!(Output::over(&path, &[]).is_ok());
        assert!(Output::open(Some(Path::new("-")), &[]).is_err(), "no file of that name");
    }

    #[test]
    fn a_recording_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bow.log");
        fs::write(&path, "frames").unwrap();
        let inputs = [path.display().to_string()];
        assert!(Output::open(Some(&path), &inputs).is_err());
        assert!(Output::open(Some(folder.path()), &inputs).is_err(), "a folder");
        assert!(Output::open(Some(&folder.path().join("no/where.txt")), &inputs).is_err());
    }
}
