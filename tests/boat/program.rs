//! The program as an installer runs it: flags, exit statuses, what stands where.

use assert_cmd::Command;
use serde_json::Value;
use std::path::Path;

pub(super) fn run(args: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("leadsman").unwrap().args(args).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

pub(super) fn capture(file: &str) -> String {
    format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))
}

/// The installer's words for the hosts of the demo network, with their cables.
const HOSTS: &str = r#"
[boat]
name = "Demo skiff"
remarks = "After the refit"
[[device]]
name = "helm screen"
mac = "02:4c:45:10:00:01"
[[device]]
name = "bow screen"
mac = "02:4c:45:10:00:02"
[[switch]]
name = "console switch"
mounted = "under the console"
ports = 5
[[cable]]
from = "bow screen"
to = "console switch"
port = 3
length_m = 4.6
[[cable]]
from = "helm screen"
to = "console switch"
port = 4
"#;

fn file(dir: &Path, text: &str) -> String {
    let path = dir.join("boat.toml");
    std::fs::write(&path, text).unwrap();
    path.display().to_string()
}

#[test]
fn a_report_speaks_the_installers_words_and_names_the_cable() {
    let dir = tempfile::tempdir().unwrap();
    let boat = file(dir.path(), HOSTS);
    let (status, text, _) = run(&["report", &capture("flapping-display.pcap.gz"), "--boat", &boat]);
    assert_eq!(status, 0);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("The network link of bow screen goes down and up 2 times"), "{text}");
    assert!(
        flat.contains(
            "Touch first bow screen: 4.6 m cable on port 3 of the console switch; swap it with port 4 (helm screen) to tell \
             cable and port from device."
        ),
        "{text}"
    );
    assert!(flat.contains("II (integrated instrumentation) from helm screen"), "{text}");
    assert!(!text.contains("bow-md9 "), "{text}");
    let args = [
        "report",
        &capture("flapping-display.pcap.gz"),
        "--boat",
        &boat,
        "--complaint",
        "display-disconnects",
    ];
    let flat = run(&args).1.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("Touch first bow screen: 4.6 m cable on port 3"), "{flat}");
}

#[test]
fn the_exit_status_tells_whether_the_boat_passed() {
    let dir = tempfile::tempdir().unwrap();
    let draft = dir.path().join("draft.toml").display().to_string();
    let healthy = capture("healthy-network.pcapng.gz");
    assert_eq!(run(&["learn", &healthy, "-o", &draft]).0, 0);
    let (status, _, error) = run(&["learn", &healthy, "-o", &draft]);
    assert_eq!(status, 2);
    assert!(error.contains("--force"), "{error}");
    assert_eq!(run(&["learn", &healthy, "-o", &draft, "--force"]).0, 0);
    assert_eq!(run(&["verify", "--boat", &draft]).0, 0);
    assert_eq!(run(&["verify", &healthy, "--boat", &draft]).0, 0);
    let (status, text, _) = run(&["verify", &capture("flapping-display.pcap.gz"), "--boat", &draft]);
    assert_eq!(status, 1);
    assert!(text.starts_with("FAILED"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");

    let desk = file(dir.path(), &format!("{HOSTS}[[need]]\ndevice = \"bow screen\"\nquantity = \"depth\"\n"));
    assert_eq!(run(&["verify", "--boat", &desk]).0, 1);
    let wrong = file(dir.path(), "[boat]\nname = \"b\"\ncolour = 1\n");
    for command in [&["verify", "--boat", &wrong][..], &["report", &healthy, "--boat", &wrong]] {
        let (status, text, error) = run(command);
        assert_eq!((status, text.as_str()), (2, ""));
        assert!(error.starts_with(&format!("{wrong}:3: unknown field colour")), "{error}");
    }
    assert_eq!(run(&["verify", "--boat", "no-such-file"]).0, 2);
    assert_eq!(run(&["verify", "no-such-file", "--boat", &draft]).0, 2);
    let (status, _, error) = run(&["verify", &healthy, "--boat", &draft, "-o", &draft]);
    assert_eq!(status, 2);
    assert!(error.contains("would be lost"), "{error}");
}

#[test]
fn a_fault_is_told_on_standard_error_when_it_is_not_learnt() {
    let (status, draft, error) = run(&["learn", &capture("heading-jumps.txt.gz")]);
    assert_eq!(status, 0);
    assert!(
        error.contains("not learnt, for it is a fault: The heading of BM-36 at address 12 jumps"),
        "{error}"
    );
    assert!(draft.contains("# Kept out: heading from BM-36"), "{draft}");
}

#[test]
fn the_sheet_keeps_to_its_schema() {
    let schema: Value = serde_json::from_str(include_str!("../../docs/verify.schema.json")).unwrap();
    jsonschema::meta::validate(&schema).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let dir = tempfile::tempdir().unwrap();
    let boat = file(dir.path(), HOSTS);
    for more in
        [&[][..], &["healthy-network.pcapng.gz"], &["flapping-display.pcap.gz"], &["second-sounder.txt"]]
    {
        let paths: Vec<String> = more.iter().map(|name| capture(name)).collect();
        let mut args = vec!["verify", "--boat", &boat, "--format", "json"];
        args.extend(paths.iter().map(String::as_str));
        let sheet: Value = serde_json::from_str(&run(&args).1).unwrap();
        let errors: Vec<String> =
            validator.iter_errors(&sheet).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(errors.is_empty(), "{errors:#?}");
        assert_eq!((&sheet["format"], &sheet["version"]), (&Value::from("leadsman-verify"), &Value::from(1)));
        let rows = sheet["expectations"].as_array().unwrap();
        let failed = rows.iter().filter(|row| row["standing"] == "failed").count();
        assert_eq!(sheet["counts"]["failed"], failed);
        assert_eq!(sheet["verdict"], if failed == 0 { "passed" } else { "failed" });
        // Every field that is written is named.
        let fields = schema["$defs"]["expectation"]["properties"].as_object().unwrap();
        assert!(
            rows.iter().flat_map(|row| row.as_object().unwrap().keys()).all(|key| fields.contains_key(key))
        );
    }
    let mut wrong: Value =
        serde_json::from_str(&run(&["verify", "--boat", &boat, "--format", "json"]).1).unwrap();
    assert!(validator.is_valid(&wrong));
    wrong["expectations"][0]["standing"] = Value::from("perhaps");
    assert!(!validator.is_valid(&wrong));
}

/// The standing, what was found and the note of one row.
pub(super) fn told(recordings: &[&str], boat: &str, subject: &str, expectation: &str) -> [String; 3] {
    let dir = tempfile::tempdir().unwrap();
    let boat = file(dir.path(), boat);
    let mut args = vec!["verify", "--boat", &boat, "--format", "json"];
    args.extend(recordings);
    let sheet: Value = serde_json::from_str(&run(&args).1).unwrap();
    let mut rows = sheet["expectations"].as_array().unwrap().iter();
    let row = rows.find(|row| row["subject"] == subject && row["expectation"] == expectation);
    let row = row.unwrap_or_else(|| panic!("{subject}: {expectation} is not in {sheet:#}"));
    ["standing", "measured", "note"].map(|key| row[key].as_str().unwrap().to_owned())
}

/// A client speaks of addresses too; the server is who answers.
#[test]
fn the_address_server_is_who_answers() {
    let network = capture("whole-boat.pcapng.gz");
    let server = |name: &str| {
        let [standing, found, _] = told(
            &[&network],
            &format!("{HOSTS}[addresses]\nserver = \"{name}\"\n"),
            name,
            "is the only one that hands out addresses",
        );
        (standing, found)
    };
    assert_eq!(server("helm screen"), (String::from("passed"), String::from("no other was seen")));
    assert_eq!(server("bow screen"), (String::from("failed"), String::from("answers from helm screen")));
    let bus = capture("healthy-bus.log.zst");
    let boat = format!("{HOSTS}[addresses]\nserver = \"bow screen\"\n");
    let [standing, ..] = told(&[&bus], &boat, "bow screen", "is the only one that hands out addresses");
    assert_eq!(standing, "not-seen");
}

#[test]
fn markdown_holds_the_same_rows() {
    let dir = tempfile::tempdir().unwrap();
    let boat = file(dir.path(), HOSTS);
    let (status, text, _) =
        run(&["verify", &capture("flapping-display.pcap.gz"), "--boat", &boat, "--format", "markdown"]);
    assert_eq!(status, 1);
    assert!(text.starts_with("# Demo skiff: failed\n"), "{text}");
    assert!(
        text.contains("| bow screen | no link-flap | none | The network link of bow screen goes down"),
        "{text}"
    );
    assert!(text.contains("After the refit"));
    let recording = capture("flapping-display.pcap.gz");
    let page = run(&["verify", &recording, "--boat", &boat, "--format", "html"]).1;
    for text in [text, page] {
        assert!(text.contains("ecording flapping") && text.contains("oat file boat"), "{text}");
        assert!(!text.contains(env!("CARGO_MANIFEST_DIR")), "folders bear people's names: {text}");
    }
}
