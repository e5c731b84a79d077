//! Several recordings of one boat: what they have in common, and what each of them alone can tell.

use crate::make::{START_US, sentence};
use crate::wires::sensors;
use crate::{alarms, ask, can_log, judge, number};
use leadsman::report::model::Standing;
use leadsman::time::Time;

/// A heading that wanders without repeating itself, degrees.
fn heading(t: f64) -> f64 {
    100.0 + 40.0 * (t / 31.0).sin() + 30.0 * (t / 97.0).sin() + 10.0 * (t / 7.7).sin()
}

/// Heading (PGN 127250) of the node at address 36, ten times a second while `on`, with a sequence number from 0 to 252.
fn headings(seconds: f64, on: impl Fn(f64) -> bool) -> Vec<(f64, u32, String)> {
    let one = |i: u32| {
        let t = f64::from(i) / 10.0;
        let [low, high] = ((heading(t).to_radians() * 10_000.0).round() as u16).to_le_bytes();
        (t + 0.05, 0x09F1_1224, format!("{:02X}{low:02X}{high:02X}FF7FFF7FFD", i % 253))
    };
    (0..(10.0 * seconds) as u32).map(one).filter(|(t, ..)| on(*t)).collect()
}

/// Depth (PGN 128267) over an even bottom, once a second, with a sequence number from 0 to 252.
fn depths(seconds: u32) -> Vec<(f64, u32, String)> {
    (0..seconds)
        .map(|i| (f64::from(i) + 0.4, 0x0DF5_0B16, format!("{:02X}F40100000000FF", i % 253)))
        .collect()
}

/// What one recorder wrote in two files, minutes apart: a message with a sequence number comes again with the same bytes
/// after 253 s, which makes the second file no recording of the same time.
#[test]
fn what_comes_again_after_minutes_is_no_frame_that_both_saw() {
    let bus = [headings(400.0, |_| true), depths(400), sensors(0, 400)].concat();
    let part =
        |from: f64, to: f64| can_log(bus.iter().filter(|(t, ..)| (from..to).contains(t)).cloned().collect());
    for cut in [(0.0, 100.0, 253.0, 353.0), (0.0, 150.0, 150.0, 400.0)] {
        for swapped in [false, true] {
            let mut two = vec![part(cut.0, cut.1), part(cut.2, cut.3)];
            if swapped {
                two.reverse();
            }
            let report = judge(&two);
            assert!(
                alarms(&report).is_empty(),
                "{cut:?} {swapped} {:?} {:?}",
                report.recordings,
                report.findings
            );
        }
    }
}

/// A recorder on the bus and one on a 0183 line that a gateway feeds from it: the sensor falls silent, and what only hands its
/// heading and its rate of turn on has none to send.
#[test]
fn a_silence_that_is_handed_on_is_one_devices() {
    let on = |t: f64| !(60.0..75.0).contains(&t) && !(150.0..170.0).contains(&t);
    let rates = headings(240.0, on)
        .into_iter()
        .map(|(t, ..)| (t + 0.01, 0x09F1_1324, String::from("FF00000000FFFFFF")));
    let bus = can_log([headings(240.0, on), rates.collect(), sensors(0, 240)].concat());
    let mut line = String::new();
    for i in 0..1200_u32 {
        let t = f64::from(i) / 5.0;
        let at = |late: f64| Time(START_US as i64).plus(t + late);
        if on(t + 0.05) {
            line += &format!("{} {}", at(0.12), sentence(&format!("IIHDG,{:.1},,,,", heading(t))));
            line += &format!("{} {}", at(0.13), sentence("IIROT,0.0,A"));
        }
        line += &format!("{} {}", at(0.15), sentence("IIMTW,14.2,C"));
    }
    let report = judge(&[bus, line.into_bytes()]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
}

/// A bus that was recorded for five seconds excludes nothing that comes and goes, however long another wire was recorded; and
/// what only an Ethernet shows is not excluded without one.
#[test]
fn a_short_recording_of_the_bus_rules_little_out() {
    let short = can_log([headings(5.0, |_| true), sensors(0, 5)].concat());
    let line: String = (0..300)
        .map(|i| {
            let at = Time(START_US as i64).plus(f64::from(i));
            format!("{at} {}", sentence("IIMTW,14.2,C"))
        })
        .collect();
    let report = ask(&[short, line.clone().into_bytes()], "no-heading");
    let standing =
        |cause: &str| report.complaints[0].causes.iter().find(|c| c.cause == cause).unwrap().standing;
    for cause in ["device-dropout", "message-dropout", "wire-outage", "device-restart", "link-flap"] {
        assert_eq!(standing(cause), Standing::Open, "{cause}");
    }
    let report = ask(&[line.into_bytes()], "display-disconnects");
    let ruled_out = report.complaints[0].causes.iter().filter(|c| c.standing == Standing::RuledOut);
    assert_eq!(ruled_out.count(), 0, "no Ethernet was recorded");
}

/// Two nodes speak and one of them claims its address: who else may want it is not told.
#[test]
fn one_claim_excludes_no_conflict() {
    let claim = |id: u32| vec![(0.5, id, String::from("0100000000823CC0"))];
    let standing = |frames: Vec<(f64, u32, String)>| {
        let report = ask(&[can_log(frames)], "data-drops-out");
        report.complaints[0].causes.iter().find(|c| c.cause == "address-conflict").unwrap().standing
    };
    let one = [headings(90.0, |_| true), claim(0x18EE_FF24)].concat();
    assert_eq!(standing(one.clone()), Standing::RuledOut, "the only one that speaks");
    assert_eq!(standing([one, sensors(0, 90)].concat()), Standing::Open);
}

/// A gateway hands both of two headings on to a line under one talker: they are two sensors of the bus, and no two more.
#[test]
fn two_headings_that_are_handed_on_are_one_pair() {
    let askew = |i: u32, t: f64| {
        let [low, high] = (((heading(t) + 11.0).to_radians() * 10_000.0).round() as u16).to_le_bytes();
        (t, 0x09F1_1225, format!("{:02X}{low:02X}{high:02X}FF7FFF7FFD", i % 253))
    };
    let other: Vec<_> = (0..2400_u32).map(|i| askew(i, f64::from(i) / 10.0 + 0.08)).collect();
    let bus = can_log([headings(240.0, |_| true), other, sensors(0, 240)].concat());
    let mut line = String::new();
    for i in 0..2400_u32 {
        let t = f64::from(i) / 10.0;
        for (late, offset) in [(0.06, 0.0), (0.09, 11.0)] {
            let sampled = t + if offset > 0.0 { 0.08 } else { 0.0 };
            let at = Time(START_US as i64).plus(t + late);
            line += &format!("{at} {}", sentence(&format!("IIHDG,{:.1},,,,", heading(sampled) + offset)));
        }
    }
    let report = judge(&[bus, line.into_bytes()]);
    assert_eq!(alarms(&report), ["duplicate-heading-source"], "{:?}", report.findings);
}

/// Two files, minutes apart, of a recorder that named the bus otherwise the second time: what the first shows is not lost
/// beside what the second does.
#[test]
fn what_was_recorded_before_counts() {
    let jumps = |t: f64| [60.0, 110.0].iter().any(|from| (*from..from + 3.0).contains(&t));
    let turned = |(t, id, data): (f64, u32, String)| {
        let far = jumps(t).then(|| format!("{}0040{}", &data[..2], &data[6..]));
        (t, id, far.unwrap_or(data))
    };
    let claim = (0.01, 0x18EE_FF24, "0100000000913CC0".to_owned());
    let first = headings(150.0, |_| true).into_iter().map(turned).chain([claim.clone()]).collect();
    let second = headings(1200.0, |t| t > 900.0).into_iter().chain([(900.0, claim.1, claim.2)]).collect();
    let second = String::from_utf8(can_log(second)).unwrap().replace("can0", "can1");
    let report = judge(&[can_log(first), second.into_bytes()]);
    assert!(alarms(&report).contains(&"heading-jump"), "{:?}", report.findings);
}

/// The recorder's clock is set back in mid-recording: a sensor's silence before or after it counts all the same.
#[test]
fn a_clock_that_is_set_back_hides_no_silence() {
    for (from, back_s) in [(50.0, 30.0), (50.0, 5000.0), (200.0, 30.0), (200.0, 5000.0)] {
        let on = |t: f64| !(from..from + 15.0).contains(&t);
        let bus = [headings(300.0, on), sensors(0, 300)].concat();
        let (before, after): (Vec<_>, Vec<_>) = bus.into_iter().partition(|(t, ..)| *t < 130.0);
        let after = after.into_iter().map(|(t, id, data)| (t + 10_000.0 - back_s, id, data)).collect();
        let before = before.into_iter().map(|(t, id, data)| (t + 10_000.0, id, data)).collect();
        let report = judge(&[[can_log(before), can_log(after)].concat()]);
        assert_eq!(alarms(&report), ["device-dropout"], "{from} {back_s}");
        assert!((number(&report, "device-dropout", "longest_s") - 15.0).abs() < 0.2);
        assert!(
            (report.wires[0].recorded_s.unwrap() - 300.0).abs() < 0.5,
            "{:?}",
            report.wires[0].recorded_s
        );
    }
}
