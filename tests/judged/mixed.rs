//! Two sensors that bear one name or one address, and one that leaps by itself.

use crate::make::{START_US, sentence};
use crate::{alarms, ask, can_log, judge, number};
use leadsman::report::model::Standing;
use leadsman::time::Time;

/// The boat's heading at a second: a slow weave.
fn heading(t: f64) -> f64 {
    100.0 + 30.0 * (t / 23.0).sin()
}

/// A log of HDG sentences of one talker, each with its second and heading; in any order.
fn line(mut headings: Vec<(f64, f64)>) -> Vec<u8> {
    headings.sort_by(|a, b| a.0.total_cmp(&b.0));
    let line = |(t, deg): &(f64, f64)| {
        let stamp = Time(START_US as i64).plus(*t);
        format!("{stamp} {}", sentence(&format!("HCHDG,{deg:.1},,,,")))
    };
    headings.iter().map(line).collect::<String>().into_bytes()
}

/// Ten a second of one compass and one a second, or one in two, of another that shows 27 degrees more.
#[test]
fn a_slow_compass_beside_a_fast_one_of_the_same_talker_is_a_second_one() {
    for every_s in [0.5, 1.0, 2.0] {
        let mut headings: Vec<_> = (0..3000).map(|i| f64::from(i) / 10.0).map(|t| (t, heading(t))).collect();
        headings.extend(
            (0..)
                .map(|i| f64::from(i) * every_s + 0.037)
                .take_while(|t| *t < 300.0)
                .map(|t| (t, heading(t) + 27.0)),
        );
        let report = judge(&[line(headings)]);
        assert_eq!(alarms(&report), ["duplicate-heading-source"], "{every_s} {:?}", report.findings);
        let apart = number(&report, "duplicate-heading-source", "median_difference_deg");
        assert!((apart - 27.0).abs() < 0.5, "{apart}");
    }
}

/// One value in ten of a single compass is 27 degrees off: it comes instead of a good one, and not between two.
#[test]
fn a_compass_that_leaps_now_and_then_is_one() {
    let leap = |i: i32| if i % 10 == 7 { 27.0 } else { 0.0 };
    let at = |i: i32| (f64::from(i) / 10.0, heading(f64::from(i) / 10.0) + leap(i));
    let report = judge(&[line((0..3000).map(at).collect())]);
    assert_eq!(alarms(&report), ["heading-jump"], "{:?}", report.findings);
}

/// PGN 127250, magnetic, and the claim of address 0x23 by a NAME that ends with this byte.
fn frames(every_s: f64, late_s: f64, offset_deg: f64, name: u8) -> Vec<(f64, u32, String)> {
    let times = (0..).map(move |i| f64::from(i) * every_s + late_s).take_while(|t| *t < 240.0);
    let headings = times.map(|t| {
        let [low, high] = (((heading(t) + offset_deg).to_radians() * 10_000.0).round() as u16).to_le_bytes();
        (t, 0x09F1_1223, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    });
    let claims = (0..24).map(|i| {
        let t = f64::from(i) * 10.0 + 0.5 + f64::from(name) * 0.15;
        (t, 0x18EE_FF23, format!("{name:02X}00D026008C78C0"))
    });
    headings.chain(claims).collect()
}

/// Two compasses quarrel about an address, of which each has it for a while: neither jumps, and neither is off.
#[test]
fn values_under_an_address_in_dispute_tell_of_no_sensor() {
    for every_s in [0.1, 0.5, 1.0] {
        let log = can_log([frames(0.1, 0.0, 0.0, 1), frames(every_s, 0.043, 38.0, 2)].concat());
        let report = ask(&[log], "heading-jumps");
        assert_eq!(alarms(&report), ["address-conflict"], "{every_s} {:?}", report.findings);
        let causes = &report.complaints[0].causes;
        let supported: Vec<_> = causes.iter().filter(|c| c.standing == Standing::Supported).collect();
        assert_eq!(
            supported.iter().map(|c| c.cause.as_str()).collect::<Vec<_>>(),
            ["address-conflict"],
            "{every_s}"
        );
    }
}
