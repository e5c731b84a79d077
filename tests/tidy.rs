//! The house's own rules, checked on its sources.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms in the order of the flow, with the vocabulary first. A room uses only rooms before it.
///
/// `report::model` stands before `findings`: severity and the value of a number are words that they share with the
/// report. The rest of `report` comes after them.
const ORDER: [&str; 19] = [
    "crew",
    "soon",
    "time",
    "units",
    "recording",
    "frames",
    "messages",
    "books",
    "clocks",
    "report::model",
    "findings",
    "complaints",
    "report",
    "tables",
    "compare",
    "boat",
    "survey",
    "scrub",
    "cli",
];

/// The demo stands beside the flow: it writes what the others read, with encoders of its own, so that one checks the
/// other. These it may use, and only `cli` may use it.
const DEMO: &str = "demo";
const DEMO_USES: [&str; 3] = ["time", "units", "recording"];

/// Lines from which on a file is too long to read at one go.
const TOO_LONG: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every source file: its path below `src` with `/`, and its text.
fn sources() -> Vec<(String, String)> {
    fn walk(dir: &Path, out: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, out);
            } else if path.extension().is_some_and(|e| e == "rs") {
                out.push(path);
            }
        }
    }
    let src = root().join("src");
    let mut paths = Vec::new();
    walk(&src, &mut paths);
    paths.sort();
    assert!(paths.len() > 100, "the sources were not found");
    let name = |path: &Path| path.strip_prefix(&src).unwrap().to_str().unwrap().replace('\\', "/");
    paths.iter().map(|path| (name(path), fs::read_to_string(path).unwrap())).collect()
}

/// The room of a source file; `None` for the two roots, which only declare and start.
fn room_of(file: &str) -> Option<&str> {
    match file {
        "lib.rs" | "main.rs" => None,
        "report/model.rs" => Some("report::model"),
        _ => Some(file.split('/').next().unwrap().trim_end_matches(".rs")),
    }
}

/// The room that a path behind `crate::` leads to.
fn room_at(path: &str) -> &str {
    let end = |text: &str| text.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(text.len());
    let first = end(path);
    match path.get(first..).and_then(|rest| rest.strip_prefix("::model")) {
        Some(rest) if &path[..first] == "report" && end(rest) == 0 => "report::model",
        _ => &path[..first],
    }
}

/// The rooms that a source file uses: `use crate::books::Books`, `use crate::{books::Books, time}` over any number of
/// lines, and a bare `crate::books::Books` in the code. Comments may speak of every room, and so may the file's own
/// tests, which stand last.
fn rooms_used(source: &str) -> BTreeSet<String> {
    let code: Vec<&str> = source
        .lines()
        .take_while(|line| !line.starts_with("mod tests {"))
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect();
    let code = code.join("\n");
    let mut rooms = BTreeSet::new();
    for path in code.split("crate::").skip(1) {
        let Some(group) = path.strip_prefix('{') else {
            rooms.insert(room_at(path).to_owned());
            continue;
        };
        let mut depth = 0;
        for item in group.split_inclusive([',', '{', '}']) {
            let item = item.trim_start();
            // A closing brace, or the comma behind one, is no item.
            if depth == 0 && !item.starts_with(['}', ',']) {
                rooms.insert(room_at(item).to_owned());
            }
            depth += i32::from(item.ends_with('{')) - i32::from(item.ends_with('}'));
            if depth < 0 {
                break;
            }
        }
    }
    rooms
}

/// Whether `here` may use `there`. What is in no table may use nothing and be used by nobody.
fn may_use(here: &str, there: &str) -> bool {
    let rank = |room: &str| ORDER.iter().position(|known| *known == room);
    if here == there && (rank(here).is_some() || here == DEMO) {
        return true;
    }
    match (here, there) {
        (DEMO, _) => DEMO_USES.contains(&there),
        (_, DEMO) => here == "cli",
        _ => rank(here).zip(rank(there)).is_some_and(|(here, there)| there < here),
    }
}

#[test]
fn arrows_point_one_way() {
    let mut wrong = Vec::new();
    for (file, text) in sources() {
        let Some(here) = room_of(&file) else { continue };
        assert!(
            ORDER.contains(&here) || here == DEMO,
            "src/{file}: {here} has no place in the order of the rooms"
        );
        let used = rooms_used(&text);
        wrong.extend(
            used.iter().filter(|there| !may_use(here, there)).map(|there| format!("src/{file} uses {there}")),
        );
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The test above is only as good as what it sees.
#[test]
fn arrows_are_seen_in_every_form() {
    for (source, want) in [
        ("use crate::books::Books;", &["books"][..]),
        ("    pub(crate) use crate::cli;", &["cli"]),
        ("use crate::{complaints, findings as f, report};", &["complaints", "findings", "report"]),
        (
            "use crate::{\n    books::{Books, wires::{Wire, WireId}},\n    time::Time,\n    survey,\n};\nuse x::{y, z};",
            &["books", "survey", "time"],
        ),
        ("use {crate::units::Place, std::fmt};", &["units"]),
        ("fn f(a: &crate::report::model::Report) -> crate::time::Time {", &["report::model", "time"]),
        ("use crate::report::{model::Report, text};", &["report"]),
        ("use crate::report::models::X;", &["report"]),
        ("use crate::report::model;", &["report::model"]),
        ("/// See [`crate::cli`].\n    // crate::demo", &[]),
        ("use crate::time::Time;\n#[cfg(test)]\nmod tests {\n    use crate::cli::Args;\n}", &["time"]),
    ] {
        assert_eq!(rooms_used(source), want.iter().map(|s| (*s).to_owned()).collect(), "{source}");
    }
    for (here, there) in [
        ("findings", "report::model"),
        ("findings", "books"),
        ("complaints", "findings"),
        ("report", "report::model"),
        ("cli", "demo"),
        ("demo", "recording"),
        ("demo", "demo"),
    ] {
        assert!(may_use(here, there), "{here} may use {there}");
    }
    for (here, there) in [
        ("books", "report::model"),
        ("books", "findings"),
        ("findings", "report"),
        ("findings", "complaints"),
        ("report::model", "report"),
        ("recording", "frames"),
        ("time", "units"),
        ("survey", "demo"),
        ("demo", "messages"),
        ("demo", "frames"),
        ("cli", "attic"),
        ("attic", "time"),
        ("attic", "attic"),
    ] {
        assert!(!may_use(here, there), "{here} may not use {there}");
    }
    let rooms = ["survey/mod.rs", "time.rs", "report/model.rs", "report/text/mod.rs", "lib.rs"].map(room_of);
    assert_eq!(rooms, [Some("survey"), Some("time"), Some("report::model"), Some("report"), None]);
}

#[test]
fn files_are_short() {
    for (file, text) in sources() {
        let lines = text.lines().count();
        assert!(lines < TOO_LONG, "src/{file} has {lines} lines: split it by its jobs");
    }
}

/// Each capture has its row in the table, and each row its capture.
#[test]
fn every_capture_stands_in_its_table() {
    let table = fs::read_to_string(root().join("captures/README.md")).unwrap();
    let rows: BTreeSet<String> = table
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split_once("` |"))
        .map(|(name, _)| name.to_owned())
        .collect();
    let files: BTreeSet<String> = fs::read_dir(root().join("captures"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != "README.md" && !name.starts_with('.'))
        .collect();
    assert!(!files.is_empty());
    assert_eq!(rows, files);
}

/// The name of a finding or complaint is the name of its file or folder, and stands once in the list of its room.
fn stands_once(room: &str, name: &str, line: impl Fn(&str) -> String) {
    let file = name.replace('-', "_");
    let dir = root().join("src").join(room);
    assert!(
        dir.join(format!("{file}.rs")).exists() || dir.join(&file).join("mod.rs").exists(),
        "{name} has no file of its name in src/{room}"
    );
    let list = fs::read_to_string(dir.join("mod.rs")).unwrap();
    let line = line(&file);
    assert_eq!(list.lines().filter(|l| l.trim() == line).count(), 1, "{line} in src/{room}/mod.rs");
}

#[test]
fn findings_are_registered_once_and_named_like_their_file() {
    for kind in leadsman::findings::kinds() {
        stands_once("findings", kind, |file| format!("{file}::DETECTOR,"));
    }
}

#[test]
fn complaints_are_listed_once_and_named_like_their_file() {
    for name in leadsman::complaints::NAMES {
        stands_once("complaints", name, |file| format!("&{file}::COMPLAINT,"));
        stands_once("complaints", name, |file| format!("{file}::COMPLAINT.name,"));
    }
}
