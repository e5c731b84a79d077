//! Nothing of the owner is left in a copy that the program makes: of every demo recording, and of ones with everything.

use crate::leftovers::{bus_with_everything, captures, line_with_everything};
use crate::secrets::Secrets;
use std::fs;
use std::path::Path;

/// Copies a recording with a fixed key, so that the test finds the same each time.
fn scrub(recording: &str, out: &Path) {
    let key = out.with_extension("key");
    fs::write(&key, [0x5A; 32]).unwrap();
    let run = assert_cmd::Command::cargo_bin("leadsman")
        .unwrap()
        .args(["scrub", recording, "-o", out.to_str().unwrap(), "--key", key.to_str().unwrap()])
        .output()
        .unwrap();
    assert!(run.status.success(), "{recording}: {}", String::from_utf8_lossy(&run.stderr));
}

fn nothing_left(recording: &str, dir: &Path) {
    let secrets = Secrets::of(recording);
    assert!(!secrets.found_in(recording).is_empty(), "{recording}: the search finds nothing in the original");
    let out = dir.join("copy");
    scrub(recording, &out);
    let found = secrets.found_in(out.to_str().unwrap());
    fs::remove_file(&out).unwrap();
    assert!(
        found.is_empty(),
        "{recording}: {} left, such as {:#?}",
        found.len(),
        &found[..found.len().min(8)]
    );
}

#[test]
fn nothing_is_left_in_copies_of_the_demo_boat() {
    let dir = tempfile::tempdir().unwrap();
    captures().iter().for_each(|path| nothing_left(path, dir.path()));
}

#[test]
fn nothing_is_left_in_copies_of_recordings_with_everything() {
    let dir = tempfile::tempdir().unwrap();
    for recording in [bus_with_everything(&dir), line_with_everything(&dir)] {
        nothing_left(recording.to_str().unwrap(), dir.path());
    }
}
