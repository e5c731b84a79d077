//! One sender whose values are those of two sensors in turn.

use super::words::number;
use super::{
    Evidence, Finding, address_conflict, broadcast_storm, duplicate_depth_source, duplicate_heading_source,
    pairs,
};
use crate::books::inventory::DeviceId;
use crate::books::lanes::Turns;
use crate::books::series::Source;
use crate::report::model::Severity;

/// A source whose values come from two sensors.
pub(super) struct InTurn<'a> {
    pub(super) source: &'a Source,
    pub(super) turns: Turns,
}

/// What is judged of a quantity: how much is noise or rounding and no second sensor.
const QUANTITIES: [&str; 3] = ["heading", "position", "depth"];

/// Two senders are there for so much of the time, or while they are, values come so many times as often as before: a loose
/// contact makes a value leap to and fro for a while, and no more values.
const MOST: f64 = 0.6;
const AS_OFTEN: f64 = 1.5;

/// Two senders' values come at two distances in time, unless by chance the one comes in the very middle of the other's: then
/// they show by coming more often than the standard says. Standard deviation as a share of the mean.
const UNEVEN: f64 = 0.35;

/// Where two NAMEs quarrel about an address, and one in so many values of both leaps, it is one of either: a sensor that jumps
/// does it now and then, and one that sends once in two seconds beside ten values a second makes two leaps in 21.
const STEPPING: f64 = 0.05;

/// Distances of this many steps of the last digit or less may be rounding.
const DIGITS: f64 = 2.5;

/// A depth that changes to a multiple and back, to within this share of it and for so many of the changes, is an echo of
/// the bottom.
const ECHO_SLACK: f64 = 0.15;
const MOSTLY: f64 = 0.8;

/// The sources of a quantity that are two, one a device.
pub(super) fn in_turn<'a>(evidence: &Evidence<'a>, quantity: &'a str) -> Vec<InTurn<'a>> {
    pairs::main_sources(evidence, quantity)
        .into_iter()
        .filter_map(|source| two_of(evidence, source))
        .collect()
}

/// The two of which a source's values are, if they are.
fn two_of<'a>(evidence: &Evidence<'_>, source: &'a Source) -> Option<InTurn<'a>> {
    let two = InTurn { source, turns: source.steps.lanes.turns()? };
    // Between its new values a switching loop brings back its old ones.
    if two.turns.spans.iter().all(|span| broadcast_storm::returned(evidence.books, source, *span)) {
        return None;
    }
    (goes_with_the_rate(evidence, &two) && !is_rounding(&two) && !is_echo(&two)).then_some(two)
}

/// Whether the values of a source are those of two, as they show themselves, or as the quarrel about the sender's address shows:
/// what they would say of one sensor is true of neither.
pub(super) fn is_mixed(evidence: &Evidence<'_>, source: &Source) -> bool {
    two_of(evidence, source).is_some()
        || address_conflict::rivals(evidence.books, source.key.device).any(|rivals| {
            let alike = |other: &&Source| {
                let (one, other) = (source.key, other.key);
                (one.message, one.quantity) == (other.message, other.quantity)
                    && rivals.contains(&other.device)
            };
            let sources: Vec<&Source> = evidence.books.series.iter().filter(alike).collect();
            let steps: u64 = sources.iter().map(|source| source.steps.count).sum();
            let values: u64 = sources.iter().map(|source| source.valid).sum();
            sources.len() >= 2 && steps as f64 >= STEPPING * values as f64
        })
}

/// Those of talkers, whose sentences bear no address. One that repeats two others, as `copies` says (a device for each
/// that it repeats), hands on two sensors that are told of where they speak themselves.
pub(super) fn of_talkers<'a>(
    evidence: &Evidence<'a>,
    quantity: &'a str,
    copies: &[DeviceId],
) -> Vec<InTurn<'a>> {
    let mut found = in_turn(evidence, quantity);
    found.retain(|two| {
        let repeated = copies.iter().filter(|copy| **copy == two.source.key.device).count();
        two.address(evidence).is_none() && repeated < 2
    });
    found
}

/// Every source that is two.
pub(super) fn all<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = InTurn<'a>> {
    QUANTITIES.into_iter().flat_map(|quantity| in_turn(evidence, quantity))
}

/// Whether the times are those of two senders. A swell that swings a boat once in two values makes two lanes too, of values that
/// come evenly.
fn goes_with_the_rate(evidence: &Evidence<'_>, two: &InTurn<'_>) -> bool {
    let Some((from, to)) = two.source.values_from_to else { return false };
    if two.turns.between {
        return true;
    }
    let inside: f64 = two.turns.spans.iter().map(|span| span.seconds()).sum();
    let outside = to.since(from) - inside;
    if inside >= MOST * to.since(from) {
        let (every, deviation) = two.turns.every;
        let stream = evidence.books.stream(two.source);
        let standard = stream.and_then(|stream| stream.standard_s).unwrap_or(0.0);
        return deviation >= UNEVEN * every || every * AS_OFTEN <= standard;
    }
    let others = two.source.valid.saturating_sub(two.turns.values) as f64;
    inside > 0.0 && two.turns.values as f64 / inside >= AS_OFTEN * others / outside
}

fn is_rounding(two: &InTurn<'_>) -> bool {
    let round = two.source.key.quantity == "heading";
    let curve = pairs::Curve::new(two.source.track.samples(), round);
    let step = match two.source.key.quantity {
        "heading" => duplicate_heading_source::resolution(&curve),
        // A degree of latitude has about so many metres.
        "position" => pairs::place_step(&curve) * 111_000.0,
        _ => duplicate_depth_source::resolution(&curve),
    };
    two.turns.apart.0 <= DIGITS * step
}

/// Whether the two depths are the bottom and its second or third echo.
fn is_echo(two: &InTurn<'_>) -> bool {
    if two.source.key.quantity != "depth" {
        return false;
    }
    let within = |at| two.turns.spans.iter().any(|span| (span.from..=span.to).contains(&at));
    let (mut changes, mut echoes) = (0_usize, 0_usize);
    for pair in two.source.track.samples().windows(2) {
        let [one, other] = pair else { continue };
        let (low, high) = (one.a.min(other.a), one.a.max(other.a));
        if within(other.time) && high - low > two.turns.apart.0 / 2.0 {
            let whole = |times: f64| (high - times * low).abs() <= ECHO_SLACK * high;
            changes += 1;
            echoes += usize::from(whole(2.0) || whole(3.0));
        }
    }
    echoes as f64 >= MOSTLY * changes as f64
}

impl InTurn<'_> {
    /// The NMEA 2000 address with which both speak.
    pub(super) fn address(&self, evidence: &Evidence<'_>) -> Option<u8> {
        evidence.books.inventory.get(self.source.key.device)?.address()
    }

    /// `15.0 deg`.
    pub(super) fn apart(&self) -> String {
        let unit = if self.source.key.quantity == "heading" { "deg" } else { "m" };
        format!("{} {unit}", number(self.turns.apart.0, 1))
    }

    /// What was seen, in a sentence.
    pub(super) fn seen(&self) -> String {
        format!(
            "{} of {} {}s in {} belong to two that lie {} apart (give or take {}) and change places {} times.",
            self.turns.values,
            self.source.valid,
            self.source.key.quantity,
            self.source.key.message,
            self.apart(),
            number(self.turns.apart.1, 1),
            self.turns.changes
        )
    }

    /// The distance that all but the widest 5 % keep within.
    pub(super) fn p95(&self) -> f64 {
        self.turns.apart.0 + 1.645 * self.turns.apart.1
    }

    /// The finding for a talker, whose sentences bear no address: two sensors with one name. Its figures are the caller's.
    pub(super) fn of_talker(&self, evidence: &Evidence<'_>, severity: Severity) -> Finding {
        let who = evidence.books.inventory.label(self.source.key.device);
        let quantity = self.source.key.quantity;
        Finding::new(severity, format!("Two sensors supply {quantity} as {who}, {} apart", self.apart()))
            .devices([self.source.key.device])
            .messages([self.source.key.message.to_string()])
            .spans(self.turns.spans.iter().copied())
            .evidence(self.seen())
            .evidence("Both bear one talker identifier: a listener takes them for one, and which is which does not show.")
            .check(format!("Find both sensors that feed this line, and switch the {quantity} sentences of one off."))
            .check("Where a multiplexer joins them, let it pass this sentence from one input only.")
    }
}
