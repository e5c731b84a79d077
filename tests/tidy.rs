//! The house's own rules, checked on its sources.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms in the order of the flow, with the vocabulary first. A room uses only rooms before it.
const ORDER: [&str; 12] = [
    "time",
    "units",
    "recording",
    "frames",
    "messages",
    "books",
    "findings",
    "complaints",
    "report",
    "survey",
    "demo",
    "cli",
];

/// Lines of the longest file that is still easy to read.
const MAX_LINES: usize = 600;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(dir: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

fn all_sources() -> Vec<PathBuf> {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    files.sort();
    assert!(files.len() > 100);
    files
}

/// The room of a source file: its first folder below `src`, or its own name.
fn room(file: &Path) -> String {
    let below = file.strip_prefix(root().join("src")).unwrap();
    let first = below.components().next().unwrap().as_os_str().to_str().unwrap();
    first.trim_end_matches(".rs").to_owned()
}

fn rank(room: &str) -> Option<usize> {
    ORDER.iter().position(|r| *r == room)
}

#[test]
fn arrows_point_one_way() {
    let mut wrong = Vec::new();
    for file in all_sources() {
        let Some(here) = rank(&room(&file)) else { continue };
        for line in fs::read_to_string(&file).unwrap().lines() {
            let Some(path) = line.trim().trim_start_matches("pub ").strip_prefix("use crate::") else {
                continue;
            };
            let to = path.split([':', ';', '{']).next().unwrap();
            // Severity and the value of a number are words that findings share with the report.
            if to == "report" && path.starts_with("report::model::") {
                continue;
            }
            if rank(to).is_some_and(|there| there > here) {
                wrong.push(format!("{}: {line}", file.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn files_are_short() {
    for file in all_sources() {
        let lines = fs::read_to_string(&file).unwrap().lines().count();
        assert!(lines <= MAX_LINES, "{} has {lines} lines", file.display());
    }
}

#[test]
fn every_capture_stands_in_its_table() {
    let table = fs::read_to_string(root().join("captures/README.md")).unwrap();
    for entry in fs::read_dir(root().join("captures")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name != "README.md" && !name.starts_with('.') {
            assert!(table.contains(&name), "{name}");
        }
    }
}

#[test]
fn findings_are_registered_once_and_named_like_their_file() {
    let registry = fs::read_to_string(root().join("src/findings/mod.rs")).unwrap();
    for kind in leadsman::findings::kinds() {
        let file = kind.replace('-', "_");
        assert!(root().join(format!("src/findings/{file}.rs")).exists(), "{file}");
        assert_eq!(registry.matches(&format!("    {file}::DETECTOR,")).count(), 1, "{file}");
    }
}
