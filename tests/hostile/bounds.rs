//! `docs/robustness.md` lists every bound of the sources. The list is made here, so that it cannot be wrong for long:
//! `LEADSMAN_UPDATE=1 cargo test --test hostile bounds` writes it anew.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Between these two lines stands what is made.
const BEGIN: &str = "<!-- bounds: made by tests/hostile/bounds.rs -->\n";
const END: &str = "<!-- end of bounds -->\n";

/// Rooms that read no stranger's bytes.
const ELSEWHERE: [&str; 3] = ["demo", "report", "cli"];

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// One row a constant: its name, value, file, and the first sentence of its comment.
fn rows() -> String {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    sources(&src, &mut paths);
    paths.sort();
    let mut rows = String::from("| bound | value | where | of what |\n|---|---|---|---|\n");
    for path in paths {
        let name = path.strip_prefix(&src).unwrap().to_str().unwrap().replace('\\', "/");
        if ELSEWHERE.iter().any(|room| name.starts_with(room)) {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let mut comment = String::new();
        for line in text.lines().map(str::trim) {
            if let Some(more) = line.strip_prefix("///") {
                comment.push_str(more);
                continue;
            }
            if let Some((constant, value)) = bound(line) {
                let first = comment.trim().split_once(". ").map_or(comment.trim(), |(first, _)| first);
                let first =
                    first.trim_end_matches('.').replace("[`", "`").replace("`]", "`").replace('|', "\\|");
                writeln!(rows, "| `{constant}` | {value} | `{name}` | {first} |").unwrap();
            }
            comment.clear();
        }
    }
    rows
}

/// The name and the value of a line that defines a bound; limits of plausible readings are none.
fn bound(line: &str) -> Option<(&str, &str)> {
    let at = line.find("const MAX_")?;
    let (name, rest) = line.get(at + 6..)?.split_once(": ")?;
    let (kind, value) = rest.split_once(" = ")?;
    (kind != "f64").then_some((name, value.trim_end_matches(';')))
}

#[test]
fn the_list_of_bounds_is_that_of_the_sources() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/robustness.md");
    let text = fs::read_to_string(&path).unwrap();
    let (before, rest) = text.split_once(BEGIN).unwrap();
    let (listed, after) = rest.split_once(END).unwrap();
    let made = rows();
    assert!(made.lines().count() > 50, "the sources were not found");
    if std::env::var_os("LEADSMAN_UPDATE").is_some() {
        fs::write(&path, format!("{before}{BEGIN}{made}{END}{after}")).unwrap();
    } else {
        assert!(
            listed == made,
            "docs/robustness.md is old: run LEADSMAN_UPDATE=1 cargo test --test hostile bounds"
        );
    }
}
