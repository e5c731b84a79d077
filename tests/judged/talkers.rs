//! Receivers that change their talker, and lines with two of them.

use crate::hosts::Traffic;
use crate::lines::line;
use crate::make::{ethernet, ipv4, sentence, udp};
use crate::silences::standing;
use crate::{alarms, judge};
use leadsman::report::model::{FindingRow, Standing};

/// A fix with this talker, of a boat that goes north at 6 kn, and the satellites that it used.
fn fix(i: u32, talker: &str) -> Vec<String> {
    let minutes = 30.0 + f64::from(i) * 6.0 / 3600.0;
    let time = format!("{:02}{:02}{:02}.00", i / 3600, i / 60 % 60, i % 60);
    let place = format!("54{minutes:07.4},N,01010.0000,E");
    vec![
        format!("{talker}RMC,{time},A,{place},6.0,0.0,010126,,,A"),
        format!("{talker}GGA,{time},{place},1,09,0.9,2.0,M,44.0,M,,"),
        format!("{talker}GSA,A,3,01,02,03,04,05,06,07,08,09,,,,1.6,0.9,1.3"),
    ]
}

/// Satellites in view, which a receiver tells system by system whatever its own talker.
fn view(talker: &str) -> String {
    format!("{talker}GSV,1,1,04,01,40,083,46,02,17,308,41,03,07,344,39,04,22,228,45")
}

fn depth() -> String {
    "SDDPT,7.4,0.3,".to_owned()
}

/// A receiver of several systems is `GN`, and one system's when it uses that alone: nothing pauses but the satellites of the
/// other one, be it once or time and again.
#[test]
fn a_receiver_that_changes_its_talker_does_not_fall_silent() {
    let one_system: [&dyn Fn(u32) -> bool; 4] = [
        &|i| (100..150).contains(&i),
        &|i| i < 40,
        &|i| (60..67).contains(&i) || (120..180).contains(&i),
        &|i| i / 7 % 2 == 1,
    ];
    for one in one_system {
        let said = |i: u32| {
            let mut said = fix(i, if one(i) { "GP" } else { "GN" });
            said.push(view("GP"));
            said.extend((!one(i)).then(|| view("GL")));
            said.push(depth());
            said
        };
        let log = line(1200, said);
        let report = judge(std::slice::from_ref(&log));
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        for (complaint, cause) in [("no-position", "device-dropout"), ("data-drops-out", "message-dropout")] {
            let (told, why) = standing(log.clone(), complaint, cause);
            assert_ne!(told, Standing::Supported, "{why}");
        }
    }
}

/// A second receiver that falls silent while the first goes on is missed, and so is one whose sentences nobody else sends.
#[test]
fn a_second_receiver_that_falls_silent_is_missed() {
    let report = judge(&[line(300, |i| {
        let mut said = fix(i, "GP");
        said.extend((!(100..150).contains(&i)).then(|| fix(i, "GN")).into_iter().flatten());
        said.push(depth());
        said
    })]);
    assert!(alarms(&report).contains(&"device-dropout"), "{:?}", report.findings);
    // The other one starts four seconds later, as one does that stands in for it.
    let report = judge(&[line(300, |i| {
        let mut said = if (100..150).contains(&i) { Vec::new() } else { fix(i, "GN") };
        said.extend((104..150).contains(&i).then(|| fix(i, "GP")).into_iter().flatten());
        said.push(depth());
        said
    })]);
    assert!(alarms(&report).contains(&"device-dropout"), "{:?}", report.findings);
    // It names itself anew and falls silent thereafter.
    let report = judge(&[line(300, |i| {
        let mut said = match i {
            0..100 => fix(i, "GN"),
            100..200 => fix(i, "GP"),
            _ => Vec::new(),
        };
        said.push(depth());
        said.extend(
            ["HCHDG,90.0,,,,", "VWVHW,,T,,M,5.8,N,10.7,K", "WIMWV,90.0,R,5.0,N,A"].map(str::to_owned),
        );
        said
    })]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!(report.findings.iter().any(|f| f.kind == "device-dropout" && f.summary.contains("GP")));
}

/// Sentences that a host sends to everyone in datagrams of their own.
fn sentences(traffic: &mut Traffic, host: u64, every: f64, said: impl Fn(f64) -> Option<String>) {
    for i in 0..(240.0 / every) as u32 {
        let t = every.mul_add(f64::from(i), 0.011 * host as f64);
        let Some(said) = said(t) else { continue };
        let from = 0xC0A8_2F00 + host as u32;
        let datagram = udp(10110, 10110, sentence(&said).as_bytes());
        let packet = ipv4(from, 0xC0A8_2FFF, 17, (0, 0, false), &datagram);
        traffic.0.push((t, ethernet(host, [0xFF; 6], 0x0800, &packet)));
    }
}

/// A gateway lives and leaves out what two talkers say, at the same times: the gateway is looked at first, and not a sensor.
#[test]
fn talkers_that_are_silent_together_have_their_gateway_in_common() {
    let recorded = |second: (f64, f64)| {
        let mut traffic = Traffic::of_two_displays(240.0);
        traffic.sends(3, 0xC0A8_2F03, 1.0, (0.5, 240.0));
        let silent = |t: f64, (from, to): (f64, f64)| (from..to).contains(&t);
        let heading = |t: f64| {
            (!silent(t, (60.0, 85.0))).then(|| format!("HCHDG,{:.1},,,,", 90.0 + 30.0 * (t / 9.0).sin()))
        };
        sentences(&mut traffic, 3, 0.2, heading);
        let place = |t: f64| {
            let minutes = 30.0 + t * 6.0 / 3600.0;
            let time = format!("10{:02}{:05.2}", (t / 60.0) as u32, t % 60.0);
            (!silent(t, second))
                .then(|| format!("GPRMC,{time},A,54{minutes:07.4},N,01010.0000,E,6.0,0.0,010126,,,A"))
        };
        sentences(&mut traffic, 3, 1.0, place);
        let report = judge(&[traffic.recorded()]);
        let dropouts: Vec<_> = report.findings.iter().filter(|f| f.kind == "device-dropout").collect();
        let of_heading = |f: &&&FindingRow| f.summary.contains("HC");
        (dropouts.len(), FindingRow::clone(dropouts.iter().find(of_heading).unwrap()))
    };
    let (count, together) = recorded((60.0, 85.0));
    assert_eq!((count, together.devices.len()), (1, 2), "{}", together.summary);
    assert!(together.summary.contains("fall silent together"), "{}", together.summary);
    assert!(together.evidence.iter().any(|line| line.contains("silent only together")), "{together:?}");
    assert!(together.checks[0].contains("its output"), "{:?}", together.checks);
    let (count, alone) = recorded((140.0, 165.0));
    assert_eq!((count, alone.devices.len()), (2, 1), "{}", alone.summary);
    assert!(!alone.evidence.iter().any(|line| line.contains("in common")), "{:?}", alone.evidence);
}

/// A host without a name that sends a sounder's sentences is known by them.
#[test]
fn a_host_without_a_name_is_known_by_what_it_sends() {
    let mut traffic = Traffic::of_two_displays(240.0);
    sentences(&mut traffic, 4, 1.0, |t| {
        (t < 130.0).then(|| format!("SDDPT,{:.1},0.0", 8.0 + (t / 9.0).sin()))
    });
    let report = judge(&[traffic.recorded()]);
    let dropout = report.findings.iter().find(|f| f.kind == "device-dropout").unwrap();
    assert!(dropout.summary.contains(", which sends SD (depth sounder), stops"), "{}", dropout.summary);
}

/// A whole line is silent for eight seconds, and some of its talkers are back only later: as if they had to boot, when they are many.
#[test]
fn talkers_that_are_back_late_show_that_the_line_lost_its_power() {
    let told = |talkers: &[(&str, u32)]| {
        let said = |i: u32| {
            let speaks = |back: u32| i < 60 || i >= 68 + back;
            let speaking = talkers.iter().filter(|(_, back)| speaks(*back));
            speaking.map(|(body, _)| (*body).to_owned()).collect()
        };
        let report = judge(&[line(180, said)]);
        let evidence: Vec<String> = report.findings.iter().flat_map(|f| f.evidence.clone()).collect();
        (alarms(&report), evidence.join(" "))
    };
    const ALL: [&str; 5] = [
        "SDDPT,7.4,0.3,",
        "HCHDG,90.0,,,,",
        "WIMWV,45.0,R,9.0,N,A",
        "VWVHW,,T,,M,5.0,N,,K",
        "YXXDR,C,7,C,AIR",
    ];
    let late = |back: [u32; 5]| ALL.into_iter().zip(back).collect::<Vec<_>>();
    let (kinds, evidence) = told(&late([0, 9, 26, 31, 14]));
    assert_eq!(kinds, ["wire-outage"], "{evidence}");
    assert!(evidence.contains("4 talkers were missing for seconds after the line was back"), "{evidence}");
    assert_eq!(told(&late([0; 5])).0, ["recording-gap"]);
    // A recorder that stutters: for a second of the outage one talker was heard.
    let said = |i: u32| {
        let stutters = (60..66).contains(&i) || (67..74).contains(&i);
        let speaking = if i == 66 { &ALL[..1] } else { &ALL[..] };
        speaking.iter().filter(|_| !stutters).map(|body| (*body).to_owned()).collect()
    };
    let report = judge(&[line(180, said)]);
    assert_eq!(alarms(&report), ["recording-gap"], "{:?}", report.findings);
    // One of many may have been lost by itself while the recorder slept.
    assert_eq!(told(&late([0, 0, 0, 0, 40])).0, ["device-dropout", "recording-gap"]);
}
