//! How regularly a message comes: intervals on a logarithmic axis, the nominal one marked.

use super::Picture;
use super::frame::{self, Frame, RIGHT};
use super::svg::{ACCENT, Anchor, CHARACTER, INK, n};
use crate::report::model::Report;
use crate::report::plots::IntervalPlot;

/// Findings about the rhythm of a message.
const KINDS: [&str; 4] = ["slow-message", "irregular-message", "message-dropout", "device-dropout"];

/// One picture a message.
pub(super) fn draw(report: &Report) -> Vec<Picture> {
    report.plots.intervals.iter().enumerate().filter_map(|(at, plot)| one(report, at + 1, plot)).collect()
}

fn one(report: &Report, number: usize, plot: &IntervalPlot) -> Option<Picture> {
    let id = format!("intervals-{number}");
    let (first, last) = (plot.bins.first()?, plot.bins.last()?);
    let most = plot.bins.iter().map(|b| b.count).max().unwrap_or(1) as f64;
    let nominal = plot.nominal_s.filter(|s| *s > 0.0);
    let low = first.from_s.min(nominal.unwrap_or(f64::INFINITY));
    let high = last.to_s.max(nominal.unwrap_or(0.0));
    // Whole factors of ten, so that pictures of one message compare.
    let (low, high) = (low.log10().floor(), high.log10().ceil());
    let who = frame::device_name(report, &plot.device);
    let title = format!("Intervals of {} from {who}", plot.message);
    let tall = most.log10().ceil().max(1.0);
    // Half a message below one: a single long pause shows.
    let mut frame = Frame::new(&[], (low, high), (0.5f64.log10(), tall));
    let decades = |from: f64, to: f64| (0..=(to - from) as i32).map(move |i| from + f64::from(i));
    frame.value_axis("messages", decades(0.0, tall).map(|power| (power, count_label(power))));
    frame.bottom_axis("interval", decades(low, high).map(|power| (power, seconds(10f64.powf(power)))));
    for bin in &plot.bins {
        let (from, to) = (frame.x.at(bin.from_s.log10()), frame.x.at(bin.to_s.log10()));
        let top = frame.y.at((bin.count as f64).log10());
        frame.canvas.rect((from + 0.5, top), (to - from - 1.0, frame.bottom - top), ACCENT, 0.8);
    }
    if let Some(nominal) = nominal {
        let x = frame.x.at(nominal.log10());
        let path = format!("M{} {}V{}", n(x), n(frame.top - 8.0), n(frame.bottom));
        frame.canvas.path(&path, INK, 2.0, "6 4");
        let text = format!("nominal {}", seconds(nominal));
        // Beside the axis's name, where no bar can hide it.
        let half = text.len() as f64 * CHARACTER / 2.0;
        let x = x.clamp(130.0 + half, RIGHT - half);
        frame.canvas.text((x, frame.top - frame::NAME), Anchor::Middle, INK, &text);
    }
    let longest = plot.bins.last().map_or(0.0, |b| b.to_s);
    let count: u64 = plot.bins.iter().fold(0, |sum, b| sum.saturating_add(b.count));
    let about = format!(
        "{count} intervals between {} and {}{}.",
        seconds(first.from_s),
        seconds(longest),
        nominal.map_or_else(String::new, |s| format!("; nominal is {}", seconds(s)))
    );
    let findings = report
        .findings
        .iter()
        .enumerate()
        .filter(|(_, f)| {
            KINDS.contains(&f.kind) && f.devices.contains(&plot.device) && f.messages.contains(&plot.message)
        })
        .map(|(at, _)| at)
        .collect();
    let height = frame.height();
    let svg = frame.canvas.finish(&id, height, &title, &about);
    Some(Picture { id, title, about, findings, svg })
}

fn count_label(power: f64) -> String {
    match power as i32 {
        0..=4 => format!("{:.0}", 10f64.powf(power)),
        5 => String::from("100k"),
        p => format!("1e{p}"),
    }
}

/// Seconds with two figures.
fn seconds(s: f64) -> String {
    let (value, unit) = if s < 0.9995 { (s * 1e3, "ms") } else { (s, "s") };
    let decimals = if value >= 9.95 || (value - value.round()).abs() < 0.005 { 0 } else { 1 };
    format!("{value:.decimals$} {unit}")
}
