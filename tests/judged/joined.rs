//! The files of recorders that begin a new one every so often: whose goes on with whose, and what two of them both hold.

use crate::make::START_US;
use crate::make::{ALL, ethernet, pcap_head, pcap_record, sentence};
use crate::wires::sensors;
use crate::{alarms, can_log, judge};
use leadsman::report::model::Report;
use leadsman::time::Time;

type Frames = Vec<(f64, u32, String)>;

/// A bus of two sensors, one of which is silent around the first minute.
fn bus() -> Frames {
    let mut frames = sensors(0, 150);
    frames.retain(|(t, id, _)| *id != 0x09F1_1323 || !(54.0..68.0).contains(t));
    frames
}

/// A bus of one engine (PGN 127488), ten times a second.
fn engine() -> Frames {
    (0..1500)
        .map(|i| (f64::from(i) / 10.0 + 0.05, 0x09F2_0003, format!("00{:02X}20FFFFFFFFFF", i % 9)))
        .collect()
}

/// What of these came from one second to another.
fn part(frames: &Frames, from: f64, to: f64) -> Vec<u8> {
    can_log(frames.iter().filter(|(t, ..)| (from..to).contains(t)).cloned().collect())
}

/// Frames of each wire, the fewest first.
fn frames(report: &Report) -> Vec<u64> {
    let mut frames: Vec<u64> = report.wires.iter().map(|wire| wire.frames).collect();
    frames.sort_unstable();
    frames
}

/// Two buses, each with a recorder of its own, and both begin a new file at the same time.
#[test]
fn two_recorders_that_begin_new_files_together_are_kept_apart() {
    let (bus, engine) = (bus(), engine());
    let [a0, a1] = [part(&bus, 0.0, 60.0), part(&bus, 60.0, 150.0)];
    let [e0, e1] = [part(&engine, 0.0, 60.0), part(&engine, 60.0, 150.0)];
    let both = vec![engine.len() as u64, bus.len() as u64];
    for files in [[&a0, &a1, &e0, &e1], [&e0, &a0, &a1, &e1], [&e1, &a1, &e0, &a0]] {
        let report = judge(&files.map(Clone::clone));
        assert_eq!((alarms(&report), frames(&report)), (vec!["device-dropout"], both.clone()));
    }
    for files in [[&a0, &a1, &e0], [&a0, &a1, &e1]] {
        let report = judge(&files.map(Clone::clone));
        assert_eq!(frames(&report).len(), 2);
        assert_eq!(frames(&report)[1], both[1], "another bus is no part of this one");
    }
    assert_eq!(judge(&[a0.clone(), e1]).wires.len(), 2, "nothing in common");
    let copies = judge(&[a0.clone(), a1.clone(), a0, a1]);
    assert_eq!(frames(&copies), [both[1]; 2], "with copies of both");
}

/// A file of a few seconds, in which not all are heard, belongs to the files before and after it, however alike these are.
#[test]
fn a_short_file_is_passed_over_by_none() {
    let mut bus = bus();
    // Once a second each: of three seconds little is heard.
    bus.retain(|(t, id, _)| !(80.0..83.0).contains(t) || *id == 0x09F1_1323);
    let cuts = [0.0, 80.0, 83.0, 88.0, 100.0, 150.0];
    let files: Vec<Vec<u8>> = cuts.windows(2).map(|two| part(&bus, two[0], two[1])).collect();
    let whole = judge(&[part(&bus, 0.0, 150.0)]);
    for turned in 0..files.len() {
        let mut files = files.clone();
        files.rotate_left(turned);
        let report = judge(&files);
        assert_eq!((alarms(&report), frames(&report)), (alarms(&whole), frames(&whole)), "{turned}");
    }
}

/// The same with a file every few seconds, more of them than clocks are compared of.
#[test]
fn many_files_of_two_recorders_are_two_wires() {
    let (bus, engine) = (bus(), engine());
    let every = |i: u32| (f64::from(i) * 15.0, f64::from(i + 1) * 15.0);
    let files = (0..10).map(every).flat_map(|(from, to)| [part(&bus, from, to), part(&engine, from, to)]);
    let report = judge(&files.collect::<Vec<_>>());
    assert_eq!(alarms(&report), ["device-dropout"]);
    assert_eq!(frames(&report), [engine.len() as u64, bus.len() as u64]);
}

/// A file in which next to nothing came goes on with the one before, whoever it is that spoke.
#[test]
fn a_quiet_file_is_read_as_one_with_the_file_before() {
    let late: Frames =
        (0..6).map(|i| (61.0 + 5.0 * f64::from(i), 0x1DF0_1163, "60EA07CCFFFFFFFF".to_owned())).collect();
    assert_eq!(judge(&[part(&bus(), 0.0, 60.0), can_log(late)]).wires.len(), 1);
}

/// Two networks, and two lines, that were recorded one after the other.
#[test]
fn other_hosts_and_other_talkers_are_another_wire() {
    let network = |first: u64, from: u64| {
        let mut file = pcap_head(1);
        for i in from..from + 60 {
            let packet = ethernet(first + i % 3, ALL, 0x88B5, &i.to_be_bytes());
            pcap_record(&mut file, START_US + i * 1_000_000, &packet);
        }
        file
    };
    assert_eq!(judge(&[network(1, 0), network(7, 60)]).wires.len(), 2);
    assert_eq!(judge(&[network(1, 0), network(1, 60)]).wires.len(), 1);
    let line = |text: &str, from: i32| -> Vec<u8> {
        let at = |i: i32| Time(START_US as i64).plus(f64::from(i));
        (from..from + 60).flat_map(|i| format!("{} {}", at(i), sentence(text)).into_bytes()).collect()
    };
    assert_eq!(judge(&[line("SDDPT,4.0,0.0", 0), line("HEHDT,45.0,T", 60)]).wires.len(), 2);
    assert_eq!(judge(&[line("SDDPT,4.0,0.0", 0), line("SDDPT,5.0,0.0", 60)]).wires.len(), 1);
}

/// Whoever cuts a recording leaves some seconds on both sides: what both files hold counts once. So it does when the second
/// file's stamps are a little late.
#[test]
fn what_two_files_both_hold_counts_once() {
    let bus = bus();
    for (overlap_s, late_s) in [(0.1, 0.0), (1.0, 0.0), (30.0, 0.0), (2.0, 0.004)] {
        let again = bus.iter().filter(|(t, ..)| *t >= 60.0 - overlap_s);
        let again = can_log(again.map(|(t, id, data)| (t + late_s, *id, data.clone())).collect());
        let first = part(&bus, 0.0, 60.0);
        for files in [[first.clone(), again.clone()], [again, first]] {
            let report = judge(&files);
            assert_eq!((alarms(&report), frames(&report)), (vec!["device-dropout"], vec![bus.len() as u64]));
            let told =
                report.recordings.iter().flat_map(|r| &r.problems).filter(|p| p.contains("counted once"));
            assert_eq!(told.count(), 1);
        }
    }
}

/// Two files that overlap and do not hold the same are two recorders', and that is said.
#[test]
fn files_that_overlap_and_differ_are_told_of() {
    let other = bus().into_iter().map(|(t, id, data)| (t + 0.3, id, format!("55{}", &data[2..]))).collect();
    let report = judge(&[part(&bus(), 0.0, 60.0), part(&other, 58.0, 150.0)]);
    assert_eq!(report.wires.len(), 2);
    assert!(
        report.recordings[1].problems.iter().any(|p| p.contains("not read as one")),
        "{:?}",
        report.recordings[1]
    );
}

/// A recorder is stopped and started again minutes or hours later: its devices are the same, and the time between tells nothing.
#[test]
fn a_recorder_that_is_started_again_goes_on_with_its_wire() {
    let claims = [(0.2, 0x18EE_FF23, "9A3F60FE008CA0C0"), (0.3, 0x18EE_FF03, "9B3F60FE008CA0C0")];
    let claims: Frames = claims.into_iter().map(|(t, id, data)| (t, id, data.to_owned())).collect();
    let first = can_log([sensors(0, 90), claims.clone()].concat());
    for apart_s in [40.0, 600.0, 9000.0] {
        let later = |frames: Frames| -> Frames {
            frames.into_iter().map(|(t, id, data)| (t + apart_s, id, data)).collect()
        };
        let again = can_log(later(sensors(90, 180)));
        let report = judge(&[first.clone(), again]);
        let named = report.devices.iter().filter(|device| device.name.is_some()).count();
        assert!(alarms(&report).is_empty(), "{:?}", report.findings);
        assert_eq!((report.wires.len(), report.devices.len(), named), (1, claims.len(), claims.len()));
        assert!((report.wires[0].recorded_s.unwrap() - 180.0).abs() < 1.0);
        assert!(report.sources.iter().all(|source| source.dropouts == 0));
        // Meanwhile the boat was switched off and on again.
        let claims = claims.iter().map(|(t, id, data)| (t + 90.0, *id, data.clone())).collect();
        let up = can_log(later([sensors(92, 180), claims].concat()));
        assert!(alarms(&judge(&[first.clone(), up])).is_empty());
        // Only one of the two was switched on.
        let mut one = later(sensors(90, 180));
        one.retain(|(_, id, _)| id & 0xFF == 0x23);
        let report = judge(&[can_log(sensors(0, 90)), can_log(one)]);
        assert_eq!((alarms(&report), report.wires.len()), (vec![], 1), "{:?}", report.findings);
    }
}

/// A device is silent while a recording goes on to its end; the next one begins later, and it is back.
#[test]
fn who_is_silent_before_a_recorder_is_stopped_is_told_by_what_was_recorded() {
    for apart_s in [60.0, 600.0] {
        let (from, to) = (90, 180);
        let heard = |frames: Frames, until: f64| -> Frames {
            frames.into_iter().filter(|(t, id, _)| id & 0xFF != 0x23 || *t < until).collect()
        };
        let later = sensors(from, to).into_iter().map(|(t, id, data)| (t + apart_s, id, data)).collect();
        let files = [can_log(heard(sensors(0, from), 50.0)), can_log(later)];
        let report = judge(&files);
        assert_eq!(alarms(&report), ["device-dropout"], "{:?}", report.findings);
        assert!((crate::number(&report, "device-dropout", "longest_s") - 40.0).abs() < 1.5);
    }
}
