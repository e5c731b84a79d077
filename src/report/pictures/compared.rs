//! Two sources compared: headings over the heading, positions seen from each other, depth over speed.

use super::Picture;
use super::frame::{self, Frame, LEFT, PLOT, RIGHT, TICKS};
use super::scale::{self, Scale};
use super::svg::{self, ACCENT, FAULT, INK, LINE, n};
use crate::report::model::{FindingRow, Number, Report};
use crate::report::plots::{BySpeed, Scatter};

fn real(finding: &FindingRow, key: &str) -> Option<f64> {
    match finding.numbers.get(key) {
        Some(Number::Real(value)) if value.is_finite() => Some(*value),
        _ => None,
    }
}

/// Most deviation curves: a boat has no more compasses.
const MAX_DEVIATIONS: usize = 4;

/// The share of points left out at each end of an axis when a few wild ones would press the rest together.
const WILD: f64 = 0.005;

/// The range that nearly all values lie in.
fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let mut values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    values.sort_unstable_by(f64::total_cmp);
    let cut = (values.len() as f64 * WILD) as usize;
    let last = values.len().saturating_sub(1).saturating_sub(cut);
    let (low, high) = (values.get(cut).copied(), values.get(last).copied());
    (low.unwrap_or(0.0), high.unwrap_or(1.0))
}

/// Small crosses, one path for all.
fn crosses(frame: &Frame, points: &[(f64, f64)]) -> (String, usize) {
    let mut path = String::new();
    let mut outside = 0;
    for (a, b) in points {
        let (x, y) = (frame.x.at(*a), frame.y.at(*b));
        if (LEFT..=RIGHT).contains(&x) && (frame.top..=frame.bottom).contains(&y) {
            path.push_str(&format!("M{} {}h5m-2.5 -2.5v5", n(x - 2.5), n(y)));
        } else {
            outside += 1;
        }
    }
    (path, outside)
}

fn left_over(outside: usize) -> String {
    if outside > 0 { format!(" {outside} of the points lie outside.") } else { String::new() }
}

/// The deviation curve that a finding fitted, every five degrees; nothing where it fitted none.
fn fitted(finding: &FindingRow) -> Vec<(f64, f64)> {
    let fit: Option<Vec<f64>> = ["a", "b", "c", "d", "e"].into_iter().map(|k| real(finding, k)).collect();
    let value = |k: &[f64], deg: f64| {
        let z = deg.to_radians();
        let terms = [1.0, z.sin(), z.cos(), (2.0 * z).sin(), (2.0 * z).cos()];
        k.iter().zip(terms).map(|(k, t)| k * t).sum::<f64>()
    };
    let points = fit.iter().flat_map(|k| (0..=72).map(|i| (f64::from(i * 5), value(k, f64::from(i * 5)))));
    points.collect()
}

/// A line through points.
fn curve(frame: &mut Frame, points: &[(f64, f64)]) {
    let mut line = String::new();
    for (i, (x, y)) in points.iter().enumerate() {
        let to = if i == 0 { 'M' } else { 'L' };
        line.push_str(&format!("{to}{} {}", n(frame.x.at(*x)), n(frame.y.at(*y))));
    }
    if !line.is_empty() {
        frame.canvas.path(&line, INK, 2.5, "");
    }
}

/// The difference of two headings over the heading, with the deviation curve where a finding fitted one.
pub(super) fn headings(report: &Report) -> Vec<Picture> {
    let one = |(at, scatter): (usize, &Scatter)| {
        let finding = report.findings.get(scatter.finding)?;
        let [first, second] = scatter.devices.each_ref().map(|d| frame::device_name(report, d));
        let fitted = fitted(finding);
        let (low, high) = range(scatter.points.iter().chain(&fitted).map(|p| p.1));
        // Nothing is always in view, or a steady difference could not be told from none.
        let ((low, high), ticks) = scale::nice(low.min(-1.0), high.max(1.0), TICKS);
        let mut frame = Frame::new(&[], (0.0, 360.0), (low, high));
        let step = scale::step(low, high, TICKS);
        frame.value_axis("difference, deg", ticks.into_iter().map(|v| (v, scale::label(v, step))));
        let name = svg::shortened(&format!("heading of {first}, deg"), RIGHT - LEFT);
        frame.bottom_axis(&name, (0..5).map(|i| (f64::from(i * 90), (i * 90).to_string())));
        let (path, outside) = crosses(&frame, &scatter.points);
        frame.canvas.path(&path, ACCENT, 1.2, "");
        let zero = frame.y.at(0.0);
        frame.canvas.line((LEFT, zero), (RIGHT, zero), LINE, 1.5);
        curve(&mut frame, &fitted);
        let id = format!("heading-difference-{}", at + 1);
        let title = format!("Heading of {second} minus that of {first}");
        let fit = if fitted.is_empty() { "" } else { " The line is the deviation curve fitted to them." };
        let middle = real(finding, "median_difference_deg")
            .map_or_else(String::new, |d| format!(" {d:+.1} deg in the middle."));
        let about = format!(
            "Crosses: differences at {} moments.{middle}{fit}{}",
            scatter.points.len(),
            left_over(outside)
        );
        let height = frame.height();
        let svg = frame.canvas.finish(&id, height, &title, &about);
        Some(Picture { id, title, about, findings: vec![scatter.finding], svg })
    };
    report.plots.heading_differences.iter().enumerate().filter_map(one).collect()
}

/// What to add to a heading by course over ground, over the heading: the curve that a finding fitted.
pub(super) fn deviations(report: &Report) -> Vec<Picture> {
    let one = |(at, finding): (usize, &FindingRow)| {
        let device = finding.devices.first()?;
        let points = fitted(finding);
        if points.is_empty() {
            return None;
        }
        let (low, high) = range(points.iter().map(|p| p.1));
        let ((low, high), ticks) = scale::nice(low.min(-1.0), high.max(1.0), TICKS);
        let mut frame = Frame::new(&[], (0.0, 360.0), (low, high));
        let step = scale::step(low, high, TICKS);
        frame.value_axis("to add, deg", ticks.into_iter().map(|v| (v, scale::label(v, step))));
        frame.bottom_axis("heading, deg", (0..5).map(|i| (f64::from(i * 90), (i * 90).to_string())));
        let zero = frame.y.at(0.0);
        frame.canvas.line((LEFT, zero), (RIGHT, zero), LINE, 1.5);
        curve(&mut frame, &points);
        let id = format!("deviation-{}", at + 1);
        let title = format!("Deviation of the heading of {}", frame::device_name(report, device));
        let (least, most) = points.iter().fold((f64::MAX, f64::MIN), |(l, m), p| (l.min(p.1), m.max(p.1)));
        let about = format!(
            "What to add to the heading by course over ground: {least:+.1} to {most:+.1} deg over the circle, as fitted."
        );
        let height = frame.height();
        let svg = frame.canvas.finish(&id, height, &title, &about);
        Some(Picture { id, title, about, findings: vec![at], svg })
    };
    let rows = report.findings.iter().enumerate().filter(|(_, f)| f.kind == "compass-deviation");
    rows.filter_map(one).take(MAX_DEVIATIONS).collect()
}

/// One position seen from the other, both axes to one scale.
pub(super) fn positions(report: &Report) -> Vec<Picture> {
    let one = |(at, scatter): (usize, &Scatter)| {
        let finding = report.findings.get(scatter.finding)?;
        let [first, second] = scatter.devices.each_ref().map(|d| frame::device_name(report, d));
        let (left, right) = range(scatter.points.iter().map(|p| p.0));
        let (low, high) = range(scatter.points.iter().map(|p| p.1));
        // The first one, at nothing, belongs to the picture.
        let (left, right, low, high) = (left.min(0.0), right.max(0.0), low.min(0.0), high.max(0.0));
        let height = 1.6 * PLOT;
        let metres = ((right - left) / (RIGHT - LEFT)).max((high - low) / height).max(1e-3) * 1.15;
        let ends = |low: f64, high: f64, size: f64| {
            let middle = (low + high) / 2.0;
            (middle - metres * size / 2.0, middle + metres * size / 2.0)
        };
        let (across, along) = (ends(left, right, RIGHT - LEFT), ends(low, high, height));
        let (up, side) =
            if scatter.boat_axes { ("forward, m", "to starboard, m") } else { ("north, m", "east, m") };
        let mut frame = Frame::new(&[], across, along);
        frame.bottom = frame.top + height;
        frame.y = Scale::new(along, (frame.bottom, frame.top));
        let step = scale::step(along.0, along.1, TICKS);
        let ticks = |(low, high): (f64, f64)| {
            let inside = move |v: &f64| *v >= low && *v <= high;
            let first = (low / step).floor();
            (0..60).map(move |i| (first + f64::from(i)) * step).filter(inside)
        };
        frame.value_axis(up, ticks(along).map(|v| (v, scale::label(v, step))));
        frame.bottom_axis(side, spaced(ticks(across).collect(), step));
        let (x, y) = (frame.x.at(0.0), frame.y.at(0.0));
        let (path, outside) = crosses(&frame, &scatter.points);
        frame.canvas.path(&path, ACCENT, 1.2, "");
        let (x, y) = (n(x - 9.0), n(y));
        let ring = format!("M{x} {y}a9 9 0 1 0 18 0a9 9 0 1 0 -18 0h18m-9 -9v18");
        frame.canvas.path(&ring, INK, 2.5, "");
        let id = format!("separation-{}", at + 1);
        let title = format!("Position of {second}, seen from {first}");
        let middle = real(finding, "median_separation_m")
            .map_or_else(String::new, |m| format!(" {m:.1} m apart in the middle."));
        let about = format!(
            "Ring: {first}. Crosses: {second} at {} moments.{middle}{}",
            scatter.points.len(),
            left_over(outside)
        );
        let height = frame.height();
        let svg = frame.canvas.finish(&id, height, &title, &about);
        Some(Picture { id, title, about, findings: vec![scatter.finding], svg })
    };
    report.plots.separations.iter().enumerate().filter_map(one).collect()
}

/// Ticks with labels on as many of them as have room.
fn spaced(ticks: Vec<f64>, step: f64) -> Vec<(f64, String)> {
    let every = ticks.len().div_ceil(7).max(1);
    let first = ticks.first().copied().unwrap_or(0.0);
    // Nothing is always labelled.
    let offset = (-first / step).round().rem_euclid(every as f64) as usize;
    let label =
        |(i, v): (usize, f64)| (v, if i % every == offset { scale::label(v, step) } else { String::new() });
    ticks.into_iter().enumerate().map(label).collect()
}

/// The share of messages that held a depth, by the boat's speed.
pub(super) fn depth_by_speed(report: &Report) -> Vec<Picture> {
    let told: Vec<(usize, &FindingRow)> =
        report.findings.iter().enumerate().filter(|(_, f)| f.kind == "depth-lost-at-speed").collect();
    let with_threshold = |plot: &BySpeed| {
        told.iter().find(|(_, f)| f.devices.contains(&plot.device) && f.messages.contains(&plot.message))
    };
    let plots = report.plots.depth_by_speed.iter();
    let mut pictures = Vec::new();
    for plot in plots {
        let finding = with_threshold(plot);
        let lost = plot.classes.iter().any(|(_, _, without)| *without > 0);
        // Where depth was never lost, there is nothing to see.
        if !lost || pictures.len() >= 3 {
            continue;
        }
        pictures.push(by_speed(report, pictures.len() + 1, plot, finding.copied()));
    }
    pictures
}

fn by_speed(report: &Report, number: usize, plot: &BySpeed, told: Option<(usize, &FindingRow)>) -> Picture {
    let fastest = plot.classes.last().map_or(1.0, |c| c.0 + plot.class_kn);
    let ((_, high), ticks) = scale::nice(0.0, fastest, 6);
    let mut frame = Frame::new(&[], (0.0, high), (0.0, 100.0));
    frame.value_axis(
        "messages with depth, percent",
        (0..5).map(|i| (f64::from(i * 25), (i * 25).to_string())),
    );
    let step = scale::step(0.0, fastest, 6);
    frame.bottom_axis("speed, kn", ticks.into_iter().map(|v| (v, scale::label(v, step))));
    let mut bars = String::new();
    for (from, with, without) in &plot.classes {
        let share = 100.0 * f64::from(*with) / f64::from(with.saturating_add(*without).max(1));
        let (x, to) = (frame.x.at(*from), frame.x.at(from + plot.class_kn));
        // A speed at which no message held a depth is no speed that the boat never ran: it has a foot.
        let top = frame.y.at(share).min(frame.bottom - 3.0);
        let (left, right, bottom) = (n(x + 0.5), n(to - 0.5), n(frame.bottom));
        bars.push_str(&format!("M{left} {bottom}V{}H{right}V{bottom}z", n(top)));
    }
    frame.canvas.area(&bars, ACCENT, 0.8);
    let threshold = told.and_then(|(_, f)| real(f, "threshold_kn"));
    if let Some(kn) = threshold {
        let x = frame.x.at(kn);
        let path = format!("M{} {}V{}", n(x), n(frame.top - 8.0), n(frame.bottom));
        frame.canvas.path(&path, FAULT, 2.5, "7 4");
        let text = format!("lost above {kn:.0} kn");
        frame.canvas.text((RIGHT, frame.top - frame::NAME), svg::Anchor::End, INK, &text);
    }
    let who = frame::device_name(report, &plot.device);
    let id = format!("depth-by-speed-{number}");
    let title = format!("Depth of {who} ({}) by the boat's speed", plot.message);
    let about = match threshold {
        Some(kn) => format!("The share of messages that held a depth falls above {kn:.1} kn."),
        None => String::from("The share of messages that held a depth, in classes of half a knot."),
    };
    let height = frame.height();
    let svg = frame.canvas.finish(&id, height, &title, &about);
    Picture { id, title, about, findings: told.map(|(at, _)| at).into_iter().collect(), svg }
}
