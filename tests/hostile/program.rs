//! The program itself, where files and streams fail it: each ends with a clear message and status, and nothing half-written.

use assert_cmd::Command;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::Stdio;

pub(crate) fn program() -> PathBuf {
    PathBuf::from(Command::cargo_bin("leadsman").unwrap().get_program())
}

pub(crate) fn capture(name: &str) -> String {
    format!("{}/captures/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// Status, standard output, standard error.
fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let output = std::process::Command::new(program()).args(args).stdin(Stdio::null()).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

/// No names are left in the folder but these.
#[track_caller]
pub(crate) fn holds_only(folder: &Path, names: &[&str]) {
    let mut there: Vec<_> =
        fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    there.sort();
    assert_eq!(there, names);
}

#[test]
fn a_full_disk_is_told() {
    for format in ["text", "json"] {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let child = std::process::Command::new(program())
            .args(["report", "--format", format, &capture("healthy-line.log")])
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(child.status.code(), Some(2));
        let said = String::from_utf8(child.stderr).unwrap();
        assert!(said.contains("cannot write to standard output: No space left"), "{said}");
    }
    let (status, _, said) = run(&["report", &capture("healthy-line.log"), "-o", "/dev/full"]);
    assert_eq!(status, Some(2));
    assert!(said.contains("cannot write /dev/full: No space left"), "{said}");
}

#[test]
fn a_pipe_that_closes_while_the_report_is_written_is_no_fault() {
    let (reader, writer) = std::io::pipe().unwrap();
    let mut child = std::process::Command::new(program())
        .args(["report", &capture("two-headings.log.gz")])
        .stdout(writer)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(reader);
    let status = child.wait().unwrap();
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!((status.code(), said.as_str()), (Some(0), ""));
}

#[test]
fn standard_input_that_closes_in_mid_record_is_read_as_far_as_it_goes() {
    let bytes = fs::read(capture("cut-short.pcap")).unwrap();
    let output = Command::cargo_bin("leadsman")
        .unwrap()
        .args(["report", "-"])
        .write_stdin(&bytes[..100_007])
        .output()
        .unwrap();
    assert!(output.status.success());
    assert!(String::from_utf8(output.stdout).unwrap().contains("ends in mid-record"));
}

#[test]
fn a_file_that_is_not_there_and_one_that_may_not_be_read_are_named() {
    let (status, out, said) = run(&["report", "/nowhere/at\x1b[2Jall.log"]);
    assert_eq!((status, out.as_str()), (Some(2), ""));
    assert!(said.starts_with("leadsman: cannot read /nowhere/at\\u{1b}[2Jall.log: No such file"), "{said}");
    // Opening works, reading is refused: the system's own way to say that a disk or a right is gone.
    let (status, _, said) = run(&["report", "/proc/self/mem"]);
    assert_eq!(status, Some(2));
    assert!(said.contains("cannot read /proc/self/mem"), "{said}");
}

#[test]
fn the_name_of_a_recording_is_text_in_every_format() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a\x1b[2J\u{202e}b\nc<script>![x](y)|=1+1@all.log");
    fs::copy(capture("too-short.log"), &file).unwrap();
    for format in ["text", "json", "markdown", "html"] {
        let (status, out, said) = run(&["report", "--format", format, &file.display().to_string()]);
        assert_eq!((status, said.as_str()), (Some(0), ""));
        assert!(!out.chars().any(|c| leadsman::report::escape::is_unsafe(c) && c != '\n'), "{out:?}");
        assert!(out.contains("202e"), "the name is told: {out}");
        assert!(format != "html" || out.matches("<script").count() <= 1, "a stranger's script");
        assert!(format != "markdown" || !(out.contains("![x]") || out.contains("<script")), "{out}");
    }
}

#[test]
fn empty_files_and_folders_are_refused_and_leave_no_output() {
    let folder = tempfile::tempdir().unwrap();
    let empty = folder.path().join("empty.pcap");
    File::create(&empty).unwrap();
    let out = folder.path().join("report.txt").display().to_string();
    for (input, word) in [
        (empty.display().to_string(), "empty"),
        (folder.path().display().to_string(), "no frame could be read"),
    ] {
        let (status, _, said) = run(&["report", &input, "-o", &out]);
        assert_eq!(status, Some(2));
        assert!(said.contains(word), "{said}");
    }
    holds_only(folder.path(), &["empty.pcap"]);
}

#[test]
fn output_goes_where_it_was_sent_and_nowhere_else() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let input = capture("too-short.log");
    // A link is followed: what it points to is replaced, the link stays.
    fs::write(at("target.txt"), "old").unwrap();
    std::os::unix::fs::symlink("target.txt", at("link.txt")).unwrap();
    assert_eq!(run(&["report", &input, "-o", &at("link.txt").display().to_string()]).0, Some(0));
    assert!(fs::symlink_metadata(at("link.txt")).unwrap().is_symlink());
    assert!(fs::read_to_string(at("target.txt")).unwrap().len() > 100);
    // A name is a name, whatever stands in it.
    let odd = "-rf \u{202e}x\n$(touch y).txt";
    assert_eq!(run(&["report", &input, "-o", &at(odd).display().to_string()]).0, Some(0));
    assert!(at(odd).is_file());
    // A folder that is not there is not made, and the message is one harmless line.
    let (status, _, said) = run(&["report", &input, "-o", &at("no\x1b[31m/where.txt").display().to_string()]);
    assert_eq!(status, Some(2));
    assert!(said.trim_end().lines().count() == 1 && !said.contains('\x1b'), "{said:?}");
    // A recording is never written over, by whatever name.
    fs::copy(&input, at("own.log")).unwrap();
    std::os::unix::fs::symlink("own.log", at("alias.log")).unwrap();
    let (status, _, said) =
        run(&["report", &at("own.log").display().to_string(), "-o", &at("alias.log").display().to_string()]);
    assert_eq!(status, Some(2));
    assert!(said.contains("is one of the inputs"), "{said}");
    holds_only(folder.path(), &[odd, "alias.log", "link.txt", "own.log", "target.txt"]);
}

/// The counter of the other tests does not see what the zstd library takes for its window; the system does. Addresses are
/// more than memory: libraries and stacks are among them.
#[test]
fn the_largest_zstd_window_fits_into_the_memory() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("window.zst");
    let mut encoder = zstd::stream::write::Encoder::new(File::create(&file).unwrap(), 1).unwrap();
    encoder.window_log(25).unwrap();
    let line = crate::make::sentence("SDDPT,7.4,0.4,100");
    for _ in 0..3_000 {
        encoder.write_all(line.as_bytes()).unwrap();
    }
    encoder.finish().unwrap();
    let script = "ulimit -v 131072; exec \"$0\" report \"$1\"";
    let output =
        std::process::Command::new("sh").args(["-c", script]).arg(program()).arg(&file).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}
