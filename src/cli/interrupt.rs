//! Ctrl-C and what else ends a run from outside: nothing half-written is left, and a word says so.

use super::beside;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use signal_hook::{flag, low_level};
use std::ffi::c_int;
use std::fs::File;
use std::io::{self, IsTerminal as _, Write as _};
use std::os::fd::AsFd as _;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::thread;

/// The signals that end a run, and what is said then.
const ENDING: [(c_int, &str); 3] =
    [(SIGINT, "interrupted"), (SIGTERM, "told to end"), (SIGHUP, "the terminal was closed")];

/// Lets the first interrupt of the process end it in order and every further one at once. The process dies of the signal
/// either way, as its default is: a shell sees 130 of Ctrl-C, and a loop around the program ends too.
///
/// Where the system refuses, interrupts do what they do by default.
pub fn end_in_order() {
    let ignored = ignored();
    let heard = ENDING.iter().map(|(signal, _)| *signal).filter(|signal| ignored >> (signal - 1) & 1 == 0);
    let heard: Vec<c_int> = heard.collect();
    let Ok(mut signals) = Signals::new(&heard) else { return };
    let waiting = thread::Builder::new().name(String::from("interrupt")).spawn(move || {
        if let Some(signal) = signals.forever().next() {
            end(signal);
        }
    });
    // From the second one on, or from the first when nobody waits for it: the cleaning may be what is stuck.
    let again = Arc::new(AtomicBool::new(waiting.is_err()));
    for signal in heard {
        // In this order: the first one finds the flag down, and raises it.
        let _ = flag::register_conditional_default(signal, Arc::clone(&again));
        let _ = flag::register(signal, Arc::clone(&again));
    }
}

fn end(signal: c_int) {
    let what = ENDING.iter().find(|(known, _)| *known == signal).map_or("interrupted", |(_, what)| what);
    beside::give_up(|any| {
        let screen = io::stderr();
        // A progress bar may stand on the line.
        let clear = if screen.is_terminal() { "\r\x1b[K" } else { "" };
        let left = if any { "; nothing half-written is left" } else { "" };
        // Past the lock of standard error: whoever holds it may be waiting for what is held here. When standard error is
        // closed, the status alone has to say it.
        let _ = screen
            .as_fd()
            .try_clone_to_owned()
            .and_then(|own| File::from(own).write_all(format!("{clear}leadsman: {what}{left}\n").as_bytes()));
        let _ = low_level::emulate_default_handler(signal);
    });
}

/// The signals that whoever started the program wants to be ignored (a shell's background jobs, `nohup`), a bit each. Linux
/// tells them; elsewhere none is known.
fn ignored() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
}
