//! What happens in the first seconds after a silence of the whole wire.

use crate::silences::{depths, without};
use crate::wires::sensors;
use crate::{alarms, judge, number};
use leadsman::report::model::Report;

type Frames = Vec<(f64, u32, String)>;

/// The addresses of the nodes below.
const NODES: [u32; 3] = [0x03, 0x23, 0x16];

/// A claim of an address, as a node that starts makes it.
fn claim(at: f64, address: u32) -> Frames {
    vec![(at, 0x18EE_FF00 | address, format!("{address:02X}00D0260082A0C0"))]
}

/// Three nodes that have claimed their addresses at the start, and what else comes; all are silent in the first of these spans, and
/// one in the other.
fn judged(all: (f64, f64), (node, one): (u32, (f64, f64)), more: Frames) -> Report {
    let mut frames = [sensors(0, 150), depths(0, 150), more].concat();
    frames.extend(NODES.iter().flat_map(|node| claim(0.001 * f64::from(*node), *node)));
    frames.retain(|(t, id, _)| id & 0xFF != node || !(one.0..one.1).contains(t));
    judge(&[without(frames, &[all])])
}

fn kinds(report: &Report) -> Vec<&'static str> {
    let mut kinds = alarms(report);
    kinds.sort_unstable();
    kinds
}

/// Who was heard again after the recorder slept is missed at once.
#[test]
fn a_recorder_that_slept_excuses_nobody() {
    let gap = (60.0, 63.0);
    let report = judged(gap, (0x23, (68.0, 72.0)), Vec::new());
    assert_eq!(kinds(&report), ["device-dropout", "recording-gap"], "{:?}", report.findings);
    let report = judged(gap, (0x23, (68.0, 72.0)), claim(72.0, 0x23));
    assert_eq!(kinds(&report), ["device-restart", "recording-gap"], "{:?}", report.findings);
    // A node's position goes on while its heading pauses.
    let at = (0..1500).map(|i| f64::from(i) / 10.0 + 0.05).filter(|t| !(68.0..72.0).contains(t));
    let heading = at.map(|t| (t, 0x09F1_1203, format!("FF{:02X}30FF7FFF7FFD", (t * 3.0) as u32 % 256)));
    let report = judged(gap, (0x99, (0.0, 0.0)), heading.collect());
    assert_eq!(kinds(&report), ["message-dropout", "recording-gap"], "{:?}", report.findings);
}

/// So is who has started after an outage and falls silent again: its silence and its claim are its own.
#[test]
fn who_has_started_after_an_outage_may_restart() {
    let claims = || {
        NODES.iter().enumerate().flat_map(|(n, node)| claim(66.0 + 0.1 * n as f64, *node)).collect::<Frames>()
    };
    let report = judged((60.0, 66.0), (0x23, (70.0, 74.0)), [claims(), claim(74.0, 0x23)].concat());
    assert_eq!(kinds(&report), ["device-restart", "wire-outage"], "{:?}", report.findings);
    assert!((number(&report, "wire-outage", "gaps") - 1.0).abs() < 0.1);
    let report = judged((60.0, 66.0), (0x23, (70.0, 74.0)), claims());
    assert_eq!(kinds(&report), ["device-dropout", "wire-outage"], "{:?}", report.findings);
}

/// A node that claims its address at once when the power is back, and boots for seconds before its data come, is part of the outage;
/// so is one that comes seconds after the others.
#[test]
fn who_boots_late_after_an_outage_is_part_of_it() {
    let at_once = [claim(66.0, 0x03), claim(66.1, 0x23), claim(66.2, 0x16)].concat();
    let report = judged((60.0, 66.0), (0x23, (66.15, 73.0)), at_once);
    assert_eq!(kinds(&report), ["wire-outage"], "{:?}", report.findings);
    let late = [claim(66.0, 0x03), claim(66.1, 0x16), claim(71.0, 0x23)].concat();
    let report = judged((60.0, 66.0), (0x23, (66.0, 71.0)), late);
    assert_eq!(kinds(&report), ["wire-outage"], "{:?}", report.findings);
    let later = [claim(63.0, 0x03), claim(63.1, 0x16), claim(85.0, 0x23)].concat();
    let report = judged((60.0, 63.0), (0x23, (63.0, 85.0)), later);
    assert_eq!(kinds(&report), ["wire-outage"], "{:?}", report.findings);
}

/// What is left of a node's silence without a short one of the whole bus is no more than it may pause.
#[test]
fn a_short_silence_of_all_is_nobodys() {
    for (every, gap) in [(0.4, (60.0, 61.7)), (0.5, (60.0, 62.2)), (0.4, (60.05, 62.25))] {
        let at = (0..).map(|i| f64::from(i) * every).take_while(|t| *t < 150.0);
        let water = at.map(|t| (t, 0x15FD_0641, "FF30710000FFFFFF".to_owned())).collect();
        let report = judged(gap, (0x99, (0.0, 0.0)), water);
        assert_eq!(kinds(&report), [""; 0], "{:?}", report.findings);
    }
}

/// Who contends for an address claims it again and again, with the bus's power or without.
#[test]
fn a_claim_in_a_quarrel_tells_nothing_of_the_power() {
    let other = |at: f64| vec![(at, 0x18EE_FF03, "4400D0260082A0C0".to_owned())];
    let quarrel = [20.0, 40.0, 71.0, 90.0, 120.0].into_iter().flat_map(|t| [claim(t + 0.1, 0x03), other(t)]);
    let report = judged((60.0, 67.0), (0x99, (0.0, 0.0)), quarrel.flatten().collect());
    assert_eq!(kinds(&report), ["address-conflict", "recording-gap"], "{:?}", report.findings);
}

/// Eight nodes more, of which one claims its address anew after a gap that begins 60 s from the start.
fn one_of_many(claims_at: f64) -> Report {
    let more = (0..8).flat_map(|n| {
        let state = move |i| (f64::from(i) / 2.0 + 0.2, 0x0DF2_0D40 | n, "01FFFFFFFFFFFFFF".to_owned());
        (0..300).map(state).chain(claim(0.3, 0x40 | n))
    });
    let anew = claim(claims_at, 0x47);
    judged((60.0, 63.0), (0x47, (62.0, claims_at)), more.chain(anew).collect())
}

/// One node that starts anew while the recorder slept does not show that the bus lost its power.
#[test]
fn one_claim_among_many_nodes_is_one_restart() {
    let report = one_of_many(64.0);
    assert_eq!(kinds(&report), ["device-restart", "recording-gap"], "{:?}", report.findings);
    let gap = report.findings.iter().find(|finding| finding.kind == "recording-gap").unwrap();
    assert!(gap.evidence.iter().all(|said| !said.contains("No device")), "{:?}", gap.evidence);
}

/// A claim at once after a gap may answer a request that the recorder missed.
#[test]
fn a_claim_just_after_a_gap_may_be_an_answer() {
    let report = one_of_many(63.1);
    assert_eq!(kinds(&report), ["recording-gap"], "{:?}", report.findings);
}
