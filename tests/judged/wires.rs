//! Whole wires: when everyone is silent, and when only some are awake.

use crate::make::{START_US, ethernet, ipv4, pcap_head, pcap_record, udp};
use crate::{alarms, can_log, judge};

/// Heartbeats (PGN 126993) of the node at address 99, at these seconds.
fn heartbeats(at: impl Iterator<Item = f64>) -> Vec<(f64, u32, String)> {
    at.map(|t| (t, 0x1DF0_1163, "60EA07CCFFFFFFFF".to_owned())).collect()
}

/// Rapid position (PGN 129025) and rate of turn (PGN 127251) of two nodes, ten times a second.
pub(crate) fn sensors(from: u32, to: u32) -> Vec<(f64, u32, String)> {
    let one = |i: u32, at: f64, id: u32, data: &str| (f64::from(i) / 10.0 + at, id, data.to_owned());
    (10 * from..10 * to)
        .flat_map(|i| {
            let north = (0x2064_8586 + i).swap_bytes();
            [
                one(i, 0.01, 0x09F8_0103, &format!("{north:08X}DD641406")),
                one(i, 0.03, 0x09F1_1323, &format!("FF{:02X}000000FFFFFF", i % 7)),
            ]
        })
        .collect()
}

/// A display in standby speaks once a minute, or every ten seconds, before the boat is switched on and after.
#[test]
fn a_node_that_is_awake_alone_makes_no_gap() {
    for every in [5.0, 10.0, 60.0] {
        let awake = heartbeats((1..).map(|i| every * f64::from(i)).take_while(|t| *t < 281.0));
        let report = judge(&[can_log([awake, sensors(130, 270)].concat())]);
        assert!(alarms(&report).is_empty(), "{every}: {:?}", alarms(&report));
    }
}

/// When all are awake and nothing comes for twenty seconds, that is a gap still.
#[test]
fn a_silence_of_all_that_were_awake_is_one() {
    let awake = heartbeats((1..40).map(|i| 10.0 * f64::from(i)));
    let frames = [awake, sensors(100, 200), sensors(220, 400)].concat();
    let frames = frames.into_iter().filter(|(t, ..)| !(200.0..220.0).contains(t)).collect();
    assert_eq!(alarms(&judge(&[can_log(frames)])), ["recording-gap"]);
}

/// Where nothing else was due, the silence of one fast node is one of the wire, and says that it may be the node's own.
#[test]
fn a_silence_in_which_but_one_was_due_is_told() {
    let awake = heartbeats((0..5).map(|i| 60.0 * f64::from(i) + 20.0));
    let mut frames = [awake, sensors(0, 240)].concat();
    frames.retain(|(t, id, _)| *id != 0x09F1_1323 && !(100.0..114.0).contains(t));
    let report = judge(&[can_log(frames)]);
    assert_eq!(alarms(&report), ["recording-gap"]);
    let gap = &report.findings[0];
    assert!(gap.evidence.iter().any(|line| line.contains("at address 3 was due")), "{:?}", gap.evidence);
}

/// Where another node speaks in between, the wire went on and the recorder too: the silence is the node's, all of it.
#[test]
fn a_silence_in_which_another_speaks_is_the_nodes_own() {
    let awake = heartbeats((0..24).map(|i| 10.0 * f64::from(i) + 6.0));
    let mut frames = [awake, sensors(0, 240)].concat();
    frames.retain(|(t, id, _)| *id & 0xFF == 0x63 || *id != 0x09F1_1323 && !(100.0..118.0).contains(t));
    let report = judge(&[can_log(frames)]);
    assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
    assert!((crate::number(&report, "device-dropout", "longest_s") - 18.0).abs() < 0.3);
}

/// System time (PGN 126992) of the node at address 3 each second: days since 1970, and the time of day in 0.0001 s.
fn system_times(to: u32) -> Vec<(f64, u32, String)> {
    let time = |t: u32| {
        let [d0, d1] = ((START_US / 86_400_000_000) as u16).to_le_bytes();
        let [t0, t1, t2, t3] = (t * 10_000).to_le_bytes();
        (f64::from(t) + 0.02, 0x0DF0_1003, format!("FFF0{d0:02X}{d1:02X}{t0:02X}{t1:02X}{t2:02X}{t3:02X}"))
    };
    (0..to).map(time).collect()
}

/// The recorder's clock is set ahead by five minutes, and later a node really pauses for ten seconds.
#[test]
fn a_leap_of_the_recorders_clock_is_nobodys_pause() {
    let mut frames = [system_times(300), sensors(0, 300)].concat();
    frames.retain(|(t, id, _)| *id != 0x09F1_1323 || !(200.0..210.0).contains(t));
    let stamp = |(t, id, data)| (if t > 120.0 { t + 300.0 } else { t }, id, data);
    let report = judge(&[can_log(frames.into_iter().map(stamp).collect())]);
    assert_eq!(alarms(&report), ["device-dropout"]);
    let pauses: Vec<_> = report.sources.iter().map(|s| (s.dropouts, s.dropout_s.round())).collect();
    assert_eq!(pauses.iter().filter(|p| **p == (1, 10.0)).count(), 1, "{pauses:?}");
    assert_eq!(pauses.iter().filter(|p| **p == (0, 0.0)).count(), pauses.len() - 1, "{pauses:?}");
    let mut longest: Vec<f64> = report.timing.iter().map(|row| row.max.unwrap().round()).collect();
    longest.sort_by(f64::total_cmp);
    assert_eq!(longest, [0.0, 1.0, 10.0], "the leap is no interval");
    assert!(
        report.sources.iter().all(|s| s.interval_s.max.unwrap() < 11.0 && s.interval_s.p99.unwrap() < 1.1)
    );
}

/// The recorder's clock is set back by 88 seconds, twenty seconds before the end: everybody sends to the end.
#[test]
fn a_clock_that_is_set_back_ends_nobody() {
    // A slow one among them: a tank's level (PGN 127505) each 2.5 s.
    let tank =
        (0..120).map(|i| (2.5 * f64::from(i) + 0.07, 0x19F2_1148, "001027E803000000".to_owned())).collect();
    let frames = [system_times(300), sensors(0, 300), tank].concat();
    let mut log = Vec::new();
    for half in [false, true] {
        let part = frames.iter().filter(|(t, ..)| (*t >= 280.0) == half).cloned();
        let stamped = part.map(|(t, id, data)| (if half { t - 88.3 } else { t }, id, data));
        log.extend(can_log(stamped.collect()));
    }
    let report = judge(&[log]);
    assert_eq!(alarms(&report), [""; 0], "{:?}", report.findings);
    assert!(report.findings.iter().any(|f| f.kind == "clock-step"));
}

/// A bus in datagrams of a gateway that sends nothing else: its power goes, and all nodes claim their addresses anew. The
/// recorder heard all of it.
#[test]
fn a_bus_in_packets_that_comes_up_anew_was_out() {
    let claim = |at: f64, source: u32| (at, 0x18EE_FF00 | source, format!("{source:02X}00D0260082A0C0"));
    let mut frames: Vec<_> =
        sensors(0, 150).into_iter().filter(|(t, ..)| !(60.0..66.0).contains(t)).collect();
    let sources: std::collections::BTreeSet<u32> = frames.iter().map(|(_, id, _)| id & 0xFF).collect();
    for (n, source) in sources.iter().enumerate() {
        frames.extend([0.0, 66.0].map(|at| claim(at + 0.01 * n as f64, *source)));
    }
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut file = pcap_head(1);
    for (at, id, data) in frames {
        let bytes: Vec<&str> = (0..data.len() / 2).map(|i| &data[2 * i..2 * i + 2]).collect();
        let line = format!("00:00:00.000 R {id:08X} {}\r\n", bytes.join(" "));
        let payload = ipv4(0x0A2F_0101, 0xEFFE_0702, 17, (0, 0, false), &udp(6000, 6000, line.as_bytes()));
        let packet = ethernet(1, [1, 0, 0x5E, 0x7E, 7, 2], 0x0800, &payload);
        pcap_record(&mut file, START_US + (at * 1e6) as u64, &packet);
    }
    let report = judge(&[file]);
    assert_eq!(alarms(&report), ["wire-outage"], "{:?}", report.findings);
}

/// A fix that is lost ends just before the recorder's clock is set ahead: the leap is no part of it.
#[test]
fn a_leap_just_after_excuses_no_loss_of_the_fix() {
    let mut frames = [system_times(300), sensors(0, 300)].concat();
    for (t, id, data) in &mut frames {
        if *id == 0x09F8_0103 && (60.0..90.0).contains(t) {
            *data = "FFFFFF7FFFFFFF7F".to_owned();
        }
    }
    let stamp = |(t, id, data)| (if t > 90.5 { t + 60.5 } else { t }, id, data);
    let report = judge(&[can_log(frames.into_iter().map(stamp).collect())]);
    assert_eq!(alarms(&report), ["fix-lost"], "{:?}", report.findings);
}
