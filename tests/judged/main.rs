//! Boats made in memory, each for a judgement that is easily got wrong. What each shows is said beside it; the truth is
//! what was put in.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a test fails by panicking, on numbers of its own"
)]

mod after_gaps;
mod answers;
mod asking;
mod away;
mod boat_clock;
mod claims;
mod compared;
mod depths;
mod distrust;
mod engines;
mod feeds;
mod headings;
mod hosts;
mod joined;
mod lines;
mod links;
mod lone;
mod look;
mod loops;
mod lossy;
#[path = "../hostile/make.rs"]
#[allow(dead_code, reason = "shared with another set of tests")]
mod make;
mod mixed;
mod positions;
mod recorders;
mod restarts;
mod rhythm;
mod set_back;
mod shared_address;
mod silences;
mod streams;
mod talkers;
mod turns;
mod wires;

use leadsman::report::model::Report;
use leadsman::survey::{self, Options};

use look::{alarms, number, text};

/// The report of recordings of these bytes, each a recorder's.
fn judge(recordings: &[Vec<u8>]) -> Report {
    judge_with(recordings, &Options::default())
}

/// The same, with the answer to a complaint.
fn ask(recordings: &[Vec<u8>], complaint: &str) -> Report {
    let asked = leadsman::complaints::NAMES.into_iter().find(|name| *name == complaint);
    judge_with(recordings, &Options { complaint: asked, ..Options::default() })
}

fn judge_with(recordings: &[Vec<u8>], options: &Options) -> Report {
    let dir = tempfile::tempdir().unwrap();
    let paths: Vec<String> = recordings
        .iter()
        .enumerate()
        .map(|(n, bytes)| {
            let path = dir.path().join(format!("recording-{n}"));
            std::fs::write(&path, bytes).unwrap();
            path.to_str().unwrap().to_owned()
        })
        .collect();
    survey::report(&paths, options, &mut |_| {}).unwrap()
}

/// A CAN text log of frames, each with its second, identifier and data in hex; in any order.
fn can_log(mut frames: Vec<(f64, u32, String)>) -> Vec<u8> {
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let line = |(at, id, data): &(f64, u32, String)| {
        let us = make::START_US + (at * 1e6).round() as u64;
        format!("({}.{:06}) can0 {id:08X}#{data}\n", us / 1_000_000, us % 1_000_000)
    };
    frames.iter().map(line).collect::<String>().into_bytes()
}
