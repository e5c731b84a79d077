//! Engines that are switched off, and engine messages that drop out.

use crate::wires::sensors;
use crate::{alarms, can_log, judge, number};
use leadsman::report::model::Report;

type Frames = Vec<(f64, u32, String)>;

const SECONDS: u32 = 150;

/// Engine speed (PGN 127488) of engine 0 from address 0x33 ten times a second; nothing where there is no speed.
fn speed(rpm: impl Fn(f64) -> Option<u16>) -> Frames {
    let at = (0..10 * SECONDS).map(|i| f64::from(i) / 10.0 + 0.05);
    at.filter_map(|t| {
        let [low, high] = (rpm(t)? * 4).to_le_bytes();
        Some((t, 0x09F2_0033, format!("00{low:02X}{high:02X}FFFF7FFFFF")))
    })
    .collect()
}

/// Its pressures and temperatures (PGN 127489, four frames) twice a second.
fn pressures(sent: impl Fn(f64) -> bool) -> Frames {
    let parts = ["1A00B80BFFFF30", "7F780564006C03", "0000FFFFFFFFFF", "000000007F7FFF"];
    (0..2 * SECONDS)
        .map(|i| (i, f64::from(i) / 2.0 + 0.07))
        .filter(|(_, t)| sent(*t))
        .flat_map(|(i, t)| {
            (0..4).zip(parts).map(move |(n, part)| {
                (t + 0.001 * f64::from(n), 0x09F2_0133, format!("{:02X}{part}", ((i % 8) << 5) | n))
            })
        })
        .collect()
}

/// The state of its battery (PGN 127508) every 1.5 s: the gateway lives.
fn battery() -> Frames {
    (0..SECONDS * 2 / 3)
        .map(|i| (1.5 * f64::from(i) + 0.09, 0x19F2_1433, "001A05FF7FFFFFFF".to_owned()))
        .collect()
}

fn report(frames: &[Frames]) -> Report {
    judge(&[can_log([sensors(0, SECONDS), battery(), frames.concat()].concat())])
}

fn away(t: f64) -> bool {
    (60.0..75.0).contains(&t) || (100.0..115.0).contains(&t)
}

/// Nobody stops an engine that is as fast before a pause as after it: its message drops out.
#[test]
fn an_engine_that_runs_on_was_not_switched_off() {
    for frames in [
        vec![speed(|t| (!away(t)).then_some(1700))],
        vec![speed(|t| (!away(t)).then_some(1700)), pressures(|_| true)],
        vec![speed(|_| Some(1700)), pressures(|t| !away(t))],
    ] {
        let report = report(&frames);
        assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
        assert!((number(&report, "message-dropout", "gaps") - 2.0).abs() < 0.1);
    }
}

/// One whose key is turned may be silent at once, and stands when it comes back; it may also stand before, with the key on.
#[test]
fn an_engine_that_stands_before_or_after_a_pause_may_have_been_off() {
    let stops = |t: f64| (!away(t)).then_some(if t < 60.0 { 1700 } else { 0 });
    let stood = |t: f64| (!away(t)).then_some(if t < 115.0 { 0 } else { 1700 });
    for frames in [
        vec![speed(stops), pressures(|t| !away(t))],
        vec![speed(stood), pressures(|t| !away(t))],
        vec![speed(stood), pressures(|_| true)],
        vec![speed(|_| Some(0)), pressures(|t| !away(t))],
        vec![speed(|t| (t < 100.0).then_some(1700)), pressures(|t| t < 100.0)],
    ] {
        let report = report(&frames);
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    }
}

/// Where its pressures come on, an engine was not switched off, though its speed never comes back.
#[test]
fn an_engine_that_tells_its_pressures_is_on() {
    let report = report(&[speed(|t| (t < 100.0).then_some(1700)), pressures(|_| true)]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
}

/// An engine may be off and run again faster than its speed is sent: its oil without pressure shows that it stood.
#[test]
fn an_engine_without_oil_pressure_stands() {
    let mut frames = pressures(|_| true);
    for (_, _, data) in frames.iter_mut().filter(|(t, ..)| away(*t)) {
        *data = data.replace("1A00B80B", "1A000000");
    }
    let report = report(&[speed(|t| (!away(t)).then_some(600)), frames]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// How many low supplies are told, each with its messages and dips, of a gateway that tells its battery (PGN 127508) and what its
/// alternator gives (PGN 127489).
fn low_supplies(battery: impl Fn(f64) -> f64, alternator: impl Fn(f64) -> f64) -> Vec<(usize, usize)> {
    let hex = |volts: f64| {
        let [low, high] = ((volts * 100.0).round() as u16).to_le_bytes();
        format!("{low:02X}{high:02X}")
    };
    let state = (0..SECONDS * 2 / 3).map(|i| {
        let t = 1.5 * f64::from(i) + 0.09;
        (t, 0x19F2_1433, format!("00{}FF7FFFFFFF", hex(battery(t))))
    });
    let gives = pressures(|_| true).into_iter().map(|(t, id, data)| {
        let is_second = u8::from_str_radix(&data[..2], 16).unwrap() & 0x1F == 1;
        let data =
            if is_second { format!("{}{}{}", &data[..4], hex(alternator(t)), &data[8..]) } else { data };
        (t, id, data)
    });
    let frames = sensors(0, SECONDS).into_iter().chain(state).chain(gives);
    let report = judge(&[can_log(frames.collect())]);
    let low = report.findings.iter().filter(|finding| finding.kind == "low-supply-voltage");
    low.map(|finding| (finding.messages.len(), finding.spans.len())).collect()
}

/// What two messages of one device tell of one supply is one finding; two batteries that sag at different times are two.
#[test]
fn one_supply_in_two_messages_sags_once() {
    let sag = |from: f64, low: f64| move |t: f64| if (from..from + 15.0).contains(&t) { low } else { 12.4 };
    let twice = |low: f64| {
        move |t: f64| match t {
            60.0..75.0 => 10.5,
            100.0..110.0 => low,
            _ => 12.4,
        }
    };
    assert_eq!(low_supplies(sag(60.0, 10.4), sag(60.0, 10.5)), [(2, 1)]);
    assert_eq!(low_supplies(twice(10.9), twice(11.1)), [(2, 2)], "one of them all but falls as low");
    assert_eq!(low_supplies(sag(60.0, 10.4), |_| 12.6), [(1, 1)], "the other stays up");
    assert_eq!(low_supplies(sag(60.0, 10.4), sag(100.0, 10.4)), [(1, 1), (1, 1)]);
    assert_eq!(low_supplies(|_| 10.7, sag(60.0, 9.8)), [(1, 1), (1, 1)], "one is flat throughout");
    assert_eq!(low_supplies(twice(10.2), sag(60.0, 10.4)), [(2, 1), (1, 1)], "each event once");
}
