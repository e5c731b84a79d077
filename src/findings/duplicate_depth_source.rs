//! Two or more devices supply depth.

use super::pairs::{self, Curve};
use super::words::{number, percent};
use super::{Detector, Doc, Evidence, Finding, depth_second_echo, to_the_letter, two_in_turn};
use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::{Sample, Source};
use crate::report::model::{Number, Severity};
use crate::time::{Span, Time};

pub(super) const DETECTOR: Detector = Detector {
    doc: Doc {
        kind: "duplicate-depth-source",
        severity: "warning; note for an echo",
        meaning: "Two or more devices supply depth. A display may show one now and the other later.",
        detection: "The depths of every two devices are compared at the same moments. The same values again, later: an \
                    echo. A steady difference: a constant offset (mounting depth, or an offset set in one of them). \
                    Else: unrelated. What depth-second-echo tells as multiples is left out. Values of one talker that \
                    change between two depths all the time: two sounders with one name.",
        lookalikes: "A gateway or display that repeats a depth that it hears. One sounder that sends several depth \
                     sentences is one source. Offsets to keel or surface that are sent explain a steady difference.",
        checks: "Choose one depth source on every display. Measure with a lead line in calm shallow water, and set the \
                 offset once, in the sounder or in the display, not in both.",
        cautions: "Soundings on a display are an aid only; never rely on one of two that disagree in shallow water.",
    },
    complaints: &["depth-wrong", "no-depth"],
    detect,
};

/// Depths differ steadily when half of the differences lie within this of their middle, metres, or within the share of
/// the depth below.
const STEADY_M: f64 = 0.25;

/// Two that differ by no more, metres, agree: it is half of the last digit of most depth sentences, which are rounded to 0.1 m.
const LIKE_M: f64 = 0.05;

/// Two beams over sloping bottom, or sound speeds set apart, differ by this share of the depth.
const STEADY_SHARE: f64 = 0.03;

fn detect(evidence: &Evidence<'_>) -> Vec<Finding> {
    let copies = repeaters(evidence);
    pairs::pairs(evidence, "depth")
        .into_iter()
        .filter_map(|(a, b)| match compare(evidence.books, a, b, &[])? {
            c if c.echo_s.is_some_and(|delay| delay < 0.0) => {
                Some(finding(evidence.books, b, a, &compare(evidence.books, b, a, &[])?))
            }
            c => Some(finding(evidence.books, a, b, &c)),
        })
        .chain(two_in_turn::of_talkers(evidence, "depth", copies).into_iter().map(|two| {
            two.of_talker(evidence, Severity::Warning)
                .real("median_difference_m", two.turns.apart.0)
                .text("relation", CONSTANT)
        }))
        .collect()
}

/// The devices that only repeat another one's depth.
pub(super) fn repeaters<'e>(evidence: &'e Evidence<'_>) -> &'e [DeviceId] {
    let find = || pairs::repeaters(evidence, "depth", |c| (0.6 * resolution(c), f64::INFINITY));
    evidence.depth_repeaters.get_or_init(find)
}

/// Whether two sounders have nothing to do with each other while neither stands still.
pub(super) fn are_unrelated(books: &Books, a: &Source, b: &Source, stands: &[Span]) -> bool {
    compare(books, a, b, stands).is_some_and(|c| c.relation() == UNRELATED)
}

/// The relation of two sounders that do not agree, and of two with a steady difference.
const UNRELATED: &str = "unrelated";
const CONSTANT: &str = "constant-offset";

/// Whether a finding says of two sounders that each has its own depth and they agree.
pub(crate) fn agree(finding: &Finding) -> bool {
    let is_like = |number: &Number| matches!(number, Number::Real(m) if m.abs() <= LIKE_M);
    finding.kind == DETECTOR.doc.kind
        && finding.numbers.get("relation") == Some(&Number::Text(CONSTANT.to_owned()))
        && finding.numbers.get("median_difference_m").is_some_and(is_like)
}

struct Comparison {
    median_m: f64,
    scatter_m: f64,
    agreeing: f64,
    echo_s: Option<f64>,
    steady: bool,
    offsets: Option<(f64, f64)>,
    moments: usize,
    span: Span,
}

impl Comparison {
    fn relation(&self) -> &'static str {
        match (self.echo_s, self.steady) {
            (Some(_), _) => "echo",
            (None, true) => CONSTANT,
            (None, false) => UNRELATED,
        }
    }
}

/// How two sounders relate but for `stands`.
fn compare(books: &Books, a: &Source, b: &Source, stands: &[Span]) -> Option<Comparison> {
    let first = Curve::new(a.track.samples(), false);
    let second = Curve::new(b.track.samples(), false);
    let (one, other) = (without_multiples(a), without_multiples(b));
    let both = |s: &Sample| Some((s.time, one.at(s.time).filter(|m| *m > 0.0 && s.a > 0.0)?, s.a));
    let both = without_echoes(other.samples().iter().filter_map(both).collect());
    let both = pairs::alive(both, |(time, ..)| *time, stands);
    if both.len() < 10 {
        return None;
    }
    let mut differences: Vec<f64> = both.iter().map(|(_, one, other)| other - one).collect();
    let mut depths: Vec<f64> = both.iter().map(|(_, one, _)| *one).collect();
    let span = Span::new(both.first()?.0, both.last()?.0);
    let moments = differences.len();
    let median_m = pairs::median(&mut differences)?;
    let depth = pairs::median(&mut depths)?;
    let mut away: Vec<f64> = differences.iter().map(|d| (d - median_m).abs()).collect();
    let scatter_m = pairs::median(&mut away)?;
    let limit = STEADY_M.max(STEADY_SHARE * depth);
    let agreeing = away.iter().filter(|d| **d <= 3.0 * limit).count() as f64 / moments as f64;
    let resolution = resolution(&first).max(resolution(&second));
    let tolerance = (resolution * 0.6, f64::INFINITY);
    // A copy holds the last value while the bottom falls away, so that the middle of the differences is not quite zero.
    // Over flat bottom an echo shows by values that never differ, and by the few changes that there are.
    let never_differ = away.iter().filter(|d| **d <= 0.5 * resolution).count() * 20 >= moments * 19
        && median_m.abs() <= 0.5 * resolution
        && to_the_letter::change_together(&first, &second);
    let echo_s = if median_m.abs() <= 0.02 * depth + 3.0 * resolution {
        pairs::echo(books, (a, &first), (b, &second), tolerance).or(never_differ.then_some(0.0))
    } else {
        None
    };
    Some(Comparison {
        median_m,
        scatter_m,
        agreeing,
        echo_s,
        steady: scatter_m <= limit && agreeing >= 0.8,
        offsets: a.offset_m.zip(b.offset_m).filter(|(x, y)| x != y),
        moments,
        span,
    })
}

/// A source's depths but for those that are told as multiples of the bottom: they would hide how it relates to another one that
/// has an offset, which is in no ratio to them.
fn without_multiples(source: &Source) -> Curve {
    let multiples = depth_second_echo::stretches(source);
    let is_one = |s: &&Sample| multiples.iter().any(|span| span.from <= s.time && s.time <= span.to);
    let left: Vec<Sample> = source.track.samples().iter().filter(|s| !is_one(s)).copied().collect();
    Curve::new(&left, false)
}

/// One depth is a second echo of the other where it is twice as much, to within this share.
const TWICE_WITHIN: f64 = 0.12;

/// Second echoes come for less than this share of the time; what is more is how the two relate.
const ECHOES: f64 = 0.45;

/// The moments in which neither sounder shows the second echo: that is told by itself, and would hide how the two relate.
fn without_echoes(both: Vec<(Time, f64, f64)>) -> Vec<(Time, f64, f64)> {
    let once = |(_, one, other): &&(Time, f64, f64)| {
        let ratio = one.max(*other) / one.min(*other);
        (ratio / 2.0 - 1.0).abs() > TWICE_WITHIN
    };
    let left: Vec<_> = both.iter().filter(once).copied().collect();
    if left.len() as f64 > (1.0 - ECHOES) * both.len() as f64 { left } else { both }
}

/// The smallest step between two different depths, metres.
pub(super) fn resolution(curve: &Curve) -> f64 {
    curve.finest_step().unwrap_or(0.01).clamp(0.01, 0.11)
}

fn finding(books: &Books, a: &Source, b: &Source, c: &Comparison) -> Finding {
    let (one, other) = (books.inventory.label(a.key.device), books.inventory.label(b.key.device));
    let relation = c.relation();
    let (severity, summary) = match relation {
        "echo" => (Severity::Note, format!("{other} repeats the depth of {one}")),
        UNRELATED => (Severity::Warning, format!("{one} and {other} both supply depth and do not agree")),
        CONSTANT if c.median_m.abs() <= LIKE_M => {
            (Severity::Warning, format!("{one} and {other} both supply depth, each its own, and agree"))
        }
        _ => (
            Severity::Warning,
            format!("{one} and {other} both supply depth and differ by {} m", number(c.median_m.abs(), 2)),
        ),
    };
    let mut finding = Finding::new(severity, summary)
        .devices(pairs::devices(a, b))
        .messages([a.key.message.to_string(), b.key.message.to_string()])
        .spans([c.span])
        .real("median_difference_m", c.median_m)
        .text("relation", relation)
        .evidence(format!(
            "Second minus first: {:+.2} m in the middle, half of {} moments within {} m of that, {} near it.",
            c.median_m,
            c.moments,
            number(c.scatter_m, 2),
            percent(c.agreeing)
        ));
    if let Some((x, y)) = c.offsets {
        let explained = ((x - y).abs() - c.median_m.abs()).abs() < 0.15;
        finding = finding.evidence(format!(
            "The offsets that they send are {x:+.2} m and {y:+.2} m{}.",
            if explained { ": these explain the difference" } else { "" }
        ));
    }
    match (relation, c.echo_s) {
        ("echo", delay) => finding
            .evidence(pairs::echo_words(delay.unwrap_or(0.0)))
            .check("Nothing is wrong with the values. Choose the sounder itself where a display offers both."),
        (CONSTANT, _) if c.median_m.abs() <= LIKE_M => finding.check("Choose one depth source on every display."),
        (CONSTANT, _) => finding
            .check("Choose one depth source on every display.")
            .check(format!(
                "Measure the depth with a lead line in calm shallow water and set the offsets of {one} and {other} by it."
            )),
        _ => finding
            .check("Choose one depth source on every display.")
            .check("Switch one sounder off: if the other becomes steady, the two disturb each other (like frequencies)."),
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{Boat, kinds};
    use super::*;
    use crate::messages::{Absent, DepthBelow, Reading};

    /// One sounder that sends the depth in two messages by turns, recorded twice. The second recorder loses a value of the first
    /// message, so that the second one has more there.
    #[test]
    fn one_line_recorded_twice_is_an_echo() {
        let mut boat = Boat::default();
        for i in 0..200_i64 {
            for (message, at) in [(128_267, 0.0), (128_268, 0.68)] {
                let t = i as f64 + at;
                let m = ((20.0 + 4.0 * (t / 6.0).sin()) * 10.0).round() / 10.0;
                let reading = Reading::Depth {
                    m: Ok(m),
                    below: DepthBelow::Transducer,
                    offset_m: Err(Absent::Missing),
                };
                boat.say(1, message, t, &reading);
                if (message, i) != (128_267, 50) {
                    boat.say(2, message, t + 0.037, &reading);
                }
            }
        }
        assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Note, vec![1, 2])]);
    }

    /// A sounder gives its depth in two messages, one of them in fewer digits, and a display hands on what it heard last.
    #[test]
    fn what_was_heard_last_in_either_message_is_an_echo() {
        let mut boat = Boat::default();
        for i in 0..200_i64 {
            let t = i as f64;
            let m = ((20.0 + 4.0 * (t / 6.0).sin()) * 100.0).round() / 100.0;
            let said = |m| Reading::Depth {
                m: Ok(m),
                below: DepthBelow::Transducer,
                offset_m: Err(Absent::Missing),
            };
            let coarse = (m * 10.0).round() / 10.0;
            boat.say(1, 128_267, t, &said(m));
            boat.say(1, 128_268, t + 0.4, &said(coarse));
            boat.say(
                2,
                128_267,
                t + if i % 3 == 0 { 0.2 } else { 0.6 },
                &said(if i % 3 == 0 { m } else { coarse }),
            );
        }
        assert_eq!(kinds(&detect(&boat.evidence())), [(Severity::Note, vec![1, 2])]);
    }
}
