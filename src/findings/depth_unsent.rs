//! Depth messages that a sounder does not send where it loses the bottom at speed: some say nothing instead of saying that
//! they have no depth.

use super::motion::within;
use super::presence::periodic;
use super::{Evidence, address_conflict, depth_lost_at_speed, pairs};
use crate::books::inventory::DeviceId;
use crate::books::series::{SPEED_CLASS_KN, SPEED_CLASSES, Source};
use crate::books::timing::{Message, Stream};
use crate::books::wires::Wire;
use crate::time::{Span, Time};

/// The pauses of a source that go with the boat's speed, and what they make of its counts.
pub(super) struct Unsent {
    /// Who is silent.
    pub(super) device: DeviceId,
    /// When.
    pub(super) spans: Vec<Span>,
    /// Messages with a depth, and those without or unsent, by speed.
    pub(super) by_speed: Vec<(u32, u32)>,
}

/// A message is unsent from so many intervals on.
const UNSENT_INTERVALS: f64 = 3.0;

/// A sounder that looks for the bottom finds it once in a while: so many depths, or so many intervals of which no more than half
/// brought one, part no two pauses.
const STRAYS: usize = 2;
const STRAY_INTERVALS: f64 = 10.0;

/// One pause beside a run at speed is a chance; so many are none.
const PAUSES: usize = 2;

/// Of the pauses at least this share begins and ends about the threshold.
const AT_THRESHOLD: f64 = 0.75;

/// How far the speed may be past the threshold when a pause begins or ends, knots, and so many seconds before or after it:
/// sounders look for a while, and a boat gains some knots a second.
const SLACK_KN: f64 = 3.0;
const SLACK_S: f64 = 2.0;

/// The depth sources that pause at speed, found once for all detectors that ask.
pub(super) fn all<'e>(evidence: &'e Evidence<'_>) -> &'e [Unsent] {
    evidence.depth_unsent.get_or_init(|| {
        // Of two who contend for an address each speaks for the time that it holds it.
        let contends = |s: &&Source| address_conflict::involves(evidence.books, s.key.device);
        let sources = pairs::main_sources(evidence, "depth").into_iter().filter(|s| !contends(s));
        sources.filter_map(|s| unsent(evidence, s)).collect()
    })
}

/// Whether a silence of a device, or of one of its messages, is that of a depth that is lost at speed. A device that sends
/// more than depth and is silent altogether has lost more.
pub(super) fn explains(
    evidence: &Evidence<'_>,
    device: DeviceId,
    message: Option<Message>,
    silence: Span,
) -> bool {
    message.map_or_else(|| only_depth(evidence, device), |message| is_depth(evidence, device, message))
        && all(evidence)
            .iter()
            .any(|u| u.device == device && u.spans.iter().any(|span| span.touches(silence, 0.5)))
}

fn is_depth(evidence: &Evidence<'_>, device: DeviceId, message: Message) -> bool {
    evidence.books.series.of("depth").any(|s| s.key.device == device && s.key.message == message)
}

/// Whether a device sends nothing by the clock but depth.
fn only_depth(evidence: &Evidence<'_>, device: DeviceId) -> bool {
    periodic(evidence.books, device).all(|stream| is_depth(evidence, device, stream.message))
}

fn unsent(evidence: &Evidence<'_>, source: &Source) -> Option<Unsent> {
    let stream = evidence.books.stream(source)?;
    let every_s = stream.pulse_s()?;
    let speed = pairs::main_sources(evidence, "course-and-speed-over-ground")
        .into_iter()
        .max_by_key(|speed| speed.valid)?;
    let speed = pairs::Curve::new(speed.track.samples(), false);
    let at = |time| speed.both_at(time).map(|(_, kn)| kn).filter(|kn| kn.is_finite());
    let mut by_speed = source.by_speed.clone();
    by_speed.resize(SPEED_CLASSES, (0, 0));
    let mut pauses = pauses(evidence, stream, every_s);
    let mut to_the_end = false;
    let wire = evidence.books.inventory.get(stream.device).and_then(|d| evidence.books.wires.get(d.wire));
    if let (Some(last), Some(end)) = (stream.last, wire.and_then(Wire::ended))
        && end.since(last) > UNSENT_INTERVALS * every_s
    {
        pauses.push(Span::new(last, end));
        to_the_end = true;
    }
    for pause in &pauses {
        let missing = (pause.seconds() / every_s).round() as u32;
        for n in 1..missing {
            let kn = at(pause.from.plus(f64::from(n) * every_s))?;
            if let Some((_, without)) = by_speed.get_mut((kn.abs() / SPEED_CLASS_KN) as usize) {
                *without += 1;
            }
        }
    }
    let pauses = joined(source, &pauses, every_s);
    // A run that goes on to the end of the recording does not return.
    let returns = pauses.len() - usize::from(to_the_end);
    let threshold = depth_lost_at_speed::parted(&by_speed)?.threshold_kn;
    // A stray depth may come just after the boat passed the threshold, or before.
    let slack_s = SLACK_S + UNSENT_INTERVALS * every_s;
    let about = |time: Time, sign: f64| {
        let speeds = [-slack_s, 0.0, slack_s].into_iter().filter_map(|s| at(time.plus(s)));
        speeds.map(|kn| sign * (kn - threshold)).fold(f64::NAN, f64::max) >= -SLACK_KN
    };
    let with_speed =
        |(n, pause): &(usize, &Span)| about(pause.from, 1.0) && (*n >= returns || about(pause.to, -1.0));
    let found = pauses.iter().enumerate().filter(with_speed).count();
    (found >= PAUSES && found as f64 >= AT_THRESHOLD * pauses.len() as f64).then_some(Unsent {
        device: source.key.device,
        spans: pauses,
        by_speed,
    })
}

/// The pauses with those made one that only stray depths part.
fn joined(source: &Source, pauses: &[Span], every_s: f64) -> Vec<Span> {
    let strays = |from, to| {
        let between = Span::new(from, to);
        let (came, intervals) = (within(source, between).len(), between.seconds() / every_s);
        intervals <= STRAY_INTERVALS && (came <= STRAYS || 2.0 * came as f64 <= intervals + 1.0)
    };
    let mut all: Vec<Span> = Vec::new();
    for pause in pauses {
        match all.last_mut() {
            Some(last) if strays(last.to, pause.from) => last.to = last.to.max(pause.to),
            _ => all.push(*pause),
        }
    }
    all
}

/// The pauses in which the wire went on.
fn pauses(evidence: &Evidence<'_>, stream: &Stream, every_s: f64) -> Vec<Span> {
    let wire = evidence.books.inventory.get(stream.device).map(|device| device.wire);
    let of_wire = |span: &Span| {
        evidence.presence.wires.iter().any(|(w, s, _)| Some(*w) == wire && s.touches(*span, 0.0))
    };
    let of_device = |span: &Span| {
        let silences = evidence.presence.devices.get(&stream.device).into_iter().flatten();
        !only_depth(evidence, stream.device) && silences.into_iter().any(|s| s.span.touches(*span, 0.0))
    };
    let mut pauses = stream.gaps.over(UNSENT_INTERVALS * every_s);
    pauses.retain(|span| !of_wire(span) && !of_device(span) && !evidence.books.clock_leapt(*span));
    pauses
}
