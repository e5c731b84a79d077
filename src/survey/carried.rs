//! Lines inside datagrams and streams: which of them are one 0183 line or CAN bus, and into the books with them.

use super::Intake;
use crate::books::inventory::DeviceId;
use crate::books::wires::WireId;
use crate::recording::{CanFrame, WireKind, can_line};
use crate::time::Time;
use rustc_hash::FxHashMap;
use std::net::IpAddr;

/// Most feeds that are followed.
const MAX_FEEDS: usize = 1024;

/// A sender that gives the same lines to several receivers is followed to one of them; when that one gets nothing for
/// this long, the next is taken, seconds.
const RECEIVER_GONE_S: f64 = 10.0;

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

/// One sender's lines on one port.
#[derive(Debug)]
struct Feed {
    receiver: Receiver,
    last: Option<Time>,
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
        self.list.push((key, Feed { receiver, last: None, line: None, bus: None }));
        self.by_key.insert(key, id);
        Some(id)
    }
}

impl Intake {
    /// Books a line that a host's datagram or stream carries; `None` when its feed found no room.
    pub(super) fn carried_line(
        &mut self,
        feed: Option<FeedId>,
        receiver: Receiver,
        time: Option<Time>,
        line: &[u8],
    ) {
        let feed = feed.and_then(|id| self.feeds.list.get_mut(id.0 as usize));
        let Some((key, feed)) = feed else {
            self.feeds.unbooked += 1;
            return;
        };
        if feed.receiver != receiver {
            let gone = feed.last.zip(time).is_none_or(|(last, now)| now.since(last) > RECEIVER_GONE_S);
            if !gone {
                return;
            }
            feed.receiver = receiver;
        }
        feed.last = time.or(feed.last);
        let key = *key;
        let label = |books: &crate::books::Books| {
            let ip = books.inventory.get(key.host).and_then(|d| d.ips.first().copied());
            let place = ip.map_or_else(|| "a host".to_owned(), |ip| ip.to_string());
            Some(format!("{} port {} of {place}", if key.tcp { "TCP" } else { "UDP" }, key.port))
        };
        match content(line) {
            Some(Content::Sentence) => {
                let known = feed.line;
                let wire = known.unwrap_or_else(|| {
                    let label = label(&self.books);
                    self.books.wires.add_carried(key.wire, key.host, WireKind::Line, label)
                });
                feed.line = Some(wire);
                self.line(wire, time, line.trim_ascii(), Some(key.host));
            }
            Some(Content::Frame(frame)) => {
                let known = feed.bus;
                let wire = known.unwrap_or_else(|| {
                    let label = label(&self.books);
                    self.books.wires.add_carried(key.wire, key.host, WireKind::Can, label)
                });
                feed.bus = Some(wire);
                let frame = frame.lent();
                let bits = self.bits.of(&frame);
                self.can(wire, time, &frame, bits);
            }
            None => {}
        }
    }
}

enum Content {
    Sentence,
    Frame(CanFrame),
}

fn content(line: &[u8]) -> Option<Content> {
    match line.trim_ascii_start().first()? {
        b'$' | b'!' | b'\\' => Some(Content::Sentence),
        _ => can_line(line).map(Content::Frame),
    }
}
