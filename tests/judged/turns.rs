//! Two sensors behind one sender: their values come in turn.

use crate::make::{START_US, sentence};
use crate::{alarms, can_log, judge, number};
use leadsman::time::Time;

/// A boat that turns slowly, with a sensor's unrest.
fn heading(i: u32, seed: u32) -> f64 {
    100.0 + 40.0 * (f64::from(i) / 300.0).sin() + 0.4 * (f64::from(i * 3 + seed) * 2.399).sin()
}

/// Headings of one address (PGN 127250, see `headings.rs`), ten a second from each of two sensors.
fn one_address(second: impl Fn(u32) -> Option<f64>) -> Vec<u8> {
    let frame = |at: f64, deg: f64| {
        let [low, high] = ((deg.to_radians() * 10_000.0).round() as u16).to_le_bytes();
        (at, 0x09F1_1223, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    };
    let both = |i: u32| {
        let at = f64::from(i) / 10.0;
        [Some(frame(at, heading(i, 0))), second(i).map(|off| frame(at + 0.037, heading(i, 5) + off))]
    };
    can_log((0..2400).flat_map(both).flatten().collect())
}

/// Two of one make with equal NAMEs share an address, and nothing but their values tells. The catalogue: one address
/// speaks for two.
#[test]
fn two_devices_with_one_address_are_a_conflict_and_no_jumps() {
    for off in [6.0, 15.0, -40.0] {
        let report = judge(&[one_address(|_| Some(off))]);
        assert_eq!(alarms(&report), ["address-conflict"], "{off}");
        assert_eq!(
            (number(&report, "address-conflict", "address"), number(&report, "address-conflict", "claims")),
            (35.0, 0.0)
        );
    }
    // The second is switched on half a minute before the end.
    let report = judge(&[one_address(|i| (i > 2100).then_some(15.0))]);
    assert_eq!(alarms(&report), ["address-conflict"]);
    let from = report.findings[0].spans[0].from.0;
    assert!((from - START_US as i64 - 210_000_000).abs() < 1_000_000, "{from}");
}

/// Two sounders of one address, four metres apart over a sloping bottom (PGN 128267).
#[test]
fn two_sounders_with_one_address_are_a_conflict() {
    let depth = |at: f64, m: f64| {
        let [a, b, c, d] = ((m * 100.0) as u32).to_le_bytes();
        (at, 0x0DF5_0B16, format!("FF{a:02X}{b:02X}{c:02X}{d:02X}0000FF"))
    };
    let both = |i: u32| {
        let (t, m) = (f64::from(i), 14.5 + f64::from(i) / 60.0);
        [depth(t, m + 4.0), depth(t + 0.03, m)]
    };
    assert_eq!(alarms(&judge(&[can_log((0..240).flat_map(both).collect())])), ["address-conflict"]);
}

/// Two good sensors of one address do no harm to be told of.
#[test]
fn two_that_agree_are_not_told_apart() {
    assert_eq!(alarms(&judge(&[one_address(|_| Some(0.5))])), [""; 0]);
}

/// A line into which a multiplexer puts two receivers or compasses of one talker, in any order.
#[test]
fn two_talkers_of_one_name_are_two_sources() {
    let mut log = String::new();
    for i in 0..240_u32 {
        let compass = |off: f64| sentence(&format!("HCHDG,{:.1},,,,", heading(10 * i, 0) + off));
        let receiver = |off_m: f64| {
            let minutes = 18.0 + (2.0 * f64::from(i) + off_m) / 1852.0;
            sentence(&format!("GPGLL,54{minutes:07.4},N,01010.0000,E,0900{:02}.00,A,A", i % 60))
        };
        let swapped = f64::from(i * i % 7 / 4);
        let lines = [
            (0.1, compass(8.0 * swapped)),
            (0.25, compass(8.0 * (1.0 - swapped))),
            (0.5, receiver(0.0)),
            (0.7, receiver(-14.0)),
        ];
        for (at, line) in lines {
            log += &format!("{} {line}", Time(START_US as i64).plus(f64::from(i) + at));
        }
    }
    let report = judge(&[log.into_bytes()]);
    assert_eq!(alarms(&report), ["duplicate-heading-source", "duplicate-position-source"]);
    assert!((number(&report, "duplicate-heading-source", "median_difference_deg") - 8.0).abs() < 0.5);
    let apart_m = number(&report, "duplicate-position-source", "median_separation_m");
    assert!((apart_m - 14.0).abs() < 1.5, "{apart_m}");
}

/// One compass, once or twice a second, on a boat that a regular swell swings: the values leap to and fro, evenly in time or
/// late behind the bursts of a slow line.
#[test]
fn a_swell_is_no_second_sensor() {
    for (every, period, swing) in
        [(1.0, 2.9, 9.0), (1.0, 2.1, 6.0), (0.5, 1.9, 12.0), (0.5, 2.1, 6.0), (1.0, 3.9, 12.0)]
    {
        let mut log = String::new();
        for i in 0..(300.0 / every) as u32 {
            let t = every * f64::from(i);
            let grows = 1.0 + 0.2 * (t / 21.0).sin();
            let deg =
                90.0 + swing * grows * (std::f64::consts::TAU * t / period + 0.7 * (t / 40.0).sin()).sin();
            let late = if i % 2 == 0 { 0.24 * every } else { 0.0 };
            log += &format!(
                "{} {}",
                Time(START_US as i64).plus(t + late),
                sentence(&format!("HCHDG,{deg:.1},,,,"))
            );
        }
        assert_eq!(alarms(&judge(&[log.into_bytes()])), [""; 0], "{every} {period}");
    }
}
