//! Lines without stamps: the times are those of the boat's own sentences.

use crate::make::sentence;
use crate::{alarms, judge, number};

/// A second's sentences of a receiver that goes north at 6 kn, of a compass that speaks four times a second, and of a sounder.
fn second(i: u32) -> Vec<String> {
    let minutes = 30.0 + f64::from(i) * 6.0 / 3600.0;
    let time = format!("{:02}{:02}{:02}.00", i / 3600, i / 60 % 60, i % 60);
    let wave = |k: u32| f64::from((i * 7 + k * 3) % 11) / 10.0;
    vec![
        format!("GPRMC,{time},A,54{minutes:07.4},N,01010.0000,E,6.0,0.0,010126,,,A"),
        "GPVTG,0.0,T,,M,6.0,N,11.1,K,A".to_owned(),
        format!("HCHDG,{:.1},,,,", 0.5 + wave(0)),
        format!("SDDPT,{:.2},0.3,", 8.0 + f64::from(i % 60) / 20.0),
        format!("HCHDG,{:.1},,,,", 0.5 + wave(1)),
        format!("SDMTW,{:.1},C", 15.0 + wave(2)),
        format!("HCHDG,{:.1},,,,", 0.5 + wave(2)),
        format!("HCHDG,{:.1},,,,", 0.5 + wave(3)),
    ]
}

/// A log of ten minutes of those sentences that are `heard`.
fn log(heard: impl Fn(u32, &str) -> bool) -> Vec<u8> {
    let all = (0..600).flat_map(|i| second(i).into_iter().map(move |body| (i, body)));
    all.filter(|(i, body)| heard(*i, body)).map(|(_, body)| sentence(&body)).collect::<String>().into_bytes()
}

/// The receiver is the clock: while it is silent, 240 headings and 60 depths tell that a minute passes.
#[test]
fn the_clocks_own_silence_is_told() {
    let report = judge(&[log(|i, body| !(body.starts_with("GP") && (200..260).contains(&i)))]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((number(&report, "device-dropout", "longest_s") - 61.0).abs() < 1.5);
    let paused: Vec<&str> =
        report.sources.iter().filter(|s| s.dropouts > 0).map(|s| s.message.as_str()).collect();
    assert!(paused.iter().all(|message| message.starts_with("GP")), "{paused:?}");
}

#[test]
fn a_clock_that_does_not_come_back_is_told() {
    let report = judge(&[log(|i, body| !(body.starts_with("GP") && i >= 250))]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((number(&report, "device-dropout", "longest_s") - 350.0).abs() < 4.0);
    assert!((report.recordings[0].duration_s.unwrap() - 600.0).abs() < 4.0, "{:?}", report.recordings);
}

#[test]
fn a_recorder_that_slept_and_a_slow_clock_are_no_silence() {
    assert!(alarms(&judge(&[log(|i, _| !(200..260).contains(&i))])).is_empty());
    for every in [2, 5, 10] {
        let report = judge(&[log(|i, body| !body.starts_with("GP") || i % every == 0)]);
        assert!(!alarms(&report).contains(&"device-dropout"), "{every}: {:?}", report.findings);
    }
}

/// Where the clock goes on, a pause of a quarter of a minute is one as with any other stamps.
#[test]
fn a_short_silence_of_another_talker_is_told() {
    let report = judge(&[log(|i, body| !(body.starts_with("SD") && (200..215).contains(&i)))]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((number(&report, "device-dropout", "longest_s") - 16.0).abs() < 1.1);
    let report = judge(&[log(|i, body| !(body.starts_with("SDDPT") && i % 150 > 140))]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
    assert!((number(&report, "message-dropout", "longest_s") - 10.0).abs() < 1.1);
}

/// A receiver with another one's time beside its own makes the clock go to and fro; nobody falls silent.
#[test]
fn two_clocks_that_disagree_are_no_silence() {
    for apart in [3, 5, 9, 15] {
        let both = (60..600).flat_map(|i| {
            let rmc = |at: u32, talker: &str| second(at)[0].replacen("GP", talker, 1);
            [vec![rmc(i - apart, "II")], second(i)].concat()
        });
        let text: String = both.map(|body| sentence(&body)).collect();
        let report = judge(&[text.into_bytes()]);
        assert!(
            !alarms(&report).iter().any(|kind| kind.ends_with("dropout")),
            "{apart}: {:?}",
            report.findings
        );
    }
}

/// The boat turned while the recorder slept: the first headings after it bear the last time before.
#[test]
fn a_turn_while_the_recorder_slept_is_no_jump() {
    let turned = (0..600).flat_map(|i| {
        let all = second(i).into_iter().filter(move |_| !(200..260).contains(&i));
        all.map(move |body| if i < 260 { body } else { body.replace("HCHDG,", "HCHDG,9") })
    });
    // Right after the hole a heading comes first.
    let text: String = turned.map(|body| sentence(&body)).collect();
    let (before, after) = text.split_at(text.find("$GPRMC,000420").unwrap());
    let text = format!("{before}{}{after}", sentence("HCHDG,90.9,,,,"));
    assert!(alarms(&judge(&[text.into_bytes()])).is_empty());
}

/// The line is silent for eight seconds; the receiver is back at once, and the others only later, as if they had to boot.
#[test]
fn talkers_that_are_back_late_tell_an_outage_from_a_recorder_that_slept() {
    let back = |body: &str| match &body[..2] {
        "GP" => 208,
        "HC" => 229,
        _ => 241,
    };
    let report = judge(&[log(|i, body| i < 200 || i >= back(body))]);
    assert_eq!(alarms(&report), ["wire-outage"], "{:?}", report.findings);
    assert!((number(&report, "wire-outage", "longest_s") - 9.0).abs() < 1.1);
}
