//! The report's rows out of books, findings and answers: names for numbers, nothing judged.

use super::model::{
    BaudLoad, Bin, ComplaintRow, DeviceRow, Extremes, FindingRow, Intervals, Load, RecordingRow, Report,
    Shows, SourceRow, TimingRow, Tool, WireRow, drops_out_after_s,
};
use crate::books::Books;
use crate::books::inventory::{Device, DeviceId, Identity};
use crate::books::series::{LastValue, Source, SourceKey};
use crate::books::timing::Stream;
use crate::books::wires::{BAUD_RATES, Wire, WireId};
use crate::findings::{Finding, Judgement};
use crate::frames::Mac;
use crate::recording::WireKind;
use crate::time::Span;
use rustc_hash::FxHashMap;
use serde_json::{Map, Value};

/// Bits a second of an NMEA 2000 bus (fact sheet, section 1).
pub(super) const CAN_BITS_S: f64 = 250_000.0;

/// Bits of a character on a 0183 line: start, eight data bits, stop (IEC 61162-1).
const CHARACTER_BITS: f64 = 10.0;

/// Octets a second that a 100 Mbit/s link carries.
const ETHERNET_OCTETS_S: f64 = 12_500_000.0;

/// Makes the report; what only pictures are drawn from is there `with_plots` alone.
#[must_use]
pub fn assemble(
    books: &Books,
    Judgement { findings, shows }: Judgement,
    complaints: Vec<ComplaintRow>,
    with_plots: bool,
) -> Report {
    Report {
        format: "leadsman-report",
        version: 1,
        tool: Tool { name: "leadsman", version: env!("CARGO_PKG_VERSION") },
        recordings: recordings(books),
        wires: books.wires.iter().map(|(id, wire)| wire_row(books, id, wire)).collect(),
        devices: books.inventory.iter().map(|(id, device)| device_row(books, id, device)).collect(),
        sources: sources(books, &shows),
        timing: timing(books),
        plots: if with_plots { super::plots::fill(books, &findings) } else { super::plots::Plots::default() },
        findings: findings.into_iter().map(|finding| finding_row(books, finding)).collect(),
        complaints,
    }
}

/// Quantities that people ask for first; the others follow by name.
const FIRST: [&str; 7] = [
    "heading",
    "position",
    "depth",
    "course-and-speed-over-ground",
    "speed-through-water",
    "wind",
    "rate-of-turn",
];

fn sources(books: &Books, shows: &FxHashMap<SourceKey, Shows>) -> Vec<SourceRow> {
    let mut sources: Vec<&Source> = books.series.iter().filter(|s| s.key.quantity != "fix-quality").collect();
    let rank = |q: &str| FIRST.iter().position(|first| *first == q).unwrap_or(FIRST.len());
    sources.sort_by_key(|s| {
        (rank(s.key.quantity), s.key.quantity, s.key.reference, std::cmp::Reverse(s.count), s.key.device)
    });
    sources.into_iter().map(|s| source_row(books, s, shows.get(&s.key).copied())).collect()
}

fn timing(books: &Books) -> Vec<TimingRow> {
    let mut streams: Vec<&Stream> = books.timing.iter().filter(|s| s.count > 1).collect();
    streams.sort_by_key(|s| (s.device, std::cmp::Reverse(s.count), s.message, s.part));
    streams.into_iter().map(|s| timing_row(books, s)).collect()
}

pub(super) fn device_id(id: DeviceId) -> String {
    format!("d{}", id.0 + 1)
}

pub(super) fn wire_id(id: WireId) -> String {
    format!("w{}", id.0 + 1)
}

fn recordings(books: &Books) -> Vec<RecordingRow> {
    books
        .recordings
        .iter()
        .zip(&books.spans)
        .enumerate()
        .map(|(number, (r, span))| RecordingRow {
            path: r.path.clone(),
            container: r.container.to_owned(),
            compression: r.compression,
            first: span.map(|s| s.from),
            last: span.map(|s| s.to),
            duration_s: span.map(|span| round(recorded_s(books, number, span))),
            frames: r.frames,
            bytes: r.bytes,
            problems: r.problems.clone(),
            clock_offset_s: r.reckoning.as_ref().map(|r| round(r.offset_s)),
            clock_uncertainty_s: r.reckoning.as_ref().and_then(|r| r.uncertainty_s).map(round),
            clock_drift_ppm: r
                .reckoning
                .as_ref()
                .and_then(|r| r.drift_ppm)
                .map(|ppm| (ppm * 10.0).round() / 10.0),
            clock_from: r.reckoning.as_ref().map(|r| r.from.clone()),
        })
        .collect()
}

/// How long a recording is, seconds: from its first to its last stamp, but for leaps of its clock.
fn recorded_s(books: &Books, recording: usize, span: Span) -> f64 {
    let roots =
        books.wires.iter().map(|(_, w)| w).filter(|w| w.recording == recording && w.carried_by.is_none());
    if books.leaps().is_empty() {
        span.seconds()
    } else {
        roots.map(|w| books.recorded_s(w)).fold(0.0, f64::max)
    }
}

fn wire_row(books: &Books, id: WireId, wire: &Wire) -> WireRow {
    let capacity = match wire.kind {
        WireKind::Can => Some(CAN_BITS_S),
        WireKind::Ethernet => Some(ETHERNET_OCTETS_S),
        // The baud rate of a line is not in a recording.
        WireKind::Line => None,
    };
    let seconds = wire.first.map(|_| books.recorded_s(wire).max(1.0));
    let against = |capacity: f64| {
        let ((_, peak), seconds) = wire.load.peak.zip(seconds)?;
        let mean = wire.load.total as f64 / seconds;
        // Some second has the average, even where those of the clock are cut by the ends of the recording.
        let peak = mean.max(peak as f64);
        let percent = |units: f64| round(units / capacity * 100.0);
        Some(Load { mean_percent: percent(mean), peak_percent: percent(peak) })
    };
    let by_baud = |baud: u32| {
        let Load { mean_percent, peak_percent } = against(f64::from(baud) / CHARACTER_BITS)?;
        Some(BaudLoad { baud, mean_percent, peak_percent })
    };
    let load_by_baud = match wire.kind {
        WireKind::Line => BAUD_RATES.into_iter().filter_map(by_baud).collect(),
        _ => Vec::new(),
    };
    let (first, last) = books.rewinds.covering(wire.first, wire.last);
    WireRow {
        id: wire_id(id),
        recording: books.recordings.get(wire.recording).map(|r| r.path.clone()).unwrap_or_default(),
        kind: match wire.kind {
            WireKind::Ethernet => "ethernet",
            WireKind::Can => "can",
            WireKind::Line => "line",
        },
        label: wire.label.clone(),
        carried_by: wire.carried_by.map(wire_id),
        frames: wire.frames,
        bytes: wire.bytes,
        first,
        last,
        recorded_s: wire
            .first
            .filter(|_| !(books.leaps().is_empty() && wire.breaks.is_empty()))
            .map(|_| round(books.recorded_s(wire))),
        time_resolution_s: wire.resolution_s().map(|_| wire.stamp_s()),
        load: capacity.and_then(against),
        load_by_baud,
    }
}

/// A hardware address in words; none for the stand-in of a host of which only IP addresses were seen.
fn told(mac: Mac) -> Option<String> {
    (!mac.is_multicast()).then(|| mac.to_string())
}

/// What a host answered as a DHCP server.
fn dhcp_answers(books: &Books, id: DeviceId, wire: WireId) -> Option<u64> {
    let servers = &books.networks.get(wire)?.servers;
    let own = servers.iter().filter(|server| server.device == id && !server.relays);
    let answers = own.map(|server| server.answers).fold(0, u64::saturating_add);
    (answers > 0).then_some(answers)
}

fn device_row(books: &Books, id: DeviceId, device: &Device) -> DeviceRow {
    let (first, last) = books.rewinds.covering(device.first, device.last);
    let mut row = DeviceRow {
        id: device_id(id),
        wire: wire_id(device.wire),
        label: books.inventory.label(id),
        called: device.called.clone(),
        model: device.model.clone(),
        software: device.software.clone(),
        serial: device.serial.clone(),
        load_equivalency: device.load_equivalency,
        ips: device.ips.iter().map(ToString::to_string).collect(),
        hostnames: device.hostnames.clone(),
        services: device.services.clone(),
        sentences: device.sentences.iter().map(|name| name.as_str().to_owned()).collect(),
        first,
        last,
        frames: device.frames,
        bytes: device.bytes,
        ..DeviceRow::default()
    };
    match &device.identity {
        Identity::N2k { name, address, addresses } => {
            row.kind = "n2k";
            row.address = Some(*address);
            row.addresses = addresses.iter().copied().collect();
            row.name = name.map(|n| n.to_string());
            row.manufacturer_code = name.map(|n| n.manufacturer());
            row.function_code = name.map(|n| n.function());
            row.class_code = name.map(|n| n.class());
            row.device_instance = name.map(|n| n.instance());
            row.system_instance = name.map(|n| n.system_instance());
        }
        Identity::Ethernet { mac } => {
            row.kind = "ethernet";
            row.mac = told(*mac);
            row.dhcp_answers = dhcp_answers(books, id, device.wire);
        }
        Identity::Talker { talker, .. } => {
            row.kind = "talker";
            row.talker = Some(talker.clone());
            if let Some(host) = books.inventory.host_of(id) {
                row.mac = host.mac().and_then(told);
                row.ips = host.ips.iter().map(ToString::to_string).collect();
            }
        }
    }
    row
}

fn source_row(books: &Books, source: &Source, shows: Option<Shows>) -> SourceRow {
    let stream = books.stream(source);
    let mut pauses = stream.map(|s| s.gaps.over(drops_out_after_s(s.median_s()))).unwrap_or_default();
    // Where the recorder's clock leapt, nothing paused.
    pauses.retain(|pause| !books.clock_leapt(*pause));
    SourceRow {
        quantity: source.key.quantity.to_owned(),
        reference: source.key.reference,
        device: device_id(source.key.device),
        message: source.key.message.to_string(),
        instance: source.key.instance,
        count: source.count,
        valid: source.valid,
        interval_s: stream.map(|s| intervals(books, s)).unwrap_or_default(),
        dropouts: pauses.len() as u64,
        dropout_s: round(pauses.iter().map(|p| p.seconds()).fold(0.0, |all, pause| all + pause)),
        last_value: match &source.last_value() {
            LastValue::None => Value::Null,
            LastValue::Number(v) => number(*v),
            LastValue::Fields(fields) => {
                Value::Object(fields.iter().map(|(k, v)| ((*k).to_owned(), number(*v))).collect())
            }
            LastValue::Measure(v, unit) => {
                Value::Object(Map::from_iter([(format!("value_{unit}"), number(*v))]))
            }
        },
        extremes: extremes(source),
        offset_m: source.offset_m.map(round),
        shows: shows.map(|s| Shows {
            held_over_kn: s.held_over_kn.map(round),
            lost_at_kn: s.lost_at_kn.map(round),
            turned_deg: s.turned_deg.map(f64::round),
            offset_deg: s.offset_deg.map(round),
            swing_deg: s.swing_deg.map(round),
        }),
    }
}

/// Between which values a voltage was. Buckets without a value hold no number, which `min` and `max` pass over.
fn extremes(source: &Source) -> Option<Extremes> {
    let buckets = (source.key.quantity == "voltage").then(|| source.trace.buckets())?;
    let lowest = buckets.iter().map(|bucket| bucket.low).fold(f64::NAN, f64::min);
    let highest = buckets.iter().map(|bucket| bucket.high).fold(f64::NAN, f64::max);
    lowest.is_finite().then(|| Extremes { lowest: round(lowest), highest: round(highest) })
}

fn number(v: f64) -> Value {
    serde_json::Number::from_f64((v * 1e7).round() / 1e7).map_or(Value::Null, Value::Number)
}

fn round(v: f64) -> f64 {
    (v * 1e6).round() / 1e6
}

/// How finely the wire of a stream is stamped, seconds; 0 where that is not known.
fn step_s(books: &Books, stream: &Stream) -> f64 {
    let device = books.inventory.get(stream.device);
    device.and_then(|d| books.wires.get(d.wire)).and_then(Wire::resolution_s).unwrap_or(0.0)
}

/// The histograms count no interval as none; what is shorter than a step of the stamps bears one stamp: 0.
fn intervals(books: &Books, stream: &Stream) -> Intervals {
    let step = step_s(books, stream);
    let at = |q: f64| stream.quantile_s(q).map(|s| if s < step { 0.0 } else { round(s) });
    Intervals {
        nominal: nominal(stream),
        p50: at(0.5),
        p90: at(0.9),
        p99: at(0.99),
        max: (!stream.intervals.is_empty()).then_some(round(stream.max_s())),
    }
}

/// The standard's interval, or the one that the recording shows when the message is periodic.
pub(super) fn nominal(stream: &Stream) -> Option<f64> {
    stream.standard_s.or_else(|| stream.median_s().filter(|_| stream.is_periodic())).map(round)
}

fn timing_row(books: &Books, stream: &Stream) -> TimingRow {
    let Intervals { nominal, p50, p90, p99, max } = intervals(books, stream);
    TimingRow {
        device: device_id(stream.device),
        message: stream.message.to_string(),
        count: stream.count,
        nominal_s: nominal,
        p50,
        p90,
        p99,
        max,
        histogram: histogram(stream, step_s(books, stream)),
    }
}

/// Twelve bins, each the square root of two wide, with the median in the middle, or the step of the stamps where that is longer;
/// the outer ones reach to the ends.
fn histogram(stream: &Stream, step_s: f64) -> Vec<Bin> {
    const BINS: i32 = 12;
    let Some(middle) = stream.median_s().filter(|m| *m > 0.0).map(|m| m.max(step_s)) else {
        return Vec::new();
    };
    let edge = |i: i32| middle * 2f64.powf(f64::from(i - BINS / 2) / 2.0 + 0.25);
    (0..BINS)
        .map(|i| {
            let from_s = if i == 0 { 0.0 } else { edge(i - 1) };
            let to_s = if i == BINS - 1 { stream.max_s().max(edge(i)) * 1.01 } else { edge(i) };
            let us = |s: f64| (s * 1e6) as u64;
            let high = if i == BINS - 1 { u64::MAX } else { us(to_s) };
            Bin {
                from_s: round(from_s),
                to_s: round(to_s),
                count: stream.intervals.count_between(us(from_s), high),
            }
        })
        .collect()
}

fn finding_row(books: &Books, finding: Finding) -> FindingRow {
    FindingRow {
        kind: finding.kind,
        severity: finding.severity,
        summary: finding.summary,
        devices: finding.devices.into_iter().map(device_id).collect(),
        messages: finding.messages,
        spans: finding.spans.into_iter().flat_map(|span| books.rewinds.stamps(span)).collect(),
        numbers: finding.numbers,
        evidence: finding.evidence,
        checks: finding.checks,
        complaints: finding.complaints,
        follows_from: finding.follows_from,
    }
}
