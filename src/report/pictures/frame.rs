//! The frame of a picture: legend, axes, ticks and the place of the plot between them.

use super::scale::{self, Scale};
use super::svg::{self, Anchor, Canvas, FAULT, INK, LINE, MUTED, TEXT, WIDTH};
use crate::report::model::Report;
use crate::time::{Span, Time};

/// Left edge of the plot: room for the labels of the value axis.
pub(super) const LEFT: f64 = 82.0;

/// Right edge of the plot.
pub(super) const RIGHT: f64 = WIDTH - 26.0;

/// Height of a row of text.
pub(super) const ROW: f64 = 30.0;

/// Height of a plot between its axes.
pub(super) const PLOT: f64 = 210.0;

/// How far above the plot the value axis's name stands: clear of the highest tick's label.
pub(super) const NAME: f64 = 20.0;

/// Ticks of a value axis.
pub(super) const TICKS: usize = 5;

/// Most stretches that are shaded.
const MAX_SHADED: usize = 64;

/// A picture with its scales.
pub(super) struct Frame {
    pub(super) canvas: Canvas,
    pub(super) x: Scale,
    pub(super) y: Scale,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

impl Frame {
    /// A frame with a legend of these rows (text, whether it has a line of its own) and two scales.
    pub(super) fn new(legend: &[String], x: (f64, f64), y: (f64, f64)) -> Self {
        let mut canvas = Canvas::new();
        for (series, text) in legend.iter().enumerate() {
            let row = series as f64 * ROW;
            let (colour, dashes) = svg::style(series);
            canvas.path(&format!("M4 {}h46", svg::n(row + 15.0)), colour, 4.0, dashes);
            let text = svg::shortened(text, WIDTH - 62.0);
            canvas.text((58.0, row + TEXT), Anchor::Start, INK, &text);
        }
        // One row for the name of the value axis.
        let top = (legend.len() + 1) as f64 * ROW + 12.0;
        let bottom = top + PLOT;
        Self { canvas, x: Scale::new(x, (LEFT, RIGHT)), y: Scale::new(y, (bottom, top)), top, bottom }
    }

    /// The height of the whole picture.
    pub(super) fn height(&self) -> f64 {
        self.bottom + 2.0 * ROW + 6.0
    }

    /// Ticks and labels of the value axis, and its name above it.
    pub(super) fn value_axis(&mut self, name: &str, ticks: impl IntoIterator<Item = (f64, String)>) {
        self.canvas.text((4.0, self.top - NAME), Anchor::Start, MUTED, name);
        for (value, label) in ticks {
            let y = self.y.at(value);
            if y >= self.top - 1.0 && y <= self.bottom + 1.0 {
                self.canvas.path(
                    &format!("M{} {}H{}", svg::n(LEFT), svg::n(y), svg::n(RIGHT)),
                    LINE,
                    0.6,
                    "",
                );
                self.canvas.text((LEFT - 8.0, y + 8.0), Anchor::End, MUTED, &label);
            }
        }
    }

    /// Ticks and labels below, and the axis's name under them.
    pub(super) fn bottom_axis(&mut self, name: &str, ticks: impl IntoIterator<Item = (f64, String)>) {
        self.canvas.line((LEFT, self.bottom), (RIGHT, self.bottom), LINE, 1.5);
        for (value, label) in ticks {
            let x = self.x.at(value);
            if !(LEFT - 1.0..=RIGHT + 1.0).contains(&x) {
                continue;
            }
            self.canvas.line((x, self.bottom), (x, self.bottom + 6.0), LINE, 1.5);
            // A label at an edge stays within the picture.
            let half = label.chars().count() as f64 * svg::CHARACTER / 2.0;
            let x = x.clamp(half, WIDTH - half);
            self.canvas.text((x, self.bottom + 27.0), Anchor::Middle, MUTED, &label);
        }
        let middle = (LEFT + RIGHT) / 2.0;
        self.canvas.text((middle, self.bottom + 27.0 + ROW), Anchor::Middle, MUTED, name);
    }

    /// A time axis; the scale's values are seconds since the span's begin.
    pub(super) fn time_axis(&mut self, span: Span) {
        let most = if span.seconds() < 300.0 { 4 } else { 6 };
        let ticks =
            scale::clock_ticks(span, most).into_iter().map(|(time, text)| (time.since(span.from), text));
        self.bottom_axis(&scale::days(span), ticks.collect::<Vec<_>>());
    }

    /// Shades stretches of time, each with a bar on top that shows in print too.
    pub(super) fn shade(&mut self, range: Span, spans: &[Span]) {
        for (from, to) in columns(&self.x, range, spans) {
            self.canvas.rect((from, self.top), (to - from, self.bottom - self.top), FAULT, 0.13);
            self.canvas.rect((from, self.top - 5.0), (to - from, 5.0), FAULT, 1.0);
        }
    }
}

/// Stretches of time as columns at least three wide, those that touch made one.
pub(super) fn columns(x: &Scale, range: Span, spans: &[Span]) -> Vec<(f64, f64)> {
    let at = |time: Time| x.at(time.since(range.from).clamp(0.0, range.seconds()));
    let mut spans: Vec<Span> = spans.iter().copied().filter(|s| s.touches(range, 0.0)).collect();
    spans.sort_unstable();
    let mut columns: Vec<(f64, f64)> = Vec::new();
    for span in spans {
        let (from, to) = (at(span.from), at(span.to));
        let (from, to) = if to - from < 3.0 { (from - 1.5, from + 1.5) } else { (from, to) };
        if let Some(last) = columns.last_mut()
            && from <= last.1 + 1.0
        {
            last.1 = last.1.max(to);
        } else if columns.len() < MAX_SHADED {
            columns.push((from, to));
        }
    }
    columns
}

/// A device's name, or the id when nothing is known of it.
pub(super) fn device_name(report: &Report, id: &str) -> String {
    let label = report.devices.iter().find(|d| d.id == id).map_or(id, |d| d.label.trim());
    if label.is_empty() { id.to_owned() } else { label.to_owned() }
}

/// Indices of the findings of these kinds that are about one of these devices (all findings without devices too).
pub(super) fn findings_of(report: &Report, kinds: &[&str], devices: &[&str]) -> Vec<usize> {
    let about = |of: &[String]| of.is_empty() || of.iter().any(|d| devices.contains(&d.as_str()));
    let rows = report.findings.iter().enumerate();
    rows.filter(|(_, f)| kinds.contains(&f.kind) && about(&f.devices)).map(|(at, _)| at).collect()
}

/// The stretches of these findings, but for those that fill the recording: nothing stands out of them.
pub(super) fn spans_of(report: &Report, findings: &[usize], range: Span) -> Vec<Span> {
    let spans = findings.iter().flat_map(|at| drawn(report, *at));
    spans.copied().filter(|s| s.seconds() < 0.9 * range.seconds()).collect()
}

/// The stretches of a finding, on the time that pictures are drawn on.
pub(super) fn drawn(report: &Report, finding: usize) -> &[Span] {
    let stamps = || report.findings.get(finding).map(|f| f.spans.as_slice());
    report.plots.spans.get(finding).map(Vec::as_slice).or_else(stamps).unwrap_or_default()
}
