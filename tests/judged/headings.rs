//! Headings of two recorders.

use crate::make::{START_US, sentence};
use crate::{alarms, can_log, judge, number, text};
use leadsman::time::Time;

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
