//! The way that a file takes through the program, ahead and in rows, against one record after the other on one thread: the
//! other tests here take the second, which shows where it fails.

use crate::examine::alone;
use crate::mutants::{asked_for, damaged, seeds};
use leadsman::recording::open;
use leadsman::report::model::Report;
use leadsman::survey::{self, Options};
use std::fs;
use std::ops::Range;

/// Variants in an ordinary test run.
const FEW: u64 = 150;

/// Variants of the long run, when `LEADSMAN_VARIANTS` does not say otherwise.
const MANY: u64 = 20_000;

fn json(report: &Report) -> String {
    serde_json::to_string_pretty(report).unwrap()
}

/// Holds both ways against each other; gives how many of the variants could be read.
fn compare(variants: Range<u64>) -> usize {
    let _alone = alone();
    let seeds = seeds();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("variant");
    let path = path.to_str().unwrap().to_owned();
    let mut read = 0;
    for variant in variants {
        let (seed, bytes) = damaged(&seeds, variant);
        fs::write(&path, bytes).unwrap();
        let options = Options::default();
        let ahead = survey::report(std::slice::from_ref(&path), &options, &mut |_| {});
        let plain = open(&path).and_then(|open| survey::report_on(vec![open], &options, &mut |_| {}));
        match (ahead, plain) {
            (Ok(ahead), Ok(plain)) => {
                read += 1;
                let (ahead, plain) = (json(&ahead), json(&plain));
                let differ = ahead.lines().zip(plain.lines()).find(|(ahead, plain)| ahead != plain);
                assert!(ahead == plain, "variant {variant} of {}: {differ:?}", seed.name);
            }
            (ahead, plain) => assert!(ahead.is_err() && plain.is_err(), "variant {variant} of {}", seed.name),
        }
    }
    read
}

#[test]
fn damaged_recordings_are_told_alike_on_either_way() {
    let read = compare(0..FEW);
    assert!(read > FEW as usize / 2, "most damage leaves something to read: {read}");
}

#[test]
#[ignore = "takes long: see docs/robustness.md"]
fn thousands_of_damaged_recordings_are_told_alike_on_either_way() {
    compare(asked_for(MANY));
}
