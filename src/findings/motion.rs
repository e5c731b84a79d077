//! How the boat moved over a stretch of time, by its course and speed over ground.

use super::Evidence;
use super::pairs;
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::time::Span;
use crate::units::{KNOTS_PER_M_S, wrap_180};

/// Below this speed over ground the course says little of where the bow points, knots (common practice; worked examples
/// of compass adjustment by course over ground take the same).
pub(super) const UNDER_WAY_KN: f64 = 3.0;

/// A boat that was under way goes on to be while it is no slower than this, knots: a speed wavers by some tenths.
const KEEPS_WAY_KN: f64 = 2.0;

/// Two samples further apart than this are not joined, seconds.
const JOIN_S: f64 = 3.0;

/// No current of navigable water is faster, knots (common practice, no source): water passing faster means way.
const FASTEST_CURRENT_KN: f64 = 8.0;

/// A slower rate of turn may be a gyro's drift, degrees a second (common practice, no source).
const TURNS_DEG_S: f64 = 1.0;

/// A turn of the boat over a stretch of time.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Turn {
    /// How far it went away from where it pointed at the start, degrees.
    pub(super) furthest_deg: f64,
    /// Where it pointed at the end, against the start, degrees; clockwise is positive.
    pub(super) net_deg: f64,
}

impl Turn {
    fn by(&mut self, deg: f64) {
        self.net_deg += deg;
        self.furthest_deg = self.furthest_deg.max(self.net_deg.abs());
    }
}

/// The sources that tell how the boat moves.
pub(super) struct Motion<'a> {
    ground: Vec<&'a Source>,
    water: Vec<&'a Source>,
    turns: Vec<&'a Source>,
    headings: Vec<&'a Source>,
}

impl<'a> Motion<'a> {
    pub(super) fn of(evidence: &Evidence<'a>) -> Self {
        Self {
            ground: pairs::main_sources(evidence, "course-and-speed-over-ground"),
            water: pairs::main_sources(evidence, "speed-through-water"),
            turns: pairs::main_sources(evidence, "rate-of-turn"),
            headings: pairs::main_sources(evidence, "heading"),
        }
    }

    /// The sources of course and speed over ground, one of each device.
    pub(super) fn courses(&self) -> impl Iterator<Item = &'a Source> {
        self.ground.iter().copied()
    }

    /// How the course over ground turned in the span, while the boat was under way without a break; by the source that saw most
    /// of the span, which must be half of it.
    pub(super) fn course_turn(&self, span: Span) -> Option<Turn> {
        let mut best: Option<(f64, Turn)> = None;
        for source in &self.ground {
            let mut last: Option<Sample> = None;
            let (mut turn, mut seen_s) = (Turn::default(), 0.0);
            for s in within(source, span) {
                let slowest = if last.is_some() { KEEPS_WAY_KN } else { UNDER_WAY_KN };
                if s.a.is_nan() || s.b.is_nan() || s.b < slowest {
                    last = None;
                    turn.net_deg = 0.0;
                    continue;
                }
                match last.replace(*s).map(|l| (l, s.time.since(l.time))) {
                    Some((l, dt)) if dt <= JOIN_S => {
                        turn.by(wrap_180(s.a - l.a));
                        seen_s += dt;
                    }
                    _ => turn.net_deg = 0.0,
                }
            }
            if seen_s > span.seconds() / 2.0 && best.is_none_or(|(most_s, _)| seen_s > most_s) {
                best = Some((seen_s, turn));
            }
        }
        best.map(|(_, turn)| turn)
    }

    /// How the boat turned in the span by a rate of turn that is none of a gyro's drift, of several the furthest. At rest the
    /// course tells nothing, and this does.
    pub(super) fn turn(&self, span: Span) -> Option<Turn> {
        let by_rate = |one: &Sample, other: &Sample| {
            let deg_s = (one.a + other.a) / 2.0 / 60.0;
            (deg_s.abs() >= TURNS_DEG_S).then(|| deg_s * other.time.since(one.time))
        };
        furthest(self.turns.iter().map(|source| turned(source, span, by_rate)))
    }

    /// How the boat turned in the span by the heading of another device, of several the furthest.
    pub(super) fn turn_by_others(&self, span: Span, device: DeviceId) -> Option<Turn> {
        let by_heading = |one: &Sample, other: &Sample| {
            let deg = wrap_180(other.a - one.a);
            (!deg.is_nan()).then_some(deg)
        };
        let others = self.headings.iter().filter(|source| source.key.device != device);
        furthest(others.map(|source| turned(source, span, by_heading)))
    }

    /// The way that the boat made over ground in the span, metres: speed over ground by the device that saw most of it;
    /// without any, speed through the water, where no current explains it.
    pub(super) fn way_m(&self, span: Span) -> Option<f64> {
        let ground = self.ground.iter().filter_map(|s| way(s, span, |s| s.b)).max_by(f64::total_cmp);
        let by_no_current = |m: &f64| *m * KNOTS_PER_M_S > FASTEST_CURRENT_KN * span.seconds();
        let water = self.water_m(span).filter(by_no_current);
        match (ground, water) {
            (Some(g), Some(w)) => Some(g.max(w)),
            (g, w) => g.or(w),
        }
    }

    /// The way that the boat made over ground in the part of the span in which its speed is known, metres: it made no less.
    pub(super) fn known_way_m(&self, span: Span) -> Option<f64> {
        let ground = self.ground.iter().map(|s| known_way(s, span, |s| s.b).0).max_by(f64::total_cmp);
        match (self.way_m(span), ground) {
            (Some(way), Some(known)) => Some(way.max(known)),
            (way, known) => way.or(known),
        }
    }

    /// The way through the water, metres: the boat's, a current's, or both.
    pub(super) fn water_m(&self, span: Span) -> Option<f64> {
        self.water.iter().filter_map(|s| way(s, span, |s| s.a)).max_by(f64::total_cmp)
    }
}

/// A turn by what each two neighbouring samples of a source tell of it, degrees.
fn turned(source: &Source, span: Span, by: impl Fn(&Sample, &Sample) -> Option<f64>) -> Turn {
    let mut turn = Turn::default();
    for pair in within(source, span).windows(2) {
        let [one, other] = pair else { continue };
        if (0.0..=JOIN_S).contains(&other.time.since(one.time)) {
            by(one, other).into_iter().for_each(|deg| turn.by(deg));
        }
    }
    turn
}

fn furthest(turns: impl Iterator<Item = Turn>) -> Option<Turn> {
    turns.max_by(|a, b| a.furthest_deg.total_cmp(&b.furthest_deg))
}

/// The samples of a source within a span.
pub(super) fn within(source: &Source, span: Span) -> &[Sample] {
    let samples = source.track.samples();
    let start = samples.partition_point(|s| s.time < span.from);
    let end = samples.partition_point(|s| s.time <= span.to);
    samples.get(start..end).unwrap_or_default()
}

/// Way by a speed in knots; `None` when less than half of the span is known.
fn way(source: &Source, span: Span, knots: impl Fn(&Sample) -> f64) -> Option<f64> {
    let (way_m, known_s) = known_way(source, span, knots);
    (known_s > span.seconds() / 2.0).then_some(way_m)
}

/// Way by a speed in knots, metres, and for how long it is known, seconds.
fn known_way(source: &Source, span: Span, knots: impl Fn(&Sample) -> f64) -> (f64, f64) {
    let (mut way_m, mut known_s) = (0.0, 0.0);
    for pair in within(source, span).windows(2) {
        let [one, other] = pair else { continue };
        let dt = other.time.since(one.time);
        let kn = (knots(one) + knots(other)) / 2.0;
        if (0.0..=JOIN_S).contains(&dt) && !kn.is_nan() {
            way_m += kn.abs() / KNOTS_PER_M_S * dt;
            known_s += dt;
        }
    }
    (way_m, known_s)
}
