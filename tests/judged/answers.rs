//! Answers to complaints.

use crate::wires::sensors;
use crate::{ask, can_log, number};
use leadsman::report::model::{Report, Standing};

/// Battery status (PGN 127508) of the node at address 72, 12.6 V, each 1.5 s.
fn battery(seconds: f64) -> Vec<(f64, u32, String)> {
    let at = (0..(seconds / 1.5) as u32).map(|i| 1.5 * f64::from(i) + 0.06);
    at.map(|t| (t, 0x19F2_1448, "00EC04FF7FFFFFFF".to_owned())).collect()
}

/// Who has a device that reports the voltage is not told to record with one.
#[test]
fn nobody_is_sent_for_what_is_there() {
    for (battery, sent) in [(Vec::new(), true), (battery(300.0), false)] {
        let report = ask(&[can_log([sensors(0, 300), battery].concat())], "data-drops-out");
        let cause = report.complaints[0].causes.iter().find(|c| c.cause == "low-supply-voltage").unwrap();
        assert_eq!(cause.standing, Standing::Open);
        assert_eq!(cause.because.contains("It would show"), sent, "{}", cause.because);
    }
}

type Frames = Vec<(f64, u32, String)>;

/// Ten headings a second (PGN 127250, magnetic) of the node at an address; `None` where the message holds no heading.
fn headings(seconds: u32, address: u32, deg: impl Fn(f64) -> Option<f64>) -> Frames {
    let frame = |i: u32| {
        let t = f64::from(i) / 10.0 + 0.001 * f64::from(address);
        let units = deg(t).map_or(0xFFFF, |deg| (deg.rem_euclid(360.0).to_radians() * 1e4).round() as u16);
        let [low, high] = units.to_le_bytes();
        (t, 0x09F1_1200 | address, format!("FF{low:02X}{high:02X}FF7FFF7FFD"))
    };
    (0..10 * seconds).map(frame).collect()
}

/// A boat that swings to and fro.
fn swinging(t: f64) -> f64 {
    100.0 + 70.0 * (t / 15.0).sin()
}

/// What a device's own wobble adds, degrees, the same each run.
fn wobble(t: f64, phase: f64) -> f64 {
    0.4 * (t * 7.9 + phase).sin()
}

fn causes(report: &Report) -> Vec<(&str, Standing)> {
    report.complaints[0].causes.iter().map(|row| (row.cause.as_str(), row.standing)).collect()
}

/// Two compasses agree but for the leaps of one of them: the leaps are what is wrong, and no pair that differs.
#[test]
fn a_compass_that_leaps_goes_before_the_pair_that_agrees() {
    let leaps = |t: f64| [30.0, 70.0, 95.0, 130.0, 170.0].iter().any(|at| (*at..at + 3.0).contains(&t));
    let recorded = |away: f64, offset: f64| {
        let one = headings(200, 0x23, |t| Some(swinging(t) + wobble(t, 0.0)));
        let leaping = |t: f64| swinging(t) + offset + wobble(t, 2.0) + if leaps(t) { away } else { 0.0 };
        ask(&[can_log([one, headings(200, 0x24, |t| Some(leaping(t)))].concat())], "heading-jumps")
    };
    let report = recorded(50.0, 0.8);
    assert_eq!(causes(&report)[0].0, "heading-jump", "{}", report.complaints[0].answer);
    let p95 = number(&report, "duplicate-heading-source", "p95_difference_deg");
    assert!(p95 < 3.0, "{p95}");
    let pair = report.findings.iter().find(|f| f.kind == "duplicate-heading-source").unwrap();
    assert!(pair.evidence.iter().any(|line| line.contains("left out")), "{:?}", pair.evidence);
    assert!(!pair.evidence.iter().any(|line| line.contains("askew")), "{:?}", pair.evidence);
    // Two that differ are a fault of their own.
    assert!(number(&recorded(50.0, 9.0), "duplicate-heading-source", "p95_difference_deg") > 8.0);
}
