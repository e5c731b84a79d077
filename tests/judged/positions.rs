//! Positions.

use crate::make::{START_US, sentence};
use crate::{alarms, judge, number, text};
use leadsman::report::model::Severity;
use leadsman::time::Time;

/// Metres that the boat has made to the north after so many seconds: legs of 60 s at 6 and at 20 knots in turn.
fn way(t: f64) -> f64 {
    let (whole, rest) = ((t / 120.0).floor(), t % 120.0);
    let (slow, fast) = (6.0 * 0.5144, 20.0 * 0.5144);
    whole * 60.0 * (slow + fast) + rest.min(60.0) * slow + (rest - 60.0).max(0.0) * fast
}

/// Two receivers on one line and the speed over ground; the second one's way by a function of the second and of its
/// noise.
fn two_receivers(second: impl Fn(f64, f64) -> f64) -> Vec<u8> {
    let mut out = String::new();
    let mut say =
        |at: f64, line: &str| out += &format!("{} {}", Time(START_US as i64).plus(at), sentence(line));
    let place = |talker: &str, metres: f64| {
        format!("{talker}GLL,54{:07.4},N,01010.0000,E,,A,A", 18.0 + metres / 1855.3)
    };
    for i in 0..480_u32 {
        let t = f64::from(i);
        let noise = 0.4 * (t * 2.399).sin();
        let kn = if t % 120.0 < 60.0 { 6.0 } else { 20.0 };
        say(t, &place("GP", way(t) + noise));
        say(t + 0.2, &format!("GPVTG,0.0,T,,M,{kn:.1},N,,K,A"));
        say(t + 0.3, &format!("HEHDT,{:.1},T", 360.0 - (t % 2.0) / 10.0 - 0.1));
        say(t + 0.5, &place("GN", second(t + 0.5, noise)));
    }
    out.into_bytes()
}

/// A receiver two seconds late lies 6 m behind at 6 knots and 20 m at 20: no antenna does.
#[test]
fn a_late_receiver_is_no_antenna_far_aft() {
    let report = judge(&[two_receivers(|t, noise| way(t - 2.0) - noise)]);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "constant-separation");
    let lag_s = number(&report, "duplicate-position-source", "lag_s");
    assert!((lag_s - 2.0).abs() < 0.2, "{lag_s}");
    let forward = number(&report, "duplicate-position-source", "forward_m");
    assert!(forward.abs() < 1.0, "{forward}");
}

/// An antenna 5 m aft is that at any speed.
#[test]
fn an_antenna_aft_is_not_late() {
    let report = judge(&[two_receivers(|t, noise| way(t) - 5.0 - noise)]);
    let finding = report.findings.iter().find(|f| f.kind == "duplicate-position-source").unwrap();
    assert!(!finding.numbers.contains_key("lag_s"), "{:?}", finding.numbers);
    let forward = number(&report, "duplicate-position-source", "forward_m");
    assert!((forward + 5.0).abs() < 0.5, "{forward}");
}

/// A receiver that is off by a steady 45 m (another datum, an offset) is no antenna.
#[test]
fn a_steady_distance_of_no_boat_is_an_offset() {
    let report = judge(&[two_receivers(|t, noise| way(t) + 45.0 - noise)]);
    let finding = report.findings.iter().find(|f| f.kind == "duplicate-position-source").unwrap();
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "constant-separation");
    assert_eq!(finding.severity, Severity::Fault);
    assert!(
        finding.evidence.iter().any(|line| line.contains("no boat of this kind")),
        "{:?}",
        finding.evidence
    );
}

/// An antenna's place is turned by the heading that agrees with the course, not by the one that came first and is off.
#[test]
fn an_antennas_place_is_turned_by_the_better_heading() {
    let mut out = String::new();
    let (mut north, mut east) = (0.0_f64, 0.0_f64);
    let place = |talker: &str, north: f64, east: f64| {
        let (lat, lon) = (18.0 + north / 1855.3, 10.0 + east / 1085.0);
        format!("{talker}GLL,54{lat:07.4},N,010{lon:07.4},E,,A,A")
    };
    for i in 0..960_u32 {
        let t = f64::from(i);
        let turned = (t % 90.0 / 10.0).min(1.0);
        let course = 90.0 * ((t / 90.0).floor() + turned) % 360.0;
        let (sin, cos) = f64::to_radians(course).sin_cos();
        let wave = (t * 2.399).sin() * 0.3;
        (north, east) = (north + 5.14 * cos, east + 5.14 * sin);
        for (late, line) in [
            (0.0, format!("IIHDT,{:.1},T", (course + 330.0 + wave) % 360.0)),
            (0.1, place("GP", north, east)),
            (0.1, format!("GPVTG,{course:.1},T,,M,10.0,N,,K,A")),
            (0.1, place("GN", north + 4.0 * cos, east + 4.0 * sin)),
            (0.2, format!("HEHDT,{:.1},T", (course + wave + 360.0) % 360.0)),
        ] {
            out += &format!("{} {}", Time(START_US as i64).plus(t + late), sentence(&line));
        }
    }
    let report = judge(&[out.into_bytes()]);
    let forward = number(&report, "duplicate-position-source", "forward_m");
    let starboard = number(&report, "duplicate-position-source", "starboard_m");
    assert!((forward - 4.0).abs() < 0.3 && starboard.abs() < 0.3, "{forward} {starboard}");
}

/// One of two receivers stands still for twelve seconds at six knots, again and again: it is frozen and does not jump, and
/// the two are five metres apart as before.
#[test]
fn short_stands_are_found_and_hide_no_distance() {
    let stands = |t: f64| (18.0..30.0).contains(&(t % 120.0));
    let alive = |t: f64| if stands(t) { t - t % 120.0 + 18.0 } else { t };
    let report =
        judge(&[two_receivers(|t, noise| way(alive(t)) - 5.0 - if stands(t) { 0.0 } else { noise })]);
    assert_eq!(alarms(&report), ["position-frozen", "duplicate-position-source"], "{:?}", report.findings);
    assert_eq!(report.findings[0].spans.len(), 4);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "constant-separation");
}

/// A second receiver that wanders about the first by some metres is no antenna: it is on every side of it.
#[test]
fn a_receiver_that_wanders_has_no_place_on_the_boat() {
    let report = judge(&[two_receivers(|t, noise| way(t) - noise + 9.0 * (t / 17.0).sin())]);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "unrelated");
}

/// A display hands the position on half a second later and cuts what it does not round: a last digit's difference is no
/// second antenna.
#[test]
fn a_copy_that_is_a_digit_off_is_an_echo() {
    let report = judge(&[two_receivers(|t, noise| way(t - 0.5) + noise - 0.17)]);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "echo", "{:?}", report.findings);
    assert_eq!(alarms(&report), [""; 0]);
}

/// One of two receivers jumps away for seconds: that is told, and apart from it the two stand five metres from each other.
#[test]
fn jumps_do_not_hide_two_antennas() {
    let away = |t: f64| [100.0, 220.0, 340.0].iter().any(|from| (*from..from + 8.0).contains(&t));
    let report = judge(&[two_receivers(|t, noise| way(t) - 5.0 - noise + if away(t) { 600.0 } else { 0.0 })]);
    assert!(alarms(&report).contains(&"position-jump"), "{:?}", alarms(&report));
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "constant-separation");
    assert!((number(&report, "duplicate-position-source", "median_separation_m") - 5.0).abs() < 0.6);
}

/// A receiver whose fix is gone while `lost`, and which leaves its course out while `silent`.
fn without_fix(lost: impl Fn(u32) -> bool, silent: impl Fn(u32) -> bool) -> Vec<u8> {
    let mut out = String::new();
    for i in 0..300_u32 {
        let at = |late: f64| Time(START_US as i64).plus(f64::from(i) + late);
        let place = format!("54{:07.4},N,01010.0000,E", 18.0 + way(f64::from(i)) / 1855.3);
        let (gll, gga) = if lost(i) {
            (",,,,,V,N".to_owned(), ",,,,,,0,00,,,M,,M,,".to_owned())
        } else {
            (format!("{place},,A,A"), format!(",,{place},1,09,0.9,2.0,M,44.0,M,,"))
        };
        out += &format!("{} {}", at(0.0), sentence(&format!("GPGLL,{gll}")));
        out += &format!("{} {}", at(0.1), sentence(&format!("GPGGA{gga}")));
        if !silent(i) {
            out += &format!("{} {}", at(0.2), sentence("GPVTG,0.0,T,,M,6.0,N,,K,A"));
        }
    }
    out.into_bytes()
}

/// Under two bridges a receiver has no fix for eight seconds, and leaves out the course that it does not know: no message of it
/// is lost. One that is left out beside a good fix is.
#[test]
fn a_course_that_is_left_out_under_a_bridge_is_no_pause() {
    let bridge = |i: u32| (60..68).contains(&(i % 120));
    let report = judge(&[without_fix(bridge, bridge)]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    let report = judge(&[without_fix(|_| false, bridge)]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
}

/// A boat at rest gives its position once a second; the receiver's place wanders, and the last digits come and go. A second talker
/// gives it from 0.02 to 0.5 s later, with these digits.
fn at_rest(second: impl Fn(u64) -> (u64, u64)) -> Vec<u8> {
    let mut out = String::new();
    let mut say =
        |at: f64, line: &str| out += &format!("{} {}", Time(START_US as i64).plus(at), sentence(line));
    let place = |talker: &str, (north, east): (u64, u64)| {
        format!("{talker}GLL,5418.{:04},N,01010.{:04},E,,A,A", 1000 + north, 2000 + east)
    };
    for i in 0..180 {
        let late = 0.02 + (jitter(i + 9000) % 5) as f64 * 0.12;
        say(i as f64, &place("GP", digits(i, 0)));
        say(i as f64 + 0.01, "GPVTG,0.0,T,,M,0.0,N,,K,A");
        say(i as f64 + late, &place("GN", second(i)));
    }
    out.into_bytes()
}

/// The last digits of a receiver at rest, with noise of its own.
fn digits(i: u64, noise: u64) -> (u64, u64) {
    (i / 20 + jitter(2 * i + noise) % 2, i / 15 + jitter(2 * i + noise + 1) % 2)
}

/// Numbers without order.
fn jitter(i: u64) -> u64 {
    (i + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29).wrapping_mul(0xBF58_476D_1CE4_E5B9) >> 40
}

/// A gateway that repeats a receiver's sentences is no second receiver, also at rest; another receiver of the kind is, whose last
/// digits come and go by themselves.
#[test]
fn an_echo_at_rest_is_no_second_receiver() {
    let report = judge(&[at_rest(|i| digits(i, 0))]);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "echo");
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
    // One metre to the north.
    let report = judge(&[at_rest(|i| (6 + digits(i, 5000).0, digits(i, 5000).1))]);
    assert_eq!(text(&report, "duplicate-position-source", "relation"), "constant-separation");
}
