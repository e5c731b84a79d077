//! The copy of every container is itself a recording of that container, and its report is the original's, names apart.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// What differs on purpose: names, identities and places, and what the report derives from them.
const APART: &[&str] = &[
    "path",
    "recording",
    "label",
    "name",
    "manufacturer_code",
    "unique_number",
    "mac",
    "hostnames",
    "services",
    "model",
    "software",
    "serial",
    "installation",
    "product_code",
    "lat_deg",
    "lon_deg",
    "value_m",
    "ips",
    "talker",
    "sentences",
    "bytes",
];

/// Relative and absolute slack of a number: bits that the blanked bytes stuff differently, places rounded anew.
const SLACK: f64 = 0.03;
const LEAST: f64 = 0.01;

pub(crate) fn captures() -> Vec<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures");
    let mut paths: Vec<PathBuf> = fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            let name = path.file_name().unwrap().to_str().unwrap();
            name != "README.md" && !name.starts_with('.')
        })
        .collect();
    paths.sort();
    assert!(paths.len() > 10);
    paths
}

fn leadsman() -> Command {
    Command::cargo_bin("leadsman").unwrap()
}

fn scrub(from: &Path, to: &Path, more: &[&str]) -> String {
    let out = leadsman().arg("scrub").arg(from).arg("-o").arg(to).args(more).output().unwrap();
    assert!(out.status.success(), "{}: {}", from.display(), String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

fn report(path: &Path) -> Value {
    let out = leadsman().args(["report", "--format", "json"]).arg(path).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

/// Everything but sentences for people (they hold names) must agree.
fn same(original: &Value, copy: &Value, at: &str, wrong: &mut Vec<String>) {
    match (original, copy) {
        (Value::Object(a), Value::Object(b)) => {
            for key in a.keys().chain(b.keys().filter(|key| !a.contains_key(*key))) {
                if APART.contains(&key.as_str()) {
                    continue;
                }
                match (a.get(key), b.get(key)) {
                    (Some(a), Some(b)) => same(a, b, &format!("{at}/{key}"), wrong),
                    _ => wrong.push(format!("{at}/{key} is only in one")),
                }
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (n, (a, b)) in a.iter().zip(b).enumerate() {
                same(a, b, &format!("{at}[{n}]"), wrong);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > LEAST.max(a.abs() * SLACK) {
                wrong.push(format!("{at}: {a} became {b}"));
            }
        }
        // A text with a blank in it is a sentence for people.
        (Value::String(a), Value::String(b)) if a.contains(' ') && b.contains(' ') => {}
        (a, b) if a == b => {}
        (a, b) => wrong.push(format!("{at}: {a} became {b}")),
    }
}

fn assert_same(original: &Path, copy: &Path) {
    let mut wrong = Vec::new();
    same(&report(original), &report(copy), "", &mut wrong);
    assert!(wrong.is_empty(), "{}: {wrong:#?}", original.display());
}

#[test]
fn every_demo_recording_keeps_its_report() {
    let dir = TempDir::new().unwrap();
    for path in captures() {
        let copy = dir.path().join(path.file_name().unwrap());
        scrub(&path, &copy, &[]);
        assert_same(&path, &copy);
    }
}

fn unpacked(path: &Path) -> Vec<u8> {
    let bytes = fs::read(path).unwrap();
    let mut out = Vec::new();
    match bytes.as_slice() {
        [0x1F, 0x8B, ..] => {
            flate2::read::MultiGzDecoder::new(bytes.as_slice()).read_to_end(&mut out).unwrap();
        }
        [0x28, 0xB5, 0x2F, 0xFD, ..] => {
            zstd::Decoder::new(bytes.as_slice()).unwrap().read_to_end(&mut out).unwrap();
        }
        _ => out = bytes,
    }
    out
}

#[test]
fn the_copy_is_as_long_and_compressed_alike() {
    let dir = TempDir::new().unwrap();
    for path in captures() {
        let copy = dir.path().join("copy");
        scrub(&path, &copy, &["--force"]);
        assert_eq!(fs::read(&path).unwrap()[..2], fs::read(&copy).unwrap()[..2], "{}", path.display());
        let (a, b) = (unpacked(&path), unpacked(&copy));
        assert_eq!(a.len(), b.len(), "{}", path.display());
        assert!(a != b);
    }
}

/// A recorder that lost power leaves half a stream: the copy ends as early, and its report says so.
#[test]
fn a_cut_stream_stays_cut() {
    let dir = TempDir::new().unwrap();
    for name in ["flapping-display.pcap.gz", "healthy-bus.log.zst"] {
        let path = captures().into_iter().find(|path| path.ends_with(name)).unwrap();
        let bytes = fs::read(&path).unwrap();
        let (half, copy) = (dir.path().join("half"), dir.path().join("copy"));
        fs::write(&half, &bytes[..bytes.len() / 2]).unwrap();
        scrub(&half, &copy, &["--force"]);
        assert_same(&half, &copy);
    }
}

#[test]
fn a_gzip_header_tells_nothing() {
    let dir = TempDir::new().unwrap();
    let (path, copy) = (dir.path().join("a.gz"), dir.path().join("b.gz"));
    let mut packed = flate2::GzBuilder::new()
        .filename("harbour of home.log")
        .comment("for my brother")
        .mtime(1_700_000_000)
        .write(fs::File::create(&path).unwrap(), flate2::Compression::fast());
    packed.write_all(b"$SDDPT,7.4,0.4,100*4D\r\n").unwrap();
    packed.finish().unwrap();
    scrub(&path, &copy, &[]);
    let bytes = fs::read(&copy).unwrap();
    // RFC 1952 2.3: no flags, no time.
    assert_eq!(bytes[3..8], [0, 0, 0, 0, 0]);
    assert_eq!(unpacked(&copy), b"$SDDPT,7.4,0.4,100*4D\r\n");
}

#[test]
fn times_are_shifted_by_whole_weeks_and_nothing_else_changes() {
    let dir = TempDir::new().unwrap();
    for path in captures() {
        let copy = dir.path().join("copy");
        scrub(&path, &copy, &["--force", "--shift-time"]);
        let (a, b) = (report(&path), report(&copy));
        let from = |report: &Value| {
            let text = report.pointer("/recordings/0/first").unwrap().as_str().unwrap().to_owned();
            let time: jiff::Timestamp = text.parse().unwrap();
            time.as_microsecond()
        };
        let shift = from(&a) - from(&b);
        // A recording with times of day alone has no day that could be shifted.
        let dated = from(&a) > 400 * 86_400_000_000;
        assert!((shift > 0 || !dated) && shift % 604_800_000_000 == 0, "{}: {shift}", path.display());
        let kinds = |report: &Value| -> Vec<String> {
            let findings = report["findings"].as_array().unwrap();
            findings.iter().map(|finding| finding["kind"].as_str().unwrap().to_owned()).collect()
        };
        assert_eq!(kinds(&a), kinds(&b), "{}", path.display());
    }
}

#[test]
fn nothing_is_written_over_or_left_half_written() {
    let dir = TempDir::new().unwrap();
    let there = dir.path().join("there.log");
    fs::write(&there, "$SDDPT,7.4,0.4,100*4D\r\n").unwrap();
    let other = dir.path().join("other.log");
    fs::write(&other, "mine").unwrap();
    let failed = |from: &Path, to: &Path, more: &[&str]| {
        let out = leadsman().arg("scrub").arg(from).arg("-o").arg(to).args(more).output().unwrap();
        assert_eq!(out.status.code(), Some(2));
        String::from_utf8(out.stderr).unwrap()
    };
    assert!(failed(&there, &other, &[]).contains("--force"));
    assert_eq!(fs::read(&other).unwrap(), b"mine");
    assert!(failed(&there, &there, &["--force"]).contains("one of the inputs"));
    let prose = dir.path().join("prose.txt");
    fs::write(&prose, "dear diary\n").unwrap();
    failed(&prose, &other, &["--force"]);
    assert_eq!(fs::read(&other).unwrap(), b"mine");
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 3, "no file is left behind");
}

#[test]
fn copies_with_one_key_belong_together_and_others_do_not() {
    let dir = TempDir::new().unwrap();
    let path = captures().into_iter().find(|path| path.ends_with("two-headings.log.gz")).unwrap();
    let key = dir.path().join("boat.key");
    let copy = |name: &str, more: &[&str]| {
        let copy = dir.path().join(name);
        let said = scrub(&path, &copy, more);
        (unpacked(&copy), said)
    };
    let with_key = ["--key", key.to_str().unwrap()];
    let (first, said) = copy("a", &with_key);
    assert!(said.contains("was made"), "{said}");
    let (second, said) = copy("b", &with_key);
    assert!(said.contains("was used"), "{said}");
    let (third, _) = copy("c", &[]);
    assert!(first == second && first != third);
}
