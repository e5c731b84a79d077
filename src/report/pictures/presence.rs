//! When every device was heard: a row a device, with dropouts, restarts and flaps marked.

use super::Picture;
use super::frame::{self, Frame, LEFT, RIGHT, ROW};
use super::svg::{self, Anchor, Canvas, FAULT, INK, LINE, MUTED, n};
use crate::report::model::Report;
use crate::report::plots::Presence;
use crate::time::Span;

const ID: &str = "presence";
const TITLE: &str = "When each device was heard";

/// Most rows: what fits a phone's screen with its names.
const MAX_ROWS: usize = 20;

/// Height of a row: the name above its bar.
const DEVICE_ROW: f64 = 52.0;

/// Height of a bar.
const BAR: f64 = 14.0;

/// A silence shows from this share of the recording on, and from this many seconds.
const SHOWS: (f64, f64) = (0.01, 5.0);

/// What a finding's stretches are marked with.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Mark {
    Dropout,
    Restart,
    Flap,
}

/// Kinds of findings that say when a device was gone.
const MARKS: [(&str, Mark, &str); 4] = [
    ("device-dropout", Mark::Dropout, "box: dropout"),
    ("wire-outage", Mark::Dropout, "box: dropout"),
    ("device-restart", Mark::Restart, "triangle: restart"),
    ("link-flap", Mark::Flap, "diamond: link flap"),
];

pub(super) fn draw(report: &Report) -> Option<Picture> {
    let range = report.plots.range.filter(|r| r.seconds() >= 1.0)?;
    let told: Vec<usize> = report
        .findings
        .iter()
        .enumerate()
        .filter_map(|(at, f)| MARKS.iter().any(|(kind, ..)| *kind == f.kind).then_some(at))
        .collect();
    let is_told = |device: &str| {
        told.iter().any(|at| report.findings.get(*at).is_some_and(|f| f.devices.iter().any(|d| d == device)))
    };
    let mut rows: Vec<&Presence> = report.plots.presence.iter().collect();
    if rows.is_empty() {
        return None;
    }
    // Those with findings first; of the others those that sent most. What is drawn keeps the report's order.
    let frames = |id: &str| report.devices.iter().find(|d| d.id == id).map_or(0, |d| d.frames);
    rows.sort_by_cached_key(|p| (!is_told(&p.device), std::cmp::Reverse(frames(&p.device))));
    let left_out = rows.len().saturating_sub(MAX_ROWS);
    rows.truncate(MAX_ROWS);

    let mut frame = Frame::new(&[], (0.0, range.seconds()), (0.0, 1.0));
    frame.canvas = Canvas::new();
    let mut words: Vec<&str> = Vec::new();
    for (_, _, word) in MARKS.iter().filter(|(kind, ..)| told.iter().any(|at| kind_of(report, *at) == *kind))
    {
        if !words.contains(word) {
            words.push(word);
        }
    }
    let mut y = 0.0;
    if !words.is_empty() {
        frame.canvas.text((4.0, svg::TEXT), Anchor::Start, FAULT, &words.join(", "));
        y += ROW + 6.0;
    }
    frame.top = y;
    for row in &rows {
        device(&mut frame, report, row, range, y, &told);
        y += DEVICE_ROW;
    }
    frame.bottom = y + 4.0;
    frame.time_axis(range);
    let mut height = frame.height();
    if left_out > 0 {
        let text = format!("{left_out} devices that sent less are left out");
        frame.canvas.text((4.0, height), Anchor::Start, MUTED, &text);
        height += 12.0;
    }
    let about = about(report, rows.len(), left_out, &told);
    let svg = frame.canvas.finish(ID, height, TITLE, &about);
    Some(Picture { id: ID.to_owned(), title: TITLE.to_owned(), about, findings: told, svg })
}

fn kind_of(report: &Report, at: usize) -> &'static str {
    report.findings.get(at).map_or("", |f| f.kind)
}

fn device(frame: &mut Frame, report: &Report, row: &Presence, range: Span, y: f64, told: &[usize]) {
    let at = |time: crate::time::Time| frame.x.at(time.since(range.from).clamp(0.0, range.seconds()));
    let name = svg::shortened(&frame::device_name(report, &row.device), RIGHT - 4.0);
    let (top, middle) = (y + 31.0, y + 31.0 + BAR / 2.0);
    frame.canvas.text((4.0, y + 21.0), Anchor::Start, INK, &name);
    frame.canvas.line((LEFT, middle), (RIGHT, middle), LINE, 1.0);
    // The bar from one silence to the next.
    let shows = (SHOWS.0 * range.seconds()).max(SHOWS.1);
    let mut bar = String::new();
    let mut from = row.heard.from;
    let mut piece = |from: f64, to: f64| {
        let width = (to - from).max(1.0);
        bar.push_str(&format!("M{} {}h{}v{}h{}z", n(from), n(top), n(width), n(BAR), n(-width)));
    };
    let mut pieces: Vec<(f64, f64)> = Vec::new();
    for silence in row.silences.iter().filter(|s| s.seconds() >= shows) {
        pieces.push((at(from), at(silence.from)));
        from = silence.to;
    }
    pieces.push((at(from), at(row.heard.to)));
    for (from, to) in pieces {
        piece(from, to);
    }
    frame.canvas.area(&bar, svg::ACCENT, 0.75);
    for (spans, mark) in told.iter().filter_map(|at| {
        let finding = report.findings.get(*at)?;
        let mark = MARKS.iter().find(|(kind, ..)| *kind == finding.kind).map(|(_, mark, _)| *mark)?;
        finding.devices.contains(&row.device).then_some((frame::drawn(report, *at), mark))
    }) {
        for (from, to) in frame::columns(&frame.x, range, spans) {
            let centre = (from + to) / 2.0;
            let path = match mark {
                Mark::Dropout => {
                    let (w, h) = (to - from, BAR + 4.0);
                    format!("M{} {}h{}v{}h{}z", n(from), n(top - 2.0), n(w), n(h), n(-w))
                }
                Mark::Restart => format!("M{} {}l8 18h-16z", n(to), n(top - 2.0)),
                Mark::Flap => format!("M{} {}l8 9l-8 9l-8 -9z", n(centre), n(top - 2.0)),
            };
            if mark == Mark::Dropout {
                frame.canvas.area(&path, FAULT, 0.2);
                frame.canvas.path(&path, FAULT, 2.0, "");
            } else {
                frame.canvas.area(&path, FAULT, 1.0);
            }
        }
    }
}

fn about(report: &Report, rows: usize, left_out: usize, told: &[usize]) -> String {
    let mut about = format!("{rows} devices; a bar where a device was heard, a thin line where it was not.");
    if left_out > 0 {
        about.push_str(&format!(" {left_out} more, which sent less, are left out."));
    }
    for at in told.iter().take(6) {
        if let Some(finding) = report.findings.get(*at) {
            about.push_str(&format!(" {}.", finding.summary.trim_end_matches('.')));
        }
    }
    about
}
