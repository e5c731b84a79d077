//! Lines inside datagrams and streams: which of them are one 0183 line or CAN bus, and into the books with them.

use super::Intake;
use crate::books::bounded;
use crate::books::inventory::DeviceId;
use crate::books::wires::{Wire, WireId};
use crate::frames::{Stall, StreamKey};
use crate::messages::nmea0183::Framed;
use crate::recording::{CanFrame, WireKind, can_line, is_sentence_tail};
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::net::IpAddr;

/// Most feeds that are followed.
const MAX_FEEDS: usize = 1024;

/// A sender that gives the same lines to several receivers is followed to one of them; when that one gets nothing for
/// two of its usual pauses, and for no less and no more than this, the next is taken, seconds.
const RECEIVER_GONE_S: (f64, f64) = (0.25, 10.0);

/// What is usual is forgotten after so many pauses.
const PAUSES_KEPT: f64 = 20.0;

/// Receivers of a line that are kept.
const MAX_RECEIVERS: usize = 16;

/// Ends of a line's connections that are kept.
const MAX_ENDS: usize = 64;

/// Most ends of streams by which feeds are known again.
const MAX_FEED_ENDS: usize = 4 * MAX_FEEDS;

/// From here on systems choose ports for those who connect (common stacks; RFC 6335 6 would have them above 49151).
const CHOSEN_PORTS: u16 = 32_768;

/// Where a sender's lines go.
type Receiver = (IpAddr, u16);

/// One sender's lines on one port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct FeedKey {
    pub(super) wire: WireId,
    pub(super) host: DeviceId,
    pub(super) tcp: bool,
    pub(super) port: u16,
}

/// Which end of a connection is the service: it stays as it is while others connect to it from one port after another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Service {
    /// The one that sends the lines.
    Sender,
    /// The one that gets them.
    Receiver,
    /// Nobody was seen to connect.
    Unknown,
}

impl Service {
    /// The port of a stream's service. Where nobody was seen to connect it is the lower one when systems do not choose such; else
    /// the sender's, for displays connect to whoever has the lines.
    const fn port(self, stream: &StreamKey) -> u16 {
        let (own, peer) = (stream.source.1, stream.destination.1);
        match self {
            Self::Sender => own,
            Self::Receiver => peer,
            Self::Unknown if peer < own && peer < CHOSEN_PORTS => peer,
            Self::Unknown => own,
        }
    }
}

/// An end of a TCP stream of lines, by which its feed is known again when another receiver connects or the sender connects
/// anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum End {
    Own(WireId, DeviceId, u16),
    Peer(WireId, DeviceId, Receiver),
}

impl End {
    /// The ends that may stay: not the one that is known to have connected.
    fn of(wire: WireId, host: DeviceId, stream: &StreamKey, service: Service) -> impl Iterator<Item = Self> {
        let own = (service != Service::Receiver).then_some(Self::Own(wire, host, stream.source.1));
        let peer = (service != Service::Sender).then_some(Self::Peer(wire, host, stream.destination));
        own.into_iter().chain(peer)
    }
}

/// One sender's lines on one port.
#[derive(Debug)]
struct Feed {
    receiver: Receiver,
    /// Whether the connection to the receiver ended.
    ended: bool,
    last: Option<Time>,
    /// The longest pause of late, seconds.
    pause_s: f64,
    line: Option<WireId>,
    bus: Option<WireId>,
}

/// A feed by its number in [`Feeds`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct FeedId(u32);

/// Every feed.
#[derive(Debug, Default)]
pub(super) struct Feeds {
    list: Vec<(FeedKey, Feed)>,
    by_key: FxHashMap<FeedKey, FeedId>,
    by_end: FxHashMap<End, FeedId>,
    /// Lines of feeds that found no room.
    pub(super) unbooked: u64,
}

impl Feeds {
    /// The feed with this key; a new one, to `receiver`, when there is none and room.
    pub(super) fn find(&mut self, key: FeedKey, receiver: Receiver) -> Option<FeedId> {
        if let Some(id) = self.by_key.get(&key) {
            return Some(*id);
        }
        if self.list.len() >= MAX_FEEDS {
            return None;
        }
        let id = FeedId(self.list.len() as u32);
        self.list
            .push((key, Feed { receiver, ended: false, last: None, pause_s: 0.0, line: None, bus: None }));
        self.by_key.insert(key, id);
        Some(id)
    }

    /// As [`find`](Self::find), of a host's TCP stream.
    pub(super) fn of_stream(
        &mut self,
        (wire, host): (WireId, DeviceId),
        stream: &StreamKey,
        service: Service,
    ) -> Option<FeedId> {
        let id = self.known((wire, host), stream, service).or_else(|| {
            let key = FeedKey { wire, host, tcp: true, port: service.port(stream) };
            self.find(key, stream.destination)
        })?;
        for end in End::of(wire, host, stream, service) {
            if self.by_end.len() < MAX_FEED_ENDS {
                self.by_end.entry(end).or_insert(id);
            }
        }
        Some(id)
    }

    /// The feed of a host's TCP stream, when it has one.
    fn known(
        &self,
        (wire, host): (WireId, DeviceId),
        stream: &StreamKey,
        service: Service,
    ) -> Option<FeedId> {
        End::of(wire, host, stream, service).find_map(|end| self.by_end.get(&end)).copied()
    }
}

/// A line came that belongs to a feed.
struct Heard {
    id: FeedId,
    key: FeedKey,
    receiver: Receiver,
    time: Option<Time>,
    /// Whether the feed went to another receiver before.
    is_new: bool,
    /// The wires of the feed.
    line: Option<WireId>,
    bus: Option<WireId>,
}

impl Intake {
    /// Whether a line to this receiver belongs to its feed, which is `None` when it found no room; notes that it came.
    #[inline(always)]
    fn heard(&mut self, feed: Option<FeedId>, receiver: Receiver, time: Option<Time>) -> Option<Heard> {
        let id = feed;
        let feed = feed.and_then(|id| self.feeds.list.get_mut(id.0 as usize));
        let Some((key, feed)) = feed else {
            self.feeds.unbooked += 1;
            return None;
        };
        let is_new = feed.receiver != receiver;
        let paused_s = feed.last.zip(time).map(|(last, now)| now.since(last).max(0.0));
        if is_new {
            let (soonest, latest) = RECEIVER_GONE_S;
            let waits = |s: f64| s <= (2.0 * feed.pause_s).clamp(soonest, latest);
            if !feed.ended && paused_s.is_some_and(waits) {
                return None;
            }
            feed.receiver = receiver;
            feed.ended = false;
        } else if let Some(paused_s) = paused_s {
            feed.pause_s = (feed.pause_s - paused_s / PAUSES_KEPT).max(paused_s);
        }
        feed.last = time.or(feed.last);
        Some(Heard { id: id?, key: *key, receiver, time, is_new, line: feed.line, bus: feed.bus })
    }

    /// Books a line that a host's datagram carries; `None` when its feed found no room.
    pub(super) fn carried_line(
        &mut self,
        feed: Option<FeedId>,
        receiver: Receiver,
        time: Option<Time>,
        line: &[u8],
    ) {
        if let Some(heard) = self.heard(feed, receiver, time) {
            self.heard_line(&heard, line);
        }
    }

    /// As [`carried_line`](Self::carried_line), of a stream; one that is `late` was said at a time that nobody knows.
    pub(super) fn streamed_line(
        &mut self,
        feed: Option<FeedId>,
        receiver: Receiver,
        (time, late): (Time, bool),
        line: &[u8],
    ) {
        if let Some(heard) = self.heard(feed, receiver, Some(time)) {
            self.heard_line(&Heard { time: heard.time.filter(|_| !late), ..heard }, line);
        }
    }

    fn heard_line(&mut self, heard: &Heard, line: &[u8]) {
        let time = heard.time;
        match content(line) {
            Some(Content::Sentence) => {
                let (line, wire) = (line.trim_ascii(), self.heard_by(heard));
                self.line(wire, time, line, Framed::parse(line), Some(heard.key.host));
            }
            Some(Content::Frame(frame)) => {
                let wire = heard.bus.unwrap_or_else(|| self.carried_wire(heard, WireKind::Can));
                let frame = frame.lent();
                let bits = self.bits.of(&frame);
                self.can(wire, time, &frame, bits);
            }
            Some(Content::Tail) => {
                if let Some(wire) = heard.line {
                    let line = line.trim_ascii();
                    self.line(wire, time, line, Framed::parse(line), Some(heard.key.host));
                }
            }
            None => {}
        }
    }

    /// As [`carried_line`](Self::carried_line), of a line that is known to be nothing but a sentence, with the sentence.
    #[inline(always)]
    pub(super) fn carried_sentence(
        &mut self,
        feed: Option<FeedId>,
        receiver: Receiver,
        time: Option<Time>,
        (line, framed): (&[u8], Framed<'_>),
    ) {
        if let Some(heard) = self.heard(feed, receiver, time) {
            let wire = self.heard_by(&heard);
            self.lone_sentence(wire, time, line, &framed, heard.key.host);
        }
    }

    /// The wire of a feed's sentences, with the receiver of the last one among its own.
    #[inline(always)]
    fn heard_by(&mut self, heard: &Heard) -> WireId {
        let wire = heard.line.unwrap_or_else(|| self.carried_wire(heard, WireKind::Line));
        if heard.key.tcp
            && (heard.line.is_none() || heard.is_new)
            && let Some(wire) = self.books.wires.get_mut(wire)
        {
            bounded::note(&mut wire.receivers, MAX_RECEIVERS, heard.receiver.0);
        }
        wire
    }

    /// A new wire for what a feed carries.
    #[cold]
    fn carried_wire(&mut self, heard: &Heard, kind: WireKind) -> WireId {
        let key = heard.key;
        let ip = self.books.inventory.get(key.host).and_then(|d| d.ips.first().copied());
        let place = ip.map_or_else(|| "a host".to_owned(), |ip| ip.to_string());
        let label = format!("{} port {} of {place}", if key.tcp { "TCP" } else { "UDP" }, key.port);
        let wire = self.books.wires.add_carried(key.wire, key.host, kind, Some(label));
        if let Some((_, feed)) = self.feeds.list.get_mut(heard.id.0 as usize) {
            *(if kind == WireKind::Can { &mut feed.bus } else { &mut feed.line }) = Some(wire);
        }
        wire
    }
}

impl Intake {
    /// Books that the TCP connection ended by which a host sent lines in this stream, if it did and its feed was followed there.
    pub(super) fn hung_up(
        &mut self,
        of: (WireId, DeviceId),
        stream: &StreamKey,
        service: Service,
        time: Option<Time>,
    ) {
        let Some(id) = self.feeds.known(of, stream, service) else { return };
        if let Some((_, feed)) = self.feeds.list.get_mut(id.0 as usize) {
            feed.ended |= feed.receiver == stream.destination;
        }
        if let Some(time) = time {
            self.at_feed(id, stream, |wire| bounded::push(&mut wire.ends, MAX_ENDS, time));
        }
    }

    /// Books that a host's stream of lines got no further for a while.
    pub(super) fn stalled(
        &mut self,
        of: (WireId, DeviceId),
        stream: &StreamKey,
        service: Service,
        stall: Stall,
    ) {
        if let Some(id) = self.feeds.known(of, stream, service) {
            self.at_feed(id, stream, |wire| wire.stalled(stall));
        }
    }

    /// The wires of a feed that is followed to this stream's receiver.
    fn at_feed(&mut self, id: FeedId, stream: &StreamKey, mut book: impl FnMut(&mut Wire)) {
        let feed = self.feeds.list.get(id.0 as usize).map(|(_, feed)| feed);
        let Some(feed) = feed.filter(|feed| feed.receiver == stream.destination) else { return };
        for wire in [feed.line, feed.bus].into_iter().flatten() {
            if let Some(wire) = self.books.wires.get_mut(wire) {
                book(wire);
            }
        }
    }
}

enum Content {
    Sentence,
    Frame(CanFrame),
    /// A sentence that lost its beginning: it tells nothing of what the feed is.
    Tail,
}

fn content(line: &[u8]) -> Option<Content> {
    match line.trim_ascii_start().first()? {
        b'$' | b'!' | b'\\' => Some(Content::Sentence),
        _ => can_line(line).map(Content::Frame).or_else(|| is_sentence_tail(line).then_some(Content::Tail)),
    }
}
