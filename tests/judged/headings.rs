//! Headings: those of two sensors, and of two recorders.

use crate::make::{START_US, sentence};
use crate::silences::standing;
use crate::wires::sensors;
use crate::{alarms, can_log, judge, number, text};
use leadsman::report::model::Standing;
use leadsman::time::Time;
use std::ops::Range;

/// The boat's heading: three turns of 90 degrees to and fro, at 9 degrees a second.
fn heading(t: f64) -> f64 {
    let turn = |at: f64| 90.0 * ((t - at) / 10.0).clamp(0.0, 1.0);
    40.0 + turn(40.0) - turn(90.0) + turn(140.0)
}

/// Less than a third of a degree to both sides, the same each run.
fn ripple(i: u32) -> f64 {
    0.3 * (f64::from(i) * 2.399).sin()
}

/// Ten headings a second of a bus: PGN 127250, magnetic (the worked examples' fields: sequence, heading in 0.0001 rad,
/// deviation and variation not available, reference 1).
fn bus(seconds: u32) -> Vec<u8> {
    let frame = |i: u32| {
        let rad = (heading(f64::from(i) / 10.0) + ripple(i)).to_radians();
        let [low, high] = ((rad * 10_000.0).round() as u16).to_le_bytes();
        (f64::from(i) / 10.0, 0x09F1_1223, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    };
    can_log((0..10 * seconds).map(frame).collect())
}

/// A line with HDG ten times a second that is `offset_deg` off, each stamped `late_s` too late.
fn line(seconds: u32, offset_deg: f64, late_s: f64) -> Vec<u8> {
    let mut log = String::new();
    for i in 0..10 * seconds {
        let t = f64::from(i) / 10.0 + 0.03;
        let stamp = Time(START_US as i64).plus(t + late_s);
        log += &format!(
            "{stamp} {}",
            sentence(&format!("HCHDG,{:.1},,,,", heading(t) + offset_deg + ripple(i + 7)))
        );
    }
    log.into_bytes()
}

/// What two recorders' clocks do to a heading in turns is no fault of the boat: the offset is.
#[test]
fn an_offset_stays_one_where_the_recorders_clocks_differ() {
    for (offset_deg, late_s) in [(5.0, 2.5), (8.0, 3.0), (11.0, -2.5), (15.0, 3.0)] {
        let report = judge(&[bus(200), line(200, offset_deg, late_s)]);
        assert_eq!(alarms(&report), ["duplicate-heading-source"], "{offset_deg}");
        let finding = &report.findings[0];
        assert_eq!(text(&report, finding.kind, "relation"), "constant-offset");
        assert!((number(&report, finding.kind, "median_difference_deg").abs() - offset_deg).abs() < 0.3);
        assert!(
            (number(&report, finding.kind, "p95_difference_deg") - offset_deg).abs() < 1.0,
            "{:?}",
            finding.numbers
        );
    }
}

/// Without an offset nothing is known of the boat: a lag, and no more than a warning.
#[test]
fn a_lag_may_be_that_of_the_clocks() {
    let report = judge(&[bus(200), line(200, 0.5, 2.5)]);
    let finding = &report.findings[0];
    assert_eq!(text(&report, finding.kind, "relation"), "lag");
    assert_eq!(finding.severity, leadsman::report::model::Severity::Warning);
}

/// Lines of a log, each with its second; in any order.
fn log(mut lines: Vec<(f64, String)>) -> Vec<u8> {
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let text = |(at, line): &(f64, String)| format!("{} {}", Time(START_US as i64).plus(*at), sentence(line));
    lines.iter().map(text).collect::<String>().into_bytes()
}

/// Two compasses on one line, and the course over ground; each heading by a function of the second and a sensor's unrest.
fn two_compasses(one: impl Fn(f64, f64) -> f64, mut other: impl FnMut(f64, f64) -> f64) -> Vec<u8> {
    let mut lines = Vec::new();
    for i in 0..1800_u32 {
        let t = f64::from(i) / 10.0;
        lines.push((t, format!("HCHDT,{:.1},T", one(t, ripple(i)))));
        lines.push((t + 0.04, format!("HEHDT,{:.1},T", other(t, ripple(i + 9)))));
        if i % 5 == 0 {
            lines.push((t + 0.07, format!("GPVTG,{:.1},T,,M,9.0,N,,K,A", heading(t))));
        }
    }
    log(lines)
}

/// A display smooths the heading that it sends on: a filter of the first order with three seconds.
#[test]
fn a_damped_heading_follows_late() {
    let mut smooth = heading(0.0);
    let report = judge(&[two_compasses(
        |t, unrest| heading(t) + unrest,
        |t, unrest| {
            smooth += (heading(t) - smooth) * (1.0 - (-0.1_f64 / 3.0).exp());
            smooth + unrest
        },
    )]);
    assert_eq!(text(&report, "duplicate-heading-source", "relation"), "lag");
    let lag_s = number(&report, "duplicate-heading-source", "lag_s");
    assert!((lag_s - 3.0).abs() < 0.6, "{lag_s}");
}

/// One compass stands still in a turn; apart from that the two agree, and that is what their relation is about.
#[test]
fn a_stand_does_not_hide_how_two_headings_relate() {
    let stands = |t: f64| (85.0..112.0).contains(&t);
    let one = |t: f64, unrest: f64| if stands(t) { 130.0 } else { heading(t) + 6.0 + unrest };
    let report = judge(&[two_compasses(one, |t, unrest| heading(t) + unrest)]);
    assert!(alarms(&report).contains(&"heading-frozen"), "{:?}", alarms(&report));
    assert_eq!(text(&report, "duplicate-heading-source", "relation"), "constant-offset");
    let apart = number(&report, "duplicate-heading-source", "median_difference_deg");
    assert!((apart + 6.0).abs() < 0.3, "{apart}");
}

/// A gateway puts the bus's heading on a line, 20 ms later, and a second recorder takes the line down, whose clock is late: the
/// copy seems to come before.
#[test]
fn an_echo_shows_through_two_recorders_clocks() {
    let mut copies = String::new();
    for i in 0..2000_u32 {
        let t = f64::from(i) / 10.0;
        let stamp = Time(START_US as i64).plus(t + 0.02 - 0.15);
        let deg = heading(t) + ripple(i);
        copies += &format!("{stamp} {}", sentence(&format!("HCHDG,{deg:.1},,,,")));
    }
    let report = judge(&[bus(200), copies.into_bytes()]);
    assert_eq!(alarms(&report), [""; 0]);
    assert_eq!(text(&report, "duplicate-heading-source", "relation"), "echo");
}

/// A display hands on the heading of a compass that jumps: one of them is to blame.
#[test]
fn an_echo_of_jumps_is_not_accused() {
    let jumps =
        |t: f64| if [50.0, 120.0].iter().any(|from| (*from..from + 4.0).contains(&t)) { 40.0 } else { 0.0 };
    let mut lines = Vec::new();
    for i in 0..1800_u32 {
        let t = f64::from(i) / 10.0;
        let deg = 100.0 + 30.0 * (t / 25.0).sin() + jumps(t) + ripple(i);
        lines.push((t, format!("HCHDG,{deg:.1},,,,")));
        lines.push((t + 0.12, format!("IIHDG,{deg:.1},,,,")));
    }
    let report = judge(&[log(lines)]);
    assert_eq!(alarms(&report), ["heading-jump"]);
    assert_eq!(report.findings[0].devices.len(), 1);
}

/// One compass sends its heading by both norths, and one such sentence more by the true one; the other by magnetic north alone.
/// They are compared by the north that both have.
#[test]
fn two_headings_are_compared_by_one_north() {
    let mut lines = vec![(0.0, format!("HCHDT,{:.1},T", heading(0.0) + 11.0))];
    for i in 1..1800_u32 {
        let t = f64::from(i) / 10.0;
        let deg = heading(t) + ripple(i);
        lines.push((t, format!("HCHDG,{deg:.1},,,11.0,E")));
        lines.push((t + 0.02, format!("HCHDT,{:.1},T", (deg + 11.0) % 360.0)));
        lines.push((t + 0.05, format!("APHDG,{:.1},,,,", heading(t) + 8.0 + ripple(i + 5))));
    }
    let report = judge(&[log(lines)]);
    assert_eq!(text(&report, "duplicate-heading-source", "relation"), "constant-offset");
    let apart = number(&report, "duplicate-heading-source", "median_difference_deg");
    assert!((apart.abs() - 8.0).abs() < 0.3, "{apart}");
}

/// A display hands a heading on, and the recorder stamps whole seconds: the copy's delay does not show, the order of the values
/// does.
#[test]
fn an_echo_shows_through_coarse_stamps() {
    let mut copies = String::new();
    for i in 0..1800_u32 {
        let t = f64::from(i) / 5.0;
        let stamp = |t: f64| Time(START_US as i64).plus(t.floor());
        let deg = heading(t / 2.0) + ripple(i);
        copies += &format!("{} {}", stamp(t), sentence(&format!("HCHDG,{deg:.1},,,,")));
        copies += &format!("{} {}", stamp(t + 0.08), sentence(&format!("IIHDG,{deg:.1},,,,")));
    }
    let report = judge(&[copies.into_bytes()]);
    assert_eq!(alarms(&report), [""; 0]);
    assert_eq!(text(&report, "duplicate-heading-source", "relation"), "echo");
}

/// Heading messages (PGN 127250) that hold none, all of them or those of 40 s: nobody supplies heading then, and that is not excluded.
#[test]
fn headings_without_a_heading_supply_none() {
    let recorded = |empty: Range<f64>| {
        let frame = |i: u32| {
            let t = f64::from(i) / 10.0;
            let deg = if empty.contains(&t) { "FFFF".to_owned() } else { format!("{:02X}30", i % 200) };
            (t + 0.05, 0x09F1_1216, format!("FF{deg}FF7FFF7FFD"))
        };
        can_log([sensors(0, 150), (0..1500).map(frame).collect()].concat())
    };
    let never = standing(recorded(0.0..150.0), "no-heading", "no-heading-source");
    assert_eq!(never.0, Standing::Supported, "{}", never.1);
    let at_times = standing(recorded(60.0..100.0), "no-heading", "no-heading-source");
    assert_eq!(at_times.0, Standing::Open, "{}", at_times.1);
    assert!(at_times.1.contains("400 of 1500") && at_times.1.contains("40.0 s"), "{}", at_times.1);
    assert_eq!(standing(recorded(0.0..0.0), "no-heading", "no-heading-source").0, Standing::RuledOut);
}

/// A compass stands still over a turn of 18 degrees and wakes with a step of as much; one that steps on a boat which goes straight on
/// jumps.
#[test]
fn a_step_that_ends_a_stand_is_the_turn_that_it_missed() {
    let told = |turned_deg: f64| {
        let mut lines = Vec::new();
        for i in 0..1500_u32 {
            let t = f64::from(i) / 10.0;
            let held = (70.0..90.0).contains(&t);
            let woken = if t < 90.0 { 0.0 } else { 18.0 };
            let unrest = if held { 0.0 } else { ripple(i) };
            lines.push((t, format!("HCHDT,{:.1},T", 60.0 + woken + unrest)));
            if i % 5 == 0 {
                let course = 60.0 + turned_deg * ((t - 80.0) / 4.0).clamp(0.0, 1.0) + 3.0 * ripple(i);
                lines.push((t + 0.07, format!("GPVTG,{course:.1},T,,M,9.0,N,,K,A")));
            }
        }
        alarms(&judge(&[log(lines)]))
    };
    assert_eq!(told(18.0), ["heading-frozen"]);
    assert_eq!(told(0.0), ["heading-jump"]);
}
