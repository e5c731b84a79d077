//! Ctrl-C and its like: nothing half-written is left in any command that writes, and the second one ends it at once.

use crate::program::{capture, holds_only, program};
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::io::{Read as _, Write as _};
use std::os::unix::process::{CommandExt as _, ExitStatusExt as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Longer than anything here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// Interrupts of each command, spread over the time that it takes, when `LEADSMAN_VARIANTS` does not say otherwise.
const ROUNDS: u32 = 6;

/// Numbers of the signals (POSIX.1-2024, `kill`).
const HUP: i32 = 1;
const INT: i32 = 2;
const TERM: i32 = 15;

fn send(child: &Child, signal: i32) {
    // A process that has just ended is no fault here.
    let _ = Command::new("kill").args([&format!("-{signal}"), &child.id().to_string()]).output().unwrap();
}

/// A command in which signals do what they do by default. Whoever runs the tests may have them ignored, as a shell without
/// job control has it for what runs behind its back, and that is handed down. `env` of GNU coreutils puts it right.
fn listening(command: impl AsRef<OsStr>) -> Command {
    let mut env = Command::new("env");
    env.arg("--default-signal=INT,TERM,HUP").arg(command);
    env
}

/// Waits until it is so.
#[track_caller]
fn until(what: &str, mut is: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < PATIENCE, "{what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Waits for the end; what does not end is ended, and fails.
#[track_caller]
fn ended(child: &mut Child) -> ExitStatus {
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return status;
        }
        if begun.elapsed() > PATIENCE {
            child.kill().unwrap();
            panic!("it does not end");
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

fn said(child: &mut Child) -> String {
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    said
}

fn names(folder: &Path) -> Vec<String> {
    fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

/// Paths and sizes of all files below a folder.
fn files(folder: &Path) -> BTreeMap<PathBuf, u64> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap().map(Result::unwrap) {
            let about = entry.metadata().unwrap();
            if about.is_dir() {
                folders.push(entry.path());
            } else {
                all.insert(entry.path().strip_prefix(folder).unwrap().to_owned(), about.len());
            }
        }
    }
    all
}

/// How many bytes there are in files that are not finished.
fn unfinished(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    let ours = entries.filter(|entry| entry.file_name().to_string_lossy().starts_with(".leadsman-"));
    // One may be gone since it was listed.
    ours.filter_map(|entry| entry.metadata().ok()).map(|about| about.len()).sum()
}

/// The standard input of a child that was given a recording so many times and waits for more.
fn fed(child: &mut Child, name: &str, times: usize) -> ChildStdin {
    let mut input = child.stdin.take().unwrap();
    let text = fs::read(capture(name)).unwrap();
    for _ in 0..times {
        input.write_all(&text).unwrap();
    }
    input
}

/// A copy that is being written, of a recording that comes through a pipe and goes on.
fn copying(folder: &Path, stderr: Stdio) -> (Child, ChildStdin) {
    let mut child = listening(program())
        .args(["scrub", "-", "-o"])
        .arg(folder.join("copy.log"))
        .arg("--key")
        .arg(folder.join("boat.key"))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(stderr)
        .spawn()
        .unwrap();
    let input = fed(&mut child, "true-and-magnetic.log", 8);
    until("it writes", || unfinished(folder) > 0);
    (child, input)
}

#[test]
fn a_copy_that_is_half_written_is_taken_away() {
    for (signal, word) in [(INT, "interrupted"), (TERM, "told to end"), (HUP, "the terminal was closed")] {
        let folder = tempfile::tempdir().unwrap();
        let (mut child, input) = copying(folder.path(), Stdio::piped());
        send(&child, signal);
        let status = ended(&mut child);
        assert_eq!(status.signal(), Some(signal), "a shell sees {}", 128 + signal);
        assert_eq!(said(&mut child), format!("leadsman: {word}; nothing half-written is left\n"));
        holds_only(folder.path(), &[]);
        drop(input);
    }
}

/// A recording that never comes.
fn never(folder: &Path) -> PathBuf {
    let fifo = folder.join("never.log");
    assert!(Command::new("mkfifo").arg(&fifo).status().unwrap().success());
    fifo
}

#[test]
fn a_shell_sees_130() {
    let folder = tempfile::tempdir().unwrap();
    let mut shell = listening("sh")
        .args(["-c", "trap : INT; \"$0\" report --each \"$1\" -o \"$2\"; echo $?"])
        .args([program(), never(folder.path()), folder.path().join("report.txt")])
        .process_group(0)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    until("it is under way", || names(folder.path()).iter().any(|name| name.starts_with(".leadsman-")));
    // As a terminal does it: to all that runs in the foreground.
    let group = format!("-{}", shell.id());
    assert!(Command::new("kill").args(["-INT", "--", &group]).status().unwrap().success());
    ended(&mut shell);
    let mut out = String::new();
    shell.stdout.take().unwrap().read_to_string(&mut out).unwrap();
    assert_eq!((out.as_str(), said(&mut shell).contains("leadsman: interrupted; nothing")), ("130\n", true));
    holds_only(folder.path(), &["never.log"]);
}

#[test]
fn an_interrupt_leaves_nothing_behind_and_what_was_there_before() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report.txt");
    fs::write(&out, "the old one").unwrap();
    let mut child = listening(program())
        .args(["report", "-", "-o"])
        .arg(&out)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let input = fed(&mut child, "healthy-line.log", 1);
    // It waits for more input now; where it stands exactly does not matter.
    std::thread::sleep(Duration::from_millis(300));
    send(&child, INT);
    assert_eq!(ended(&mut child).code(), None, "the signal ended it: a shell sees 130");
    drop(input);
    holds_only(folder.path(), &["report.txt"]);
    assert_eq!(fs::read_to_string(&out).unwrap(), "the old one");
}

/// A shell without job control has its background jobs pass Ctrl-C over (POSIX.1-2024, shell command language, 2.12).
#[test]
fn what_is_to_be_ignored_is_ignored() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new("sh")
        .args(["-c", "trap '' INT; exec \"$0\" report - -o \"$1\""])
        .args([program(), folder.path().join("report.txt")])
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // More than a pipe holds: when all of it is gone, the program runs.
    let input = fed(&mut child, "true-and-magnetic.log", 1);
    send(&child, INT);
    drop(input);
    let status = ended(&mut child);
    assert_eq!((status.code(), said(&mut child).as_str()), (Some(0), ""));
    holds_only(folder.path(), &["report.txt"]);
}

#[test]
fn the_second_one_ends_what_is_stuck() {
    let folder = tempfile::tempdir().unwrap();
    // Standard error is a full pipe that nobody reads: the words cannot be said.
    let (reader, writer) = std::io::pipe().unwrap();
    let full = Arc::new(AtomicUsize::new(0));
    let (count, mut filling) = (Arc::clone(&full), writer.try_clone().unwrap());
    let filler = std::thread::spawn(move || {
        while filling.write(b".").is_ok() {
            count.fetch_add(1, Ordering::Relaxed);
        }
    });
    let (mut child, input) = copying(folder.path(), Stdio::from(writer));
    let is_full = {
        let mut before = usize::MAX;
        move || {
            let now = full.load(Ordering::Relaxed);
            std::thread::sleep(Duration::from_millis(50));
            std::mem::replace(&mut before, now) == now
        }
    };
    until("the pipe is full", is_full);
    send(&child, INT);
    until("the files are gone", || names(folder.path()).is_empty());
    std::thread::sleep(Duration::from_millis(50));
    assert!(child.try_wait().unwrap().is_none(), "the words are waiting");
    send(&child, INT);
    assert_eq!(ended(&mut child).signal(), Some(INT));
    holds_only(folder.path(), &[]);
    drop((reader, input));
    filler.join().unwrap();
}

/// The commands that write files, each given a folder to write to: what is there is whole or not there at all, whenever the
/// interrupt comes.
#[test]
fn whenever_it_comes_what_is_left_is_whole() {
    let (network, line) = (&*capture("flapping-display.pcap.gz"), &*capture("too-short.log"));
    let commands: [&[&str]; 6] = [
        &["report", network, "--format", "html", "-o", "DIR/report.html"],
        &["report", "--each", line, line, "-o", "DIR/lines.txt"],
        &["report", line, "--tables", "DIR"],
        &["scrub", line, "-o", "DIR/copy.log", "--key", "DIR/boat.key"],
        &["learn", network, "-o", "DIR/boat.toml"],
        &["demo", "DIR"],
    ];
    let rounds = std::env::var("LEADSMAN_VARIANTS").map_or(ROUNDS, |text| text.parse().unwrap());
    let mut interrupted = 0;
    for args in commands {
        let run = |folder: &Path| {
            let dir = folder.display().to_string();
            let args = args.iter().map(|arg| arg.replace("DIR", &dir));
            listening(program())
                .args(args)
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .unwrap()
        };
        let whole = tempfile::tempdir().unwrap();
        let begun = Instant::now();
        assert!(ended(&mut run(whole.path())).success(), "{args:?}");
        let lasts = begun.elapsed();
        let all = files(whole.path());
        assert!(!all.is_empty());
        for n in 0..rounds {
            let folder = tempfile::tempdir().unwrap();
            let mut child = run(folder.path());
            // The last ones come when it has ended, and in between when it writes.
            std::thread::sleep(lasts * n / (rounds - 2));
            send(&child, INT);
            let status = ended(&mut child);
            interrupted += u32::from(status.signal() == Some(INT));
            assert!(status.success() || status.signal() == Some(INT), "{status:?}");
            let left = files(folder.path());
            assert!(
                left.is_empty() || left == all,
                "{args:?} interrupted after {n}/{rounds} of {lasts:?}: {left:?}"
            );
        }
    }
    assert!(interrupted > rounds, "only {interrupted} were interrupted");
}
