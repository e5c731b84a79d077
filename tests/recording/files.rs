//! Makers of files, and a reader that keeps the records.

use leadsman::recording::{
    CanFrame, LinkType, Payload, Recording, RecordingError, Summary, is_sentence_tail, open_reader,
};
use std::io::{Cursor, Read, Write};

/// A record that outlives its recording.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Owned {
    Packet(LinkType, Vec<u8>, u32),
    Can(CanFrame),
    Line(Vec<u8>),
    Other,
}

pub(crate) type Records = Vec<(Option<i64>, usize, Owned)>;

/// Gives pieces of the given sizes, round and round.
pub(crate) struct Pieces(pub(crate) Vec<u8>, pub(crate) usize, pub(crate) Vec<usize>, pub(crate) usize);

impl Read for Pieces {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let piece = self.2[self.3 % self.2.len()].max(1);
        self.3 += 1;
        let n = piece.min(out.len()).min(self.0.len() - self.1);
        out[..n].copy_from_slice(&self.0[self.1..self.1 + n]);
        self.1 += n;
        Ok(n)
    }
}

pub(crate) fn drain(mut recording: Box<dyn Recording>) -> (Records, Summary) {
    let mut records = Vec::new();
    while recording.advance().unwrap() {
        let record = recording.record();
        let owned = match record.payload {
            Payload::Packet { link, bytes, original } => Owned::Packet(link, bytes.to_vec(), original),
            Payload::Can(frame) => Owned::Can(frame.kept()),
            Payload::Line(line) => Owned::Line(line.to_vec()),
            Payload::Other => Owned::Other,
        };
        records.push((record.time.map(|time| time.0), record.wire, owned));
    }
    assert!(!recording.advance().unwrap(), "the end stays the end");
    let summary = recording.summary().clone();
    // The end of a sentence that lost its beginning is no frame.
    let is_frame =
        |record: &&(_, _, Owned)| !matches!(&record.2, Owned::Line(line) if is_sentence_tail(line));
    assert_eq!(summary.frames, records.iter().filter(is_frame).count() as u64);
    (records, summary)
}

pub(crate) fn try_read(bytes: &[u8]) -> Result<(Records, Summary), RecordingError> {
    let input = Box::new(Cursor::new(bytes.to_vec()));
    open_reader("x", Some(bytes.len() as u64), input).map(drain)
}

pub(crate) fn read(bytes: &[u8]) -> (Records, Summary) {
    try_read(bytes).unwrap()
}

/// A pcap file's form.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Form {
    pub(crate) big: bool,
    pub(crate) nanos: bool,
    pub(crate) modified: bool,
    pub(crate) link: u32,
}

pub(crate) fn word(value: u32, big: bool) -> [u8; 4] {
    if big { value.to_be_bytes() } else { value.to_le_bytes() }
}

pub(crate) fn half(value: u16, big: bool) -> [u8; 2] {
    if big { value.to_be_bytes() } else { value.to_le_bytes() }
}

/// A pcap file of packets with times in microseconds.
pub(crate) fn pcap(form: Form, packets: &[(i64, Vec<u8>)]) -> Vec<u8> {
    let big = form.big;
    let magic = match (form.nanos, form.modified) {
        (_, true) => 0xA1B2_CD34,
        (true, _) => 0xA1B2_3C4D,
        _ => 0xA1B2_C3D4,
    };
    let mut out = word(magic, big).to_vec();
    out.extend([half(2, big), half(4, big)].concat());
    out.extend([word(0, big), word(0, big), word(65_535, big), word(form.link, big)].concat());
    for (time, packet) in packets {
        let (seconds, micros) = ((time / 1_000_000) as u32, (time % 1_000_000) as u32);
        let fraction = if form.nanos { micros * 1000 + 999 } else { micros };
        let len = packet.len() as u32;
        out.extend([word(seconds, big), word(fraction, big), word(len, big), word(len, big)].concat());
        if form.modified {
            out.extend([0; 8]);
        }
        out.extend(packet);
    }
    out
}

/// A pcapng block.
pub(crate) fn block(kind: u32, body: &[u8], big: bool) -> Vec<u8> {
    let padded = body.len().next_multiple_of(4);
    let total = word(padded as u32 + 12, big);
    let mut out = [word(kind, big), total].concat();
    out.extend(body);
    out.resize(8 + padded, 0);
    out.extend(total);
    out
}

pub(crate) fn section(big: bool) -> Vec<u8> {
    let body = [&word(0x1A2B_3C4D, big)[..], &half(1, big), &half(0, big), &[0xFF; 8]].concat();
    block(0x0A0D_0D0A, &body, big)
}

pub(crate) fn option(code: u16, value: &[u8], big: bool) -> Vec<u8> {
    let mut out = [half(code, big), half(value.len() as u16, big)].concat();
    out.extend(value);
    out.resize(out.len().next_multiple_of(4), 0);
    out
}

pub(crate) fn interface(link: u16, snaplen: u32, options: &[u8], big: bool) -> Vec<u8> {
    let body = [&half(link, big)[..], &[0, 0], &word(snaplen, big), options, &[0; 4]].concat();
    block(1, &body, big)
}

pub(crate) fn enhanced(
    number: u32,
    ticks: u64,
    packet: &[u8],
    original: u32,
    options: &[u8],
    big: bool,
) -> Vec<u8> {
    let mut body = [
        word(number, big),
        word((ticks >> 32) as u32, big),
        word(ticks as u32, big),
        word(packet.len() as u32, big),
        word(original, big),
    ]
    .concat();
    body.extend(packet);
    body.resize(body.len().next_multiple_of(4), 0);
    body.extend(options);
    block(6, &body, big)
}

/// Ten Ethernet packets a second apart from 2026-01-01 (1767225600) on, of growing length and varied content.
pub(crate) fn packets() -> Vec<(i64, Vec<u8>)> {
    let packet = |n: usize| (0..40 + n).map(|k| (k * 37 + n * 11 + 1) as u8).collect();
    (0..10).map(|n| ((1_767_225_600 + n as i64) * 1_000_000 + 250, packet(n))).collect()
}

pub(crate) const PLAIN: Form = Form { big: false, nanos: false, modified: false, link: 1 };

pub(crate) fn wanted(packets: &[(i64, Vec<u8>)]) -> Records {
    let owned = |bytes: &Vec<u8>| Owned::Packet(LinkType::Ethernet, bytes.clone(), bytes.len() as u32);
    packets.iter().map(|(time, bytes)| (Some(*time), 0, owned(bytes))).collect()
}

/// The packets as pcapng, one interface.
pub(crate) fn pcapng(packets: &[(i64, Vec<u8>)]) -> Vec<u8> {
    let mut bytes = section(false);
    bytes.extend(interface(1, 0, &[], false));
    for (time, packet) in packets {
        bytes.extend(enhanced(0, *time as u64, packet, packet.len() as u32, &[], false));
    }
    bytes
}

pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

pub(crate) fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::stream::encode_all(bytes, 1).unwrap()
}

pub(crate) fn refusal(bytes: &[u8]) -> String {
    match try_read(bytes) {
        Err(error @ RecordingError::Unknown { .. }) => error.to_string(),
        other => panic!("{other:?}"),
    }
}
