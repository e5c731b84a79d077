//! Values over time: heading, depth, speed, voltage, load.

use super::Picture;
use super::frame::{self, Frame, TICKS};
use super::scale;
use super::svg::{self, MAX_SERIES, n};
use crate::report::model::Report;
use crate::report::plots::{Line, Point};
use crate::time::Span;

/// Width of a column in which values are drawn as one stroke.
const COLUMN: f64 = 2.0;

/// Widest of a heading's circle that is not drawn whole, degrees.
const PART_OF_CIRCLE_DEG: f64 = 330.0;

/// What is drawn over time.
pub(super) struct Trend {
    pub(super) id: &'static str,
    pub(super) title: &'static str,
    /// Name and unit of the value axis.
    pub(super) axis: &'static str,
    pub(super) unit: &'static str,
    pub(super) quantities: &'static [&'static str],
    /// Findings that the picture illustrates; their stretches are shaded.
    pub(super) kinds: &'static [&'static str],
    /// Whether the axis begins at nothing.
    pub(super) from_zero: bool,
}

/// Every trend, the one asked for most first.
pub(super) const TRENDS: [Trend; 6] = [
    Trend {
        id: "heading",
        title: "Heading over time",
        axis: "heading, deg",
        unit: "deg",
        quantities: &["heading"],
        kinds: &["heading-jump", "heading-frozen", "duplicate-heading-source"],
        from_zero: false,
    },
    Trend {
        id: "depth",
        title: "Depth over time",
        axis: "depth, m",
        unit: "m",
        quantities: &["depth"],
        kinds: &[
            "depth-not-available",
            "depth-lost-at-speed",
            "depth-second-echo",
            "depth-frozen",
            "duplicate-depth-source",
        ],
        from_zero: true,
    },
    Trend {
        id: "speed",
        title: "Speed over time",
        axis: "speed, kn",
        unit: "kn",
        quantities: &["course-and-speed-over-ground", "speed-through-water"],
        // Shaded for comparison: where depth was lost stands above.
        kinds: &["depth-lost-at-speed"],
        from_zero: true,
    },
    Trend {
        id: "voltage",
        title: "Supply voltage over time",
        axis: "voltage, V",
        unit: "V",
        quantities: &["voltage"],
        kinds: &["low-supply-voltage", "device-restart", "device-dropout"],
        from_zero: false,
    },
    Trend {
        id: "bus-load",
        title: "Load of the CAN bus over time",
        axis: "load, percent",
        unit: "percent",
        quantities: &["load"],
        kinds: &["bus-load-high"],
        from_zero: true,
    },
    Trend {
        id: "network-rate",
        title: "Data on the Ethernet over time",
        axis: "rate, kB/s",
        unit: "kB/s",
        quantities: &["rate"],
        kinds: &["link-saturated", "broadcast-storm"],
        from_zero: true,
    },
];

/// Draws one trend, when there is data for it.
pub(super) fn draw(report: &Report, trend: &Trend) -> Option<Picture> {
    let range = report.plots.range.filter(|r| r.seconds() >= 1.0)?;
    let mut lines: Vec<&Line> =
        report.plots.lines.iter().filter(|l| trend.quantities.contains(&l.quantity)).collect();
    if trend.id == "speed" {
        one_for_each_device(&mut lines);
    }
    let devices: Vec<&str> = lines.iter().map(|l| l.subject.as_str()).collect();
    let mut findings = frame::findings_of(report, trend.kinds, &devices);
    if trend.id == "voltage" {
        // Whoever went dark, the supply is what they share.
        findings.extend(report.findings.iter().enumerate().filter_map(|(at, f)| {
            (f.kind.starts_with("device-re") || f.kind == "device-dropout").then_some(at)
        }));
        findings.sort_unstable();
        findings.dedup();
    }
    let left_out = lines.len().saturating_sub(MAX_SERIES);
    lines.truncate(MAX_SERIES);
    let (low, high) = limits(&lines)?;
    let circle = (trend.id == "heading").then(|| part_of_circle(&lines));
    let ((low, high), ticks) = match circle {
        Some((from, to)) => scale::nice(from, to, TICKS),
        None if trend.from_zero => scale::nice(low.min(0.0), high.max(1.0), TICKS),
        None => {
            let (low, high) = widened(low, high);
            scale::nice(low, high, TICKS)
        }
    };
    let (low, high, ticks) = match circle {
        // A whole circle has its quarters.
        Some((from, to)) if to - from >= 360.0 => {
            (from, to, (-4..9).map(|i| f64::from(i) * 90.0).collect::<Vec<_>>())
        }
        _ => (low, high, ticks),
    };
    let legend: Vec<String> = lines.iter().map(|l| name(report, l)).collect();
    let mut frame = Frame::new(&legend, (0.0, range.seconds()), (low, high));
    let spans = frame::spans_of(report, &findings, range);
    frame.shade(range, &spans);
    let step = scale::step(low, high, TICKS);
    let written = |v: f64| match circle {
        // The upper end of a whole circle is its end, not its begin.
        Some((from, to)) if to - from >= 360.0 => scale::label(v, step),
        Some(_) => scale::label(v.rem_euclid(360.0), step),
        None => scale::label(v, step),
    };
    frame.value_axis(trend.axis, ticks.into_iter().map(|v| (v, written(v))));
    frame.time_axis(range);
    for (series, line) in lines.iter().enumerate() {
        let path = path(&frame, line, range, circle.map(|_| low));
        let (colour, dashes) = svg::style(series);
        frame.canvas.path(&path, colour, 2.2, dashes);
    }
    let about = about(report, trend, &lines, left_out, spans.len());
    // The picture stands beside findings about what it shows; voltage also beside the silences it may explain.
    if trend.id == "speed" {
        findings.clear();
    }
    let height = frame.height();
    let svg = frame.canvas.finish(trend.id, height, trend.title, &about);
    Some(Picture { id: trend.id.to_owned(), title: trend.title.to_owned(), about, findings, svg })
}

/// Speed comes by course messages of both norths and by several sentences: the fullest is enough.
fn one_for_each_device(lines: &mut Vec<&Line>) {
    let mut kept: Vec<&Line> = Vec::new();
    for line in lines.iter() {
        match kept.iter_mut().find(|k| k.subject == line.subject && k.quantity == line.quantity) {
            Some(other) if other.points.len() < line.points.len() => *other = line,
            Some(_) => {}
            None => kept.push(line),
        }
    }
    *lines = kept;
}

fn name(report: &Report, line: &Line) -> String {
    let subject = match report.wires.iter().find(|w| w.id == line.subject) {
        Some(wire) => wire.label.clone().unwrap_or_else(|| format!("wire {}", wire.id)),
        None => frame::device_name(report, &line.subject),
    };
    let what = match (line.quantity, line.reference) {
        ("course-and-speed-over-ground", _) => "over ground",
        ("speed-through-water", _) => "through water",
        (_, Some("below-transducer")) => "below transducer",
        (_, Some("below-surface")) => "below surface",
        (_, Some("below-keel")) => "below keel",
        (_, Some(reference)) => reference,
        _ => "",
    };
    let which = line.instance.map_or_else(String::new, |i| format!(" no. {i}"));
    let tail = match (what, line.message.as_str()) {
        ("", "") => String::new(),
        ("", message) => format!(" ({message})"),
        (what, message) => format!(" ({what}, {message})"),
    };
    // What tells two lines of one device apart stays whole.
    let room = 48_usize.saturating_sub(tail.chars().count() + which.chars().count()).max(8);
    format!("{}{which}{tail}", svg::shortened(&subject, room as f64 * svg::CHARACTER))
}

/// The smallest and the largest value of all lines.
fn limits(lines: &[&Line]) -> Option<(f64, f64)> {
    let values = lines.iter().flat_map(|l| l.points.iter()).filter_map(|p| p.values);
    values.map(|(low, _, high)| (low, high)).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
}

/// The range made wide enough that the steps of a converter do not look like unrest, volts.
fn widened(low: f64, high: f64) -> (f64, f64) {
    const LEAST_V: f64 = 2.0;
    let lack = (LEAST_V - (high - low)).max(0.0) / 2.0;
    (low - lack, high + lack)
}

/// The part of the circle that the headings keep to, from a cut that lies where there are none; degrees.
fn part_of_circle(lines: &[&Line]) -> (f64, f64) {
    let mut taken = [false; 36];
    for (low, _, high) in lines.iter().flat_map(|l| l.points.iter()).filter_map(|p| p.values) {
        let first = (low / 10.0).floor();
        for i in 0..((high / 10.0).floor() - first).clamp(0.0, 35.0) as usize + 1 {
            if let Some(slot) = taken.get_mut((first + i as f64).rem_euclid(36.0) as usize) {
                *slot = true;
            }
        }
    }
    // The longest run of free sectors, round the circle.
    let free = |from: usize| (0..36).take_while(|i| taken.get((from + i) % 36) == Some(&false)).count();
    let Some((at, longest)) = (0..36).map(|from| (from, free(from))).max_by_key(|(from, n)| (*n, 36 - from))
    else {
        return (0.0, 360.0);
    };
    let width = (36 - longest) as f64 * 10.0;
    if width > PART_OF_CIRCLE_DEG || longest >= 36 {
        return (0.0, 360.0);
    }
    let from = ((at + longest) as f64 * 10.0).rem_euclid(360.0);
    let from = if from + width > 360.0 { from - 360.0 } else { from };
    (from, from + width)
}

/// The line's path: in each column a stroke from the smallest to the largest value, broken at pauses, at messages without
/// value and, on a circle that begins at `cut`, where it goes round.
fn path(frame: &Frame, line: &Line, range: Span, cut: Option<f64>) -> String {
    let mut path = String::new();
    let mut last: Option<(Point, i64)> = None;
    let mut column: Option<(f64, f64, f64, f64)> = None;
    let mut pen_down = false;
    let mut put = |column: &mut Option<(f64, f64, f64, f64)>, pen_down: &mut bool| {
        let Some((x, low, mean, high)) = column.take() else { return };
        let (x, low, mean, high) = (n(x), n(frame.y.at(low)), n(frame.y.at(mean)), n(frame.y.at(high)));
        if low == high {
            // A point by itself is a short stroke, or it would not show.
            path.push_str(&if *pen_down { format!("L{x} {mean}") } else { format!("M{x} {mean}h3") });
        } else {
            let to = if *pen_down { 'L' } else { 'M' };
            path.push_str(&format!("{to}{x} {mean}V{high}V{low}V{mean}"));
        }
        *pen_down = true;
    };
    for point in &line.points {
        let Some((low, mean, high)) = point.values else {
            put(&mut column, &mut pen_down);
            (last, pen_down) = (None, false);
            continue;
        };
        // All on the turn of the circle that the mean lies on; what reaches beyond is cut at the edge.
        let turn = cut.map_or(0, |cut| ((mean - cut) / 360.0).floor() as i64);
        let joined = last.is_some_and(|(before, turn_before)| {
            turn == turn_before && point.from.since(before.to) <= line.join_s
        });
        let back = turn as f64 * 360.0;
        let edge = |v: f64| match cut {
            Some(cut) => (v - back).clamp(cut, cut + 360.0),
            None => v,
        };
        let (low, mean, high) = (edge(low), edge(mean), edge(high));
        let middle = (point.from.since(range.from) + point.to.since(range.from)) / 2.0;
        let x = (frame.x.at(middle) / COLUMN).floor() * COLUMN;
        match &mut column {
            Some((at, l, m, h)) if joined && *at == x => {
                (*l, *m, *h) = (l.min(low), mean, h.max(high));
            }
            _ => {
                put(&mut column, &mut pen_down);
                pen_down &= joined;
                column = Some((x, low, mean, high));
            }
        }
        last = Some((*point, turn));
    }
    put(&mut column, &mut pen_down);
    path
}

fn about(report: &Report, trend: &Trend, lines: &[&Line], left_out: usize, shaded: usize) -> String {
    let mut about = String::new();
    for line in lines {
        let Some((low, high)) = limits(&[line]) else { continue };
        let who = name(report, line);
        let what = if trend.id == "heading" {
            if high - low >= 360.0 {
                format!("{who}: all round. ")
            } else {
                let (low, high) = (low.rem_euclid(360.0), high.rem_euclid(360.0));
                format!("{who}: from {low:.0} to {high:.0} {}. ", trend.unit)
            }
        } else {
            format!("{who}: {low:.1} to {high:.1} {}. ", trend.unit)
        };
        about.push_str(&what);
    }
    if left_out > 0 {
        about.push_str(&format!("{left_out} more are not drawn. "));
    }
    if shaded > 0 {
        about.push_str("Shaded: when findings say that something was wrong. ");
    }
    about.truncate(about.trim_end().len());
    about
}
