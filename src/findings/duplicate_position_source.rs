//! Two or more devices supply position.

use super::heading_words::{Off, off_by_course};
use super::pairs::{self, Curve};
use super::words::{number, seconds};
use super::{Detector, Doc, Evidence, Finding, fix_times, position_frozen, two_in_turn};
use crate::books::Books;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::{Span, Time};
use crate::units::Place;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "duplicate-position-source",
        severity: "warning; fault when the two lie more than 30 m apart for the worst 5 %; note for an echo",
        meaning: "Two or more devices supply position. A display that swaps between them moves the boat by the distance \
                  of the antennas, or by the error of the worse one.",
        detection: "The positions of every two devices are compared at the same moments on the ellipsoid, those of the fixes where \
                    messages of both bear them. The same values \
                    again, later: an echo. A distance that stays the same to within a few metres: two antennas, whose \
                    places are turned into the boat's axes when a heading is there, or, from 30 m on, a receiver with an \
                    offset. Anything else: unrelated, also one that is on this side of the other now and then on that. Values \
                    of one talker that change between two places all the time: two receivers with one name.",
        lookalikes: "A gateway that repeats a position that it hears. One receiver that sends position in several \
                     messages is one source.",
        checks: "Choose one position source on every display. Where the two lie far apart, look for a poor fix, a \
                 simulator, or another datum in one of them.",
        cautions: "Do not navigate by a position that jumps; keep a look-out and use a second means.",
    },
    complaints: &["position-jumps"],
    detect,
};

/// Positions are compared at no more than this many moments.
const MAX_MOMENTS: usize = 4000;

/// The distance of two antennas on one boat swings by no more than this around its middle (noise of two receivers,
/// common practice), metres.
const ANTENNA_SWING_M: f64 = 8.0;

/// The noise of two sound receivers side by side keeps them nearer than this in the middle (common practice, no source), metres.
const WANDERS_M: f64 = 4.0;

/// Metres of a degree of latitude, to within a per cent.
const METRES_PER_DEGREE: f64 = 111_000.0;

/// No two antennas on a boat of this kind are further apart, metres.
const ANTENNAS_WITHIN_M: f64 = 30.0;

/// From so many seconds on it is told that one is sent later after its fix.
const TELLING_S: f64 = 0.1;

/// Two positions further apart than this for the worst 5 % are a fault (the catalogue's bound), metres.
const GRAVE_M: f64 = 30.0;

struct Comparison {
    median_m: f64,
    p95_m: f64,
    echo_s: Option<f64>,
    /// By how much longer after its fix the second one's place is sent, seconds; it is compared at the times of the fixes.
    later_s: f64,
    /// Seconds by which the second comes late, where the distance grows with the speed.
    late: Option<f64>,
    constant: bool,
    /// Further apart than two antennas of a boat, and steadily so.
    far: bool,
    axes: Option<(f64, f64, f64)>,
    moments: usize,
    span: Span,
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let copies = pairs::position_repeaters(evidence);
    pairs::pairs(evidence, "position")
        .into_iter()
        .filter(|(a, b)| {
            pairs::worth_comparing(evidence.books, copies, a, b, "position", pairs::place_tolerance)
        })
        .filter_map(|(a, b)| {
            let comparison = compare(evidence, a, b)?;
            if comparison.echo_s.is_some_and(|delay| delay < 0.0) {
                return Some(finding(evidence.books, b, a, &compare(evidence, b, a)?));
            }
            let echo = comparison.echo_s.is_some();
            let at_fixes = if echo { None } else { at_fixes(evidence, a, b) };
            let (a, b, comparison) = at_fixes.unwrap_or((a, b, comparison));
            Some(finding(evidence.books, a, b, &comparison))
        })
        .chain(two_in_turn::of_talkers(evidence, "position", copies).into_iter().map(|two| {
            let severity = if two.p95() > GRAVE_M { Severity::Fault } else { Severity::Warning };
            two.of_talker(evidence, severity)
                .real("median_separation_m", two.turns.apart.0)
                .real("p95_separation_m", two.p95())
                .text("relation", "constant-separation")
        }))
        .collect()
}

/// The comparison of two devices by those of their messages that bear the times of the fixes, where one is sent later after its fix than
/// the other and the usual messages bear none; not of an echo, which shows best in these.
fn at_fixes<'a>(
    evidence: &Evidence<'a>,
    a: &'a Source,
    b: &'a Source,
) -> Option<(&'a Source, &'a Source, Comparison)> {
    let (a, b) = fix_times::timed(evidence.books, a, b)?;
    let comparison = compare(evidence, a, b)?;
    let tells = comparison.later_s.abs() >= TELLING_S && comparison.echo_s.is_none();
    tells.then_some((a, b, comparison))
}

fn place(sample: (f64, f64)) -> Place {
    Place { lat_deg: sample.0, lon_deg: sample.1 }
}

fn compare(evidence: &Evidence<'_>, a: &Source, b: &Source) -> Option<Comparison> {
    let first = Curve::new(a.track.samples(), false);
    let second = Curve::new(b.track.samples(), false);
    let step = (second.samples().len() / MAX_MOMENTS).max(1);
    let stands = [a, b].into_iter().flat_map(|s| position_frozen::stands(evidence, s)).collect::<Vec<_>>();
    let moments = |later_s: f64| {
        let beside = |s: &Sample| Some((*s, first.both_at(s.time.plus(-later_s))?));
        let moments = second.samples().iter().step_by(step).filter_map(beside).collect();
        let moments = pairs::alive(moments, |(s, _)| s.time, &stands);
        if a.steps.count + b.steps.count > 0 { without_jumps(moments) } else { moments }
    };
    let later_s = fix_times::later_s(evidence.books, a, b).unwrap_or(0.0);
    let (moments, later_s) = better(moments(0.0), moments(later_s), later_s);
    if moments.len() < 10 {
        return None;
    }
    let span = Span::new(moments.first()?.0.time, moments.last()?.0.time);
    let mut distances = distances(&moments);
    let median_m = pairs::median(&mut distances)?;
    let p95_m = pairs::quantile(&mut distances, 0.95)?;
    let p5_m = pairs::quantile(&mut distances, 0.05)?;
    let tolerance = pairs::place_tolerance(&first, &second);
    let echo_s = pairs::echo(evidence.books, (a, &first), (b, &second), tolerance);
    // Two roundings make the distance swing by a step of each.
    let rounding_m = 2.0 * pairs::place_step(&first).max(pairs::place_step(&second)) * METRES_PER_DEGREE;
    let within_m = ANTENNAS_WITHIN_M + rounding_m / 2.0;
    let held = |p5: f64, middle: f64, p95: f64| {
        // Of two antennas close by, noise swings the distance by a good part of it.
        let share = if p95 <= within_m { 0.8 * middle } else { 0.0 };
        p95 - p5 <= ANTENNA_SWING_M.max(share).max(rounding_m)
    };
    let rigid = held(p5_m, median_m, p95_m);
    let far = rigid && median_m > within_m;
    let constant = rigid || late_only(&first, &second, step, held);
    let late = if constant && !far && echo_s.is_none() { lateness(&first, &moments) } else { None };
    let by = late.unwrap_or(0.0);
    let axes = if constant && echo_s.is_none() { axes(evidence, &first, &moments, by) } else { None };
    // Two antennas keep their places; what is on this side now and on that one then wanders. An offset lies the same way on the
    // chart, and not on the boat.
    let wanders = |axes: &Axes| median_m > WANDERS_M && axes.place.0.hypot(axes.place.1) < median_m / 3.0;
    let constant = constant && (far || late.is_some() || !axes.as_ref().is_some_and(wanders));
    let axes = axes.filter(|_| constant);
    // What is so far off has a place in the boat's axes only where it turns with the boat.
    let axes = axes.filter(|axes| !far || axes.spread <= RIGID_M).map(|axes| axes.place);
    let moments = moments.len();
    Some(Comparison { median_m, p95_m, echo_s, later_s, late, constant, far, axes, moments, span })
}

fn distances(moments: &[(Sample, (f64, f64))]) -> Vec<f64> {
    moments.iter().map(|(s, at)| place(*at).to(place((s.a, s.b))).0).collect()
}

/// At the times of the fixes two antennas keep their distance at least as well as at the times at which their places are sent, to within
/// this share of its swing; or a receiver tells a wrong time.
const AS_WELL: f64 = 1.1;

/// The moments of sending or of the fixes, with how much later the second one's are sent then, seconds.
fn better<M: AsRef<[(Sample, (f64, f64))]>>(sent: M, fixed: M, later_s: f64) -> (M, f64) {
    let swing = |moments: &M| {
        let mut of = distances(moments.as_ref());
        Some(pairs::quantile(&mut of, 0.95)? - pairs::quantile(&mut of, 0.05)?)
    };
    match (swing(&sent), swing(&fixed)) {
        (Some(one), Some(other)) if later_s != 0.0 && other <= AS_WELL * one => (fixed, later_s),
        _ => (sent, 0.0),
    }
}

/// A receiver that jumps is away for no more than this share of the time; what is more is how the two relate.
const AWAY: f64 = 0.15;

/// The moments in which neither receiver had jumped away: a jump is told by itself, and would hide how the two relate.
fn without_jumps(moments: Vec<(Sample, (f64, f64))>) -> Vec<(Sample, (f64, f64))> {
    let apart = |(s, at): &(Sample, (f64, f64))| place(*at).to(place((s.a, s.b))).0;
    let Some(middle) = pairs::median(&mut moments.iter().map(apart).collect::<Vec<_>>()) else {
        return moments;
    };
    let near: Vec<_> = moments.iter().filter(|m| apart(m) <= middle + ANTENNAS_WITHIN_M).copied().collect();
    if near.len() as f64 >= (1.0 - AWAY) * moments.len() as f64 { near } else { moments }
}

/// Whether the distance holds once one of the two is moved by the second or so that it comes late.
fn late_only(first: &Curve, second: &Curve, step: usize, held: impl Fn(f64, f64, f64) -> bool) -> bool {
    [-3.0, -2.5, -2.0, -1.5, -1.25, -1.0, -0.75, -0.5, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0]
        .into_iter()
        .any(|late: f64| {
            let at = |s: &Sample| first.both_at(s.time.plus(-late)).map(|at| (place(at), place((s.a, s.b))));
            let mut distances: Vec<f64> = second
                .samples()
                .iter()
                .step_by(step)
                .filter_map(at)
                .map(|(one, other)| {
                    let (north, east) = one.offset_to(other);
                    north.hypot(east)
                })
                .collect();
            let mut of = |q| pairs::quantile(&mut distances, q).unwrap_or(f64::INFINITY);
            held(of(0.05), of(0.5), of(0.95))
        })
}

/// How the boat moves at a moment by its position a second before and after: metres a second to the north and to the east.
fn way(first: &Curve, time: Time) -> Option<(f64, f64)> {
    let (before, after) = (first.both_at(time.plus(-1.0))?, first.both_at(time.plus(1.0))?);
    let (north, east) = place(before).offset_to(place(after));
    Some((north / 2.0, east / 2.0))
}

/// Seconds by which the second receiver is late: its place lies behind by its lateness times the speed, and an antenna's by
/// the same at any speed. `None` where the speeds do not part the two, or where it is hardly late.
fn lateness(first: &Curve, moments: &[(Sample, (f64, f64))]) -> Option<f64> {
    /// The boat's speed must vary by this (standard deviation), metres a second.
    const VARIES_M_S: f64 = 1.0;
    /// Less is a receiver's filter, seconds.
    const LEAST_S: f64 = 0.7;
    /// Moments so many times further off than the usual one have no say.
    const WILD: f64 = 6.0;
    // Along the way: metres behind, by the speed.
    let behind: Vec<(f64, f64)> = moments
        .iter()
        .filter_map(|(s, at)| {
            let (north, east) = way(first, s.time)?;
            let speed = north.hypot(east);
            let (to_north, to_east) = place(*at).offset_to(place((s.a, s.b)));
            (speed > 0.5).then(|| (speed, -(to_north * north + to_east * east) / speed))
        })
        .collect();
    let (slope, ..) = line(&behind)?;
    let middle = |values: &mut dyn Iterator<Item = f64>| pairs::median(&mut values.collect::<Vec<_>>());
    let at = middle(&mut behind.iter().map(|(s, m)| m - slope * s))?;
    let usual = middle(&mut behind.iter().map(|(s, m)| (m - slope * s - at).abs()))?;
    let near = |(s, m): &(f64, f64)| (m - slope * s - at).abs() <= (WILD * usual).max(1.0);
    let (late, error, varies) = line(&behind.iter().copied().filter(near).collect::<Vec<_>>())?;
    (varies >= VARIES_M_S && late.abs() >= LEAST_S && late.abs() >= 4.0 * error).then_some(late)
}

/// The slope of a line through points by least squares, its standard deviation, and that of the points along it. `None` of too
/// few to tell.
fn line(points: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let n = points.len() as f64;
    if n < 40.0 {
        return None;
    }
    let (x, y) = points.iter().fold((0.0, 0.0), |(x, y), (a, b)| (x + a / n, y + b / n));
    let xx: f64 = points.iter().map(|(a, _)| (a - x).powi(2)).sum();
    let xy: f64 = points.iter().map(|(a, b)| (a - x) * (b - y)).sum();
    let slope = xy / xx;
    let left: f64 = points.iter().map(|(a, b)| (b - y - slope * (a - x)).powi(2)).sum();
    // Neighbouring positions share their errors; every tenth counts as independent.
    Some((slope, (left / n / xx * 10.0).sqrt(), (xx / n).sqrt()))
}

/// Where the second antenna is, seen from the first, metres.
struct Axes {
    /// Forward, to starboard, and the standard deviation of the middle.
    place: (f64, f64, f64),
    /// How far the single moments lie around it.
    spread: f64,
}

/// Two antennas on one hull are found within this of their place, standard deviation, metres.
const RIGID_M: f64 = 4.0;

/// The second antenna's place forward and to starboard of the first. `late` is by how many seconds the second comes late.
fn axes(evidence: &Evidence<'_>, first: &Curve, moments: &[(Sample, (f64, f64))], late: f64) -> Option<Axes> {
    let heading = true_heading(evidence)?;
    let mut forward = Vec::new();
    let mut starboard = Vec::new();
    for (sample, at) in moments {
        let Some(deg) = heading(sample.time) else { continue };
        let (mut north, mut east) = place(*at).offset_to(place((sample.a, sample.b)));
        if late != 0.0 {
            let Some((to_north, to_east)) = way(first, sample.time) else { continue };
            north += late * to_north;
            east += late * to_east;
        }
        let (sin, cos) = deg.to_radians().sin_cos();
        forward.push(north * cos + east * sin);
        starboard.push(east * cos - north * sin);
    }
    if forward.len() < 10 {
        return None;
    }
    let (_, sf) = pairs::spread(&forward);
    let (_, ss) = pairs::spread(&starboard);
    // Neighbouring positions share their errors; every tenth counts as independent.
    let error = sf.max(ss) / (forward.len() as f64 / 10.0).sqrt().max(1.0);
    let place = (pairs::median(&mut forward)?, pairs::median(&mut starboard)?, error);
    Some(Axes { place, spread: sf.max(ss) })
}

/// The boat's true heading: by the source with the most values, or by another where the course over ground tells that
/// this one is off.
fn true_heading(evidence: &Evidence<'_>) -> Option<impl Fn(Time) -> Option<f64>> {
    let mut sources = pairs::main_sources(evidence, "heading");
    sources.sort_by_key(|source| std::cmp::Reverse(source.valid));
    let best = sources.into_iter().reduce(|best, other| match off_by_course(evidence, best, other) {
        Some((Off::First, ..)) => other,
        _ => best,
    })?;
    let curve = Curve::new(best.track.samples(), true);
    let variation = if best.key.reference == Some("true") {
        0.0
    } else {
        super::variation::variation_at_boat(evidence.books, best)?
    };
    Some(move |time| curve.at(time).map(|deg| deg + variation))
}

fn finding(books: &Books, a: &Source, b: &Source, c: &Comparison) -> Finding {
    let (one, other) = (books.inventory.label(a.key.device), books.inventory.label(b.key.device));
    let (relation, severity) = match (c.echo_s, c.constant) {
        (Some(_), _) => ("echo", Severity::Note),
        (None, true) => ("constant-separation", Severity::Warning),
        (None, false) => ("unrelated", Severity::Warning),
    };
    // A moving boat is elsewhere by another clock.
    let by_clocks =
        relation == "unrelated" && books.clocks_differ_s(a.key.device, b.key.device).is_infinite();
    let grave = relation != "echo" && c.p95_m > GRAVE_M && !by_clocks;
    let severity = if grave { Severity::Fault } else { severity };
    let apart = number(c.median_m, 1);
    let summary = match relation {
        "echo" => format!("{other} repeats the position of {one}"),
        "constant-separation" => format!("{one} and {other} both supply position, {apart} m apart"),
        _ => {
            format!("{one} and {other} both supply position and do not agree: {apart} m apart in the middle")
        }
    };
    let mut finding = Finding::new(severity, summary)
        .devices(pairs::devices(a, b))
        .messages([a.key.message.to_string(), b.key.message.to_string()])
        .spans([c.span])
        .real("median_separation_m", c.median_m)
        .real("p95_separation_m", c.p95_m)
        .text("relation", relation)
        .evidence(format!(
            "{apart} m apart in the middle, {} m or less for 95 % of {} moments.",
            number(c.p95_m, 1),
            c.moments
        ));
    if c.later_s.abs() >= TELLING_S && relation != "echo" {
        let (late, early) = if c.later_s > 0.0 { (&other, &one) } else { (&one, &other) };
        finding = finding.evidence(format!(
            "Each is taken at the time of its fix, which the messages bear: {late} sends it {} later than {early}, and is shown behind by so much.",
            seconds(c.later_s.abs())
        ));
    }
    if let Some((forward, starboard, error)) = c.axes {
        finding = finding.real("forward_m", forward).real("starboard_m", starboard).evidence(format!(
            "Seen from {one}, {other} lies {} m {} and {} m to {} (give or take {} m).",
            number(forward.abs(), 1),
            if forward < 0.0 { "aft" } else { "forward" },
            number(starboard.abs(), 1),
            if starboard < 0.0 { "port" } else { "starboard" },
            number(error.max(0.1), 1)
        ));
    }
    if let Some(late) = c.late {
        let who = if late > 0.0 { &other } else { &one };
        finding = finding.real("lag_s", late).evidence(format!(
            "The distance grows with the speed: {who} is {} late, which is taken away from the place that is given.",
            seconds(late.abs())
        ));
    }
    if by_clocks {
        finding = finding.evidence(super::words::clocks_apart(f64::INFINITY));
    }
    match (relation, c.echo_s) {
        ("echo", delay) => finding
            .evidence(pairs::echo_words(delay.unwrap_or(0.0)))
            .check("Nothing is wrong with the values. Choose the receiver itself where a display offers both."),
        ("constant-separation", _) if c.far => finding
            .evidence("The distance stays the same, and no boat of this kind has antennas so far apart: one of them is off, or late at a steady speed.")
            .check("Choose one position source on every display.")
            .check(format!("Compare {one} and {other} with a known place; look for another datum or an offset in one.")),
        ("constant-separation", _) => finding
            .check("Choose one position source on every display; two antennas on one boat are no fault by themselves."),
        _ => finding
            .evidence("The distance between the two changes: one of them is wrong, or late by seconds.")
            .check("Choose one position source on every display.")
            .check(format!("Compare {one} and {other} with a known place; look at the fix quality of each.")),
    }
}
