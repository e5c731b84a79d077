//! Depths.

use crate::wires::sensors;
use crate::{alarms, can_log, judge};

/// Depths (PGN 128267) once a second; `None` where the sounder finds no bottom.
pub(crate) fn depths(m: impl Fn(f64) -> Option<f64>) -> Vec<(f64, u32, String)> {
    let frame = |i: u32| {
        let depth = m(f64::from(i) + 0.5).map_or(u32::MAX, |m| (m * 100.0) as u32);
        let [a, b, c, d] = depth.to_le_bytes();
        (f64::from(i) + 0.5, 0x0DF5_0B16, format!("FF{a:02X}{b:02X}{c:02X}{d:02X}0000FF"))
    };
    (0..400).map(frame).collect()
}

/// The bottom falls away from 40 m to 400 m and comes back; the sounder reaches to 200 m.
#[test]
fn deep_water_is_no_fault_of_the_sounder() {
    let bottom = |t: f64| 40.0 + 360.0 * (1.0 - ((t - 200.0) / 200.0).abs());
    let reached = |t: f64| Some(bottom(t)).filter(|m| *m < 200.0);
    // While it searches it shows something now and then.
    let wild = |t: f64| if [160.5, 210.5].contains(&t) { Some(412.0) } else { reached(t) };
    for report in [&reached as &dyn Fn(f64) -> Option<f64>, &wild]
        .map(|m| judge(&[can_log([sensors(0, 400), depths(m)].concat())]))
    {
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        let note = report.findings.iter().find(|f| f.kind == "depth-not-available").unwrap();
        assert!(note.evidence.iter().any(|line| line.contains("out of its reach")), "{:?}", note.evidence);
    }
}

/// The same share is missing, in shallow water.
#[test]
fn shallow_water_without_depth_is_one() {
    let reached = |t: f64| (!(90.0..310.0).contains(&t)).then_some(8.0 + t / 100.0);
    let report = judge(&[can_log([sensors(0, 400), depths(reached)].concat())]);
    assert_eq!(alarms(&report), ["depth-not-available"]);
}

/// Course and speed over ground (PGN 129026) twice a second.
pub(crate) fn speeds(knots: impl Fn(f64) -> f64) -> Vec<(f64, u32, String)> {
    let speed = |i: u32| {
        let t = f64::from(i) / 2.0;
        let [low, high] = ((knots(t) / 1.943_844 * 100.0) as u16).to_le_bytes();
        (t + 0.1, 0x09F8_0203, format!("FFFC1000{low:02X}{high:02X}FFFF"))
    };
    (0..800).map(speed).collect()
}

/// The depth goes on two fast runs, and once for as long while the boat hardly moves: speed does not explain it.
#[test]
fn depth_that_also_goes_when_slow_is_not_lost_at_speed() {
    let fast = |t: f64| (100.0..160.0).contains(&t) || (240.0..300.0).contains(&t);
    let knots = |t: f64| if fast(t) { 20.0 } else { 3.0 };
    for (slow, kind) in [(340.0..370.0, "depth-not-available"), (340.0..345.0, "depth-lost-at-speed")] {
        let lost = |t: f64| [105.0..155.0, 245.0..295.0, slow.clone()].iter().any(|span| span.contains(&t));
        let depths = depths(|t| (!lost(t)).then_some(8.0 + (t / 9.0).sin()));
        let report = judge(&[can_log([sensors(0, 400), speeds(knots), depths].concat())]);
        assert_eq!(alarms(&report), [kind], "{:?}", report.findings);
    }
}

/// A sounder that sends nothing while it has no bottom (IEC 61162-1 leaves that to the maker): no depth above 14 knots, on
/// three runs, the last of which goes on to the end.
#[test]
fn depth_that_is_not_sent_at_speed_is_lost_at_speed() {
    let knots = |t: f64| match t {
        t if (60.0..130.0).contains(&t) || (200.0..260.0).contains(&t) || t >= 340.0 => 24.0,
        _ => 6.0,
    };
    let sent = depths(|t| Some(8.0 + (t / 9.0).sin())).into_iter().filter(|(t, ..)| knots(*t) < 14.0);
    let report = judge(&[can_log([sensors(0, 400), speeds(knots), sent.collect()].concat())]);
    assert_eq!(alarms(&report), ["depth-lost-at-speed"], "{:?}", report.findings);
    let threshold = crate::number(&report, "depth-lost-at-speed", "threshold_kn");
    assert!((6.0..=24.0).contains(&threshold), "{threshold}");
}

/// Two sounders 0.8 m above each other; one of them reads the second echo for a quarter of the time.
#[test]
fn second_echoes_do_not_hide_an_offset() {
    let bottom = |t: f64| 6.0 + 2.0 * (t / 17.0).sin() + 0.02 * (t * 2.4).sin();
    let echoes = |t: f64| t % 40.0 > 30.0;
    let one = depths(|t| Some(bottom(t)));
    let other = depths(|t| Some((bottom(t) + 0.8) * if echoes(t) { 2.0 } else { 1.0 }));
    let other = other.into_iter().map(|(t, id, data)| (t + 0.2, id + 1, data)).collect();
    let report = judge(&[can_log([sensors(0, 400), one, other].concat())]);
    assert!(alarms(&report).contains(&"depth-second-echo"), "{:?}", alarms(&report));
    assert_eq!(crate::text(&report, "duplicate-depth-source", "relation"), "constant-offset");
    assert!(
        (crate::number(&report, "duplicate-depth-source", "median_difference_m").abs() - 0.8).abs() < 0.1
    );
}

/// The upper sounder of two doubles the depth for a fifth of the time; twice its depth is in no ratio to that of the other.
#[test]
fn second_echoes_of_the_upper_sounder_do_not_hide_an_offset() {
    let bottom = |t: f64| 8.0 + 3.5 * (t / 17.0).sin() + 0.02 * (t * 2.4).sin();
    let one = depths(|t| Some(bottom(t) * if t % 20.0 > 16.0 { 2.0 } else { 1.0 }));
    let other = depths(|t| Some(bottom(t) + 1.98));
    let other = other.into_iter().map(|(t, id, data)| (t + 0.2, id + 1, data)).collect();
    let report = judge(&[can_log([sensors(0, 400), one, other].concat())]);
    assert_eq!(alarms(&report), ["depth-second-echo", "duplicate-depth-source"], "{:?}", report.findings);
    assert_eq!(crate::text(&report, "duplicate-depth-source", "relation"), "constant-offset");
    let offset = crate::number(&report, "duplicate-depth-source", "median_difference_m").abs();
    assert!((offset - 1.98).abs() < 0.1, "{offset}");
}

/// Now and then a single depth comes through at speed: every twelfth is sent. The silences between them are of one run.
#[test]
fn a_stray_depth_ends_no_run_at_speed() {
    let fast = |t: f64| (60.0..130.0).contains(&t) || (200.0..260.0).contains(&t) || t >= 340.0;
    let knots = |t: f64| if fast(t) { 24.0 } else { 6.0 };
    let sent = depths(|t| Some(8.0 + (t / 9.0).sin())).into_iter();
    let sent = sent.filter(|(t, ..)| !fast(*t) || *t as u32 % 12 == 5).collect();
    let report = judge(&[can_log([sensors(0, 400), speeds(knots), sent].concat())]);
    assert_eq!(alarms(&report), ["depth-lost-at-speed"], "{:?}", report.findings);
}

/// The boat gets fast once and stays so. The depth goes in that moment, but for a stray one now and then; or it goes minutes
/// later, which is no matter of speed.
#[test]
fn depth_that_goes_as_the_boat_gets_fast_is_lost_at_speed() {
    let knots = |t: f64| match t {
        t if t < 150.0 => 5.0,
        t if t < 170.0 => 10.0,
        _ => 16.0,
    };
    for (from, kind) in [(150.0, "depth-lost-at-speed"), (280.0, "depth-not-available")] {
        let held = |t: f64| t < from || t as u32 % 9 == 4;
        let depths = depths(|t| held(t).then_some(8.0 + (t / 9.0).sin()));
        let report = judge(&[can_log([sensors(0, 400), speeds(knots), depths].concat())]);
        assert_eq!(alarms(&report), [kind], "{:?}", report.findings);
    }
}

/// The bottom falls away and comes back. A sounder that gives a range of 100 m loses it at 95 m; one that gives none loses it at
/// 60 m. Over an even bottom of 60 m the same loss is a fault.
#[test]
fn a_sounder_reaches_no_deeper_than_it_can() {
    let bottom = |t: f64| 10.0 + 200.0 * (1.0 - ((t - 200.0) / 200.0).abs());
    let ranged = |mut depth: (f64, u32, String)| {
        depth.2.replace_range(14..16, "0A");
        depth
    };
    let to = |m: f64| depths(move |t| Some(bottom(t)).filter(|d| *d < m));
    let even = depths(|t| (!(100.0..300.0).contains(&t)).then_some(60.0 + (t / 9.0).sin()));
    let cases = [
        (to(95.0).into_iter().map(ranged).collect(), None),
        (to(60.0), None),
        (even, Some("depth-not-available")),
    ];
    for (depths, kind) in cases {
        let report = judge(&[can_log([sensors(0, 400), depths].concat())]);
        assert_eq!(alarms(&report), kind.into_iter().collect::<Vec<_>>(), "{:?}", report.findings);
    }
}

/// The sounder fails twice while the boat cruises, and finds the bottom for minutes at that speed before, between and after.
#[test]
fn depth_that_holds_at_speed_is_not_lost_by_it() {
    let knots = |t: f64| if (40.0..360.0).contains(&t) { 10.0 + (t / 7.0).sin() } else { 4.0 };
    for zero in [true, false] {
        let lost = |t: f64| (60.0..150.0).contains(&t) || (200.0..300.0).contains(&t);
        let depths = depths(|t| match lost(t) {
            true if zero => Some(0.0),
            true => None,
            false => Some(8.0 + (t / 9.0).sin()),
        });
        let recording = can_log([sensors(0, 400), speeds(knots), depths].concat());
        let report = judge(std::slice::from_ref(&recording));
        assert_eq!(alarms(&report), ["depth-not-available"], "{:?}", report.findings);
    }
}

/// The depth goes for a while on a boat that runs at one speed, which wavers: the loss lies in no speed.
#[test]
fn a_loss_at_one_speed_is_none_of_speed() {
    let knots = |t: f64| 11.75 + 0.3 * (t / 60.0).sin();
    let depths = depths(|t| (!(100.0..190.0).contains(&t)).then_some(8.0 + (t / 9.0).sin()));
    let report = judge(&[can_log([sensors(0, 400), speeds(knots), depths].concat())]);
    assert_eq!(alarms(&report), ["depth-not-available"], "{:?}", report.findings);
}

/// A sounder says for six seconds that it has no depth, as any does over a wake, and minutes later it falls silent: depths that did
/// not come are none without a depth in them.
#[test]
fn a_silence_holds_no_depth_that_is_not_available() {
    let mut frames = [sensors(0, 300), crate::silences::depths(0, 300)].concat();
    for (t, id, data) in &mut frames {
        if *id == 0x0DF5_0B16 && (30.0..36.0).contains(t) {
            "FFFFFFFFFF0000FF".clone_into(data);
        }
    }
    frames.retain(|(t, id, _)| *id != 0x0DF5_0B16 || !(150.0..175.0).contains(t));
    let report = judge(&[can_log(frames)]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
}

/// A noise between -1 and 1, the same each time.
fn noise(t: f64) -> f64 {
    2.0 * ((t * 12.9898).sin() * 43_758.545).rem_euclid(1.0) - 1.0
}

/// Depths in tenths of a metre.
fn tenths(m: f64) -> Option<f64> {
    Some((m * 10.0).round() / 10.0 + 0.001)
}

/// Over a bottom that rises and falls, a depth with noise in its last digit stops for good while the boat goes on.
#[test]
fn a_depth_that_stops_for_good_under_way_is_frozen() {
    let alive = |t: f64| tenths(12.0 + 3.0 * (t / 16.0).sin() + 1.2 * (t / 7.3).sin() + 0.06 * noise(t));
    for (from, kinds) in [(250.5, &["depth-frozen"][..]), (394.5, &[])] {
        let depths = depths(|t| alive(t.min(from)));
        let report = judge(&[can_log([sensors(0, 400), speeds(|_| 12.0), depths].concat())]);
        assert_eq!(alarms(&report), kinds, "{from}: {:?}", report.findings);
    }
}

/// A depth that stands to the end is sound where the boat stops, where a sounder without noise comes to even bottom, where one with
/// noise holds what it had when the boat got faster than ever, or when the bottom went out of its reach.
#[test]
fn a_depth_that_stands_to_the_end_may_be_sound() {
    let bottom = |t: f64| 12.0 + 3.0 * (t / 16.0).sin() + 1.2 * (t / 7.3).sin();
    let noisy = |t: f64| tenths(bottom(t) + 0.06 * noise(t));
    let until = 250.5;
    let deep =
        |t: f64| tenths(bottom(t.min(until)) + 80.0 * (t.min(until) / 300.0) + 0.06 * noise(t.min(until)));
    type Case<'a> = (&'a str, &'a dyn Fn(f64) -> Option<f64>, &'a dyn Fn(f64) -> f64);
    let cases: [Case<'_>; 5] = [
        ("stops", &|t| noisy(t.min(until)), &|t| if t < 258.0 { 8.0 } else { 0.2 }),
        ("even", &|t| tenths(bottom(t.min(until))), &|_| 12.0),
        ("slope", &|t| tenths(4.02 + 0.05 * t.min(until)), &|_| 12.0),
        ("faster", &|t| noisy(t.min(until)), &|t| if t < until { 8.0 } else { 22.0 }),
        ("deep", &deep, &|_| 12.0),
    ];
    for (what, m, knots) in cases {
        let report = judge(&[can_log([sensors(0, 400), speeds(knots), depths(m)].concat())]);
        assert!(alarms(&report).is_empty(), "{what}: {:?}", report.findings);
    }
}
