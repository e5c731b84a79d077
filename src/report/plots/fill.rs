//! The plots out of the books: numbers for names, nothing judged.

use super::{BySpeed, IntervalPlot, Line, Plots, Point, Presence, compare};
use crate::books::Books;
use crate::books::series::{SPEED_CLASS_KN, Source};
use crate::books::timing::{Message, Stream};
use crate::books::traces::{Bucket, Trace};
use crate::books::wires::Wire;
use crate::findings::Finding;
use crate::recording::WireKind;
use crate::report::assemble::{CAN_BITS_S, device_id, nominal, wire_id};
use crate::report::model::Bin;
use crate::time::Span;

/// Most messages whose intervals are drawn.
const MAX_INTERVALS: usize = 6;

/// Bins of a histogram of intervals, a factor of ten.
const BINS_A_DECADE: i32 = 10;

/// A line is broken where nothing came for five intervals, and never within this time, seconds.
const JOIN_S: f64 = 3.0;

/// The plots of a run.
#[must_use]
pub fn fill(books: &Books, findings: &[Finding]) -> Plots {
    Plots {
        range: books.range().map(|(from, to)| Span::new(from, to)),
        presence: books
            .inventory
            .iter()
            .filter_map(|(id, device)| {
                let heard = Span::new(device.first?, device.last?);
                Some(Presence { device: device_id(id), heard, silences: device.gaps.over(0.0) })
            })
            .collect(),
        lines: books.series.iter().filter_map(|s| source_line(books, s)).chain(wire_lines(books)).collect(),
        intervals: intervals(books, findings),
        spans: match books.rewinds.list() {
            [] => Vec::new(),
            _ => findings.iter().map(|finding| finding.spans.clone()).collect(),
        },
        depth_by_speed: books.series.of("depth").filter_map(by_speed).collect(),
        heading_differences: compare::headings(books, findings),
        separations: compare::positions(books, findings),
    }
}

fn source_line(books: &Books, source: &Source) -> Option<Line> {
    let stream = books.stream(source);
    let usual_s = stream.and_then(Stream::median_s).unwrap_or(0.0);
    let point = |b: &Bucket| Point {
        from: b.from,
        to: b.to,
        values: (b.values > 0).then(|| (b.low, b.sum / f64::from(b.values), b.high)),
    };
    let points: Vec<Point> = source.trace.buckets().iter().map(point).collect();
    (points.iter().filter(|p| p.values.is_some()).count() >= 2).then(|| Line {
        subject: device_id(source.key.device),
        message: source.key.message.to_string(),
        quantity: source.key.quantity,
        reference: source.key.reference,
        instance: source.key.instance,
        join_s: (5.0 * usual_s).max(JOIN_S),
        points,
    })
}

/// The load of CAN buses in percent and the rate of Ethernet in kilobytes a second.
fn wire_lines(books: &Books) -> impl Iterator<Item = Line> {
    books.wires.iter().filter_map(|(id, wire)| {
        let (quantity, unit) = match wire.kind {
            WireKind::Can => ("load", CAN_BITS_S / 100.0),
            WireKind::Ethernet => ("rate", 1000.0),
            WireKind::Line => return None,
        };
        let points = seconds(wire, &wire.load.trace, unit);
        (points.len() >= 2).then(|| Line {
            subject: wire_id(id),
            message: String::new(),
            quantity,
            reference: None,
            instance: None,
            // Every second without a frame has its zero.
            join_s: f64::INFINITY,
            points,
        })
    })
}

/// Seconds with their load; a silence of the wire goes down to nothing. The recording's first and last second are cut
/// by its ends and left out.
fn seconds(wire: &Wire, trace: &Trace, unit: f64) -> Vec<Point> {
    let buckets = trace.buckets();
    let mut points: Vec<Point> = Vec::with_capacity(buckets.len());
    for bucket in buckets {
        let cut = |end: Option<crate::time::Time>| {
            bucket.values == 1 && end.is_some_and(|end| (0.0..1.0).contains(&end.since(bucket.from)))
        };
        if cut(wire.first) || cut(wire.last) {
            continue;
        }
        if let Some(last) = points.last().map(|p| p.to)
            && bucket.from.since(last) > 1.5
        {
            let silence = Span::new(last.plus(1.0), bucket.from.plus(-1.0));
            points.push(Point { from: silence.from, to: silence.to, values: Some((0.0, 0.0, 0.0)) });
        }
        let mean = bucket.sum / f64::from(bucket.values.max(1));
        points.push(Point {
            from: bucket.from,
            to: bucket.to,
            values: Some((bucket.low / unit, mean / unit, bucket.high / unit)),
        });
    }
    points
}

fn intervals(books: &Books, findings: &[Finding]) -> Vec<IntervalPlot> {
    const TIMED: [&str; 4] = ["slow-message", "irregular-message", "message-dropout", "device-dropout"];
    let told = |s: &Stream| {
        let message = s.message.to_string();
        findings
            .iter()
            .filter(|f| TIMED.contains(&f.kind))
            .any(|f| f.devices.contains(&s.device) && f.messages.contains(&message))
    };
    let matters = |s: &Stream| {
        ["heading", "position", "depth"].iter().position(|quantity| {
            books
                .series
                .of(quantity)
                .any(|o| o.valid > 0 && o.key.device == s.device && o.key.message == s.message)
        })
    };
    let mut ranked: Vec<(usize, &Stream)> = books
        .timing
        .iter()
        // Protocols of the network have no rhythm that anybody relies on.
        .filter(|s| s.count > 20 && s.is_periodic() && !matches!(s.message, Message::Protocol(_)))
        .filter_map(|s| if told(s) { Some((0, s)) } else { matters(s).map(|rank| (rank + 1, s)) })
        .collect();
    ranked.sort_by_key(|(rank, s)| (*rank, std::cmp::Reverse(s.count), s.device, s.message));
    ranked.into_iter().take(MAX_INTERVALS).map(|(_, s)| interval_plot(s)).collect()
}

fn interval_plot(stream: &Stream) -> IntervalPlot {
    // Round intervals (0.1 s, 1 s) lie in the middle of a bin.
    let edge = |i: i32| 10f64.powf((f64::from(i) - 0.5) / f64::from(BINS_A_DECADE));
    // From a millisecond to more than an hour.
    let bins = (-3 * BINS_A_DECADE..4 * BINS_A_DECADE).filter_map(|i| {
        let (from_s, to_s) = (edge(i), edge(i + 1));
        let count = stream.intervals.count_between((from_s * 1e6) as u64, (to_s * 1e6) as u64);
        (count > 0).then_some(Bin { from_s, to_s, count })
    });
    IntervalPlot {
        device: device_id(stream.device),
        message: stream.message.to_string(),
        nominal_s: nominal(stream),
        bins: bins.collect(),
    }
}

fn by_speed(source: &Source) -> Option<BySpeed> {
    let class = |(i, (with, without)): (usize, &(u32, u32))| {
        (with + without > 0).then_some((i as f64 * SPEED_CLASS_KN, *with, *without))
    };
    let classes: Vec<_> = source.by_speed.iter().enumerate().filter_map(class).collect();
    (classes.len() >= 3).then(|| BySpeed {
        device: device_id(source.key.device),
        message: source.key.message.to_string(),
        classes,
        class_kn: SPEED_CLASS_KN,
    })
}
