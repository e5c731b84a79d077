//! Benchmarks of each stage: reading, each decoder, the books, the report. `cargo bench`.
//!
//! The input is the demo recordings in `captures/`; the rates are frames (or messages) a second.

#![allow(clippy::unwrap_used, reason = "a benchmark without its input can only stop")]
#![allow(missing_docs, reason = "the macros of the crate make the items")]

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use leadsman::frames::{Doubles, frame_bits, likeness, parse};
use leadsman::messages::{n2k, nmea0183};
use leadsman::recording::{CanFrame, LinkType, Payload, Recording, open_reader};
use leadsman::survey::{Options, fill};
use leadsman::time::Time;
use leadsman::{complaints, findings, report};
use std::io::Cursor;

const NETWORK: &str = "healthy-network.pcapng.gz";
const BUS: &str = "two-headings.log.gz";
const BUS_CAPTURE: &str = "depth-lost-at-speed.pcap.gz";
const LINE: &str = "healthy-line.log";

fn main() {
    divan::main();
}

/// A demo recording's content, unpacked.
fn content(file: &str) -> Vec<u8> {
    let bytes = std::fs::read(format!("{}/captures/{file}", env!("CARGO_MANIFEST_DIR"))).unwrap();
    if file.ends_with(".gz") {
        let mut plain = Vec::new();
        std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(bytes.as_slice()), &mut plain).unwrap();
        return plain;
    }
    bytes
}

fn recording(content: &[u8]) -> Box<dyn Recording> {
    open_reader("bench", Some(content.len() as u64), Box::new(Cursor::new(content.to_vec()))).unwrap()
}

/// What a demo recording holds, kept apart from the read buffer.
fn records<T>(file: &str, take: impl Fn(Payload<'_>) -> Option<T>) -> Vec<(Time, T)> {
    let mut recording = recording(&content(file));
    let mut kept = Vec::new();
    while recording.advance().unwrap() {
        let record = recording.record();
        kept.extend(record.time.zip(take(record.payload)));
    }
    kept
}

fn packets() -> Vec<(Time, Vec<u8>)> {
    records(NETWORK, |payload| match payload {
        Payload::Packet { bytes, .. } => Some(bytes.to_vec()),
        _ => None,
    })
}

fn frames() -> Vec<(Time, CanFrame)> {
    records(BUS, |payload| match payload {
        Payload::Can(frame) => Some(frame.kept()),
        _ => None,
    })
}

fn lines() -> Vec<(Time, Vec<u8>)> {
    records(LINE, |payload| match payload {
        Payload::Line(line) => Some(line.to_vec()),
        _ => None,
    })
}

/// Container or text into records.
#[divan::bench(args = [NETWORK, BUS, BUS_CAPTURE, LINE])]
fn reading(bencher: Bencher<'_, '_>, file: &str) {
    let content = content(file);
    let count = records(file, |_| Some(())).len();
    bencher.counter(ItemsCount::new(count)).with_inputs(|| recording(&content)).bench_local_values(
        |mut recording| {
            while recording.advance().unwrap() {
                black_box(recording.record());
            }
        },
    );
}

/// Packets into checked views.
#[divan::bench]
fn packets_taken_apart(bencher: Bencher<'_, '_>) {
    let packets = packets();
    bencher.counter(ItemsCount::new(packets.len())).bench_local(|| {
        for (_, bytes) in &packets {
            black_box(parse(LinkType::Ethernet, black_box(bytes), bytes.len() as u32));
        }
    });
}

/// Copies of packets told.
#[divan::bench]
fn packets_compared(bencher: Bencher<'_, '_>) {
    let packets = packets();
    bencher.counter(ItemsCount::new(packets.len())).with_inputs(Doubles::default).bench_local_refs(
        |doubles| {
            for (time, bytes) in &packets {
                black_box(doubles.seen_hash(*time, likeness(LinkType::Ethernet, bytes)));
            }
        },
    );
}

/// Bits that CAN frames take on the wire.
#[divan::bench]
fn can_bits(bencher: Bencher<'_, '_>) {
    let frames = frames();
    bencher.counter(ItemsCount::new(frames.len())).bench_local(|| {
        frames.iter().map(|(_, frame)| frame_bits(frame.id, true, false, frame.data())).sum::<u32>()
    });
}

/// CAN frames into NMEA 2000 messages and readings.
#[divan::bench]
fn n2k_decoded(bencher: Bencher<'_, '_>) {
    let frames = frames();
    bencher.counter(ItemsCount::new(frames.len())).with_inputs(n2k::Assembler::new).bench_local_refs(
        |assembler| {
            let mut readings = Vec::new();
            for (time, frame) in &frames {
                let id = n2k::CanId::from_bits(frame.id);
                assembler.push(Some(*time), id, frame.data(), &mut |message| {
                    readings.clear();
                    n2k::decode(message.id.pgn, message.data, &mut readings);
                    black_box(&readings);
                });
            }
        },
    );
}

/// Lines into NMEA 0183 sentences and readings.
#[divan::bench]
fn nmea0183_decoded(bencher: Bencher<'_, '_>) {
    let lines = lines();
    bencher.counter(ItemsCount::new(lines.len())).bench_local(|| {
        let mut readings = Vec::new();
        for (_, line) in &lines {
            readings.clear();
            if let Ok(sentence) = nmea0183::Sentence::parse(black_box(line)) {
                nmea0183::decode(&sentence, &mut readings);
            }
            black_box(&readings);
        }
    });
}

/// Everything up to full books: what this takes longer than reading and decoding is the books' time.
#[divan::bench(args = [NETWORK, BUS, BUS_CAPTURE, LINE])]
fn books_filled(bencher: Bencher<'_, '_>, file: &str) {
    let content = content(file);
    let count = records(file, |_| Some(())).len();
    bencher
        .counter(ItemsCount::new(count))
        .with_inputs(|| vec![recording(&content)])
        .bench_local_values(|recordings| fill(recordings, &Options::default(), &mut |_| {}).unwrap());
}

/// Findings and report out of full books: once a run, however long the recording was.
#[divan::bench(args = [NETWORK, BUS, LINE])]
fn report_made(bencher: Bencher<'_, '_>, file: &str) {
    let books = fill(vec![recording(&content(file))], &Options::default(), &mut |_| {}).unwrap();
    bencher.bench_local(|| {
        let judgement = findings::judge(&books);
        let answers = complaints::answer(&books, &judgement.findings, None);
        report::assemble(&books, judgement, answers, false)
    });
}
