//! Findings: the books judged. One kind, one file; its detector and its documentation stand together.
//!
//! A new kind is one file with a `Detector` and one line in `DETECTORS`.

mod absent;
mod address_claim_failed;
mod address_conflict;
mod ahead;
mod arp_unanswered;
mod bad_checksum;
mod broadcast_storm;
mod bus_error;
mod bus_load_high;
mod clock_step;
mod coarse_timestamps;
mod compass_deviation;
mod course_error;
mod depth_frozen;
mod depth_lost_at_speed;
pub(crate) mod depth_not_available;
mod depth_second_echo;
mod depth_stops;
mod depth_unsent;
mod deviation;
mod device_dropout;
mod device_restart;
mod dhcp_unanswered;
pub(crate) mod duplicate_depth_source;
mod duplicate_heading_source;
mod duplicate_instance;
mod duplicate_position_source;
mod even_turn;
mod fast_packet_loss;
mod fix_lost;
mod fix_times;
#[cfg(test)]
mod fixture;
mod garbled_sentence;
mod handed_on;
mod heading_frozen;
mod heading_jump;
mod heading_lag;
mod heading_misaligned;
mod heading_words;
mod ip_conflict;
pub(crate) mod irregular_message;
mod line_overloaded;
mod link_flap;
mod link_saturated;
mod links;
mod lost_to_damage;
mod low_supply_voltage;
mod message_dropout;
mod motion;
pub(crate) mod network_address;
mod no_depth_source;
mod no_heading_source;
mod no_position_source;
pub(crate) mod pairs;
pub(crate) mod poor_fix;
mod position_frozen;
mod position_jump;
mod power_budget;
pub mod presence;
mod recording_damaged;
mod recording_gap;
mod recording_too_short;
mod recording_truncated;
mod repeats;
mod request_unanswered;
mod rival_dhcp_servers;
mod rounded;
mod same_order;
mod self_assigned_address;
mod shows;
mod singles_missing;
pub(crate) mod slow_message;
mod split_subnet;
mod steered;
mod steps_of;
mod supply_dips;
mod tcp_retransmission;
mod to_the_letter;
mod two_in_turn;
mod variation;
mod which_wire;
mod wire_outage;
pub(crate) mod words;

use crate::books::Books;
use crate::books::inventory::DeviceId;
use crate::books::series::SourceKey;
use crate::books::wires::WireId;
use crate::report::model::{Number, Severity, Shows};
use crate::time::Span;
use presence::Presence;
use rustc_hash::FxHashMap;
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;

/// The page that explains one kind of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doc {
    /// Name from the catalogue.
    pub kind: &'static str,
    /// The usual severity, in words.
    pub severity: &'static str,
    /// What it means for the boat.
    pub meaning: &'static str,
    /// How it is detected.
    pub detection: &'static str,
    /// What looks alike and is something else.
    pub lookalikes: &'static str,
    /// What to check on the boat.
    pub checks: &'static str,
    /// Dangers of those checks.
    pub cautions: &'static str,
}

/// One kind of finding.
pub(crate) struct Detector {
    /// Its page.
    doc: Doc,
    /// The complaints that it speaks to.
    complaints: &'static [&'static str],
    /// Finds it in the books.
    detect: fn(&Evidence<'_>) -> Vec<Finding>,
}

/// What the detectors look at.
pub(crate) struct Evidence<'a> {
    /// The books.
    books: &'a Books,
    /// The silences, each with its owner.
    presence: Presence,
    /// Every two headings compared, once one detector has asked.
    headings: OnceCell<Vec<duplicate_heading_source::Pair<'a>>>,
    /// The devices that only repeat another one's heading, its position, its depth.
    heading_repeaters: OnceCell<Vec<DeviceId>>,
    position_repeaters: OnceCell<Vec<DeviceId>>,
    depth_repeaters: OnceCell<Vec<DeviceId>>,
    /// The sounders that send nothing where they lose the bottom at speed.
    depth_unsent: OnceCell<Vec<depth_unsent::Unsent>>,
    /// Headings compared with the course over ground, as detectors asked for them.
    course_errors: RefCell<Vec<(SourceKey, Option<course_error::CourseError>)>>,
}

impl<'a> Evidence<'a> {
    fn of(books: &'a Books) -> Self {
        Self {
            books,
            presence: presence::survey(books),
            headings: OnceCell::new(),
            heading_repeaters: OnceCell::new(),
            position_repeaters: OnceCell::new(),
            depth_repeaters: OnceCell::new(),
            depth_unsent: OnceCell::new(),
            course_errors: RefCell::default(),
        }
    }
}

/// Every kind that is detected, in the order of the catalogue.
const DETECTORS: &[Detector] = &[
    duplicate_heading_source::DETECTOR,
    heading_jump::DETECTOR,
    heading_frozen::DETECTOR,
    heading_misaligned::DETECTOR,
    compass_deviation::DETECTOR,
    duplicate_position_source::DETECTOR,
    position_jump::DETECTOR,
    position_frozen::DETECTOR,
    fix_lost::DETECTOR,
    poor_fix::DETECTOR,
    no_heading_source::DETECTOR,
    no_position_source::DETECTOR,
    no_depth_source::DETECTOR,
    depth_not_available::DETECTOR,
    depth_lost_at_speed::DETECTOR,
    duplicate_depth_source::DETECTOR,
    depth_second_echo::DETECTOR,
    depth_frozen::DETECTOR,
    message_dropout::DETECTOR,
    device_dropout::DETECTOR,
    wire_outage::DETECTOR,
    device_restart::DETECTOR,
    slow_message::DETECTOR,
    irregular_message::DETECTOR,
    address_conflict::DETECTOR,
    address_claim_failed::DETECTOR,
    duplicate_instance::DETECTOR,
    bus_error::DETECTOR,
    bus_load_high::DETECTOR,
    fast_packet_loss::DETECTOR,
    request_unanswered::DETECTOR,
    low_supply_voltage::DETECTOR,
    power_budget::DETECTOR,
    link_flap::DETECTOR,
    ip_conflict::DETECTOR,
    rival_dhcp_servers::DETECTOR,
    dhcp_unanswered::DETECTOR,
    self_assigned_address::DETECTOR,
    split_subnet::DETECTOR,
    broadcast_storm::DETECTOR,
    link_saturated::DETECTOR,
    tcp_retransmission::DETECTOR,
    arp_unanswered::DETECTOR,
    bad_checksum::DETECTOR,
    garbled_sentence::DETECTOR,
    line_overloaded::DETECTOR,
    recording_truncated::DETECTOR,
    recording_damaged::DETECTOR,
    recording_gap::DETECTOR,
    clock_step::DETECTOR,
    coarse_timestamps::DETECTOR,
    recording_too_short::DETECTOR,
];

/// Every kind of finding, in the order of the catalogue.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    DETECTORS.iter().map(|d| d.doc.kind)
}

/// The page of one kind, or `None` for a kind that is not detected.
#[must_use]
pub fn doc(kind: &str) -> Option<&'static Doc> {
    DETECTORS.iter().map(|d| &d.doc).find(|doc| doc.kind == kind)
}

/// The complaints that a kind of finding speaks to; none for a kind that is not detected.
#[must_use]
pub fn complaints(kind: &str) -> &'static [&'static str] {
    DETECTORS.iter().find(|d| d.doc.kind == kind).map_or(&[], |d| d.complaints)
}

/// One finding: facts, with what a sceptic can check.
#[derive(Debug, Clone)]
pub struct Finding {
    /// Name from the catalogue.
    pub kind: &'static str,
    /// How grave.
    pub severity: Severity,
    /// One line.
    pub summary: String,
    /// Whom it is about.
    pub devices: Vec<DeviceId>,
    /// Messages it is about.
    pub messages: Vec<String>,
    /// When.
    pub spans: Vec<Span>,
    /// Figures; each key bears its unit.
    pub numbers: BTreeMap<&'static str, Number>,
    /// What a reader can check, most important first.
    pub evidence: Vec<String>,
    /// What to do on the boat.
    pub checks: Vec<String>,
    /// Complaints that it speaks to.
    pub complaints: Vec<&'static str>,
    /// Wires that it is about, besides those of its devices.
    pub wires: Vec<WireId>,
    /// The finding that it follows from, by its place in the list.
    pub follows_from: Option<usize>,
}

impl Finding {
    /// A finding with nothing but its headline; the kind and the complaints are filled in by [`judge`].
    fn new(severity: Severity, summary: impl Into<String>) -> Self {
        Self {
            kind: "",
            severity,
            summary: summary.into(),
            devices: Vec::new(),
            messages: Vec::new(),
            spans: Vec::new(),
            numbers: BTreeMap::new(),
            evidence: Vec::new(),
            checks: Vec::new(),
            complaints: Vec::new(),
            wires: Vec::new(),
            follows_from: None,
        }
    }

    fn on(mut self, wire: WireId) -> Self {
        self.wires.push(wire);
        self
    }

    fn devices(mut self, devices: impl IntoIterator<Item = DeviceId>) -> Self {
        self.devices.extend(devices);
        self
    }

    fn messages(mut self, messages: impl IntoIterator<Item = String>) -> Self {
        for message in messages {
            if !self.messages.contains(&message) {
                self.messages.push(message);
            }
        }
        self
    }

    fn spans(mut self, spans: impl IntoIterator<Item = Span>) -> Self {
        self.spans.extend(spans);
        self
    }

    fn real(mut self, key: &'static str, value: f64) -> Self {
        // Six decimals: finer than any of the units means.
        self.numbers.insert(key, Number::Real((value * 1e6).round() / 1e6));
        self
    }

    fn count(mut self, key: &'static str, value: u64) -> Self {
        self.numbers.insert(key, Number::Count(value));
        self
    }

    fn text(mut self, key: &'static str, value: impl Into<String>) -> Self {
        self.numbers.insert(key, Number::Text(value.into()));
        self
    }

    fn evidence(mut self, line: impl Into<String>) -> Self {
        self.evidence.push(line.into());
        self
    }

    fn check(mut self, line: impl Into<String>) -> Self {
        self.checks.push(line.into());
        self
    }
}

/// Two recorders' clocks are set by each other to within this, or not at all, seconds.
const CLOCKS_S: f64 = 2.0;

/// Leaves out what was seen twice, by two recorders of one wire or on two links of one network: findings of one kind, of the same
/// devices, at the same times; of whole wires, of those that carry the same devices.
fn seen_once(books: &Books, alike: &mut Vec<Finding>) {
    if alike.len() < 2 || books.wires.iter().count() < 2 {
        return;
    }
    // Two lines of one gateway are two.
    let root = |id: DeviceId| books.inventory.get(id).map(|device| books.root(device.wire));
    let same_devices = |one: &Finding, other: &Finding| {
        let mut devices = one.devices.iter().zip(&other.devices);
        let on_wires = || {
            let mut wires = one.wires.iter().zip(&other.wires);
            one.wires != other.wires && wires.all(|(a, b)| which_wire::carry_the_same(books, *a, *b))
        };
        one.devices.len() == other.devices.len()
            && if one.devices.is_empty() {
                one.wires.len() == other.wires.len() && on_wires()
            } else {
                devices.all(|(a, b)| books.inventory.same(*a, *b) && root(*a) != root(*b))
            }
    };
    let same_time = |one: &Finding, other: &Finding| {
        let (from, to) = (&one.spans, &other.spans);
        from.is_empty() == to.is_empty()
            && to.iter().all(|span| from.iter().any(|other| span.touches(*other, CLOCKS_S)))
    };
    let texts = |finding: &Finding| {
        let texts = finding.numbers.iter().filter(|(_, number)| matches!(number, Number::Text(_)));
        texts.map(|(key, text)| (*key, text.clone())).collect::<Vec<_>>()
    };
    let same = |one: &Finding, other: &Finding| {
        one.messages == other.messages
            && same_devices(one, other)
            && same_time(one, other)
            && texts(one) == texts(other)
    };
    let mut kept: Vec<Finding> = Vec::with_capacity(alike.len());
    for finding in alike.drain(..) {
        match kept.iter_mut().find(|k| same(k, &finding) || same(&finding, k)) {
            Some(told) if told.spans.len() < finding.spans.len() => *told = finding,
            Some(_) => {}
            None => kept.push(finding),
        }
    }
    *alike = kept;
}

/// Findings of one kind that are told: nobody reads more, and pairs of devices could make thousands.
const MAX_ALIKE: usize = 40;

/// Leaves out what is past the bound, the least grave first; the last one that stays says how many there were.
fn leave_out(alike: &mut Vec<Finding>) {
    let more = alike.len().saturating_sub(MAX_ALIKE);
    if more == 0 {
        return;
    }
    alike.sort_by_key(|f| std::cmp::Reverse(f.severity));
    alike.truncate(MAX_ALIKE);
    if let Some(last) = alike.last_mut() {
        last.evidence.push(format!("{more} more findings of this kind are left out of the report."));
    }
}

/// Whether a recorder's clock was set while it recorded: its times cannot be moved as one.
#[must_use]
pub fn clock_was_set(books: &Books) -> bool {
    clock_step::was_set(books)
}

/// What the books show.
#[derive(Debug)]
pub struct Judgement {
    /// Every finding, in the order in which a technician should look at them: gravest first, and before what follows from it.
    pub findings: Vec<Finding>,
    /// By source, what would have shown where no finding says that it did.
    pub shows: FxHashMap<SourceKey, Shows>,
}

/// Judges the books.
#[must_use]
pub fn judge(books: &Books) -> Judgement {
    let evidence = Evidence::of(books);
    let mut findings = Vec::new();
    for detector in DETECTORS {
        let mut alike = (detector.detect)(&evidence);
        seen_once(books, &mut alike);
        leave_out(&mut alike);
        for mut finding in alike {
            finding.kind = detector.doc.kind;
            finding.complaints = detector.complaints.to_vec();
            which_wire::name(books, &mut finding);
            findings.push(finding);
        }
    }
    Judgement { shows: shows::all(&evidence), findings: links::settle(books, findings) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn findings_without_end_are_counted_and_the_gravest_stay() {
        let new = |n: usize| {
            let severity = if n == 99 { Severity::Fault } else { Severity::Note };
            Finding::new(severity, n.to_string())
        };
        let mut alike: Vec<_> = (0..MAX_ALIKE).map(new).collect();
        leave_out(&mut alike);
        assert!(alike.len() == MAX_ALIKE && alike.iter().all(|f| f.evidence.is_empty()));
        let mut alike: Vec<_> = (0..100).map(new).collect();
        leave_out(&mut alike);
        assert_eq!((alike.len(), alike[0].summary.as_str()), (MAX_ALIKE, "99"));
        assert_eq!(
            alike[MAX_ALIKE - 1].evidence,
            ["60 more findings of this kind are left out of the report."]
        );
    }

    #[test]
    fn every_kind_is_documented_once() {
        let mut seen = std::collections::BTreeSet::new();
        for d in DETECTORS {
            assert!(seen.insert(d.doc.kind), "{} stands twice", d.doc.kind);
            for text in [d.doc.severity, d.doc.meaning, d.doc.detection, d.doc.lookalikes, d.doc.checks] {
                assert!(text.len() > 3, "{} is not explained", d.doc.kind);
            }
            for complaint in d.complaints {
                assert!(crate::complaints::NAMES.contains(complaint));
            }
        }
    }
}
