//! The program as a user meets it: flags, exit statuses, messages.

// The lint's own exception reaches test functions only, not the helpers beside them.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)]

use assert_cmd::Command;
use assert_cmd::cargo::cargo_bin_cmd;
use std::fs;
use std::path::Path;
use std::process::Stdio;

/// Runs with the arguments: exit status, standard output, standard error.
fn run(args: &[&str]) -> (i32, String, String) {
    let output = leadsman().args(args).output().unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

fn leadsman() -> Command {
    let mut command = cargo_bin_cmd!("leadsman");
    command.env_remove("CLICOLOR_FORCE").env_remove("NO_COLOR");
    command
}

const COMMANDS: [&str; 9] =
    ["report", "learn", "verify", "compare", "scrub", "explain", "demo", "completions", "manual"];

#[test]
fn help_names_every_command_with_an_example() {
    let (status, help, _) = run(&["--help"]);
    assert_eq!(status, 0);
    for command in COMMANDS {
        assert!(help.contains(command), "{command}:\n{help}");
        let (status, help, _) = run(&[command, "--help"]);
        assert_eq!(status, 0);
        assert!(help.contains(&format!("leadsman {command}")) && help.contains("Example"), "{help}");
        assert!(help.lines().all(|line| line.chars().count() <= 100), "{help}");
    }
}

#[test]
fn wrong_usage_exits_with_2_and_says_what_was_expected() {
    let cases: [(&[&str], &str); 9] = [
        (&[], "Usage"),
        (&["report"], "RECORDING"),
        (&["report", "a.log", "--complaint", "no-coffee"], "heading-jumps"),
        (&["report", "a.log", "--format", "xml"], "json"),
        (&["report", "a.log", "--from", "noon"], "10:02"),
        (&["report", "a.log", "--to", "2026-05-01T10:00"], "offset"),
        (&["report", "-", "-"], "only once"),
        (&["report", "a.log", "--from", "2026-05-02T00:00:00Z", "--to", "2026-05-01T00:00:00Z"], "after"),
        (&["manual", "dance"], "explain"),
    ];
    for (args, wanted) in cases {
        let (status, out, err) = run(args);
        assert_eq!(status, 2, "{args:?}: {err}");
        assert!(err.contains(wanted) && out.is_empty(), "{args:?}: {err}");
    }
}

#[test]
fn an_unreadable_recording_exits_with_2_and_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let recording = folder.path().join("missing.log").display().to_string();
    let report = folder.path().join("report.json");
    let (status, out, err) = run(&["report", &recording, "-o", &report.display().to_string()]);
    assert_eq!(status, 2);
    assert!(out.is_empty() && err.starts_with("leadsman: "), "{err}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "neither the report nor a temporary file");
}

#[test]
fn an_output_that_cannot_be_is_refused_before_reading() {
    let folder = tempfile::tempdir().unwrap();
    let recording = folder.path().join("bow.log");
    fs::write(&recording, "frames").unwrap();
    let recording = recording.display().to_string();
    for (output, wanted) in [
        (recording.clone(), "one of the inputs"),
        (folder.path().display().to_string(), "folder"),
        (folder.path().join("no/where.txt").display().to_string(), "cannot write"),
    ] {
        let (status, _, err) = run(&["report", &recording, "-o", &output]);
        assert_eq!(status, 2);
        assert!(err.contains(wanted), "{err}");
    }
    assert_eq!(fs::read_to_string(&recording).unwrap(), "frames");
}

#[test]
fn messages_on_the_terminal_are_escaped() {
    let (status, _, err) = run(&["explain", "a\x1b[2Jb"]);
    assert_eq!(status, 2);
    assert!(err.contains("\\u{1b}[2J") && !err.contains('\x1b'), "{err}");
}

#[test]
fn explain_lists_and_explains_and_suggests() {
    let (status, list, _) = run(&["explain"]);
    assert_eq!(status, 0);
    assert!(list.contains("duplicate-heading-source"));
    let (status, page, _) = run(&["explain", "duplicate-heading-source"]);
    assert_eq!(status, 0);
    for title in ["Severity", "Meaning", "Detection", "Lookalikes", "Checks", "Cautions"] {
        assert!(page.lines().any(|line| line.starts_with(title)), "{title}:\n{page}");
    }
    assert!(page.lines().all(|line| line.chars().count() <= 80), "{page}");
    let (status, out, err) = run(&["explain", "duplicate-headin-source"]);
    assert_eq!((status, out.as_str()), (2, ""));
    assert!(err.contains("near it: duplicate-heading-source"), "{err}");
}

/// Names and contents of a folder's files.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entry = |entry: std::io::Result<fs::DirEntry>| {
        let entry = entry.unwrap();
        (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap())
    };
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(entry).collect();
    files.sort();
    files
}

#[test]
fn demo_writes_once_and_again_only_by_force() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("new/demo");
    let name = dir.display().to_string();
    let (status, table, err) = run(&["demo", &name]);
    assert_eq!(status, 0, "{err}");
    let first = files(&dir);
    assert!(!first.is_empty());
    for (file, _) in &first {
        assert!(table.contains(file), "{file}:\n{table}");
    }
    assert!(table.contains("leadsman report"));

    fs::write(dir.join(&first[0].0), "mine").unwrap();
    let (status, out, err) = run(&["demo", &name]);
    assert_eq!((status, out.as_str()), (2, ""));
    assert!(err.contains("--force") && err.contains(&first[0].0), "{err}");
    assert_eq!(files(&dir)[0].1, b"mine", "left as it was");

    let (status, _, err) = run(&["demo", &name, "--force"]);
    assert_eq!(status, 0, "{err}");
    assert_eq!(files(&dir), first, "the same bytes each time");
}

#[test]
fn completions_for_every_shell() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (status, script, _) = run(&["completions", shell]);
        assert_eq!(status, 0);
        assert!(script.contains("leadsman") && script.contains("complaint"), "{shell}");
    }
}

#[test]
fn manual_pages() {
    let (status, page, _) = run(&["manual"]);
    assert_eq!(status, 0);
    assert!(page.contains(".TH leadsman 1") && page.contains("EXTRA"), "{page}");
    for command in COMMANDS {
        let (status, page, _) = run(&["manual", command]);
        assert_eq!(status, 0);
        assert!(page.contains(&format!(".TH leadsman-{command} 1")), "{page}");
    }
}

#[test]
fn a_closed_pipe_is_no_error() {
    for args in [&["manual"][..], &["explain"], &["completions", "bash"]] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = std::process::Command::new(leadsman().get_program())
            .args(args)
            .stdout(writer)
            .stderr(Stdio::piped())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{args:?}");
        assert!(output.stderr.is_empty(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_an_error() {
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let output =
        std::process::Command::new(leadsman().get_program()).arg("manual").stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(err.contains("cannot write to standard output"), "{err}");
}
