//! TCP segments into the books, and the text that their streams carry.

use super::Intake;
use super::carried::{FeedId, Service};
use super::packet::{Arrival, Between, Tables, Way, part};
use crate::books::bounded;
use crate::books::inventory::DeviceId;
use crate::books::network::Sign;
use crate::books::talks;
use crate::books::wires::{DISORDER_S, WireId};
use crate::frames::{
    LineSplitter, MAX_DIRECTIONS, PlainSegment, SegmentKind, Stall, StreamKey, StreamSink, Tcp, TcpStreams,
    looks_like_lines,
};
use crate::time::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::net::IpAddr;

/// No stack repeats a segment sooner with the same bytes, microseconds (RFC 6298 2.4 and common stacks: 200 ms).
const SOONEST_REPEAT_US: i64 = 100_000;

/// Most TCP directions whose text is followed.
const MAX_SPLITTERS: usize = 512;

/// Most services to which somebody was seen to connect that are remembered, a network.
const MAX_SERVICES: usize = 1024;

/// What could not be sent for so long comes late when it can, seconds: within a shorter time nothing aboard changes much.
const BACKLOG_S: f64 = 1.5;

/// What had to wait is sent within this time after the receiver is back, seconds: some tens of kilobytes, a few of them per round
/// trip at first, and a receiver that waits 0.2 s with each acknowledgment (RFC 5681 3.1, RFC 1122 4.2.3.2).
const CATCHES_UP_S: f64 = 1.0;

impl Intake {
    /// Books a plain segment of a flow.
    #[inline]
    pub(super) fn plain_segment(
        &mut self,
        tables: &mut Tables,
        arrival: &Arrival,
        between: &Between,
        plain: &PlainSegment<'_>,
    ) {
        let Some(way) = self.arrived(arrival, between) else { return };
        let (ip, to_ip) = plain.flow.ips();
        self.tcp(tables, way, (ip.into(), to_ip.into()), plain.is_cut, &plain.tcp);
    }

    /// Books a segment from one address to another; `is_cut` when the recorder cut it.
    pub(super) fn tcp(
        &mut self,
        tables: &mut Tables,
        way: Way,
        ips: (IpAddr, IpAddr),
        is_cut: bool,
        tcp: &Tcp<'_>,
    ) {
        let key = StreamKey { source: (ips.0, tcp.source_port), destination: (ips.1, tcp.destination_port) };
        let low = tcp.source_port.min(tcp.destination_port);
        self.stream(way, "tcp", part(&(ips.1, low)));
        if tcp.flags.syn() {
            tables.text.services.note(if tcp.flags.ack() { key.source } else { key.destination });
        }
        if tcp.flags.syn() && !tcp.flags.ack() {
            self.books.networks.of(way.wire).sign(way.host, way.time, Sign::Connect);
        }
        if let Some(to) = way.to
            && (tcp.flags.syn() && !tcp.flags.ack() || tcp.payload_len > 0)
        {
            self.books.networks.of(way.wire).sought(to, way.time);
        }
        if tcp.flags.fin() || tcp.flags.rst() {
            self.books.networks.of(way.wire).hung_up(way.host, way.to, way.time);
            for (host, stream) in [(Some(way.host), key), (way.to, key.reversed())] {
                if let Some(host) = host {
                    self.hung_up((way.wire, host), &stream, tables.text.services.end_of(&stream), way.time);
                }
            }
        }
        if let Some((at, to)) = way.time.zip(way.to).filter(|_| tcp.flags.fin() || tcp.flags.rst()) {
            let released = &mut self.books.networks.of(way.wire).released;
            for (from, to) in [(way.host, to), (to, way.host)] {
                tables.flows.between(from, to).for_each(|onward| released.note(from, onward.part, at));
            }
        }
        if is_cut && looks_like_lines(tcp.payload) {
            self.books.networks.of(way.wire).host(way.host).cut.stream();
        }
        let Some(time) = way.time else { return };
        if tables.last_segment.is_some_and(|last| last.since(time) > DISORDER_S) {
            // What comes was sent earlier: a part of the recording stands in the wrong place, and nothing is sent again.
            self.settle_streams(way.wire, tables);
            tables.streams = TcpStreams::default();
        }
        tables.last_segment = Some(time);
        tables.text.owner(key, way);
        // The very same bytes so soon are a copy that came late: whoever repeats himself waits longer, and numbers anew.
        let is_double = way.again_us.is_some_and(|us| us < SOONEST_REPEAT_US);
        let kind = tables.streams.segment(time, key, tcp, is_double, &mut tables.text);
        if let Some(to) = way.to {
            let packet = match kind {
                _ if tcp.payload_len == 0 => talks::Packet::Other,
                SegmentKind::New | SegmentKind::AfterGap | SegmentKind::OutOfOrder => talks::Packet::Data,
                SegmentKind::Retransmission => talks::Packet::DataAgain,
                SegmentKind::Empty | SegmentKind::KeepAlive | SegmentKind::Double => talks::Packet::Other,
            };
            self.books.networks.of(way.wire).talk(way.host, to, ips, packet, way.time);
        }
        tables.text.deliver(self);
    }

    /// Delivers what the streams of all networks still hold, and books their counts. Call once at the end.
    pub(super) fn settle_packets(&mut self) {
        for (wire, tables) in self.followed.take_all() {
            self.settle_network(wire, tables);
        }
    }

    /// As [`settle_packets`](Self::settle_packets), of one network.
    pub(super) fn settle_network(&mut self, wire: WireId, mut tables: Box<Tables>) {
        self.settle_streams(wire, &mut tables);
        self.text_left_out += tables.text.unbooked;
    }

    /// Delivers what the streams of a network still hold, and books their counts.
    fn settle_streams(&mut self, wire: WireId, tables: &mut Tables) {
        if let Some(last) = self.books.wires.get(wire).and_then(|wire| wire.last) {
            tables.streams.finish(last, &mut tables.text);
            tables.text.deliver(self);
        }
        let streams = &mut self.books.networks.of(wire).streams;
        for direction in tables.streams.directions() {
            bounded::push(streams, MAX_DIRECTIONS, direction);
        }
    }
}

/// The text that TCP streams carry.
#[derive(Default)]
pub(super) struct Text {
    splitters: FxHashMap<StreamKey, Stream>,
    services: Services,
    /// What is to be delivered: lines with their times, whether they come late, and where they end in `texts`; and what got no
    /// further.
    lines: Vec<(StreamKey, (Time, bool), usize)>,
    texts: Vec<u8>,
    stalls: Vec<(StreamKey, Stall)>,
    /// Segments of streams that found no room.
    unbooked: u64,
}

struct Stream {
    splitter: LineSplitter,
    /// `None` until the first bytes told.
    is_text: Option<bool>,
    way: Way,
    /// The feed of its lines, and whose.
    feed: Option<(DeviceId, FeedId)>,
    /// Until when lines are sent that had to wait.
    late_until: Option<Time>,
}

impl Text {
    fn owner(&mut self, key: StreamKey, way: Way) {
        if let Some(stream) = self.splitters.get_mut(&key) {
            stream.way = way;
        } else if self.splitters.len() < MAX_SPLITTERS {
            let splitter = LineSplitter::mid_stream();
            self.splitters.insert(key, Stream { splitter, is_text: None, way, feed: None, late_until: None });
        } else {
            self.unbooked += 1;
        }
    }

    fn deliver(&mut self, intake: &mut Intake) {
        let Self { splitters, services, lines, texts, stalls, .. } = self;
        // What got no further was followed to this receiver, whoever gets the lines from here on.
        for (key, stall) in stalls.drain(..) {
            let Some(Stream { way, .. }) = splitters.get(&key) else { continue };
            let part = part(&(key.destination.0, key.source.1.min(key.destination.1)));
            intake.books.networks.of(way.wire).stalled(way.host, part, stall);
            intake.stalled((way.wire, way.host), &key, services.end_of(&key), stall);
        }
        let mut begin = 0;
        for of_stream in lines.chunk_by(|(one, ..), (other, ..)| one == other) {
            let Some((key, ..)) = of_stream.first() else { continue };
            let feed = splitters.get_mut(key).map(|stream| {
                let host = stream.way.host;
                let known = stream.feed.filter(|(owner, _)| *owner == host).map(|(_, feed)| feed);
                let of = (stream.way.wire, host);
                let feed = known.or_else(|| intake.feeds.of_stream(of, key, services.end_of(key)));
                stream.feed = feed.map(|feed| (host, feed));
                feed
            });
            for (_, time, end) in of_stream {
                let line = texts.get(begin..*end).unwrap_or_default();
                begin = *end;
                if let Some(feed) = feed {
                    intake.streamed_line(feed, key.destination, *time, line);
                }
            }
        }
        lines.clear();
        texts.clear();
    }
}

/// To which ports somebody was seen to connect.
#[derive(Default)]
struct Services(FxHashSet<(IpAddr, u16)>);

impl Services {
    fn note(&mut self, port: (IpAddr, u16)) {
        if self.0.len() < MAX_SERVICES {
            self.0.insert(port);
        }
    }

    /// Which end of a stream is the service.
    fn end_of(&self, stream: &StreamKey) -> Service {
        if self.0.contains(&stream.source) {
            Service::Sender
        } else if self.0.contains(&stream.destination) {
            Service::Receiver
        } else {
            Service::Unknown
        }
    }
}

/// Bytes of a stream's beginning in which a line must be found for the stream to be text.
const TEXT_WITHIN: usize = 2048;

impl StreamSink for Text {
    fn begin(&mut self, key: &StreamKey, _: Time, from_start: bool) {
        if let Some(stream) = self.splitters.get_mut(key) {
            stream.splitter = if from_start { LineSplitter::default() } else { LineSplitter::mid_stream() };
            stream.is_text = None;
        }
    }

    fn bytes(&mut self, key: &StreamKey, time: Time, bytes: &[u8]) {
        let Some(stream) = self.splitters.get_mut(key) else { return };
        let head = bytes.get(..TEXT_WITHIN).unwrap_or(bytes);
        let text = *stream.is_text.get_or_insert_with(|| {
            looks_like_lines(head) || head.split(|b| *b == b'\n').skip(1).any(looks_like_lines)
        });
        if text {
            let late = stream.late_until.is_some_and(|until| time <= until);
            stream.splitter.push(bytes, |line| {
                self.texts.extend_from_slice(line);
                self.lines.push((*key, (time, late), self.texts.len()));
            });
        }
    }

    fn lost(&mut self, key: &StreamKey, _: Time, _: Option<u32>) {
        if let Some(stream) = self.splitters.get_mut(key) {
            stream.splitter.lost();
        }
    }

    fn stalled(&mut self, key: &StreamKey, stall: Stall) {
        let Some(stream) = self.splitters.get_mut(key) else { return };
        if stall.span.seconds() >= BACKLOG_S {
            stream.late_until = Some(stall.span.to.plus(CATCHES_UP_S));
        }
        self.stalls.push((*key, stall));
    }

    fn end(&mut self, key: &StreamKey) {
        self.splitters.remove(key);
    }
}
