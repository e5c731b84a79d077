//! Hosts of a network: what they show when they come up or leave, and how much they send and get.

use super::cut::CutLines;
use super::inventory::DeviceId;
use super::longest::{Lasting, Longest};
use super::rate::Pause;
pub use super::rate::Rate;
use crate::soon;
use crate::time::{Span, Time};
use std::borrow::Cow;
use std::net::Ipv4Addr;

/// A host that was silent for this long may have been away, seconds.
const AWAY_S: f64 = 1.5;

/// What comes up shows it within this time, seconds: ARP probes and announcements take up to 8 s (RFC 5227 1.1).
pub const SHOWS_WITHIN_S: f64 = 8.0;

/// Stamps of two packets may be out of order by this much, seconds. What a host shows at a stamp well before that with which
/// it came back, it shows after the recorder's clock was set back.
const LATE_S: f64 = 1.0;

/// A host that was heard within this time can be reached, seconds (TCP repeats after 0.2, 0.6, 1.4 s; RFC 6298).
pub(super) const ALIVE_S: f64 = 1.0;

/// Who is back is asked for so often once more until the asker knows it.
const POLLS: u32 = 3;

/// A sign this close before a silence belongs to it, seconds.
const JUST_BEFORE_S: f64 = 2.0;

/// Signs of one kind at most this far apart are one episode, seconds.
const EPISODE_S: f64 = 10.0;

/// A shorter silence than this is also the pause between two messages of a slow host, seconds (common practice, no source).
const PAUSE_S: f64 = 8.0;

/// Who was offered an address takes it within this time, seconds; who was offered none asks again after 4 s, give or take one
/// (RFC 2131 4.1).
const TAKES_S: f64 = 2.5;

/// What a host shows when it comes up, or when it leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sign {
    /// ARP probe (RFC 5227).
    ArpProbe,
    /// ARP announcement or gratuitous reply.
    ArpAnnouncement,
    /// DHCP discover.
    DhcpDiscover,
    /// DHCP request after an offer or with a remembered lease; renewals are none.
    DhcpRequest,
    /// IPv6 router solicitation.
    RouterSolicitation,
    /// IPv6 duplicate address detection.
    DuplicateDetection,
    /// Group membership that no querier asked for.
    GroupJoin,
    /// Multicast DNS probe.
    NameProbe,
    /// Multicast DNS answer that nobody asked for.
    NameAnnouncement,
    /// SSDP alive.
    ServiceAlive,
    /// TCP connection opened (SYN).
    Connect,
    /// TCP connection closed (FIN), or broken off (RST), by it or by its peer.
    HangUp,
    /// Says that it leaves: mDNS goodbye, SSDP byebye, DHCP release, LLDP with no time to live.
    Goodbye,
}

impl Sign {
    /// Every sign, in the order of their numbers.
    pub const ALL: [Self; 13] = [
        Self::ArpProbe,
        Self::ArpAnnouncement,
        Self::DhcpDiscover,
        Self::DhcpRequest,
        Self::RouterSolicitation,
        Self::DuplicateDetection,
        Self::GroupJoin,
        Self::NameProbe,
        Self::NameAnnouncement,
        Self::ServiceAlive,
        Self::Connect,
        Self::HangUp,
        Self::Goodbye,
    ];

    /// Whether a host shows this only when its link or its network stack comes up.
    #[must_use]
    pub const fn is_strong(self) -> bool {
        matches!(
            self,
            Self::ArpProbe
                | Self::ArpAnnouncement
                | Self::DhcpDiscover
                | Self::DhcpRequest
                | Self::RouterSolicitation
                | Self::DuplicateDetection
                | Self::NameProbe
        )
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ArpProbe => "ARP probe",
            Self::ArpAnnouncement => "ARP announcement",
            Self::DhcpDiscover => "DHCP discover",
            Self::DhcpRequest => "DHCP request",
            Self::RouterSolicitation => "router solicitation",
            Self::DuplicateDetection => "IPv6 duplicate address check",
            Self::GroupJoin => "group membership report",
            Self::NameProbe => "mDNS probe",
            Self::NameAnnouncement => "mDNS announcement",
            Self::ServiceAlive => "SSDP alive",
            Self::Connect => "new TCP connection",
            Self::HangUp => "closed TCP connection",
            Self::Goodbye => "goodbye",
        }
    }
}

/// A set of signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Signs(u16);

impl Signs {
    /// Whether the sign is in the set.
    #[must_use]
    pub const fn has(self, sign: Sign) -> bool {
        self.0 & 1 << sign as u16 != 0
    }

    /// Adds a sign.
    pub const fn add(&mut self, sign: Sign) {
        self.0 |= 1 << sign as u16;
    }

    /// The signs, in the order of [`Sign::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Sign> {
        Sign::ALL.into_iter().filter(move |sign| self.has(*sign))
    }
}

/// A host that speaks again after a silence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Return {
    /// From its last frame before to the first after.
    pub silence: Span,
    /// What it showed just before it fell silent.
    pub before: Signs,
    /// What it showed within [`SHOWS_WITHIN_S`] after it came back.
    pub after: Signs,
    /// What it had shown before while it was there, as it may show at any time.
    pub usual: Signs,
    /// Whether others sought it meanwhile, by TCP.
    pub sought: bool,
    /// Whether somebody asked for its address meanwhile, again and again as nobody does who gets an answer.
    pub in_vain: bool,
}

/// One host's signs. What every frame of it touches stands first, and in these 64 bytes that come from memory at a time; what
/// every frame to it touches, in others: with thousands of hosts that is what the time goes for.
#[derive(Debug, Clone, Default)]
#[repr(C, align(64))]
pub struct Host {
    pub(super) last: Option<Time>,
    /// The bits of the IPv4 address that it spoke with last, and where the network has its claimants; zeros before.
    pub(super) claim: (u32, u32),
    /// What it sent: the load of its link from it.
    pub sent: Rate,
    open: Option<Return>,
    /// Signs that it showed at any time.
    shown: Signs,
    /// Those of them that it showed while it was there, and not as it came up.
    usual: Signs,
    /// The return after a longer silence just before, when it may still show how it came up.
    longer_open: Option<Return>,
    /// Its returns after the longest silences.
    returns: Longest<Return>,
    /// What was sent to it alone: the load of its link towards it, groups apart.
    pub received: Rate,
    /// Since when others seek it by TCP, while it says nothing.
    sought_since: Option<Time>,
    /// When its address was asked for in vain at last.
    in_vain: Option<Time>,
    /// How often it was asked for so though it was there: by one who polls, or whose answers the recorder does not see.
    polled: u32,
    first: Option<Time>,
    /// Frames shorter than Ethernet allows, as only the machine that records its own sees them before padding.
    pub unpadded: u64,
    /// What the recorder cut off the packets in which it sends lines.
    pub cut: CutLines,
    /// What it showed in its first seconds.
    pub at_first: Signs,
    /// What it showed just before its last frame.
    pub at_last: Signs,
    /// Whether others sought it after that, by TCP.
    pub sought_at_last: bool,
    /// How many times it showed each sign, one burst counted once.
    pub episodes: [u32; Sign::ALL.len()],
    /// Its DHCP discovers.
    pub discovers: u64,
    /// Those of them after the last offer, acknowledgement, or request for an offered address; since when.
    pub waiting: Option<(Span, u64)>,
    /// Offers and acknowledgements that it got.
    pub offers: u64,
    /// Its lease, once a server granted one: address and mask.
    pub lease: Option<(Ipv4Addr, Option<Ipv4Addr>)>,
    latest: [Option<Time>; Sign::ALL.len()],
}

impl Lasting for Return {
    fn micros(&self) -> i64 {
        self.silence.micros()
    }
}

impl Host {
    pub(super) fn frame(&mut self, time: Time, octets: u64, pause: &Pause) {
        match self.last.replace(time) {
            None => self.first = Some(time),
            Some(last) if time.since(last) >= AWAY_S => {
                self.close_open(time);
                self.open = Some(Return {
                    silence: Span::new(last, time),
                    before: self.shown_at(last),
                    after: Signs::default(),
                    usual: self.usual(),
                    sought: self.is_sought_before(time),
                    in_vain: self.in_vain.is_some_and(|asked| asked > last) && self.polled <= POLLS,
                });
            }
            Some(_) => {}
        }
        self.sought_since = None;
        self.sent.add(time, octets, pause);
    }

    pub(super) fn sign(&mut self, time: Time, sign: Sign) {
        for open in [&mut self.open, &mut self.longer_open].into_iter().flatten() {
            if (-LATE_S..=SHOWS_WITHIN_S).contains(&time.since(open.silence.to)) {
                open.after.add(sign);
            }
        }
        let came = self.open.filter(|open| open.silence.seconds() >= PAUSE_S).map(|open| open.silence.to);
        if self.first.is_none_or(|first| time.since(first) <= EPISODE_S) {
            self.at_first.add(sign);
        } else if came.is_none_or(|came| time.since(came) > EPISODE_S) {
            self.usual.add(sign);
        }
        let index = sign as usize;
        if let (Some(latest), Some(episodes)) = (self.latest.get_mut(index), self.episodes.get_mut(index)) {
            if latest.is_none_or(|latest| time.since(latest) > EPISODE_S) {
                *episodes = episodes.saturating_add(1);
            }
            *latest = Some(time);
            self.shown.add(sign);
        }
    }

    /// What it may show at any time: who gets no address asks again and again (RFC 2131 4.1).
    fn usual(&self) -> Signs {
        let mut usual = self.usual;
        if self.waiting.is_some() {
            usual.add(Sign::DhcpDiscover);
        }
        usual
    }

    /// It looks for a DHCP server.
    pub(super) fn discovers(&mut self, time: Option<Time>) {
        self.discovers += 1;
        if let Some(time) = time {
            let (span, asked) = self.waiting.get_or_insert((Span::new(time, time), 0));
            span.to = span.to.max(time);
            *asked += 1;
        }
    }

    /// It looks for a DHCP server, or takes an offer, which the recorder's cut does not tell; says whether it takes one: a client
    /// takes what it is offered at once, and asks again after seconds only.
    pub(super) fn seeks(&mut self, time: Option<Time>) -> bool {
        let before = self.waiting.map(|(span, _)| span.to);
        let takes = before.zip(time).is_some_and(|(before, time)| time.since(before) < TAKES_S);
        if takes {
            self.waiting = None;
        } else {
            self.discovers(time);
        }
        takes
    }

    /// Others send it what it must answer.
    pub(super) fn sought(&mut self, time: Time) {
        if self.last.is_some_and(|last| time.since(last) > ALIVE_S) {
            self.sought_since.get_or_insert(time);
        }
    }

    /// Its address was asked for again and again.
    pub(super) fn asked_again(&mut self, time: Time) {
        if self.last.is_some_and(|last| time.since(last) > ALIVE_S) {
            self.in_vain = Some(time);
        } else {
            self.polled = self.polled.saturating_add(1);
        }
    }

    /// Whether others had sought it well before a moment: not only as it answered then.
    fn is_sought_before(&self, moment: Time) -> bool {
        self.sought_since.is_some_and(|since| moment.since(since) > ALIVE_S)
    }

    /// What it showed just before `moment`.
    fn shown_at(&self, moment: Time) -> Signs {
        let mut signs = Signs::default();
        if self.shown == signs {
            return signs;
        }
        for (sign, latest) in Sign::ALL.into_iter().zip(self.latest) {
            if latest.is_some_and(|latest| moment.since(latest).abs() <= JUST_BEFORE_S) {
                signs.add(sign);
            }
        }
        signs
    }

    /// Makes room for another return at `time`. Of those after which the host may still show how it came up, the one after the
    /// longest silence stays open: between its probes it is silent too.
    fn close_open(&mut self, time: Time) {
        let shows = |open: &Return| time.since(open.silence.to) <= SHOWS_WITHIN_S;
        let longer = self.longer_open.take();
        let (stays, goes) = match (self.open.take(), longer) {
            (Some(open), Some(longer)) if shows(&longer) && longer.micros() > open.micros() => {
                (Some(longer), Some(open))
            }
            (Some(open), longer) if shows(&open) => (Some(open), longer),
            (open, longer) => {
                self.note(longer);
                (None, open)
            }
        };
        self.longer_open = stays;
        self.note(goes);
    }

    fn note(&mut self, back: Option<Return>) {
        if let Some(back) = back.filter(|back| self.returns.admits(back.micros())) {
            self.returns.add(back);
        }
    }

    /// Takes what is still open into account; call once at the end.
    pub fn settle(&mut self) {
        if let Some(last) = self.last {
            self.at_last = self.shown_at(last);
            self.sought_at_last = self.sought_since.is_some();
        }
        let open = [self.open.take(), self.longer_open.take()];
        open.into_iter().for_each(|back| self.note(back));
        self.sent.settle();
        self.received.settle();
    }

    /// Fetches where its next return comes to stand.
    pub(super) fn fetch_behind(&self) {
        self.returns.latest().inspect(|latest| soon::fetch(*latest));
    }

    /// Its returns after the longest silences.
    #[must_use]
    pub fn returns(&self) -> Cow<'_, [Return]> {
        self.returns.get()
    }
}

/// The hosts of a network, in order of first appearance. Bounded as the devices are.
#[derive(Debug, Clone, Default)]
pub struct Hosts {
    list: Vec<Host>,
    /// Whose accounts these are.
    devices: Vec<DeviceId>,
    /// Where a host stands in the list, by the device's number; one past its place, 0 for none.
    places: Vec<u32>,
}

impl Hosts {
    #[inline]
    fn place(&self, device: DeviceId) -> Option<usize> {
        self.places.get(device.0 as usize)?.checked_sub(1).map(|place| place as usize)
    }

    /// The account of a host; a new one when it has none yet.
    #[inline]
    pub(super) fn of(&mut self, device: DeviceId) -> &mut Host {
        let place = self.place(device).unwrap_or_else(|| self.add(device));
        #[allow(clippy::indexing_slicing, reason = "the place was found or made just above")]
        &mut self.list[place]
    }

    #[cold]
    fn add(&mut self, device: DeviceId) -> usize {
        let number = device.0 as usize;
        if self.places.len() <= number {
            self.places.resize(number + 1, 0);
        }
        self.list.push(Host::default());
        self.devices.push(device);
        if let Some(place) = self.places.get_mut(number) {
            *place = self.list.len() as u32;
        }
        self.list.len() - 1
    }

    /// Fetches what a frame of a host touches.
    pub(super) fn fetch_sender(&self, device: DeviceId) {
        if let Some(host) = self.get(device) {
            soon::fetch(&host.last);
            soon::fetch(&host.shown);
        }
    }

    /// Fetches what a frame to a host alone touches.
    pub(super) fn fetch_receiver(&self, device: DeviceId) {
        if let Some(host) = self.get(device) {
            soon::fetch(&host.received.octets);
        }
    }

    /// The account of a host, when it has one.
    #[must_use]
    pub fn get(&self, device: DeviceId) -> Option<&Host> {
        self.list.get(self.place(device)?)
    }

    /// Every host with its account.
    pub fn iter(&self) -> impl Iterator<Item = (DeviceId, &Host)> {
        self.devices.iter().copied().zip(&self.list)
    }

    /// Every account.
    pub fn values(&self) -> impl Iterator<Item = &Host> {
        self.list.iter()
    }

    pub(super) fn values_mut(&mut self) -> impl Iterator<Item = &mut Host> {
        self.list.iter_mut()
    }

    /// How many hosts there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.list.len()
    }
}
