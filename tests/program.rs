//! The program as a user runs it, on demo recordings: flags, exit statuses, what stands where.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

use assert_cmd::Command;

fn capture(file: &str) -> String {
    format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))
}

fn run(args: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("leadsman").unwrap().args(args).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_readmes_main_job_names_cause_and_what_to_touch_first() {
    let readme = include_str!("../README.md");
    let command = readme.lines().find(|l| l.starts_with("cargo run --release -- report")).unwrap();
    let args: Vec<&str> = command.split(" -- ").nth(1).unwrap().split(' ').collect();
    let output = Command::cargo_bin("leadsman")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(&args)
        .output()
        .unwrap();
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).unwrap();
    let first: Vec<&str> = text.lines().take(4).collect();
    assert!(first[0].starts_with("HEADING JUMPS"), "{first:?}");
    assert!(text.lines().take(6).any(|l| l.starts_with("Touch first")), "{first:?}");
    assert!(text.lines().all(|l| l.chars().count() <= 80), "80 columns");
    assert!(text.contains("Ruled out") && text.contains("Open"));
    assert!(text.contains("not to navigation"));
}

#[test]
fn exit_statuses_tell_how_it_went() {
    let (healthy, faulty) = (capture("healthy-bus.log.zst"), capture("two-headings.log.gz"));
    assert_eq!(run(&["report", &healthy, "--fail-on", "warning"]).0, 0);
    assert_eq!(run(&["report", &faulty, "--fail-on", "fault"]).0, 1);
    assert_eq!(run(&["report", &faulty]).0, 0);
    let (status, _, error) = run(&["report", &capture("README.md")]);
    assert_eq!(status, 2);
    assert!(error.contains("no recording that can be read"), "{error}");
    let (status, _, error) = run(&["report", "no-such-file"]);
    assert_eq!(status, 2);
    assert!(error.contains("no-such-file"), "{error}");
}

/// What can be read is reported on, whatever was named beside it; and what was named twice is counted once.
#[test]
fn a_recording_that_cannot_be_read_does_not_take_the_others_along() {
    let dir = tempfile::tempdir().unwrap();
    let empty = dir.path().join("empty.log");
    std::fs::write(&empty, "").unwrap();
    let (empty, good) = (empty.to_str().unwrap(), capture("healthy-line.log"));
    let (status, alone, _) = run(&["report", &good, "--format", "json"]);
    assert_eq!(status, 0);
    let (status, out, err) = run(&["report", &good, empty, &good, "--format", "json"]);
    assert_eq!(status, 0, "{err}");
    assert!(err.starts_with("leadsman: left out: ") && err.contains("empty.log"), "{err}");
    let [alone, report]: [serde_json::Value; 2] =
        [alone, out].map(|text| serde_json::from_str(&text).unwrap());
    assert_eq!(report["recordings"].as_array().unwrap().len(), 1);
    assert_eq!((&report["wires"], &report["sources"]), (&alone["wires"], &alone["sources"]));
    let problems = report["recordings"][0]["problems"].to_string();
    assert!(problems.contains("left out: ") && problems.contains("counted once"), "{problems}");
    let copy = dir.path().join("copy.log");
    std::fs::copy(&good, &copy).unwrap();
    let (_, text, _) = run(&["report", &good, copy.to_str().unwrap()]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("it has the same times and as many frames as"), "{text}");
    let (status, out, err) = run(&["report", empty, "no-such-file.log"]);
    assert_eq!(status, 2, "{err}");
    assert!(out.is_empty() && err.contains("empty file"), "{err}");
}

#[test]
fn a_time_window_leaves_out_what_lies_outside() {
    let file = capture("sensor-drops-out.txt.gz");
    let gaps = |args: &[&str]| {
        let (_, json, _) = run(&[&["report", "--format", "json", &file], args].concat());
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        let findings = json["findings"].as_array().unwrap().clone();
        findings.iter().find(|f| f["kind"] == "device-dropout").map(|f| f["numbers"]["gaps"].clone())
    };
    assert_eq!(gaps(&[]), Some(2.into()));
    // The second silence lies from 218 to 227 s, the recording begins at 06:30.
    assert_eq!(gaps(&["--from", "06:32:30"]), Some(1.into()));
    assert_eq!(gaps(&["--from", "06:32:00", "--to", "06:33:20"]), None);
}

#[test]
fn a_time_window_that_holds_nothing_is_said() {
    let file = capture("sensor-drops-out.txt.gz");
    let outside = ["--from", "09:00", "--to", "09:10"];
    for each in [&[][..], &["--each"]] {
        let (status, out, err) = run(&[&["report", &file][..], each, &outside].concat());
        assert_eq!(status, 2, "{out}{err}");
        assert!(err.contains("between --from and --to") && !out.contains("no clock"), "{out}{err}");
    }
    // One of two recordings holds something then.
    let line = capture("healthy-line.log");
    let outage = capture("switch-outage.pcapng.zst");
    let (status, out, _) = run(&["report", "--each", &outage, &line, "--from", "06:34:30"]);
    assert!(status == 0 && out.lines().filter(|line| line.starts_with("not read")).count() == 1, "{out}");
}

#[test]
fn standard_input_is_read_and_a_healthy_boat_is_called_so() {
    let bytes = std::fs::read(capture("healthy-line.log")).unwrap();
    let output =
        Command::cargo_bin("leadsman").unwrap().args(["report", "-"]).write_stdin(bytes).output().unwrap();
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.starts_with("NOTHING WRONG SEEN"), "{text}");
    assert!(text.contains("it cannot show"), "what cannot be told is said");
}

#[test]
fn every_kind_is_explained() {
    let (status, list, _) = run(&["explain"]);
    assert_eq!(status, 0);
    for kind in leadsman::findings::kinds() {
        assert!(list.contains(kind), "{kind}");
        let (status, page, _) = run(&["explain", kind]);
        assert_eq!(status, 0);
        assert!(page.len() > 300, "{kind}: {page}");
    }
}

#[test]
fn the_demo_writes_recordings_that_the_report_reads() {
    let dir = tempfile::tempdir().unwrap();
    let to = dir.path().join("demo");
    let (status, _, error) = run(&["demo", to.to_str().unwrap()]);
    assert_eq!(status, 0, "{error}");
    let mut read = 0;
    for entry in std::fs::read_dir(&to).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(run(&["report", path.to_str().unwrap()]).0, 0, "{}", path.display());
        read += 1;
    }
    assert!(read >= 10);
}
