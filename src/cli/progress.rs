//! A bar on standard error while a long recording is read.

use crate::survey::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, IsTerminal};
use std::time::{Duration, Instant};

/// Runs shorter than this show no bar.
const PATIENCE: Duration = Duration::from_secs(2);

/// Steps of the bar.
const STEPS: u64 = 1000;

/// A bar that appears when the run takes long, and only on a terminal; gone when dropped.
pub(super) struct Bar {
    begun: Instant,
    wanted: bool,
    bar: Option<ProgressBar>,
}

impl Bar {
    /// A bar that waits.
    pub(super) fn new() -> Self {
        Self { begun: Instant::now(), wanted: io::stderr().is_terminal(), bar: None }
    }

    /// Shows how far the run has come.
    pub(super) fn show(&mut self, progress: Progress) {
        if !self.wanted || (self.bar.is_none() && self.begun.elapsed() < PATIENCE) {
            return;
        }
        let bar = self.bar.get_or_insert_with(|| begin(progress.share.is_some(), self.begun.elapsed()));
        if let Some(share) = progress.share {
            bar.set_position((share.clamp(0.0, 1.0) * STEPS as f64) as u64);
        }
        bar.set_message(format!("{} frames", crate::report::figures::count(progress.frames)));
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn begin(sized: bool, elapsed: Duration) -> ProgressBar {
    let (steps, template) = if sized {
        (Some(STEPS), "reading {bar:30} {percent:>3} %  {msg}  {elapsed}")
    } else {
        (None, "reading {spinner}  {msg}  {elapsed}")
    };
    // A template that the library does not take leaves its own look.
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::with_draw_target(steps, ProgressDrawTarget::stderr()).with_style(style).with_elapsed(elapsed)
}
