//! Two or more devices supply heading.

use super::deviation::{Fit, circular_median, deviation_fit, rest, swing};
use super::heading_lag::{calm_rest, damping, lag};
use super::heading_misaligned::is_off;
use super::heading_words::{Off, by_course, lag_check, off_by_course, stays, supply};
use super::pairs::{self, Curve};
use super::steps_of::{astray, without_jumps};
use super::variation::variation;
use super::words::{number, seconds, signed_deg};
use super::{Detector, Doc, Evidence, Finding, heading_frozen, two_in_turn};
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::report::model::Severity;
use crate::time::Span;
use crate::units::wrap_180;

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "duplicate-heading-source",
        severity: "fault when the two differ by more than 3 degrees for the worst 5 %, else warning; note for an echo",
        meaning: "Two or more devices supply heading. A display, a chart or the bow motor's anchor function may follow \
                  one now and the other later; where they differ, the heading jumps by the difference.",
        detection: "The headings of every two devices are compared at the same moments, on the circle. Same values again, \
                    later: an echo. A difference equal to the magnetic variation at the boat's place and date (World \
                    Magnetic Model, or the variation that the boat's own messages carry): true against magnetic. A \
                    difference that follows the turn rate: one lags, by the time that makes the rest smallest. A \
                    difference that swings with the heading: deviation, fitted as A + B sin + C cos + D sin 2 + E cos 2. \
                    Steady on all courses: a constant offset. None of these: unrelated. Times in which one of the two had \
                    jumped away are left out: heading-jump tells of these. Values of one talker that change between two \
                    headings all the time: two sensors with one name.",
        lookalikes: "A gateway or display that repeats a heading that it hears (an echo: harmless for the values). \
                     One device that sends heading in several messages is one source.",
        checks: "On every display, look at the source list for heading and choose one source. Switch the heading output \
                 of the other off, or align it: a constant offset by its mounting or its offset setting, deviation by a \
                 calibration turn away from iron and current-carrying cables.",
        cautions: "A bow motor under anchor or heading control can start and turn by itself: take it out of gear before \
                   you move sensors, and keep clear of the propeller.",
    },
    complaints: &["heading-jumps"],
    detect,
};

/// Two headings that differ by more than this for the worst 5 % are a fault (the catalogue's bound), degrees.
const GRAVE_DEG: f64 = 3.0;

/// Headings are compared on at most this many moments.
const MAX_MOMENTS: usize = 6000;

/// Two headings that differ by the variation to within this are true against magnetic, degrees: errors of two sensors,
/// of the model (0.4) and of rounding.
const VARIATION_SLACK_DEG: f64 = 2.0;

/// As above, where both sources claim the same north, degrees.
const SAME_NORTH_SLACK_DEG: f64 = 0.6;

/// A difference that stays once a lag is taken away is an offset from here, degrees: two good sensors' errors are smaller.
const OFFSET_DEG: f64 = 3.0;

/// Two good sensors scatter less than this against each other, all moments or those in which the boat hardly turns,
/// degrees (each is good for a degree or two, common practice).
const STEADY_DEG: f64 = 3.0;
const STEADY_CALM_DEG: f64 = 2.0;

/// Variations smaller than this cannot be told from an offset, degrees.
const SMALL_VARIATION_DEG: f64 = 2.5;

/// How two headings relate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Relation {
    Constant,
    Variation,
    Deviation,
    Lag,
    Echo,
    Unrelated,
}

impl Relation {
    const fn name(self) -> &'static str {
        match self {
            Self::Constant => "constant-offset",
            Self::Variation => "variation",
            Self::Deviation => "deviation",
            Self::Lag => "lag",
            Self::Echo => "echo",
            Self::Unrelated => "unrelated",
        }
    }
}

/// Two sources of heading, and how they relate where they can be compared.
pub(super) struct Pair<'a> {
    first: &'a Source,
    second: &'a Source,
    comparison: Option<Comparison>,
}

/// What the comparison of two headings found. Differences are second minus first.
struct Comparison {
    relation: Relation,
    median_deg: f64,
    p95_deg: f64,
    /// Seconds by which the second follows the first late; negative when the first is the late one.
    lag_s: f64,
    /// Whether it is no delay but a damping: the time after which two thirds of a turn have come.
    damped: bool,
    /// The same beside a difference of another kind, which it was parted from; and whether two recorders' clocks explain it.
    besides: Option<(f64, bool)>,
    variation_deg: Option<f64>,
    /// The difference by the first one's heading.
    fit: Option<Fit>,
    moments: usize,
    /// Moments that are left out, as one of the two had jumped away.
    jumped: usize,
    span: Span,
    turned: bool,
}

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let books = evidence.books;
    let copies = repeaters(evidence);
    compared(evidence)
        .iter()
        .filter(|pair| pairs::worth_comparing(books, copies, pair.first, pair.second, "heading", tolerance))
        .filter_map(|pair| {
            let (a, b, comparison) = (pair.first, pair.second, pair.comparison.as_ref()?);
            let late_first =
                matches!(comparison.relation, Relation::Lag | Relation::Echo) && comparison.lag_s < 0.0;
            if late_first {
                let turned_round = compare(evidence, b, a)?;
                Some(finding(evidence, b, a, &turned_round))
            } else {
                Some(finding(evidence, a, b, comparison))
            }
        })
        .chain(two_in_turn::of_talkers(evidence, "heading", copies).into_iter().map(|two| {
            let severity = if two.p95() > GRAVE_DEG { Severity::Fault } else { Severity::Warning };
            two.of_talker(evidence, severity)
                .real("median_difference_deg", two.turns.apart.0)
                .real("p95_difference_deg", two.p95())
                .text("relation", Relation::Constant.name())
        }))
        .collect()
}

/// The devices that only repeat another one's heading.
pub(super) fn repeaters<'e>(evidence: &'e Evidence<'_>) -> &'e [DeviceId] {
    let find = || pairs::repeaters(evidence, "heading", |curve| tolerance(curve, curve));
    evidence.heading_repeaters.get_or_init(find)
}

/// The devices whose heading's error another finding tells already: those that only repeat one, and those that differ from
/// another other than by a lag. Where both are off by the course over ground, the difference tells of neither.
pub(super) fn told(evidence: &Evidence<'_>) -> Vec<DeviceId> {
    let both_off = |a, b| off_by_course(evidence, a, b).is_some_and(|(off, ..)| off == Off::Both);
    let mut told = Vec::new();
    for pair in compared(evidence) {
        let (a, b) = (pair.first, pair.second);
        let Some(c) = &pair.comparison else { continue };
        match c.relation {
            Relation::Echo => told.push(if c.lag_s < 0.0 { a.key.device } else { b.key.device }),
            Relation::Lag => {}
            Relation::Constant | Relation::Deviation if both_off(a, b) => {}
            _ => told.extend(pairs::devices(a, b)),
        }
    }
    told
}

/// Every pair of headings, compared once for all detectors that ask.
fn compared<'e, 'a>(evidence: &'e Evidence<'a>) -> &'e [Pair<'a>] {
    evidence.headings.get_or_init(|| {
        let pair = |(first, second)| Pair { first, second, comparison: compare(evidence, first, second) };
        pairs::pairs(evidence, "heading").into_iter().map(pair).collect()
    })
}

fn compare(evidence: &Evidence<'_>, a: &Source, b: &Source) -> Option<Comparison> {
    let books = evidence.books;
    let (first, second) = (Curve::new(&without_jumps(a), true), Curve::new(&without_jumps(b), true));
    let all = Curve::new(b.track.samples(), true);
    let step = (all.samples().len() / MAX_MOMENTS).max(1);
    let moments: Vec<Sample> =
        all.samples().iter().step_by(step).copied().filter(|s| first.at(s.time).is_some()).collect();
    let stands = [a, b].into_iter().flat_map(|s| heading_frozen::stands(evidence, s)).map(|(span, _)| span);
    let moments = pairs::alive(moments, |s| s.time, &stands.collect::<Vec<_>>());
    let (moments, jumped) = in_their_place(evidence, moments, a, b);
    if moments.len() < 10 {
        return None;
    }
    let span = Span::new(moments.first()?.time, moments.last()?.time);
    let mut difference = |lag: f64, out: &mut Vec<f64>| {
        out.clear();
        let mut first = first.walk();
        out.extend(moments.iter().filter_map(|s| Some(wrap_180(s.a - first.at(s.time.plus(-lag))?))));
    };
    let mut now = Vec::new();
    difference(0.0, &mut now);
    let median_deg = circular_median(&now);
    let mut sizes: Vec<f64> = now.iter().map(|d| d.abs()).collect();
    let p95_deg = pairs::quantile(&mut sizes, 0.95)?;
    let variation_deg = variation(books, a, b, span);
    let turned = turned(&first);

    let near = tolerance(&first, &second);
    // At rest an echo shows by values that never differ by more than a step.
    let alike = now.iter().filter(|d| d.abs() <= 1.8 * near.0).count();
    let resting = !turned && alike * 10 >= now.len() * 9;
    let echo = pairs::echo(evidence.books, (a, &first), (b, &second), near).or(resting.then_some(0.0));
    let mut comparison = Comparison {
        relation: Relation::Constant,
        median_deg,
        p95_deg,
        lag_s: 0.0,
        damped: false,
        besides: None,
        variation_deg,
        fit: None,
        moments: moments.len(),
        jumped,
        span,
        turned,
    };
    if let Some(delay) = echo {
        comparison.relation = Relation::Echo;
        comparison.lag_s = delay;
        return Some(comparison);
    }
    let lag_s = lag(&mut difference);
    let mut left = now.clone();
    if let Some(lag_s) = lag_s {
        difference(lag_s, &mut left);
    }
    let left_middle = circular_median(&left);
    let still = rest(&left, left_middle);
    let heading_of = |s: &Sample| first.at(s.time);
    // A moment at the very edge has no value a lag before it; then the plain differences serve.
    let of = if left.len() == moments.len() { &left } else { &now };
    let fit = deviation_fit(&moments, of, heading_of, left_middle);
    comparison.fit = fit;
    let fit_rest = fit.map_or(f64::INFINITY, |fit| fit.left);
    let swing = fit.map_or(0.0, |fit| swing(&fit.k));
    // What stays on all courses once the lag is taken away is no work of the lag.
    let offset = left_middle.abs() >= OFFSET_DEG.max(3.0 * still);
    let only_lags = lag_s.filter(|_| !offset);
    if let Some(lag_s) = lag_s.filter(|_| offset) {
        let by_clocks = lag_s.abs() <= books.clocks_differ_s(a.key.device, b.key.device);
        comparison.besides = Some((lag_s, by_clocks));
        comparison.median_deg = left_middle;
        // Two recorders' clocks do not make the boat's displays differ.
        if by_clocks {
            comparison.p95_deg = p95_around(&left, 0.0);
        }
    }
    comparison.relation = if fit_rest < 0.6 * still && fit_rest < 6.0 && swing >= 2.5 {
        Relation::Deviation
    } else if still <= STEADY_DEG || calm_rest(&first, &moments, &now) <= STEADY_CALM_DEG {
        if only_lags.is_some() { Relation::Lag } else { steady(a, b, &comparison) }
    } else if !offset && let Some(damped_s) = damping(&first, &second, &moments) {
        comparison.lag_s = damped_s;
        comparison.damped = true;
        Relation::Lag
    } else {
        Relation::Unrelated
    };
    if comparison.relation == Relation::Lag && !comparison.damped {
        comparison.lag_s = only_lags.unwrap_or(0.0);
    }
    Some(comparison)
}

/// The moments in which neither heading had jumped away, and how many others there were: a jump is told by itself, of the source
/// that jumps, and is no difference of two sensors. All of them where the jumps fill most of the time.
fn in_their_place(
    evidence: &Evidence<'_>,
    moments: Vec<Sample>,
    a: &Source,
    b: &Source,
) -> (Vec<Sample>, usize) {
    let away: Vec<Span> = [a, b].into_iter().flat_map(|heading| astray(evidence, heading)).collect();
    let left = pairs::alive(moments.clone(), |s| s.time, &away);
    let jumped = moments.len() - left.len();
    if 2 * left.len() >= moments.len() { (left, jumped) } else { (moments, 0) }
}

/// What a steady difference is: the variation, or an offset of one of the two.
///
/// Where one source says true and the other magnetic, the difference between the norths is what to expect. Where both
/// claim the same north, one may still send the other; that is believed only when the difference is the variation to
/// within half a degree or so, and never of HDG, which carries a magnetic sensor's heading by definition (IEC 61162-1).
fn steady(a: &Source, b: &Source, comparison: &Comparison) -> Relation {
    let Some(variation) = comparison.variation_deg.filter(|v| v.abs() >= SMALL_VARIATION_DEG) else {
        return Relation::Constant;
    };
    let from_size = (comparison.median_deg.abs() - variation.abs()).abs();
    let by_definition = |s: &Source| s.key.message.to_string().ends_with("HDG");
    let believed = match (a.key.reference, b.key.reference) {
        (Some("magnetic"), Some("true")) => (comparison.median_deg - variation).abs() <= VARIATION_SLACK_DEG,
        (Some("true"), Some("magnetic")) => (comparison.median_deg + variation).abs() <= VARIATION_SLACK_DEG,
        (Some(_), Some(_)) => {
            from_size <= SAME_NORTH_SLACK_DEG.max(0.03 * variation.abs())
                && !(by_definition(a) && by_definition(b))
        }
        _ => from_size <= VARIATION_SLACK_DEG,
    };
    if believed { Relation::Variation } else { Relation::Constant }
}

/// The 95th percentile of the distances from `middle`, degrees.
fn p95_around(differences: &[f64], middle: f64) -> f64 {
    let mut sizes: Vec<f64> = differences.iter().map(|d| wrap_180(d - middle).abs()).collect();
    pairs::quantile(&mut sizes, 0.95).unwrap_or(0.0)
}

/// How near a heading and its copy lie, degrees: the rounding of the coarser.
fn tolerance(one: &Curve, other: &Curve) -> (f64, f64) {
    (resolution(one).max(resolution(other)) * 0.6, f64::INFINITY)
}

/// Whether the boat turned through more than 60 degrees.
fn turned(curve: &Curve) -> bool {
    let Some(first) = curve.samples().first() else { return false };
    curve.samples().iter().any(|s| wrap_180(s.a - first.a).abs() > 60.0)
}

/// The smallest step between two different values of a curve, degrees, at most 1.
pub(super) fn resolution(curve: &Curve) -> f64 {
    curve.finest_step().unwrap_or(0.01).clamp(0.006, 1.0)
}

fn finding(evidence: &Evidence<'_>, a: &Source, b: &Source, c: &Comparison) -> Finding {
    let books = evidence.books;
    let clocks = books.clocks_differ_s(a.key.device, b.key.device);
    let by_clocks = match c.relation {
        Relation::Lag => c.lag_s.abs() <= clocks.max(books.stamps_s(a.key.device, b.key.device)),
        Relation::Unrelated => clocks.is_infinite(),
        _ => false,
    };
    let severity = match c.relation {
        Relation::Echo => Severity::Note,
        _ if by_clocks => Severity::Warning,
        _ if c.p95_deg > GRAVE_DEG => Severity::Fault,
        _ => Severity::Warning,
    };
    let (one, other) = (books.inventory.label(a.key.device), books.inventory.label(b.key.device));
    let size = number(c.median_deg.abs(), 1);
    let summary = match c.relation {
        Relation::Echo => format!("{other} repeats the heading of {one}"),
        Relation::Constant => format!("{one} and {other} both supply heading and differ by {size} deg"),
        Relation::Variation => {
            format!(
                "{one} and {other} both supply heading, one true and one magnetic: they differ by {size} deg"
            )
        }
        Relation::Lag => {
            format!(
                "{one} and {other} both supply heading; the second follows {} late",
                seconds(c.lag_s.abs())
            )
        }
        Relation::Deviation => format!(
            "{one} and {other} both supply heading; their difference swings with the course, up to about {} deg",
            number(c.p95_deg, 0)
        ),
        Relation::Unrelated => {
            format!(
                "{one} and {other} both supply heading and do not agree, up to about {} deg",
                number(c.p95_deg, 0)
            )
        }
    };
    let mut finding = Finding::new(severity, summary)
        .devices(pairs::devices(a, b))
        .messages([a.key.message.to_string(), b.key.message.to_string()])
        .spans([c.span])
        .real("median_difference_deg", c.median_deg)
        .real("p95_difference_deg", c.p95_deg)
        .text("relation", c.relation.name());
    for source in [a, b] {
        finding = finding.evidence(supply(books, source));
    }
    finding = finding.evidence(format!(
        "Difference, second minus first: {} in the middle, {} deg or less for 95 % of {} moments.",
        signed_deg(c.median_deg),
        number(c.p95_deg, 1),
        c.moments
    ));
    if c.jumped > 0 {
        finding = finding.evidence(format!(
            "{} more moments are left out, in which one of the two had jumped: that is told by itself.",
            c.jumped
        ));
    }
    if by_clocks {
        finding = finding.evidence(if c.relation == Relation::Lag && c.lag_s.abs() > clocks {
            String::from("The recorder's stamps are no finer than that: the delay may be theirs.")
        } else {
            super::words::clocks_apart(clocks)
        });
    }
    if let Some((lag_s, by_clocks)) = c.besides {
        if !by_clocks {
            finding = finding.real("lag_s", lag_s);
        }
        let late = if lag_s > 0.0 { &other } else { &one };
        let late = format!("{late} follows {} late in turns", seconds(lag_s.abs()));
        finding = finding.evidence(if by_clocks {
            format!("{late}, which is taken away here: two recorders' clocks may differ so much.")
        } else {
            format!("Besides, {late}.")
        });
    }
    let by_ground = off_by_course(evidence, a, b);
    let unknown_which = by_ground.is_none();
    let off = match by_ground.as_ref().map(|(off, ..)| *off) {
        Some(Off::First) => Some(&one),
        Some(Off::Second) => Some(&other),
        _ => None,
    };
    if matches!(c.relation, Relation::Constant | Relation::Deviation | Relation::Unrelated)
        && let Some(by_ground) = by_ground
    {
        finding = finding.evidence(by_course(evidence, (a, b), &by_ground));
        let (off, one, other) = by_ground;
        let error = if off == Off::First { one } else { other };
        if c.relation == Relation::Constant && matches!(off, Off::First | Off::Second) && is_off(&error) {
            let [offset, ..] = error.k;
            finding = finding.real("offset_deg", offset);
        }
    }
    if let Some(v) = c.variation_deg {
        finding = finding.real("variation_expected_deg", v);
    }
    finding = match c.relation {
        Relation::Echo => finding
            .real("lag_s", c.lag_s)
            .evidence(pairs::echo_words(c.lag_s))
            .check("Nothing is wrong with the values. Choose the sensor itself as the source where a display offers both."),
        Relation::Variation => finding
            .evidence(format!(
                "The magnetic variation here is {}: the difference is the one between true and magnetic north.",
                c.variation_deg.map(signed_deg).unwrap_or_default()
            ))
            .check("Set every display to the same north (all magnetic or all true), and choose one heading source on each."),
        Relation::Lag => finding
            .real("lag_s", c.lag_s)
            .evidence(if c.damped {
                "The difference comes in turns and dies away after them: the second is smoothed by so much."
            } else {
                "The difference comes in turns only and goes when the second is moved back by its lag."
            })
            .check(lag_check(by_clocks, &one, &other)),
        Relation::Deviation => {
            let mut finding = finding;
            if let Some(fit) = c.fit {
                let [ka, kb, kc, kd, ke] = fit.k;
                finding = finding
                    .real("a", ka)
                    .real("b", kb)
                    .real("c", kc)
                    .real("d", kd)
                    .real("e", ke)
                    .evidence(fit.words());
            }
            if unknown_which {
                finding = finding
                    .evidence("This alone does not tell which of the two is off; against course over ground it shows.");
            }
            let (sensors, each) = match off {
                Some(off) => (off.as_str(), "its calibration turn"),
                None => ("both sensors", "the calibration turn of each"),
            };
            finding.check(format!(
                "Move loudspeakers, tools and current-carrying cables away from {sensors}, then make {each}."
            ))
        }
        Relation::Constant => finding
            .evidence(stays(c.turned, c.besides.is_some(), off.is_some(), c.median_deg.abs() < OFFSET_DEG))
            .check(match off {
                Some(off) => format!(
                    "Choose one heading source on every display; correct the offset of {off}, or switch its heading output off."
                ),
                None => format!(
                    "Choose one heading source on every display, or switch the heading output of {other} or {one} off."
                ),
            })
            .check(match off {
                Some(off) => format!("After any change compare {off} with a known bearing."),
                None => format!(
                    "Compare {one} and {other} with a known bearing and correct the offset of the one that is off."
                ),
            }),
        Relation::Unrelated => finding
            .evidence("Neither an offset, nor a lag, nor a curve by heading explains the difference.")
            .check(format!("Choose one heading source on every display; test {one} and {other} one at a time, the other unplugged.")),
    };
    finding
}
