//! What the fuzz targets run, and the tests on the corpus that is kept: one function a room, of any bytes, that fails when
//! what must hold does not. `fuzz/` includes this very file.

use leadsman::frames::{
    Content, Dhcp, Fragments, LineSplitter, Lldp, Mac, Mdns, Packet, Ssdp, Stall, StreamKey, StreamSink,
    TcpStreams, Transport, clean, datagram_lines, likeness, looks_like_lines, parse, whole_lines,
};
use leadsman::messages::Reading;
use leadsman::messages::n2k::{self, Assembler, CanId};
use leadsman::messages::nmea0183::{self, Datum, Sentence, SystemMessage, Target};
use leadsman::recording::{LinkType, Payload, Recording, Summary, can_line, is_sentence_tail, open_reader};
use leadsman::report::Renderer as _;
use leadsman::report::escape::{is_unsafe, plain};
use leadsman::report::json::Json;
use leadsman::report::model::Report;
use leadsman::report::text::Text;
use leadsman::survey::{self, Options};
use leadsman::time::Time;
use std::io::Cursor;

/// A target: its name, which is its folder of the corpus, and what it runs.
pub type Body = (&'static str, fn(&[u8]));

// By their paths, as the fuzz targets include this file from elsewhere.
#[path = "copies.rs"]
mod copies;
#[path = "papers.rs"]
mod papers;

pub use copies::scrub;
pub use papers::{boat_file, kept_report};

/// Every target. One that is added here has a file in `fuzz/fuzz_targets` and a folder in `fuzz/corpus`.
pub const TARGETS: &[Body] = &[
    ("recording", recording),
    ("packets", packets),
    ("bus", bus),
    ("lines", lines),
    ("pipeline", pipeline),
    ("scrub", scrub),
    ("boat-file", boat_file),
    ("kept-report", kept_report),
];

/// The link types, by the first byte of a piece of [`packets`].
const LINKS: [LinkType; 6] = [
    LinkType::Ethernet,
    LinkType::RawIp,
    LinkType::Null,
    LinkType::Loop,
    LinkType::LinuxCooked,
    LinkType::LinuxCooked2,
];

fn open(data: &[u8]) -> Option<Box<dyn Recording>> {
    open_reader("hostile", Some(data.len() as u64), Box::new(Cursor::new(data.to_vec()))).ok()
}

/// The readers of all containers and both ways of compression.
pub fn recording(data: &[u8]) {
    let Some(mut recording) = open(data) else { return };
    let (mut records, mut bytes) = (0, 0);
    while recording.advance().unwrap() {
        let record = recording.record();
        // The end of a sentence that lost its beginning is no frame.
        records += u64::from(!matches!(record.payload, Payload::Line(line) if is_sentence_tail(line)));
        bytes += match record.payload {
            Payload::Packet { bytes, .. } => bytes.len(),
            Payload::Line(line) => line.len(),
            Payload::Can(frame) => frame.data.len(),
            Payload::Other => 0,
        };
    }
    assert!(!recording.advance().unwrap(), "the end stays the end");
    let summary = recording.summary();
    assert_eq!(summary.frames, records);
    accounts(summary, data.len());
    assert!(
        summary.compression.is_some() || bytes <= data.len() + records as usize,
        "{bytes} of {}",
        data.len()
    );
}

/// What a summary may say of a file of this size.
pub fn accounts(summary: &Summary, size: usize) {
    assert!(summary.damaged_bytes == 0 || !summary.problems.is_empty(), "damage is told");
    if summary.compression.is_none() {
        let lost = summary.damaged_bytes + summary.truncated_bytes;
        assert!(lost <= size as u64, "{lost} of {size} bytes are lost");
        assert!(summary.frames * 2 <= size as u64 + 2, "{} frames of {size} bytes", summary.frames);
    }
}

/// Takes a stream's bytes and holds what must be so of them.
#[derive(Default)]
struct Sink(LineSplitter, usize);

impl StreamSink for Sink {
    fn begin(&mut self, _: &StreamKey, _: Time, _: bool) {}

    fn bytes(&mut self, _: &StreamKey, _: Time, bytes: &[u8]) {
        self.1 += bytes.len();
        self.0.push(bytes, |line| assert!(line.len() <= leadsman::frames::MAX_LINE));
    }

    fn lost(&mut self, _: &StreamKey, _: Time, _: Option<u32>) {
        self.0.lost();
    }

    fn stalled(&mut self, _: &StreamKey, _: Stall) {}

    fn end(&mut self, _: &StreamKey) {}
}

/// Packets: each piece is link type and time step, a length, and so many bytes.
pub fn packets(data: &[u8]) {
    let (mut rest, mut time) = (data, Time(0));
    let (mut fragments, mut streams, mut sink) =
        (Fragments::default(), TcpStreams::default(), Sink::default());
    while let [kind, low, high, more @ ..] = rest {
        let (bytes, after) = more.split_at(usize::from(u16::from_le_bytes([*low, *high])).min(more.len()));
        rest = after;
        time = Time(time.0.wrapping_add(1 << (kind >> 3)));
        let link = LINKS[usize::from(kind & 7) % LINKS.len()];
        let _ = likeness(link, bytes);
        let packet = parse(link, bytes, bytes.len() as u32);
        assert!(packet.source.is_none_or(|mac: Mac| mac.to_string().len() == 17));
        packet_content(&packet, time, &mut fragments, &mut streams, &mut sink);
        fragments.expire(time);
        fragments.take_abandoned().for_each(drop);
    }
    streams.finish(time, &mut sink);
    assert!(sink.1 <= data.len(), "more bytes came out of the streams than went in");
    assert!(streams.directions().iter().all(|(_, c)| c.retransmitted <= c.data_segments));
}

fn packet_content(
    packet: &Packet<'_>,
    time: Time,
    fragments: &mut Fragments,
    streams: &mut TcpStreams,
    sink: &mut Sink,
) {
    match &packet.content {
        Content::Lldp(bytes) => {
            if let Ok(lldp) = Lldp::parse(bytes, true) {
                assert!(lldp.system_name.is_none_or(|name| !name.chars().any(char::is_control)));
            }
        }
        Content::Ip(ip) => match ip.transport() {
            Transport::Udp(udp) => payload(udp.payload),
            Transport::Tcp(tcp) => {
                let key = StreamKey {
                    source: (ip.source, tcp.source_port),
                    destination: (ip.destination, tcp.destination_port),
                };
                streams.segment(time, key, &tcp, false, sink);
            }
            Transport::Fragment => {
                let whole = fragments.add(time, ip).map(<[u8]>::to_vec);
                if let Some(whole) = whole
                    && let Transport::Udp(udp) = ip.transport_of(&whole, whole.len())
                {
                    payload(udp.payload);
                }
            }
            _ => {}
        },
        _ => {}
    }
}

/// A datagram's payload, as each of what it could be.
fn payload(bytes: &[u8]) {
    for cut in [false, true] {
        if let Ok(dhcp) = Dhcp::parse(bytes, cut) {
            assert!(dhcp.host_name.is_none_or(|name| !name.chars().any(char::is_control)));
        }
        if let Ok(mdns) = Mdns::parse(bytes, cut) {
            assert!(mdns.hosts.len() <= leadsman::frames::MAX_MDNS_ENTRIES);
        }
    }
    let _ = Ssdp::parse(bytes);
    if looks_like_lines(bytes) {
        datagram_lines(whole_lines(bytes))
            .for_each(|line| assert!(Sentence::parse(line).is_ok() || !line.is_empty()));
    }
    assert!(clean(bytes).chars().count() <= leadsman::frames::MAX_TEXT);
}

/// Frames of one bus: each piece is an identifier (priority, PGN, source), a time step, a length, and up to eight bytes.
pub fn bus(data: &[u8]) {
    let (mut assembler, mut time, mut readings) = (Assembler::new(), Time(0), Vec::new());
    let mut frames = 0;
    for piece in data.chunks_exact(14) {
        let id = CanId::from_bits(u32::from_le_bytes([piece[0], piece[1], piece[2], piece[3]]) & 0x1FFF_FFFF);
        time = Time(time.0.wrapping_add(1 << (piece[4] & 63)));
        frames += 1;
        assembler.push(Some(time), id, &piece[6..6 + usize::from(piece[5] & 15).min(8)], &mut |message| {
            assert!(message.data.len() <= n2k::MAX_TRANSPORT);
            readings.clear();
            n2k::decode(message.id.pgn, message.data, &mut readings);
            sound(&readings);
            let _ = n2k::network(message.id, message.data);
            let _ = (n2k::route(message.data), n2k::destination(message.data), n2k::datum(message.data));
            let _ = n2k::ais_report(message.id.pgn, message.data);
        });
    }
    let told: u64 = assembler.losses().iter().map(|l| l.complete + l.incomplete).sum();
    assert!(told <= frames, "{told} messages of {frames} frames");
}

/// Readings hold numbers or say why not.
fn sound(readings: &[Reading]) {
    let text = format!("{readings:?}");
    assert!(!text.contains("inf,") && !text.contains("inf)") && !text.contains("NaN"), "{text}");
}

/// Lines of 0183 text and of CAN logs.
pub fn lines(data: &[u8]) {
    let mut readings = Vec::new();
    let mut decoder = nmea0183::ais::Assembler::default();
    for line in data.split(|b| *b == b'\n') {
        if let Some(frame) = can_line(line) {
            assert!(frame.data().len() == usize::from(frame.len) && frame.id < 1 << 29);
        }
        let Ok(sentence) = Sentence::parse(line) else { continue };
        assert!(sentence.name().len() <= line.len() && sentence.formatter().is_none_or(|f| f.len() == 3));
        readings.clear();
        nmea0183::decode(&sentence, &mut readings);
        sound(&readings);
        let _ = (Datum::read(&sentence), Target::read(&sentence), SystemMessage::read(&sentence));
        let _ = decoder.push(&sentence);
    }
}

/// The whole program: a recording in, a report out.
pub fn pipeline(data: &[u8]) {
    let Some(recording) = open(data) else { return };
    let report = survey::report_on(vec![recording], &Options::default(), &mut |_| {}).unwrap();
    check(&report);
}

/// Nothing is written that a terminal could obey, or that turns or hides its neighbours.
#[track_caller]
fn harmless(text: &str) {
    let found = text.chars().find(|c| is_unsafe(*c) && *c != '\n');
    assert!(found.is_none(), "{found:?} is written as it is");
}

/// What holds of every report, whatever was read.
pub fn check(report: &Report) {
    let mut json = Vec::new();
    Json.render(report, &mut json).unwrap();
    let json = String::from_utf8(json).unwrap();
    harmless(&json);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(value["format"], "leadsman-report");
    let mut text = Vec::new();
    Text { width: 80, colour: false, asked: None }.render(report, &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    harmless(&text);
    assert!(text.len() < 512 << 10, "a report of {} bytes is none that a person reads", text.len());
    assert!(report.devices.iter().all(|device| !plain(&device.label).is_empty()), "a device without a name");
    for finding in &report.findings {
        let known = |id: &String| report.devices.iter().any(|device| device.id == *id);
        assert!(
            finding.devices.iter().take(10).all(known),
            "{} names a device that is not there",
            finding.kind
        );
    }
    for cause in report.complaints.iter().flat_map(|complaint| &complaint.causes) {
        assert!(cause.findings.iter().all(|n| *n < report.findings.len()), "{}", cause.cause);
    }
    for recording in &report.recordings {
        assert!(recording.duration_s.is_none_or(|s| s >= 0.0 && s.is_finite()), "{:?}", recording.duration_s);
    }
}
