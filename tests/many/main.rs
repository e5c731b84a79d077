//! Many recordings in one call: lines, documents, tables.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

mod engine;

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};

const CAPTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/captures");

fn leadsman(args: &[&str]) -> assert_cmd::assert::Assert {
    Command::cargo_bin("leadsman").unwrap().args(args).assert()
}

fn output(args: &[&str]) -> String {
    String::from_utf8(leadsman(args).success().get_output().stdout.clone()).unwrap()
}

/// The recordings in `captures/`, and what else lies there, in the order of their names.
fn files() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(CAPTURES).unwrap().map(|entry| entry.unwrap().path()).collect();
    let hidden = |path: &Path| path.file_name().unwrap().to_str().unwrap().starts_with('.');
    files.retain(|path| path.is_file() && !hidden(path));
    files.sort();
    files
}

/// The tables of all demo recordings, in a folder of their own.
fn tables(dir: &Path) -> PathBuf {
    let tables = dir.join("tables");
    output(&["report", CAPTURES, "--tables", tables.to_str().unwrap()]);
    tables
}

#[test]
fn a_folder_gives_one_line_a_recording_in_order() {
    let text = output(&["report", CAPTURES]);
    let names: Vec<_> =
        files().iter().map(|path| path.file_name().unwrap().to_str().unwrap().to_owned()).collect();
    let lines: Vec<_> = text.lines().collect();
    assert_eq!(lines.len(), names.len());
    for (line, name) in lines.iter().zip(&names) {
        assert!(line.contains(name.as_str()), "{name}: {line}");
    }
    assert!(lines.iter().any(|line| line.starts_with("nothing wrong seen") && line.contains("healthy-bus")));
    assert!(lines.iter().any(|line| line.starts_with("not read") && line.contains("README.md")));
}

#[test]
fn each_document_is_the_report_of_its_recording() {
    let files = files();
    let paths: Vec<&str> = files.iter().map(|path| path.to_str().unwrap()).collect();
    let text = output(&[&["report", "--each", "--format", "json"], paths.as_slice()].concat());
    assert_eq!(text.lines().count(), paths.len());
    for (line, path) in text.lines().zip(&paths) {
        let document: Value = serde_json::from_str(line).unwrap();
        if path.ends_with("README.md") {
            assert_eq!(
                (&document["format"], &document["path"]),
                (&"leadsman-unread".into(), &(*path).into())
            );
            continue;
        }
        let alone: Value = serde_json::from_str(&output(&["report", "--format", "json", path])).unwrap();
        assert_eq!(document, alone, "{path}");
    }
}

#[test]
fn the_status_tells_of_the_worst() {
    leadsman(&["report", CAPTURES, "--fail-on", "fault"]).code(1);
    let healthy = format!("{CAPTURES}/healthy-line.log");
    leadsman(&["report", "--each", &healthy, &healthy, "--fail-on", "warning"]).code(0);
    let empty = tempfile::tempdir().unwrap();
    leadsman(&["report", empty.path().to_str().unwrap()]).code(2);
    leadsman(&["report", "--each", "-"]).code(2);
    leadsman(&["report", "--each", &format!("{CAPTURES}/README.md")]).code(2);
}

#[test]
fn tables_are_one_file_a_table_and_recording_and_are_made_anew() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(format!("{CAPTURES}/healthy-line.log"), dir.path().join("a.log")).unwrap();
    fs::copy(format!("{CAPTURES}/healthy-bus.log.zst"), dir.path().join("b.log")).unwrap();
    let (shop, tables) = (dir.path().to_str().unwrap(), dir.path().join("tables"));
    for _ in 0..2 {
        let text = output(&["report", shop, "--tables", tables.to_str().unwrap()]);
        assert_eq!(text.lines().count(), 2, "the tables of an earlier run are no recordings: {text}");
    }
    for table in ["devices", "sources", "timing", "findings"] {
        assert_eq!(fs::read_dir(tables.join(table)).unwrap().count(), 2, "{table}");
    }
}
