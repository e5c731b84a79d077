//! `leadsman scrub`: a copy of a recording that is fit to share.

use crate::cli::args::ScrubArgs;
use crate::cli::beside::{Beside, Readers};
use crate::cli::exit::{Error, Exit};
use crate::cli::output::Output;
use crate::cli::progress::Bar;
use crate::report::figures;
use crate::report::page::Page;
use crate::scrub::{Anchor, Content, ContentOptions, Copying, Key, NOT_HIDDEN, Outcome, Packer, ScrubError};
use crate::survey::Progress;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::Path;

/// Bytes of a key, and of the anchor behind it once a recording gave one.
const KEY: usize = 32;
const ANCHOR: usize = 32;

/// Makes the copy and says what it did.
pub(in crate::cli) fn run(args: &ScrubArgs) -> Result<Exit, Error> {
    let name = args.output.display().to_string();
    if !args.force && args.output.is_file() {
        return Err(Error::Usage(format!("{name} is already there; --force writes over it")));
    }
    let output = Output::over(&args.output, std::slice::from_ref(&args.recording))?;
    let copying = Copying::open(&args.recording)?;
    let held = match &args.key {
        Some(path) => read_key(path)?,
        None => None,
    };
    let made = held.is_none();
    let (key, anchor) = match held {
        Some(held) => held,
        None => (new_key()?, None),
    };
    let options = ContentOptions {
        keep_makers: args.keep_makers,
        shift_weeks: if args.shift_time { -key.weeks() } else { 0 },
        anchor,
    };
    let outcome = output.write_file(|file| {
        let refused = |source| Error::write(&format!("{name}; nothing was left there"))(source);
        let mut packer = Packer::new(file, copying.compression()).map_err(refused)?;
        let mut bar = Bar::new();
        let content = Content::new(key.clone(), options);
        let mut watch = |share, frames| bar.show(Progress { share, frames });
        let outcome = copying.run(content, &mut packer, &mut watch).map_err(|error| match error {
            ScrubError::Recording(error) => Error::from(error),
            ScrubError::Write(source) => refused(source),
        })?;
        if outcome.summary.frames == 0 {
            return Err(Error::NothingRead(args.recording.clone()));
        }
        // The key goes first: a copy whose key is lost belongs to no other.
        let written = match &args.key {
            Some(path) if made || anchor.is_none() => Some(key_file(path, &key, outcome.content.anchor())?),
            _ => None,
        };
        Ok((outcome, written))
    })?;
    let screen = Output::Standard;
    let (width, colour) = (screen.width(), screen.colour());
    match screen.write(|out| closing(&mut Page::new(out, width, colour), args, &outcome, made)) {
        Err(error) if error.is_closed_pipe() => {}
        written => written?,
    }
    Ok(Exit::Ran)
}

/// The key in the file at `path` and the anchor behind it; `None` when there is no file.
fn read_key(path: &Path) -> Result<Option<(Key, Option<Anchor>)>, Error> {
    let name = path.display();
    let file = match File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(Error::Usage(format!("cannot read the key {name}: {error}"))),
    };
    let mut bytes = Vec::new();
    file.take((KEY + ANCHOR + 1) as u64)
        .read_to_end(&mut bytes)
        .map_err(|error| Error::Usage(format!("cannot read the key {name}: {error}")))?;
    let anchor = match bytes.get(KEY..) {
        Some([]) => Some(None),
        Some(rest) => <[u8; ANCHOR]>::try_from(rest).ok().and_then(Anchor::from_bytes).map(Some),
        None => None,
    };
    match (bytes.first_chunk::<KEY>(), anchor) {
        (Some(key), Some(anchor)) => Ok(Some((Key(*key), anchor))),
        _ => Err(Error::Usage(format!(
            "{name} is no key that leadsman wrote; name a file that is not there, and one is made"
        ))),
    }
}

/// A key from the system's source of chance.
fn new_key() -> Result<Key, Error> {
    let mut key = [0; KEY];
    getrandom::fill(&mut key)
        .map_err(|error| Error::Usage(format!("the system gives no random numbers: {error}")))?;
    Ok(Key(key))
}

/// The key file, written and not yet in its place, readable by its owner alone.
fn key_file(path: &Path, key: &Key, anchor: Option<Anchor>) -> Result<Beside, Error> {
    let refused = Error::write(&path.display().to_string());
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let mut beside = Beside::new(&target, Readers::Owner).map_err(&refused)?;
    beside.file().write_all(&key.0).map_err(&refused)?;
    if let Some(anchor) = anchor {
        beside.file().write_all(&anchor.to_bytes()).map_err(&refused)?;
    }
    Ok(beside)
}

fn closing(page: &mut Page<'_>, args: &ScrubArgs, outcome: &Outcome, made: bool) -> io::Result<()> {
    let said = outcome.content.said();
    page.text(0, &format!("{} is written.", args.output.display()))?;
    let mut replaced = said.replaced();
    let weeks = outcome.content.time_shift_us() / 604_800_000_000;
    if weeks != 0 {
        replaced.push(String::from("all times, by the same number of whole weeks"));
    }
    list(page, "Replaced", &replaced, "nothing; the recording held no place and no name that is known")?;
    let mut emptied = said.emptied();
    let blanked = &outcome.blanked;
    for (bytes, what) in [
        (blanked.payload, "of packets and streams that are not understood"),
        (blanked.remarks, "of the recorder's remarks and options"),
        (blanked.damaged, "that are damaged or no record"),
    ] {
        if bytes > 0 {
            emptied.push(format!("{} {what}", figures::bytes(bytes)));
        }
    }
    list(page, "Blanked", &emptied, "nothing")?;
    let not_hidden: Vec<String> = NOT_HIDDEN.iter().map(|line| (*line).to_owned()).collect();
    list(page, "Not hidden: read this before you share the copy", &not_hidden, "")?;
    if let Some(key) = &args.key {
        page.blank()?;
        let (name, new) = (key.display(), if made { "was made" } else { "was used" });
        page.text(0, &format!("The key {name} {new}. Keep it to yourself: it turns the copy back."))?;
        if made {
            page.text(
                0,
                "Use it for this boat alone: in its water another boat's compass would seem wrong.",
            )?;
        }
    } else {
        page.blank()?;
        page.text(
            0,
            "A further copy of this boat: share it only when both are made with one --key FILE. Many copies that moved the place \
             each another way tell together where it is.",
        )?;
    }
    page.blank()?;
    page.text(0, &format!("Look at the copy first: leadsman report {}", args.output.display()))
}

fn list(page: &mut Page<'_>, head: &str, lines: &[String], none: &str) -> io::Result<()> {
    page.blank()?;
    page.text(0, head)?;
    if lines.is_empty() {
        return page.text(2, none);
    }
    lines.iter().try_for_each(|line| page.text(2, line))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::output::place;

    #[test]
    fn keys_come_back_and_other_files_are_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("boat.key");
        assert!(read_key(&path).unwrap().is_none(), "not there yet");
        let key = new_key().unwrap();
        assert_ne!(key, new_key().unwrap());
        place([key_file(&path, &key, None).unwrap()]).unwrap();
        assert_eq!(read_key(&path).unwrap(), Some((key.clone(), None)));
        let water = crate::units::Place { lat_deg: 54.0, lon_deg: 10.0 };
        let anchor = Anchor { old: water, new: water };
        place([key_file(&path, &key, Some(anchor)).unwrap()]).unwrap();
        assert_eq!(read_key(&path).unwrap(), Some((key, Some(anchor))));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        }
        for len in [0, 31, 33, 65] {
            fs::write(&path, vec![1; len]).unwrap();
            assert!(read_key(&path).is_err(), "{len} bytes");
        }
    }
}
