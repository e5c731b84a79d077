//! `docs/dependencies.md` against `Cargo.toml` and against what the crates state; licences of everything that is built in.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// Licences that allow to be built into a program under the MIT licence, with no more than their notice.
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// What cargo knows of the packages that are built on this machine; nothing is downloaded.
fn metadata() -> Value {
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--filter-platform", host])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn packages(metadata: &Value) -> &Vec<Value> {
    metadata["packages"].as_array().unwrap()
}

fn text<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

/// The direct dependencies: name, features asked for.
fn direct(metadata: &Value) -> BTreeMap<String, String> {
    let own = packages(metadata).iter().find(|p| text(p, "name") == "leadsman").unwrap();
    let features = |d: &Value| {
        let named = d["features"].as_array().unwrap().iter().map(|f| f.as_str().unwrap().to_owned());
        let default = d["uses_default_features"].as_bool().unwrap().then(|| "default".to_owned());
        let all: Vec<_> = default.into_iter().chain(named).collect();
        if all.is_empty() { "none".to_owned() } else { all.join(", ") }
    };
    own["dependencies"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| (text(d, "name").to_owned(), features(d)))
        .collect()
}

#[test]
fn the_list_agrees_with_the_manifest_and_the_crates() {
    let metadata = metadata();
    let list = include_str!("../docs/dependencies.md");
    let mut listed = BTreeSet::new();
    for row in list.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<_> = row.trim_matches('|').split(" | ").map(str::trim).collect();
        let [name, licence, features, why] = cells[..] else { panic!("{row}") };
        let name = name.trim_matches('`');
        let stated =
            packages(&metadata).iter().filter(|p| text(p, "name") == name).map(|p| text(p, "license"));
        assert!(
            stated.clone().count() > 0 && stated.clone().all(|s| s == licence),
            "{name}: {:?}",
            stated.collect::<Vec<_>>()
        );
        assert_eq!(direct(&metadata).get(name).map(String::as_str), Some(features), "features of {name}");
        assert!(why.len() > 10, "{name}");
        listed.insert(name.to_owned());
    }
    let direct: BTreeSet<_> = direct(&metadata).into_keys().collect();
    assert_eq!(direct, listed, "the manifest on the left, docs/dependencies.md on the right");
}

/// Whether the terms of one licence expression (SPDX, without nesting deeper than one level) can be met.
fn allowed(expression: &str) -> bool {
    let expression = expression.replace(['(', ')'], "").replace('/', " OR ");
    // AND is looked at first: of what this list meets, (A OR B) AND C reads the same without its brackets.
    expression.split(" AND ").all(|part| part.split(" OR ").any(|one| ALLOWED.contains(&one.trim())))
}

#[test]
fn every_crate_in_the_tree_has_a_licence_that_goes_with_ours() {
    let metadata = metadata();
    let resolved = metadata["resolve"]["nodes"].as_array().unwrap();
    let resolved: BTreeSet<_> = resolved.iter().map(|node| text(node, "id")).collect();
    assert!(resolved.len() > 50);
    for package in packages(&metadata).iter().filter(|p| resolved.contains(text(p, "id"))) {
        assert!(allowed(text(package, "license")), "{}: {}", text(package, "name"), text(package, "license"));
    }
    assert!(!allowed("GPL-3.0") && !allowed("MIT AND GPL-3.0") && allowed("GPL-3.0 OR MIT") && !allowed(""));
}
