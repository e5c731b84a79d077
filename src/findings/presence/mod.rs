//! Silences: which belong to a whole wire, which to a device, which to one message. One physical event, one owner: the
//! wider silence takes the narrower ones that lie in it.

mod but_one;
mod dips;
mod engines;
mod lone_messages;
mod moved;
mod of_devices;
mod of_hosts;
mod of_messages;
mod of_wires;
mod other_talker;
mod unheard;
mod visitors;

pub(in crate::findings) use of_devices::{starts_anew, went_on};

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::network::Signs;
use crate::books::timing::{Gaps, Message, Stream};
use crate::books::wires::{Wire, WireId};
use crate::recording::{TimeBase, WireKind};
use crate::time::{Span, Time};
use std::collections::BTreeMap;

/// A silence is looked at from here, seconds; shorter ones nobody aboard notices.
const NOTICEABLE_S: f64 = 1.5;

/// A message is missed when it stays away for this many of its intervals (common practice: five).
const MISSED_INTERVALS: f64 = 5.0;

/// While it starts, a device may pause between its announcements and its data for this long, seconds (ARP probing alone
/// takes up to 9 s, RFC 5227 1.1).
pub(crate) const STARTING_S: f64 = 10.0;

/// A device that stops and is not seen again must have been silent this long before the recording ends, seconds.
const GONE_S: f64 = 8.0;

/// Why a silence of a whole wire is taken to be the wire's and not the recorder's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WireSilence {
    /// Other wires of the same boat went on.
    OthersWentOn,
    /// Devices came up anew after it: this many.
    CameUpAnew(usize),
    /// Nothing tells it from a recorder that slept.
    Unexplained,
    /// Another recorder went on hearing the same devices: this one slept.
    RecorderSlept,
}

impl WireSilence {
    /// Whether it is the recorder's, as far as it shows.
    #[must_use]
    pub const fn is_recorders(self) -> bool {
        matches!(self, Self::Unexplained | Self::RecorderSlept)
    }
}

/// A silence of a device or of one of its messages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Silence {
    /// From the last frame before it to the first after it, or to the end of the wire's recording.
    pub span: Span,
    /// Whether the device came back.
    pub returned: bool,
}

/// Every silence, by owner.
#[derive(Debug, Default)]
pub struct Presence {
    /// Silences of whole wires.
    pub wires: Vec<(WireId, Span, WireSilence)>,
    /// Silences of whole wires in which but one of several devices was due.
    pub one_due: Vec<(Span, DeviceId)>,
    /// Silences of whole wires that are too short to be told, or that nobody missed: no device's and no message's own.
    brief: Vec<(WireId, Span)>,
    /// Silences of devices whose wire went on, without those that are restarts or flaps.
    pub devices: BTreeMap<DeviceId, Vec<Silence>>,
    /// N2K devices that claimed their address anew in mid-recording.
    pub restarts: BTreeMap<DeviceId, Vec<Span>>,
    /// Hosts that came back announcing themselves, with the signs that they showed.
    pub flaps: BTreeMap<DeviceId, Vec<(Span, Signs)>>,
    /// Silences of single messages whose device went on: index into the timing book.
    pub messages: Vec<(usize, Vec<Silence>)>,
    /// Devices that said goodbye before they fell silent.
    pub goodbyes: Vec<DeviceId>,
    /// Wires that were being switched off at the end: most devices stopped one after another.
    pub switched_off: Vec<WireId>,
    /// The shortest interval of each device's messages with a rhythm, seconds, by the device's number.
    cadences: Vec<Option<f64>>,
}

impl Presence {
    /// How many silences of a stream are told: of itself, its device, the host that carries it or its wire.
    pub(in crate::findings) fn silences(&self, books: &Books, stream: &Stream) -> u64 {
        let of = |id: DeviceId| {
            self.devices.get(&id).map_or(0, Vec::len)
                + self.restarts.get(&id).map_or(0, Vec::len)
                + self.flaps.get(&id).map_or(0, Vec::len)
        };
        let is_it = |index: usize| books.timing.iter().nth(index).is_some_and(|s| std::ptr::eq(s, stream));
        let own =
            self.messages.iter().find(|(index, _)| is_it(*index)).map_or(0, |(_, silences)| silences.len());
        let wire = books.inventory.get(stream.device).map(|device| books.root(device.wire));
        let of_wire = self.wires.iter().map(|(id, ..)| id).chain(self.brief.iter().map(|(id, _)| id));
        let of_wire = of_wire.filter(|id| Some(**id) == wire).count();
        (of(stream.device) + books.carrier(stream.device).map_or(0, of) + own + of_wire) as u64
    }

    /// How long a silence lasts without the time in which wires were silent too, seconds: those that `is_its` tells of, and with their
    /// brief silences those that it `is_on`. Who fell silent with its wire, as far as `heard_s` seconds between two of its messages
    /// tell, may be back later than others, by what `late_s` allows.
    fn own_s(
        &self,
        is_its: impl Fn(WireId) -> bool,
        is_on: impl Fn(WireId) -> bool,
        silence: Span,
        heard_s: f64,
        late_s: impl Fn(WireSilence) -> f64,
    ) -> f64 {
        let told = self.wires.iter().filter(|(wire, ..)| is_its(*wire));
        let told = told.map(|(_, span, why)| (span, late_s(*why)));
        let brief = self.brief.iter().filter(|(wire, _)| is_on(*wire)).map(|(_, span)| (span, 0.0));
        let taken = told.chain(brief).map(|(span, late_s)| taken_s(*span, silence, heard_s, late_s));
        (silence.seconds() - taken.sum::<f64>()).max(0.0)
    }

    /// The silences of these wires that are the wires' own.
    fn outages(&self, is_its: impl Fn(WireId) -> bool) -> impl Iterator<Item = Span> {
        let own = move |(wire, _, why): &&(WireId, Span, WireSilence)| is_its(*wire) && !why.is_recorders();
        self.wires.iter().filter(own).map(|(_, span, _)| *span)
    }

    /// The silences of these wires in which their recorder may have slept.
    fn slept(&self, is_its: impl Fn(WireId) -> bool + Copy) -> impl Iterator<Item = Span> {
        let told =
            self.wires.iter().filter(|(_, _, why)| why.is_recorders()).map(|(wire, span, _)| (wire, span));
        let brief = self.brief.iter().map(|(wire, span)| (wire, span));
        told.chain(brief).filter(move |(wire, _)| is_its(**wire)).map(|(_, span)| *span)
    }

    fn cadence(&self, device: DeviceId) -> Option<f64> {
        self.cadences.get(device.0 as usize).copied().flatten()
    }
}

/// Finds every silence and its owner.
#[must_use]
pub fn survey(books: &Books) -> Presence {
    let cadences = books.inventory.iter().map(|(id, _)| cadence(books, id)).collect();
    let mut presence = Presence { cadences, ..Presence::default() };
    unheard::find(books, &mut presence);
    of_wires::find(books, &mut presence);
    dips::find(books, &mut presence);
    but_one::find(books, &mut presence);
    of_devices::find(books, &mut presence);
    of_messages::find(books, &mut presence);
    lone_messages::find(books, &mut presence);
    presence
}

/// Streams that come by a clock of their own, and whose silence therefore says something: those with a rhythm that fill a
/// good part of the time in which the device was seen. Requests and answers come in bursts and are none; what comes and
/// goes with a page or a route must fill most of it. ARP goes by the clock of whoever asks, and SSDP is said anew at random
/// times, in bursts, far apart.
pub(in crate::findings) fn periodic(books: &Books, device: DeviceId) -> impl Iterator<Item = &Stream> {
    let seen = heard_s(books, device);
    books.timing.of(device).filter(move |s| {
        !matches!(s.message, Message::Protocol("arp" | "ssdp"))
            && !is_on_demand(s)
            && !is_asked_for(books, s)
            && s.pulse_s().is_some()
            && s.filled_s() >= if comes_and_goes(s) { FILLS_MOSTLY } else { FILLS } * seen
    })
}

/// A message is periodic that fills this share of the time in which its device was seen.
const FILLS: f64 = 0.25;

/// What comes and goes must fill this share.
const FILLS_MOSTLY: f64 = 0.6;

/// For how long a device was there while its wire was heard, seconds: a recorder that slept tells nothing of it, nor does a link
/// that was down for a while of how steadily a host speaks.
fn heard_s(books: &Books, device: DeviceId) -> f64 {
    let Some(seen) = books.inventory.seen(device) else { return 0.0 };
    let wire = books.inventory.get(device).and_then(|d| books.wires.get(books.root(d.wire)));
    let slept = wire.map(|wire| wire.gaps.over(SLEPT_S)).unwrap_or_default();
    let within = |gap: &Span| gap.shared_s(seen).max(0.0);
    let down_s: f64 = of_hosts::downs(books, device)
        .filter(|down| !slept.iter().any(|gap| gap.shared_s(*down) > 0.0))
        .map(|down| down.seconds())
        .sum();
    let heard = (seen.seconds() - slept.iter().map(within).sum::<f64>() - down_s).max(0.0);
    // Between the stamps before and after a clock was set back lies nothing.
    wire.filter(|wire| wire.is_rewound()).map_or(heard, |wire| heard.min(books.recorded_s(wire)))
}

/// A wire on which nothing comes for so long is out, or its recorder slept, seconds.
const SLEPT_S: f64 = 10.0;

/// Messages that nobody owes by a clock: requests and answers, group functions, alerts, switch commands, what a device says
/// of itself, and what other ships say of themselves (NMEA 2000 appendix B: no default interval, or on request; AIS by
/// ITU-R M.1371). An open page of a display asks once a second.
fn is_on_demand(stream: &Stream) -> bool {
    match &stream.message {
        Message::Pgn(pgn) => matches!(
            pgn,
            59_392 | 59_904 | 60_928 | 65_240 | 126_208 | 126_464 | 126_983
                ..=126_988 | 126_996 | 126_998 | 127_233 | 127_502 | 128_776 | 129_038
                ..=129_041 | 129_792
                ..=129_816 | 130_060 | 130_074
        ),
        Message::Sentence(name) => name.as_str().ends_with("VDM"),
        Message::Protocol(_) => false,
    }
}

/// Whether most messages of a stream are answers to requests for them: of satellites, say, while a page shows them.
fn is_asked_for(books: &Books, stream: &Stream) -> bool {
    let Message::Pgn(pgn) = stream.message else { return false };
    let bus = books.inventory.get(stream.device).and_then(|device| books.buses.get(device.wire));
    let asked = bus.and_then(|bus| bus.requests.iter().find(|(key, _)| *key == (stream.device, pgn)));
    asked.is_some_and(|(_, requests)| 2 * requests.answered >= stream.count)
}

/// A stream that stopped longer than this and two of its intervals before a silence had not stopped with it, seconds.
const BEFORE_S: f64 = 0.5;

/// Whether a moment of a device is the last one before the boat's own clock leapt: what comes after the leap, or after the
/// recorder slept, bears that time too, until the clock is heard again.
pub(super) fn ends_in_a_leap(books: &Books, id: DeviceId, at: Time) -> bool {
    let wire = books.inventory.get(id).and_then(|device| books.wires.get(device.wire));
    wire.is_some_and(|wire| on_boat_clock(books, wire) && of_wires::leaps(wire).any(|leap| leap.from == at))
}

/// Whether a stream flowed up to a silence, and did not begin after it or pause well before.
fn flowed_into(stream: &Stream, silence: Span) -> bool {
    let before = stream.pulse_s().unwrap_or(0.0).mul_add(2.0, BEFORE_S);
    let early = |moment: Time| silence.from.since(moment) > before;
    let paused = |gap: &Span| early(gap.from) && gap.to >= silence.to;
    let begun = stream.first.is_some_and(|first| first <= silence.from);
    let goes_on = stream.last.is_some_and(|last| !early(last));
    // Where the clock was set back, its first frame stands behind its last.
    let lived = if stream.is_parted() { begun || goes_on } else { begun && goes_on };
    lived && !stream.gaps.over(silence.seconds()).iter().any(paused) && !only_knocked(stream, silence)
}

/// Whether all that came of a connection between a pause, or its first frame, and a silence were attempts at it: whoever finds nobody
/// there tries again every few seconds, and speaks no more than that; and who is connected to may have nothing to say yet.
fn only_knocked(stream: &Stream, silence: Span) -> bool {
    let Some(pulse) = stream.pulse_s().filter(|_| stream.message == Message::Protocol("tcp")) else {
        return false;
    };
    let pauses = stream.gaps.over(2.0 * pulse);
    let until = pauses.iter().filter(|pause| pause.from <= silence.from && pause.to >= silence.to);
    let Some(until) = until.map(|pause| pause.from).max().or(stream.last) else { return false };
    let noticeable = (MISSED_INTERVALS * pulse).max(NOTICEABLE_S);
    let long = pauses.iter().filter(|pause| pause.to <= until && pause.seconds() > noticeable);
    let Some(since) = long.map(|pause| pause.to).max().or(stream.first) else { return false };
    let between = Span::new(since, until);
    let paused_s: f64 = pauses.iter().map(|pause| pause.shared_s(between).max(0.0)).sum();
    between.seconds() - paused_s < 2.0 * pulse
}

/// Messages that are rightly sent now and then: those of makers, whose meaning is not known, and those of a route or a
/// target that somebody switches on and off.
fn comes_and_goes(stream: &Stream) -> bool {
    match stream.message {
        Message::Pgn(pgn) => matches!(
            pgn,
            61_184 | 65_280..=65_535 | 126_720 | 130_816..=131_071 | 127_237 | 129_283..=129_285
        ),
        Message::Sentence(name) => {
            let name = name.as_str();
            name.starts_with('P') || name.ends_with("TTM") || is_of_a_route(stream)
        }
        // A picture or a page that somebody opens and closes.
        Message::Protocol(protocol) => matches!(protocol, "udp" | "tcp"),
    }
}

/// Messages that are sent while somebody follows a route or has the boat steered, and not before or after.
fn is_of_a_route(stream: &Stream) -> bool {
    match stream.message {
        Message::Pgn(pgn) => matches!(pgn, 127_237 | 129_283..=129_285),
        Message::Sentence(name) => {
            let of_it = ["APA", "APB", "BOD", "BWC", "BWR", "HSC", "RMB", "XTE", "XTR"];
            !name.as_str().starts_with('P')
                && of_it.iter().any(|formatter| name.as_str().ends_with(formatter))
        }
        Message::Protocol(_) => false,
    }
}

/// The shortest interval of a device's messages with a rhythm, seconds, or of those that its packets carry.
fn cadence(books: &Books, device: DeviceId) -> Option<f64> {
    beats(books, device).filter_map(Stream::pulse_s).min_by(f64::total_cmp)
}

/// The periodic messages of a device, and of those that its packets carry: a gateway that puts each sentence into a datagram of
/// its own has no rhythm but theirs.
fn beats(books: &Books, device: DeviceId) -> impl Iterator<Item = &Stream> {
    let carried = books.carried(device).iter().flat_map(move |id| periodic(books, *id));
    periodic(books, device).chain(carried)
}

/// How long something with this interval may stay away, on a wire with these stamps. The boat's own clock is one of them: where
/// it leaps, it does so for all, and the silence is the wire's; where it stands still, the others' sentences tell the time.
pub(in crate::findings) fn patience(books: &Books, interval_s: f64, wire: &Wire) -> f64 {
    let usual = (MISSED_INTERVALS * interval_s).max(interval_s + 3.0 * wire.stamp_s()).max(NOTICEABLE_S);
    match on_boat_clock(books, wire) {
        true if disagrees(books, wire) => usual.mul_add(3.0, NOTICEABLE_S),
        true => usual.max(COUNTED_S),
        false => usual,
    }
}

/// Whether a silence is longer than a stream may stay away at the pace that it has there.
fn is_missed(books: &Books, stream: &Stream, wire: &Wire, silence: Span) -> bool {
    let pace = stream.pace_near(silence, wire.stamp_s());
    pace.is_none_or(|pace| silence.seconds() > patience(books, pace, wire))
}

/// Time that is counted by sentences, or comes in the steps of a slow clock, shows no shorter silence, seconds (common practice, no
/// source).
const COUNTED_S: f64 = 4.0;

/// Whether the boat's clock goes back again and again, more often than somebody sets it: two talkers that give the time do not
/// agree on it.
fn disagrees(books: &Books, wire: &Wire) -> bool {
    on_boat_clock(books, wire) && wire.is_rewound()
}

/// On an Ethernet traffic comes as it is needed: a silence must stand out from the usual ones, by this factor.
const STANDS_OUT: f64 = 2.0;

/// As [`patience`], but on an Ethernet no less than twice what is usual for these pauses.
fn patience_with(books: &Books, interval_s: f64, wire: &Wire, gaps: &Gaps) -> f64 {
    let usual = if wire.kind == WireKind::Ethernet { gaps.usual_s().unwrap_or(0.0) } else { 0.0 };
    patience(books, interval_s, wire).max(STANDS_OUT * usual)
}

/// Whether the recorder wrote no times, so that they come from the boat's own sentences, and leap when these do.
pub(crate) fn on_boat_clock(books: &Books, wire: &Wire) -> bool {
    let base = books.recordings.get(wire.recording).map(|r| r.time_base);
    matches!(base, Some(TimeBase::BoatClock | TimeBase::BoatTimeOfDay))
}

/// How much of a silence a wider one takes, seconds: who fell silent with it, as far as `heard_s` tells, may be back by so much
/// later; who was silent before, or fell silent in it, starts like any other.
fn taken_s(wider: Span, silence: Span, heard_s: f64, late_s: f64) -> f64 {
    let late_s = match wider.from.since(silence.from).abs() <= heard_s {
        true => late_s,
        false if silence.from < wider.to => late_s.min(STARTING_S),
        false => 0.0,
    };
    Span::new(wider.from, wider.to.plus(late_s)).shared_s(silence).max(0.0)
}

/// Whether a silence begins where a recording ends with which another goes on later, as far as `heard_s` seconds between two messages
/// tell: what happened then, nobody recorded.
fn is_cut_off(wire: &Wire, silence: Span, heard_s: f64) -> bool {
    let heard = -of_wires::EDGE_S..=heard_s;
    wire.breaks.iter().any(|between| heard.contains(&between.from.since(silence.from)))
}

fn covered(span: Span, by: Span) -> bool {
    let shared = span.shared_s(by);
    shared > 0.5 * span.seconds().min(by.seconds()).max(0.001) && by.seconds() > 0.4 * span.seconds()
}

/// Whether a pause among these covers a silence.
fn is_silent(gaps: &Gaps, span: Span) -> bool {
    gaps.over(span.seconds() * 0.5).iter().any(|gap| covered(span, *gap))
}

/// Whether most of `span` lies in `gap`.
fn within(gap: Span, span: Span) -> bool {
    span.shared_s(gap) >= 0.8 * span.seconds()
}

/// Who has come by its rhythm for this long after an outage has started, and so many of its intervals, seconds.
const STARTED_S: f64 = 2.0;
const STARTED_PULSES: f64 = 4.0;

/// Whether a stream came by its rhythm again after its wire was back, up to a silence.
fn has_started(stream: &Stream, back: Time, silence: Span) -> bool {
    let Some(pulse) = stream.pulse_s() else { return false };
    let pauses = stream.gaps.over((STARTED_PULSES / 2.0 * pulse).max(NOTICEABLE_S));
    let again = pauses.iter().filter(|pause| pause.from < silence.from).map(|pause| pause.to).max();
    let since = again.map_or(back, |again| again.max(back));
    silence.from.since(since) >= (STARTED_PULSES * pulse).max(STARTED_S) && flowed_into(stream, silence)
}

/// Whether a silence begins while what came up at `start` may still be starting.
fn follows(silence: Span, start: Time) -> bool {
    let after = silence.from.since(start);
    (-0.5..=STARTING_S).contains(&after)
}
