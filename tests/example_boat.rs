//! The worked example in `docs/example-boat/`: its sheets are what the program writes, and its plan fails where it should.

#![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};

/// The boat file, from the root of the project.
const BOAT: &str = "docs/example-boat/boat.toml";

/// The two recordings of the boat: its Ethernet and its backbone.
const RECORDINGS: [&str; 2] = ["captures/whole-boat.pcapng.gz", "captures/healthy-bus.log.zst"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Exit status and standard output of a run at the root of the project.
fn run(args: &[&str]) -> (i32, String) {
    let output = Command::cargo_bin("leadsman").unwrap().current_dir(root()).args(args).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.stderr.is_empty(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    (output.status.code().unwrap(), text)
}

/// The sheets that lie beside the boat file are what the program writes today.
#[test]
fn the_sheets_are_what_the_program_writes() {
    let sheets: [(&str, &[&str]); 3] = [
        ("plan.txt", &["verify", "--boat", BOAT]),
        ("acceptance.txt", &["verify", RECORDINGS[0], RECORDINGS[1], "--boat", BOAT]),
        ("acceptance.html", &["verify", RECORDINGS[0], RECORDINGS[1], "--boat", BOAT, "--format", "html"]),
    ];
    for (file, args) in sheets {
        let (status, text) = run(args);
        assert_eq!(status, 0, "{file}: {text}");
        let kept = fs::read_to_string(root().join("docs/example-boat").join(file)).unwrap();
        assert!(text == kept, "{file} has drifted: leadsman {} > docs/example-boat/{file}", args.join(" "));
    }
}

#[test]
fn both_recordings_together_show_a_healthy_boat() {
    let (status, text) = run(&["report", RECORDINGS[0], RECORDINGS[1], "--fail-on", "warning"]);
    assert_eq!(status, 0, "{text}");
    assert!(
        text.contains("repeats the heading of"),
        "the console passes on, and is no second sensor:\n{text}"
    );
}

/// The example with texts replaced, in a folder of its own.
fn changed(changes: &[(&str, &str)]) -> (tempfile::TempDir, PathBuf) {
    let mut text = fs::read_to_string(root().join(BOAT)).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("boat.toml");
    fs::write(&path, text).unwrap();
    (folder, path)
}

/// What fails in the plan once it is changed.
fn failed(changes: &[(&str, &str)]) -> Vec<String> {
    let (_folder, path) = changed(changes);
    let (status, text) = run(&["verify", "--boat", path.to_str().unwrap(), "--format", "json"]);
    assert_eq!(status, 1, "{text}");
    let sheet: serde_json::Value = serde_json::from_str(&text).unwrap();
    let rows = sheet["expectations"].as_array().unwrap().iter().filter(|row| row["standing"] == "failed");
    rows.map(|row| format!("{}: {}", row["subject"].as_str().unwrap(), row["expectation"].as_str().unwrap()))
        .collect()
}

#[test]
fn a_missing_adapter_is_caught() {
    let cable = "from = \"second bow display\"\nto = \"console switch\"\nport = 4\nlength_m = 9.1\nfrom_plug = \"RJ45\"\n";
    let adapter = format!("{cable}from_adapter = \"M12 D\"\n");
    assert_eq!(
        failed(&[(&adapter, cable)]),
        ["cable second bow display to console switch: its plug fits second bow display"]
    );
}

#[test]
fn a_sixth_device_on_five_ports_is_caught() {
    let sixth = "[[device]]\nname = \"camera\"\nmac = \"02:4c:45:10:00:07\"\nsocket = \"RJ45\"\n\n\
        [[cable]]\nfrom = \"camera\"\nto = \"console switch\"\nlength_m = 2.0\nfrom_plug = \"RJ45\"\nto_plug = \"RJ45\"\n\n";
    assert_eq!(
        failed(&[("# ---- NMEA 2000 backbone", &format!("{sixth}# ---- NMEA 2000 backbone"))]),
        ["Ethernet: enough ports to join all devices", "console switch: enough ports for its cables"]
    );
}

/// Without the sounder, and so without the console that repeats it, no display gets depth.
#[test]
fn a_display_without_a_depth_source_is_caught() {
    let depth = |display: &str| format!("{display}: a supplier of depth on a wire that reaches it");
    let displays = ["console display", "starboard console display", "bow display", "second bow display"];
    let sounder = "[[supply]]\nquantity = \"depth\"\ndevice = \"sounder\"\nreference = \"below-transducer\"\n\
        message = \"128267\"\ninterval_s = 1.0\nmissing_percent = 5.0\nstand_by = [\"console sentences\"]\n";
    let console = "[[supply]]\nquantity = \"depth\"\ndevice = \"console sentences\"\ninterval_s = 1.0\n";
    assert_eq!(failed(&[(sounder, ""), (console, "")]), displays.map(depth));
}
