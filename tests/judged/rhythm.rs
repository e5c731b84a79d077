//! Messages whose rhythm changes, rightly or not. The rest of the bus (`wires::sensors`) goes on meanwhile.

use crate::wires::sensors;
use crate::{alarms, can_log, judge, number};
use leadsman::report::model::Severity;

/// A frame each so many seconds while `on`.
fn every(s: f64, id: u32, data: &str, on: impl Fn(f64) -> bool) -> Vec<(f64, u32, String)> {
    let at = |i: u32| s.mul_add(f64::from(i), 0.07);
    (0..(300.0 / s) as u32).map(at).filter(|t| on(*t)).map(|t| (t, id, data.to_owned())).collect()
}

/// A tank's level (PGN 127505) comes once in 2.5 s; that the engine's speed (127488) comes ten times a second once it runs makes
/// no silence of the time before.
#[test]
fn a_gateway_that_gets_busier_was_not_silent_before() {
    let tank = every(2.5, 0x19F2_1148, "001027E803000000", |_| true);
    let engine = every(0.1, 0x09F2_0048, "00803EFFFFFFFFFF", |t| t > 150.0);
    let report = judge(&[can_log([sensors(0, 300), tank, engine].concat())]);
    assert!(alarms(&report).is_empty(), "{:?}", report.findings);
}

/// A heading sensor is set from magnetic to true: its heading (PGN 127250) never stops.
#[test]
fn another_reference_is_no_pause() {
    let at = |reference: &str, on: fn(f64) -> bool| {
        every(0.1, 0x09F1_1223, &format!("FF1027FF7FFF7F{reference}"), on)
    };
    let (magnetic, truly) = (at("FD", |t| t < 75.0), at("FC", |t| t >= 75.0));
    let report = judge(&[can_log([sensors(0, 300), magnetic, truly].concat())]);
    assert!(!alarms(&report).contains(&"message-dropout"), "{:?}", report.findings);
}

/// Depth (PGN 128267) pauses eight times for eight seconds while the same sounder's speed (128259) goes on: many pauses are no
/// rhythm of their own.
#[test]
fn many_pauses_are_all_told() {
    let depth = every(1.0, 0x0DF5_0B16, "FFE80300000000FF", |t| t % 35.0 < 27.0);
    let speed = every(1.0, 0x09F5_0316, "FF2C01FFFF00FFFF", |_| true);
    let report = judge(&[can_log([sensors(0, 300), depth, speed].concat())]);
    assert_eq!(alarms(&report), ["message-dropout"]);
    assert_eq!(number(&report, "message-dropout", "gaps"), 8.0);
}

/// A battery monitor (PGN 127508) sends once in ten seconds while it sleeps and each 1.5 s then, or the other way round, and the level of a
/// tank (127505), which is all that its node sends, once in twenty seconds and then each 2.5 s: equal intervals end to end are a
/// pace, also where the recorder lost one in twenty. Three pauses of ten seconds, with the usual pace between, are none.
#[test]
fn another_pace_is_no_pause() {
    let paced = |slow_s: f64, s: f64, id: u32, data: &str, first: bool| {
        let (mut t, mut frames, mut n) = (0.3, Vec::new(), 0);
        while t < 300.0 {
            n += 1;
            // The last of each stretch may be lost too, but two in a row are not.
            if n % 20 != 7 {
                frames.push((t, id, data.to_owned()));
            }
            t += if (t < 150.0) == first { slow_s } else { s };
        }
        frames
    };
    let speed = every(1.0, 0x09F5_0348, "FF2C01FFFF00FFFF", |_| true);
    for first in [true, false] {
        let battery = paced(10.0, 1.5, 0x19F2_1448, "00EC04FF7FFFFFFF", first);
        let tank = paced(20.0, 2.5, 0x19F2_1149, "001027E803000000", first);
        let report = judge(&[can_log([sensors(0, 300), battery, speed.clone(), tank].concat())]);
        assert!(alarms(&report).is_empty(), "{first}: {:?}", report.findings);
    }
    let away = |t: f64| [50.0, 70.0, 90.0].iter().any(|from| (*from..from + 10.0).contains(&t));
    let battery = every(1.5, 0x19F2_1448, "00EC04FF7FFFFFFF", |t| !away(t));
    let report = judge(&[can_log([sensors(0, 300), battery, speed].concat())]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
    assert_eq!(number(&report, "message-dropout", "gaps"), 3.0);
}

/// Depth (PGN 128267) pauses, comes back, and stops again six seconds before the end, while the same sounder's speed (128259) goes on:
/// the fault is known by then.
#[test]
fn a_pause_that_the_recording_ends_in_is_told_where_one_was_before() {
    let report = |first: f64| {
        let on = |t: f64| t < 294.0 && !(100.0..100.0 + first).contains(&t);
        let depth = every(1.0, 0x0DF5_0B16, "FFE80300000000FF", on);
        let speed = every(1.0, 0x09F5_0316, "FF2C01FFFF00FFFF", |_| true);
        judge(&[can_log([sensors(0, 300), depth, speed].concat())])
    };
    assert_eq!(number(&report(12.0), "message-dropout", "gaps"), 2.0);
    let once = report(0.0);
    assert!(alarms(&once).is_empty(), "{:?}", once.findings);
}

/// A node that falls silent for two seconds again and again drops out; its slower messages are not ragged besides.
#[test]
fn silences_of_a_device_make_its_messages_no_ragged_ones() {
    let on = |t: f64| t < 20.0 || t % 20.0 >= 2.0;
    let fast = every(0.1, 0x09F1_1224, "FF1027FF7FFF7FFD", on);
    let slow = every(1.0, 0x0DF1_1924, "FF000000000000FF", on);
    let report = judge(&[can_log([sensors(0, 300), fast, slow].concat())]);
    assert_eq!(alarms(&report), ["device-dropout"]);
    assert_eq!(number(&report, "device-dropout", "gaps"), 14.0);
}

/// A heading that comes in pairs, as behind the bursts of a slow line, is silent for half a minute: what is uneven is missed too.
#[test]
fn an_uneven_message_is_missed() {
    let first = every(1.0, 0x09F1_1224, "FF1027FF7FFF7FFD", |t| !(100.0..130.0).contains(&t));
    let second = first.iter().map(|(t, id, data)| (t + 0.2, *id, data.clone())).collect();
    let report = judge(&[can_log([sensors(0, 300), first, second].concat())]);
    assert_eq!(alarms(&report), ["device-dropout"]);
    assert!((number(&report, "device-dropout", "longest_s") - 30.8).abs() < 0.3);
}

/// A display asks once a second while a page is open, twice, and an alert is repeated while it stands: nobody owes these.
#[test]
fn what_is_sent_on_demand_is_not_missed() {
    let open = |t: f64| (30.0..60.0).contains(&t) || (150.0..180.0).contains(&t);
    let asks = every(1.0, 0x18EA_0310, "04FA01", open);
    let alert = every(1.0, 0x09F0_0710, "0102030405060708", open);
    let heartbeat = every(60.0, 0x1DF0_1110, "60EA07CCFFFFFFFF", |_| true);
    let report = judge(&[can_log([sensors(0, 300), asks, alert, heartbeat].concat())]);
    assert!(!alarms(&report).iter().any(|kind| kind.ends_with("dropout")), "{:?}", report.findings);
}

/// A page of a display asks a sensor for its battery's voltage (ISO request, PGN 59904, for 127508) once a second while it is
/// open. Without the requests it is the sensor that paused.
#[test]
fn what_a_page_asks_for_is_not_missed_when_it_is_closed() {
    let open = |t: f64| (40.0..110.0).contains(&t) || (160.0..230.0).contains(&t);
    let shifted = |late: f64, id, data| {
        every(1.0, id, data, open).into_iter().map(|(t, id, data)| (t + late, id, data)).collect::<Vec<_>>()
    };
    let (asked, answers) =
        (shifted(0.1, 0x18EA_1670, "14F201"), shifted(0.13, 0x19F2_1416, "00E204FFFFFFFFFF"));
    let paused = judge(&[can_log([sensors(0, 300), answers.clone()].concat())]);
    assert_eq!(alarms(&paused), ["device-dropout"], "{:?}", paused.findings);
    let closed = judge(&[can_log([sensors(0, 300), asked, answers].concat())]);
    assert!(alarms(&closed).is_empty(), "{:?}", closed.findings);
}

/// What other ships say of themselves (AIS, PGN 129039) comes when they speak: a receiver that hands it on has no rhythm of its own.
#[test]
fn other_ships_are_not_missed() {
    let mut ships = Vec::new();
    let (mut t, mut seed) = (1.0, 7_u32);
    while t < 300.0 {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        t += 0.4 + 2.4 * f64::from(seed >> 8) / f64::from(1 << 24);
        if !(140.0..153.0).contains(&t) {
            // A fast packet of 27 bytes in four frames.
            for (part, data) in
                ["1B12010203040506", "0708090A0B0C0D", "0E0F1011121314", "15161718191A1B"].iter().enumerate()
            {
                let head = if part == 0 { String::from("00") } else { format!("{part:02X}") };
                let data = format!("{head}{data}");
                ships.push((t + 0.001 * part as f64, 0x11F8_0F2B, data[..16].to_owned()));
            }
        }
    }
    let report = judge(&[can_log([sensors(0, 300), ships].concat())]);
    assert!(!alarms(&report).iter().any(|kind| kind.ends_with("dropout")), "{:?}", report.findings);
}

/// One device alone sends messages of several frames, and the recorder loses one frame in fifty of all: the device is not to
/// blame.
#[test]
fn a_recorder_that_loses_frames_of_all_accuses_nobody() {
    let mut frames = Vec::new();
    let mut dice = 7_u32;
    let mut heard = |keep: u32| {
        dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        dice >> 16 & 0xFF >= keep
    };
    let mut log = |lost_of_others: u32| {
        frames.clear();
        for i in 0..3000_u32 {
            let at = f64::from(i) / 10.0;
            for (n, source) in [3_u32, 9, 17].into_iter().enumerate() {
                if heard(lost_of_others) {
                    // Rate of turn (PGN 127251), which varies.
                    let data = format!("FF{:02X}{n:02X}0000FFFFFF", i % 200);
                    frames.push((at + 0.01 * n as f64, 0x09F1_1300 | source, data));
                }
            }
            if i % 10 == 0 {
                // Whole fix (PGN 129029): seven frames of a message of 43 bytes.
                for frame in 0..7_u32 {
                    let head = (i / 10 % 8) << 5 | frame;
                    let body = if frame == 0 { "2BFFFFFFFFFFFF" } else { "FFFFFFFFFFFFFF" };
                    if heard(5) {
                        frames.push((
                            at + 0.05 + 0.001 * f64::from(frame),
                            0x0DF8_0530,
                            format!("{head:02X}{body}"),
                        ));
                    }
                }
            }
        }
        can_log(frames.clone())
    };
    let check = |bytes: Vec<u8>| {
        let report = judge(&[bytes]);
        let finding = report.findings.iter().find(|f| f.kind == "fast-packet-loss").unwrap().clone();
        (finding.severity, finding.checks.concat())
    };
    let (severity, advice) = check(log(5));
    assert_eq!(severity, Severity::Warning);
    assert!(advice.contains("another adapter"), "{advice}");
    let (severity, advice) = check(log(0));
    assert_eq!(severity, Severity::Fault);
    assert!(advice.contains("drop cable"), "{advice}");
}

/// A heading (PGN 127250, ten a second by standard) each 0.42 s in stamps of a tenth: they tell a rate four times as slow, and
/// none of a heading that comes by the standard.
#[test]
fn a_slow_heading_is_seen_by_coarse_stamps() {
    for (s, kinds) in [(0.42, &["slow-message"][..]), (0.6, &["slow-message"]), (0.1, &[]), (0.2, &[])] {
        let frames = [sensors(0, 300), every(s, 0x09F1_1223, "FF1027FF7FFF7FFD", |_| true)].concat();
        let coarse = frames.into_iter().map(|(t, id, data)| ((t * 10.0).floor() / 10.0, id, data));
        let report = judge(&[can_log(coarse.collect())]);
        let found: Vec<_> = alarms(&report).into_iter().filter(|kind| *kind == "slow-message").collect();
        assert_eq!(found, kinds, "{s} {:?}", report.findings);
    }
}

/// Two batteries of one device at different rates (PGN 127508): the second's rhythm and its pause are its own.
#[test]
fn each_of_several_alike_has_its_own_rhythm() {
    let battery = |instance: u8, t: f64| (t, 0x19F2_1423, format!("{instance:02X}E204FF7FFFFFFF"));
    let frames = (0..240).map(|i| battery(0, f64::from(i) / 2.0));
    let seldom =
        (0..24).map(|i| battery(1, 5.0 * f64::from(i) + 0.2)).filter(|(t, ..)| !(40.0..65.0).contains(t));
    let report = judge(&[can_log(frames.chain(seldom).collect())]);
    let told = |instance: u8| {
        let row = report.sources.iter().find(|r| r.quantity == "voltage" && r.instance == Some(instance));
        row.map(|row| (row.interval_s.p50.unwrap(), row.interval_s.max.unwrap(), row.dropouts)).unwrap()
    };
    assert_eq!((told(0), told(1).2), ((0.5, 0.5, 0), 1));
    assert!((told(1).0 - 5.0).abs() < 0.05 && (told(1).1 - 30.0).abs() < 0.01, "{:?}", told(1));
}

/// A message that comes every 0.25 s, stamped to the tenth of a second, bears intervals of 0.2 and 0.3 s.
#[test]
fn coarse_stamps_do_not_round_a_rhythm() {
    let frames = (0..1000).map(|i| (0.25 * f64::from(i), 0x09F8_0203, "FFFC0000100100FF".to_owned()));
    let frames = frames.filter(|(t, ..)| !(100.0..113.0).contains(t));
    let coarse = |(t, id, data): (f64, u32, String)| (((t + 0.03) * 10.0).floor() / 10.0, id, data);
    let frames = frames.chain(sensors(0, 250)).map(coarse).collect();
    let report = judge(&[can_log(frames)]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
    let nominal = number(&report, "message-dropout", "nominal_s");
    assert!((nominal - 0.25).abs() < 0.01, "{nominal}");
}

/// Ten a second in stamps of whole seconds: the median interval is one that no stamp tells.
#[test]
fn what_the_stamps_do_not_tell_is_no_interval() {
    let heading = every(0.1, 0x09F1_1223, "FF1027FF7FFF7FFD", |_| true);
    let frames = [sensors(0, 300), heading].concat().into_iter();
    let report = judge(&[can_log(frames.map(|(t, id, data)| (t.floor(), id, data)).collect())]);
    let row = report.timing.iter().find(|row| row.message == "127250" && row.count == 3000).unwrap();
    assert_eq!((row.p50, row.p99, row.max), (Some(0.0), Some(1.0), Some(1.0)));
    let bins: Vec<_> = row.histogram.iter().filter(|bin| bin.count > 0).collect();
    assert!(bins.len() == 2 && bins[0].from_s == 0.0 && bins[1].to_s > 1.0, "{bins:?}");
}

/// A battery's state (PGN 127506, two frames) lacks its second frame for eight seconds, five times: it came in pieces, and its
/// silence is none of its own. Where not even pieces came, it fell silent.
#[test]
fn what_comes_in_pieces_does_not_fall_silent_besides() {
    let log = |all_lost: bool| {
        let lost = |t: f64| t > 30.0 && t % 50.0 < 8.0;
        let mut frames = sensors(0, 300);
        // The same device's rate of turn (PGN 127251) goes on.
        frames.extend(every(0.1, 0x09F1_1324, "FF10270000FFFFFF", |_| true));
        for i in 0..300_u32 {
            let (t, head) = (f64::from(i) + 0.2, (i % 8) << 5);
            if !(all_lost && lost(t)) {
                frames.push((t, 0x19F2_1224, format!("{head:02X}0B{:02X}0064FFFFFF", i % 200)));
            }
            if !lost(t) {
                frames.push((t + 0.001, 0x19F2_1224, format!("{:02X}FFFFFFFFFFFFFF", head | 1)));
            }
        }
        can_log(frames)
    };
    let report = judge(&[log(false)]);
    assert_eq!(alarms(&report), ["fast-packet-loss"], "{:?}", report.findings);
    assert_eq!(number(&report, "fast-packet-loss", "incomplete"), 40.0);
    let report = judge(&[log(true)]);
    assert_eq!(alarms(&report), ["message-dropout"], "{:?}", report.findings);
}

/// A panel sends its switches (PGN 127501) when somebody turns one, at any moment, and nobody for a minute: it owes nothing. That it
/// came once a second or so, with jitter, until it fell silent makes the same minute one that is missed.
#[test]
fn what_comes_by_chance_is_not_missed() {
    for seed in 0..40_u32 {
        let mut dice = seed.wrapping_mul(2_654_435_761);
        let mut lot = || {
            dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(dice >> 8) / f64::from(1 << 24)
        };
        let mut panel = |interval: &dyn Fn(f64) -> f64| {
            let mut frames = Vec::new();
            let mut t = 1.0;
            while t < 300.0 {
                if !(150.0..210.0).contains(&t) {
                    frames.push((t, 0x0DF2_0D24, "00FFFFFFFFFFFFFF".to_owned()));
                }
                t += interval(lot());
            }
            judge(&[can_log([sensors(0, 300), frames].concat())])
        };
        let by_chance = panel(&|lot| -4.0 * (1.0 - lot).ln());
        assert!(alarms(&by_chance).is_empty(), "{seed}: {:?}", by_chance.findings);
        if seed < 3 {
            let by_clock = panel(&|lot| 3.0 + 2.0 * lot);
            assert_eq!(alarms(&by_clock), ["device-dropout"], "{seed}: {:?}", by_clock.findings);
        }
    }
}

/// A gateway holds everything back for a third of a second now and then: that only the fastest message comes three times as late as
/// it should is no fault of who sends it.
#[test]
fn what_waits_with_all_others_is_not_ragged_alone() {
    let held = |t: f64| if t % 3.0 < 0.35 { t - t % 3.0 + 0.35 } else { t };
    let engine = every(0.1, 0x09F2_0048, "00803EFFFFFFFFFF", |_| true);
    let frames = |late: &dyn Fn(f64, bool) -> f64| {
        let depth = every(0.9, 0x0DF5_0B16, "FFE80300000000FF", |_| true);
        let speed = every(0.9, 0x09F5_0317, "FF2C01FFFF00FFFF", |_| true);
        let water = every(0.45, 0x15FD_0818, "FF0000A76FFFFFFF", |_| true);
        let own = engine.iter().map(|(t, id, data)| (late(*t, true), *id, data.clone()));
        let others =
            [depth, speed, water].concat().into_iter().map(|(t, id, data)| (late(t, false), id, data));
        can_log(own.chain(others).collect())
    };
    let all = judge(&[frames(&|t, _| held(t))]);
    assert!(alarms(&all).is_empty(), "{:?}", all.findings);
    let alone = judge(&[frames(&|t, own| if own { held(t) } else { t })]);
    assert_eq!(alarms(&alone), ["irregular-message"], "{:?}", alone.findings);
}
