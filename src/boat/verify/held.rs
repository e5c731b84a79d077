//! The file and the report side by side.

use crate::boat::load::Boat;
use crate::boat::model::{BoatFile, Supply};
use crate::boat::reach::Reach;
use crate::report::model::{DeviceRow, Report, SourceRow, WireRow, drops_out_after_s};
use crate::time::Span;
use std::collections::BTreeMap;

/// A stream is steady when nine in ten of its intervals are at most this many times the median.
const STEADY: f64 = 1.5;

/// The file and the report, with what finds one in the other.
pub(in crate::boat) struct Held<'a> {
    pub(super) boat: &'a Boat,
    pub(super) report: &'a Report,
    pub(super) reach: Reach<'a>,
    by_name: BTreeMap<&'a str, Vec<&'a DeviceRow>>,
    by_id: BTreeMap<&'a str, &'a DeviceRow>,
    wires: BTreeMap<&'a str, &'a WireRow>,
}

impl<'a> Held<'a> {
    pub(super) fn new(boat: &'a Boat, report: &'a Report) -> Self {
        let mut by_name: BTreeMap<&str, Vec<&DeviceRow>> = BTreeMap::new();
        for row in &report.devices {
            if let Some(name) = &row.called {
                by_name.entry(name).or_default().push(row);
            }
        }
        Self {
            boat,
            report,
            reach: Reach::of(&boat.file),
            by_name,
            by_id: report.devices.iter().map(|row| (row.id.as_str(), row)).collect(),
            wires: report.wires.iter().map(|row| (row.id.as_str(), row)).collect(),
        }
    }

    pub(super) const fn file(&self) -> &'a BoatFile {
        &self.boat.file
    }

    /// The rows of the report that are this device of the file.
    pub(super) fn rows(&self, name: &str) -> &[&'a DeviceRow] {
        self.by_name.get(name).map_or(&[], Vec::as_slice)
    }

    /// A device of the report by its id.
    pub(super) fn by_id(&self, id: &str) -> Option<&'a DeviceRow> {
        self.by_id.get(id).copied()
    }

    /// The name to call a device of the report by.
    pub(super) fn label(&self, id: &str) -> &'a str {
        self.by_id(id).map_or("a device", |row| row.label.as_str())
    }

    /// The rows of a kind that are this device and that sent something: whom somebody only speaks to was not heard.
    pub(super) fn heard(&self, name: &str, kind: &str) -> impl Iterator<Item = &'a DeviceRow> {
        self.rows(name).iter().copied().filter(move |row| row.kind == kind && row.frames > 0)
    }

    /// A wire of the report by its id.
    pub(super) fn wire(&self, id: &str) -> Option<&'a WireRow> {
        self.wires.get(id).copied()
    }

    /// The sources of the report that are this supply of the file, the most useful first.
    pub(super) fn sources(&self, supply: &Supply) -> Vec<&'a SourceRow> {
        let mut sources: Vec<&SourceRow> =
            self.report.sources.iter().filter(|source| self.is_of(supply, source)).collect();
        sources.sort_by_key(|source| std::cmp::Reverse(source.valid));
        sources
    }

    /// Whether a source of the report is what this supply of the file speaks of.
    pub(super) fn is_of(&self, supply: &Supply, source: &SourceRow) -> bool {
        let called = self.by_id(&source.device).and_then(|row| row.called.as_deref());
        called == Some(supply.device.get_ref())
            && source.quantity == *supply.quantity.get_ref()
            && supply.instance.as_ref().is_none_or(|want| source.instance == Some(*want.get_ref()))
            && supply.reference.as_ref().is_none_or(|want| source.reference == Some(want.get_ref()))
            && supply.message.as_ref().is_none_or(|want| source.message == *want.get_ref())
    }
}

/// How much of a source is missing, percent: messages without a value, and time without a message.
///
/// Time without a message is that of its pauses and of a silence at the end; of a steady stream also what its messages
/// fall short of the time at their own median interval. The recorder's own gaps say nothing about the boat, and are left out.
pub(in crate::boat) fn missing_percent(report: &Report, source: &SourceRow) -> f64 {
    let valid = if source.count == 0 { 0.0 } else { source.valid as f64 / source.count as f64 };
    let device = report.devices.iter().find(|row| row.id == source.device);
    let wire = device.and_then(|device| report.wires.iter().find(|wire| wire.id == device.wire));
    let gaps = recorders_gaps(report, source);
    let span = device.and_then(|device| {
        let seen_s = wire?.last?.since(device.first?);
        Some(wire?.recorded_s.map_or(seen_s, |recorded| recorded.min(seen_s)) - gaps.iter().sum::<f64>())
    });
    let Some(span) = span.filter(|span| *span > 0.0) else { return (1.0 - valid) * 100.0 };
    let end = device.and_then(|device| Some(wire?.last?.since(device.last?))).unwrap_or(0.0);
    let quiet = source.interval_s.p50.filter(|p50| end > p50.mul_add(5.0, 1.0)).map_or(0.0, |_| end);
    let paused = ((own_pauses(source, &gaps).1 + quiet) / span).clamp(0.0, 1.0);
    (1.0 - valid * (1.0 - paused.max(shortfall(report, source, span)))).clamp(0.0, 1.0) * 100.0
}

/// How long each time lasted in which the recorder slept or lost frames while a source's device was there, seconds.
pub(super) fn recorders_gaps(report: &Report, source: &SourceRow) -> Vec<f64> {
    let device = report.devices.iter().find(|row| row.id == source.device);
    let wire = device.and_then(|device| report.wires.iter().find(|wire| wire.id == device.wire));
    let seen = device.and_then(|device| device.first).zip(wire.and_then(|wire| wire.last));
    let Some((mut heard, last)) = seen else { return Vec::new() };
    let told = report.findings.iter().filter(|finding| finding.kind == "recording-gap");
    let mut spans: Vec<Span> = told.flat_map(|finding| finding.spans.iter().copied()).collect();
    spans.sort_unstable();
    let mut gaps = Vec::new();
    for span in spans {
        let to = span.to.min(last);
        let gap = to.since(span.from.max(heard));
        if gap > 0.0 {
            gaps.push(gap);
            heard = to;
        }
    }
    gaps
}

/// A source's own pauses: how many, and how many seconds they last together. Those that a gap of the recorder makes are not
/// its own; each is longer than the gap by up to one interval.
pub(super) fn own_pauses(source: &SourceRow, gaps: &[f64]) -> (u64, f64) {
    let (interval, patience) =
        (source.interval_s.p50.unwrap_or(0.0), drops_out_after_s(source.interval_s.p50));
    let (mut count, mut seconds) = (source.dropouts, source.dropout_s);
    for gap in gaps.iter().filter(|gap| **gap + interval > patience) {
        count = count.saturating_sub(1);
        seconds -= gap + interval;
    }
    // One may have begun before the gap, or lasted longer.
    match count {
        0 if seconds <= patience => (0, 0.0),
        _ => (count.max(1), seconds.max(0.0)),
    }
}

/// Messages at the ends of the span that are not missed: it need not begin or end with one.
const AT_ENDS: f64 = 2.0;

/// The share of the span that the messages of a steady stream leave empty.
fn shortfall(report: &Report, source: &SourceRow, span: f64) -> f64 {
    let Some((p50, p90)) = source.interval_s.p50.zip(source.interval_s.p90) else { return 0.0 };
    // Several sources in one message share its intervals: then these tell nothing of one of them.
    let alone = report
        .sources
        .iter()
        .filter(|other| {
            other.device == source.device
                && other.message == source.message
                && other.quantity == source.quantity
        })
        .count()
        == 1;
    if !alone || p50 <= 0.0 || p90 > p50 * STEADY {
        return 0.0;
    }
    (1.0 - (source.count as f64 + AT_ENDS) * p50 / span).clamp(0.0, 1.0)
}
