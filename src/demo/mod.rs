//! The demo: recordings of an invented boat on an invented lake, healthy and with one known fault each.
//!
//! The writers here are written apart from the readers, from the standards' own tables, so that the two check each
//! other. Everything is drawn from one seed: no clock, no environment, the same bytes each time.

mod boat;
mod bus;
mod ethernet_encode;
mod join_encode;
mod line;
mod n2k_encode;
mod network;
mod network_data;
mod nmea0183_encode;
mod passed_on;
mod pcap_write;
mod pcapng_write;
mod recordings;
mod rng;
mod sensors;
mod text_write;

use std::fs;
use std::io;
use std::path::Path;

/// The seed of the recordings in `captures/`.
const SEED: u64 = 2026;

/// A recording that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Its file name.
    pub file: String,
    /// What it shows, in one line.
    pub shows: &'static str,
    /// Its size in bytes.
    pub bytes: u64,
}

/// Writes the demo recordings into the folder `dir`, which is made when it is not there; files of the same names are
/// replaced.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written.
pub fn write(dir: &Path) -> io::Result<Vec<Written>> {
    fs::create_dir_all(dir)?;
    let mut written = Vec::new();
    for demo in &recordings::DEMOS {
        let bytes = demo.bytes(SEED)?;
        fs::write(dir.join(demo.file), &bytes)?;
        written.push(Written { file: demo.file.to_owned(), shows: demo.shows, bytes: bytes.len() as u64 });
    }
    Ok(written)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// What lies in `captures/` is what the code writes, byte for byte, and nothing else lies there.
    #[test]
    fn captures_are_what_the_code_writes() {
        let captures = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures");
        let fresh = tempfile::tempdir().unwrap();
        let written = write(fresh.path()).unwrap();
        let mut total = 0;
        for row in &written {
            let (new, kept) = (fs::read(fresh.path().join(&row.file)), fs::read(captures.join(&row.file)));
            assert!(new.unwrap() == kept.unwrap(), "{} has drifted: write captures/ anew", row.file);
            total += row.bytes;
        }
        assert!(total < 3_000_000, "{total} bytes are too many for a repository");

        let table = fs::read_to_string(captures.join("README.md")).unwrap();
        let names: BTreeSet<String> = written.iter().map(|row| row.file.clone()).collect();
        for entry in fs::read_dir(&captures).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            assert!(
                ["README.md", ".gitattributes"].contains(&name.as_str()) || names.contains(&name),
                "{name} is no demo recording"
            );
        }
        for name in names {
            assert!(table.contains(&format!("`{name}`")), "{name} is not in captures/README.md");
        }
    }

    /// A seed gives the same bytes each time, and another seed gives others.
    #[test]
    fn the_seed_alone_decides() {
        for demo in recordings::DEMOS.iter().filter(|demo| demo.file.starts_with("too-short")) {
            let bytes = |seed| demo.bytes(seed).unwrap();
            assert!(bytes(1) == bytes(1) && bytes(1) != bytes(2));
        }
    }
}
