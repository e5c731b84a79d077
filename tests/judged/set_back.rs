//! What happens after the recorder's clock was set back counts as before, and is shown by its stamps.

use crate::make::START_US;
use crate::silences::depths;
use crate::wires::sensors;
use crate::{alarms, ask, can_log, judge, number};
use leadsman::report::model::{Report, Standing};
use leadsman::time::{Span, Time};

type Frames = Vec<(f64, u32, String)>;

/// The second at which the recorder's clock is set, and by how many seconds it is set back.
const SET: (f64, f64) = (40.0, 600.0);

/// A recording in which the clock is set back, and at the end of a second stretch set forth again where one is given.
fn recorded(frames: &[(f64, u32, String)], forth: Option<f64>) -> Vec<u8> {
    let (from, by) = SET;
    let to = forth.unwrap_or(f64::INFINITY);
    let shown = |t: f64| if (from..to).contains(&t) { t } else { t + by };
    let part = |from: f64, to: f64| {
        let part = frames.iter().filter(|(t, ..)| (from..to).contains(t)).cloned();
        can_log(part.map(|(t, id, data)| (shown(t), id, data)).collect())
    };
    [part(-1.0, from), part(from, to), part(to, f64::INFINITY)].concat()
}

/// The stamp of a second after the clock was set, and of one before.
fn after(second: f64) -> Time {
    Time(START_US as i64).plus(second)
}

fn before(second: f64) -> Time {
    after(second + SET.1)
}

fn spans(report: &Report, kind: &str) -> Vec<Span> {
    report.findings.iter().find(|f| f.kind == kind).unwrap().spans.clone()
}

/// Rapid positions without a place for a while.
fn without_fix(mut frames: Frames, from: f64, to: f64) -> Frames {
    for (t, id, data) in &mut frames {
        if *id == 0x09F8_0103 && (from..to).contains(t) {
            *data = "FFFFFF7FFFFFFF7F".to_owned();
        }
    }
    frames
}

#[test]
fn a_fix_that_is_lost_is_told_with_its_stamps() {
    let report = judge(&[recorded(&without_fix(sensors(0, 150), 90.0, 120.0), None)]);
    assert_eq!(alarms(&report), ["fix-lost"], "{:?}", report.findings);
    let [span] = spans(&report, "fix-lost")[..] else { panic!("one loss") };
    assert!(span.from.since(after(90.0)).abs() < 0.2 && span.to.since(after(120.0)).abs() < 0.2, "{span:?}");
    let told = &report.findings.iter().find(|f| f.kind == "fix-lost").unwrap().evidence[0];
    assert!(told.contains(&after(90.0).clock()), "{told}");
    assert!((number(&report, "clock-step", "largest_s") - SET.1).abs() < 0.2);
    assert!((report.recordings[0].duration_s.unwrap() - 150.0).abs() < 0.3);
    // The first and the last stamp are those of the frames beside the step.
    let (from, to) = (after(40.0), before(40.0));
    for (first, last) in report.devices.iter().map(|d| (d.first.unwrap(), d.last.unwrap())) {
        assert!(first.since(from).abs() < 0.2 && to.since(last).abs() < 0.2, "{first} {last}");
    }
}

/// A loss over the moment itself is one, told with the stamps on both sides.
#[test]
fn a_loss_over_the_step_is_one_with_the_stamps_of_both_sides() {
    let report = judge(&[recorded(&without_fix(sensors(0, 150), 30.0, 60.0), None)]);
    assert!((number(&report, "fix-lost", "lost_s") - 30.0).abs() < 0.3);
    let spans = spans(&report, "fix-lost");
    let lengths: Vec<f64> = spans.iter().map(|span| span.seconds().round()).collect();
    assert_eq!(lengths, [10.0, 20.0], "{spans:?}");
}

/// A sounder that claims its address anew after each of two silences, unasked.
#[test]
fn restarts_are_no_dropouts() {
    let claim = |at: f64| vec![(at, 0x18EE_FF16, "1600D0260082A0C0".to_owned())];
    let mut depths = depths(0, 150);
    depths.retain(|(t, ..)| ![80.0, 110.0].into_iter().any(|from| (from..from + 6.0).contains(t)));
    let claims = [claim(0.1), claim(86.0), claim(116.0)].concat();
    let report = ask(&[recorded(&[sensors(0, 150), depths, claims].concat(), None)], "data-drops-out");
    assert_eq!(alarms(&report), ["device-restart"], "{:?}", report.findings);
    assert_eq!(number(&report, "device-restart", "restarts"), 2.0);
    let cause = report.complaints[0].causes.iter().find(|c| c.cause == "device-restart").unwrap();
    assert_eq!(cause.standing, Standing::Supported);
}

/// Two batteries of one number (PGN 127508), throughout.
#[test]
fn two_batteries_of_one_number_are_found() {
    let battery = |i: u32, source: u32| {
        (1.5 * f64::from(i) + 0.01 * f64::from(source), 0x19F2_1400 | source, "00F00400000000FF".to_owned())
    };
    let batteries = (0..100).flat_map(|i| [battery(i, 0x31), battery(i, 0x32)]).collect();
    let report = judge(&[recorded(&[sensors(0, 150), batteries].concat(), None)]);
    assert_eq!(alarms(&report), ["duplicate-instance"], "{:?}", report.findings);
}

/// The clock is set back and, later, forth again: nothing was lost at either moment.
#[test]
fn a_clock_that_is_set_forth_again_is_as_right_as_before() {
    let frames = without_fix([sensors(0, 150), depths(0, 150)].concat(), 110.0, 130.0);
    let report = judge(&[recorded(&frames, Some(70.0))]);
    assert_eq!(alarms(&report), ["fix-lost"], "{:?}", report.findings);
    let from = before(110.0);
    assert!(spans(&report, "fix-lost")[0].from.since(from).abs() < 0.2);
    assert!((report.recordings[0].duration_s.unwrap() - 150.0).abs() < 0.5);
}
