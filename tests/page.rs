//! Pages of the demo recordings, opened in a real browser by `tests/browser/look.mjs`.
//!
//! Needs node, a browser, and the packages in `tests/browser` (`npm ci`); without them the test says so and passes,
//! unless `LEADSMAN_BROWSER_TEST=required`.

#![allow(
    clippy::unwrap_used,
    clippy::print_stderr,
    reason = "a test fails by panicking, and says why it did not run"
)]

use assert_cmd::Command;
use std::env;
use std::fs;
use std::path::{Path, PathBuf};

/// A name that would act if a page let it.
const HOSTILE: &str = "<img src=x onerror=alert(1)>&lt;b>.log";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn on_the_path(program: &str) -> Option<PathBuf> {
    env::split_paths(&env::var_os("PATH")?).map(|dir| dir.join(program)).find(|path| path.is_file())
}

/// The browser, or what is missing for the test.
fn browser() -> Result<PathBuf, &'static str> {
    on_the_path("node").ok_or("there is no node")?;
    if !root().join("tests/browser/node_modules/puppeteer-core").is_dir() {
        return Err("the packages are missing: npm ci --prefix tests/browser");
    }
    let named = env::var_os("LEADSMAN_BROWSER").map(PathBuf::from).filter(|path| path.is_file());
    named
        .or_else(|| on_the_path("chromium"))
        .ok_or("there is no chromium, and LEADSMAN_BROWSER names no browser")
}

/// Writes a recording's page and JSON into `dir`.
fn write(dir: &Path, name: &str, recording: &Path, more: &[&str]) {
    for format in ["html", "json"] {
        let out = dir.join(format!("{name}.{format}"));
        Command::cargo_bin("leadsman")
            .unwrap()
            .arg("report")
            .arg(recording)
            .args(["--format", format, "-o"])
            .arg(out)
            .args(more)
            .assert()
            .success();
    }
}

#[test]
fn pages_are_sound_in_a_browser() {
    let browser = match browser() {
        Ok(browser) => browser,
        Err(missing) => {
            let required = env::var_os("LEADSMAN_BROWSER_TEST").is_some_and(|value| value == "required");
            assert!(!required, "the browser test is required, but {missing}");
            eprintln!("The browser test was skipped: {missing}.");
            return;
        }
    };
    let dir = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(root().join("captures")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if name != "README.md" && !name.starts_with('.') {
            write(dir.path(), &name, &path, &[]);
        }
    }
    let two = root().join("captures/two-headings.log.gz");
    write(dir.path(), "asked", &two, &["--complaint", "heading-jumps"]);
    // Where file names may hold such characters.
    let hostile = dir.path().join(HOSTILE);
    if fs::copy(root().join("captures/healthy-line.log"), &hostile).is_ok() {
        write(dir.path(), "hostile", &hostile, &[]);
    }
    let looked = std::process::Command::new("node")
        .arg(root().join("tests/browser/look.mjs"))
        .arg(dir.path())
        .args(env::var_os("LEADSMAN_SCREENSHOTS"))
        .env("LEADSMAN_BROWSER", browser)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&looked.stderr);
    assert!(looked.status.success(), "{said}\n{}", String::from_utf8_lossy(&looked.stdout));
}
